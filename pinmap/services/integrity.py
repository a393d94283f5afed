"""Whether a database is sound: the engine's check, every cell and reference, every platform, job and revision."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import PinmapError, StructureError
from pinmap.core.model.bench import Content, digest
from pinmap.exchange import job_json
from pinmap.services import jobs, revisions
from pinmap.services.shop import Shop
from pinmap.store import bench, graph, integrity, migrate, platform_rows, releases
from pinmap.store.base import table
from pinmap.store.consistency import check_snapshot
from pinmap.store.engine import is_missing, shown_url
from pinmap.store.integrity import Fault
from pinmap.store.shapes import shapes


@dataclass(frozen=True, slots=True)
class Soundness:
    """What was looked at and what is wrong. ``migration`` is where the database stands, ``newest`` what this program
    would bring it to."""

    migration: str
    newest: str
    tables: int
    platforms: int
    jobs: int
    revisions: int
    faults: tuple[Fault, ...]


def check(database_url: str) -> Soundness:
    """Looks at a whole database as it stands at one moment; changes nothing, and holds up nobody. Raises PinmapError
    when there is none."""
    if is_missing(database_url):
        raise PinmapError(f"there is no database at {shown_url(database_url)}")
    shop = Shop(database_url)
    try:
        with shop.read() as session:
            return _check(shop, session)
    finally:
        shop.close()


def _check(shop: Shop, session: Session) -> Soundness:
    connection = session.connection()
    migration = migrate.standing(connection)
    if migration is None:
        raise PinmapError("the database has no tables of Pinmap yet")
    faults = list(integrity.readable(connection, "", integrity.of_engine(connection)))
    known = shapes(connection)
    current = migration == migrate.newest()
    if current:
        faults += integrity.of_tables(connection, known)
    for shape in known:
        faults += integrity.readable(connection, shape.name, integrity.of_cells(connection, shape))
    faults += integrity.readable(connection, "", integrity.dangling(connection, known))
    looked = dict.fromkeys(("platform", "job", "revision", "check_off", "kept_draft"), 0)
    # Records are those of today's tables, and cannot be made where rows are not even readable.
    if current and not faults:
        for name, row, look in _records(shop, session):
            looked[name] += 1
            try:
                look()
            except PinmapError as error:
                faults.append(Fault(name, row, str(error)))
            except (LookupError, ValueError, TypeError) as error:
                faults.append(Fault(name, row, f"cannot be read as a {name}: {type(error).__name__} {error}"))
    return Soundness(
        migration, migrate.newest(), len(known), looked["platform"], looked["job"], looked["revision"], tuple(faults)
    )


def _records(shop: Shop, session: Session) -> Iterator[tuple[str, str, Callable[[], None]]]:
    """Every platform, job and revision: its table, its row in words, and what raises when it is wrong."""
    p, j, r, k = table("platform"), table("job"), table("revision"), table("kept_draft")
    for number, key in session.execute(sa.select(p.c.id, p.c.key).order_by(p.c.id)).all():
        yield "platform", f"id {number} ({key})", partial(_look_at_platform, session, number)
    for number, key in session.execute(sa.select(j.c.id, j.c.key).order_by(j.c.id)).all():
        yield "job", f"id {number} ({key})", partial(_look_at_job, shop, session, number, key)
    of_job = sa.select(r.c.id, r.c.letter, j.c.key).select_from(r.join(j)).order_by(r.c.id)
    for number, letter, key in session.execute(of_job).all():
        yield "revision", f"id {number} ({key} {letter})", partial(_look_at_revision, session, number)
    for number, content, told in bench.contents(session):
        yield "check_off", f"id {number}", partial(_look_at_check_off, content, told)
    for number, job_id in session.execute(sa.select(k.c.id, k.c.job_id).order_by(k.c.id)).all():
        yield "kept_draft", f"id {number}", partial(_look_at_kept_draft, session, job_id, number)


def _look_at_platform(session: Session, platform_id: int) -> None:
    platform_rows.check_platform(platform_rows.load_platform(session, platform_id).platform)


def _look_at_job(shop: Shop, session: Session, job_id: int, key: str) -> None:
    snapshot, refs = jobs.snapshot_in(shop, session, key)
    check_snapshot(snapshot)
    for plan in graph.plans(session, job_id, graph.derive(snapshot, refs.pin_ids)):
        if plan.size:
            raise StructureError(
                f"{plan.size} rows of its electrical graph ({plan.table.name}) differ from its signals"
            )


def _look_at_revision(session: Session, revision_id: int) -> None:
    revisions.opened(releases.get_revision(session, revision_id=revision_id))


def _look_at_check_off(content: Content, told: str) -> None:
    if digest(content) != told:
        raise StructureError("what was checked off is not what its hash says")


def _look_at_kept_draft(session: Session, job_id: int, draft_id: int) -> None:
    job_json.load(releases.kept_draft(session, job_id, draft_id).encode())
