"""The shop's library: platforms and housings as core records, in and out without loss."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import InputError, NotFound, StructureError
from pinmap.core.model.pinouts import Connector, ConnectorKey, Edition, Pin, PinKey, Platform
from pinmap.core.model.words import Role
from pinmap.store.base import checked, now, sought, sound, table, touched
from pinmap.store.rows import apply, plan

_PIN_COLUMNS = (
    "function", "function_code", "kind", "direction", "current_a", "peak_a", "wire_colour", "wire_mm2",
    "evidence", "evidence_ref", "component", "note",
)  # fmt: skip
_CONNECTOR_COLUMNS = ("name", "description", "housing", "gender", "sealed", "terminal", "place", "note")
_EDITION_COLUMNS = ("key", "name", "from_year", "to_year", "market", "note")


@dataclass(frozen=True)
class LoadedPlatform:
    """A platform with the ids by which jobs refer to its parts."""

    id: int
    version: int
    platform: Platform
    connector_ids: Mapping[ConnectorKey, int]
    pin_ids: Mapping[PinKey, int]


@dataclass(frozen=True, slots=True)
class PlatformSummary:
    """A line of the list of platforms."""

    key: str
    name: str
    role: Role
    version: int
    connectors: int
    pins: int
    editions: int


def list_platforms(session: Session) -> tuple[PlatformSummary, ...]:
    """All platforms, by name."""
    p, c, n, e = table("platform"), table("connector"), table("pin"), table("edition")
    connectors = sa.select(sa.func.count()).where(c.c.platform_id == p.c.id).scalar_subquery()
    pins = sa.select(sa.func.count()).select_from(n.join(c)).where(c.c.platform_id == p.c.id).scalar_subquery()
    editions = sa.select(sa.func.count()).where(e.c.platform_id == p.c.id).scalar_subquery()
    found = session.execute(sa.select(p.c.key, p.c.name, p.c.role, p.c.version, connectors, pins, editions))
    return tuple(sorted((PlatformSummary(*row) for row in found), key=lambda s: (s.name.casefold(), s.key)))


def find_platform(session: Session, key: str, *, hold: bool = False) -> tuple[int, int]:
    """Id and version of a platform; ``hold`` keeps it unchanged until the transaction ends. Raises NotFound."""
    p = table("platform")
    query = sa.select(p.c.id, p.c.version).where(p.c.key == sought(key))
    found = session.execute(query.with_for_update(read=True) if hold else query).first()
    if found is None:
        raise NotFound(f"there is no platform {key!r}")
    return found[0], found[1]


def load_platform(session: Session, platform_id: int) -> LoadedPlatform:
    """A platform with all its parts. Raises NotFound."""
    p, e, c, n = table("platform"), table("edition"), table("connector"), table("pin")
    head = session.execute(
        sa.select(p.c.key, p.c.name, p.c.role, p.c.nominal_v, p.c.note, p.c.source, p.c.version).where(
            p.c.id == platform_id
        )
    ).first()
    if head is None:
        raise NotFound("this platform has been deleted")
    key, name, role, nominal_v, note, source, version = head
    editions = tuple(
        Edition(**dict(zip(_EDITION_COLUMNS, row, strict=True)))
        for row in session.execute(
            sa.select(*(e.c[x] for x in _EDITION_COLUMNS)).where(e.c.platform_id == platform_id).order_by(e.c.position)
        )
    )
    connectors, connector_ids, name_of = [], {}, {}
    for connector_id, joined, *values in session.execute(
        sa.select(c.c.id, c.c.editions, *(c.c[x] for x in _CONNECTOR_COLUMNS))
        .where(c.c.platform_id == platform_id)
        .order_by(c.c.position)
    ):
        connector = Connector(editions=split(joined), **dict(zip(_CONNECTOR_COLUMNS, values, strict=True)))
        connectors.append(connector)
        connector_ids[ConnectorKey(key, connector.name)] = connector_id
        name_of[connector_id] = connector.name
    pins, pin_ids = [], {}
    for pin_id, connector_id, cavity, edition, extra, *values in session.execute(
        sa.select(n.c.id, n.c.connector_id, n.c.cavity, n.c.edition, n.c.extra, *(n.c[x] for x in _PIN_COLUMNS))
        .join_from(n, c)
        .where(c.c.platform_id == platform_id)
        .order_by(n.c.position, n.c.id)
    ):
        on = name_of[connector_id]
        pins.append(
            Pin(
                connector=on,
                cavity=cavity,
                editions=split(edition),
                extra=tuple((str(a), str(b)) for a, b in extra) if extra else (),
                **dict(zip(_PIN_COLUMNS, values, strict=True)),
            )
        )
        pin_ids[PinKey(key, on, cavity, edition)] = pin_id
    platform = Platform(
        key=key, name=name, role=role, editions=editions, connectors=tuple(connectors), pins=tuple(pins),
        nominal_v=nominal_v, note=note, source=source,
    )  # fmt: skip
    return LoadedPlatform(platform_id, version, platform, connector_ids, pin_ids)


def add_platform(session: Session, platform: Platform) -> int:
    """Stores a new platform and gives its id. Raises InputError when the key is taken, StructureError when the
    platform contradicts itself."""
    p = table("platform")
    head = checked(p, _head(platform))
    if session.execute(sa.select(p.c.id).where(p.c.key == platform.key)).first() is not None:
        raise InputError("key", platform.key, "choose another key, this one is taken")
    head |= {"version": 1, "changed": now()}
    platform_id: int = session.execute(sa.insert(p).values(**head).returning(p.c.id)).scalar_one()
    _write_parts(session, platform_id, platform)
    return platform_id


def save_platform(session: Session, platform_id: int, platform: Platform) -> int:
    """Writes what differs; rows keep their ids by name, so jobs stay joined to them. Gives the number of rows
    written. Renames go through ``rename_connector`` and ``rename_pin`` first."""
    p = table("platform")
    session.execute(sa.update(p).where(p.c.id == platform_id).values(**checked(p, _head(platform))))
    return 1 + _write_parts(session, platform_id, platform)


def _head(platform: Platform) -> dict[str, Any]:
    return {
        "key": platform.key, "name": platform.name, "role": platform.role, "nominal_v": platform.nominal_v,
        "note": platform.note, "source": platform.source,
    }  # fmt: skip


def _write_parts(session: Session, platform_id: int, platform: Platform) -> int:
    check_platform(platform)
    e, c, n = table("edition"), table("connector"), table("pin")
    fixed = {"platform_id": platform_id}
    wanted_editions = ({k: getattr(x, k) for k in _EDITION_COLUMNS} for x in platform.editions)
    wanted_connectors = (
        {k: getattr(x, k) for k in _CONNECTOR_COLUMNS} | {"editions": ";".join(x.editions)} for x in platform.connectors
    )
    written = apply(
        session,
        [
            plan(session, e, fixed, ("key",), wanted_editions),
            plan(session, c, fixed, ("name",), wanted_connectors),
        ],
    )
    ids = {
        name: connector_id
        for connector_id, name in session.execute(sa.select(c.c.id, c.c.name).where(c.c.platform_id == platform_id))
    }
    wanted_pins = (
        {k: getattr(x, k) for k in _PIN_COLUMNS}
        | {
            "connector_id": ids[x.connector],
            "cavity": x.cavity,
            "edition": ";".join(x.editions),
            "extra": [list(pair) for pair in x.extra] or None,
        }
        for x in platform.pins
    )
    scope = n.c.connector_id.in_(sa.select(c.c.id).where(c.c.platform_id == platform_id))
    return written + apply(
        session, [plan(session, n, {}, ("connector_id", "cavity", "edition"), wanted_pins, where=scope)]
    )


def check_platform(platform: Platform) -> None:
    """Raises InputError or StructureError where a platform contradicts itself."""
    if not platform.key.strip():
        raise InputError("key", platform.key, "give the platform a key")
    editions = {x.key for x in platform.editions}
    for edition in platform.editions:
        if not edition.key or ";" in edition.key:
            raise InputError("edition", edition.key, "give the edition a key without semicolon")
    names = {x.name for x in platform.connectors}
    seen: set[PinKey] = set()
    for connector in platform.connectors:
        if not connector.name.strip():
            raise InputError("connector", connector.name, "give the connector a name")
        _check_editions(connector.editions, editions, f"connector {connector.name}")
    for pin in platform.pins:
        key = pin.key(platform.key)
        if not pin.cavity.strip():
            raise InputError("cavity", pin.cavity, f"name the cavity of connector {pin.connector}")
        if pin.connector not in names:
            raise StructureError(
                f"pin {key} is in connector {pin.connector!r}, which {platform.name} does not have", (str(key),)
            )
        if key in seen:
            raise StructureError(f"pin {key} stands twice in {platform.name}", (str(key),))
        seen.add(key)
        _check_editions(pin.editions, editions, f"pin {key}")


def _check_editions(named: Iterable[str], known: set[str], what: str) -> None:
    for edition in named:
        if edition not in known:
            raise InputError("edition", edition, f"{what} names an edition the platform does not have; add it first")


def rename_connector(session: Session, platform_id: int, old: str, new: str) -> None:
    """Renames a connector in place. Raises NotFound, or InputError when the new name is taken."""
    c = table("connector")
    if (
        session.execute(
            sa.select(c.c.id).where(c.c.platform_id == platform_id, c.c.name == sound(c.c.name, new))
        ).first()
        is not None
    ):
        raise InputError("name", new, "choose another name, the platform has such a connector")
    mine = sa.and_(c.c.platform_id == platform_id, c.c.name == old)
    if touched(session, sa.update(c).where(mine).values(name=sound(c.c.name, new))) != 1:
        raise NotFound(f"there is no connector {old!r}")


def rename_pin(session: Session, pin_id: int, connector_id: int, cavity: str, edition: str) -> None:
    """Moves a pin to another cavity, connector or set of editions in place. Raises InputError when that is taken."""
    n = table("pin")
    taken = sa.select(n.c.id).where(
        n.c.connector_id == connector_id, n.c.cavity == cavity, n.c.edition == edition, n.c.id != pin_id
    )
    if session.execute(taken).first() is not None:
        raise InputError("cavity", cavity, "choose another cavity, this one has an entry for the same editions")
    session.execute(
        sa.update(n)
        .where(n.c.id == pin_id)
        .values(**checked(n, {"connector_id": connector_id, "cavity": cavity, "edition": edition}))
    )


def delete_platform(session: Session, platform_id: int) -> None:
    """Deletes a platform with all its parts."""
    p = table("platform")
    session.execute(sa.delete(p).where(p.c.id == platform_id))


def jobs_using(session: Session, platform_id: int, *, lock: bool = True) -> tuple[tuple[int, str, str], ...]:
    """(id, key, name) of the jobs that pick a platform; ``lock`` keeps them unchanged until the transaction ends."""
    j, k = table("job"), table("pick")
    users = sa.select(k.c.job_id).where(k.c.platform_id == platform_id)
    query = sa.select(j.c.id, j.c.key, j.c.name).where(j.c.id.in_(users)).order_by(j.c.id)
    found = session.execute(query.with_for_update() if lock else query)
    return tuple((row[0], row[1], row[2]) for row in found)


def jobs_picking_edition(session: Session, platform_id: int, edition: str) -> tuple[str, ...]:
    """Names of the jobs that pick an edition of a platform."""
    j, k = table("job"), table("pick")
    found = session.execute(
        sa.select(j.c.name)
        .select_from(k.join(j, j.c.id == k.c.job_id))
        .where(k.c.platform_id == platform_id, k.c.edition == edition)
        .distinct()
        .order_by(j.c.name)
    )
    return tuple(row[0] for row in found)


def pin_uses(session: Session, pin_ids: Sequence[int]) -> tuple[str, ...]:
    """Where jobs use these pins, in words."""
    j, s, m, f = table("job"), table("signal"), table("member"), table("pin_fate")
    joined = session.execute(
        sa.select(j.c.name, s.c.name)
        .select_from(m.join(s, sa.and_(s.c.job_id == m.c.job_id, s.c.key == m.c.signal)).join(j, j.c.id == m.c.job_id))
        .where(m.c.pin_id.in_(pin_ids))
        .distinct()
    )
    fated = session.execute(
        sa.select(j.c.name, f.c.fate).select_from(f.join(j)).where(f.c.pin_id.in_(pin_ids)).distinct()
    )
    uses = [f"signal {signal!r} of job {job!r}" for job, signal in joined]
    return tuple(sorted(uses + [f"{fate.value} in job {job!r}" for job, fate in fated]))


def connector_uses(session: Session, connector_id: int) -> tuple[str, ...]:
    """Jobs whose loom mates with a connector, in words."""
    j, n = table("job"), table("node")
    found = session.execute(
        sa.select(j.c.name, n.c.key).select_from(n.join(j)).where(n.c.mates_id == connector_id).distinct()
    )
    return tuple(sorted(f"loom connector {node} of job {job!r}" for job, node in found))


def split(joined: str) -> tuple[str, ...]:
    """Edition keys out of their joined text."""
    return tuple(joined.split(";")) if joined else ()


def platform_version(session: Session, platform_id: int) -> int:
    """The version of a platform. Raises NotFound."""
    p = table("platform")
    found = session.execute(sa.select(p.c.version).where(p.c.id == platform_id)).scalar_one_or_none()
    if found is None:
        raise NotFound("this platform has been deleted")
    return int(found)
