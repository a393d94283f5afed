"""Jobs through the services: two people, copies, files, the graph, what is remembered."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

import pytest
import sqlalchemy as sa

from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, FileRejected, InputError, NotFound, StructureError
from pinmap.core.model.jobs import Job, Pick, Seat, Snapshot
from pinmap.core.model.pinouts import Housing, PinKey
from pinmap.core.model.words import Fate, Role
from pinmap.services import jobs, platforms
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop
from pinmap.store import graph, platform_rows
from pinmap.store import jobs as rows
from tests.factories_store import big_snapshot, platform, seats

A, B = platform("donor", Role.DONOR, 2, 10), platform("host", Role.HOST, 2, 10)


def fill(shop: Shop) -> JobView:
    with shop.write() as session:
        for p in (A, B):
            platform_rows.add_platform(session, p)
    return jobs.create_job(shop, "j", "Job", seats(A, B))


def pair(n: int) -> list[PinKey]:
    return [PinKey("donor", "X1", str(n)), PinKey("host", "X1", str(n))]


def joining(n: int) -> Callable[[Job, Snapshot], Job]:
    return lambda job, _: edits.join(job, pair(n), name=f"Signal {n}")  # type: ignore[arg-type]  # pins are ends


def test_edit_is_seen_by_another_process(shop: Shop, new_shop: Callable[[], Shop]) -> None:
    view = fill(shop)
    other = new_shop()
    assert jobs.get(other, "j").snapshot == view.snapshot
    view = jobs.edit(shop, "j", view.version, joining(1), "join")
    assert view.version == 2
    seen = jobs.get(other, "j")
    assert seen.snapshot == view.snapshot
    assert seen.snapshot.content_hash == view.snapshot.content_hash


def test_unchanged_job_is_served_from_memory_by_one_query(shop: Shop) -> None:
    view = fill(shop)
    first = jobs.get(shop, "j")
    asked: list[str] = []
    sa.event.listen(shop.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    assert jobs.get(shop, "j").snapshot is first.snapshot
    assert len([q for q in asked if q.startswith("SELECT")]) == 2  # the versions, and the dictionary's stamp
    assert view.version == 1


def test_stale_version_is_refused_and_nothing_is_lost(shop: Shop, new_shop: Callable[[], Shop]) -> None:
    view = fill(shop)
    jobs.edit(shop, "j", view.version, joining(1))
    with pytest.raises(Conflict, match="somebody else"):
        jobs.edit(new_shop(), "j", view.version, joining(2))
    assert [s.name for s in jobs.get(shop, "j").job.signals] == ["Signal 1"]


def test_many_people_at_once_lose_nothing(shop: Shop, new_shop: Callable[[], Shop]) -> None:
    """Each tries again after a Conflict; in the end every change is there exactly once."""
    fill(shop)
    shops = [new_shop() for _ in range(4)]
    conflicts = []
    failed: list[BaseException] = []

    def work(mine: Shop, numbers: range) -> None:
        try:
            for n in numbers:
                for _ in range(200):
                    try:
                        jobs.edit(mine, "j", jobs.get(mine, "j").version, joining(n))
                        break
                    except Conflict:
                        conflicts.append(n)
                else:
                    raise AssertionError(f"{n} never came through")
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=work, args=(s, range(i + 1, 11, 4))) for i, s in enumerate(shops)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert not failed
    job = jobs.get(shop, "j").job
    assert sorted(s.name for s in job.signals) == sorted(f"Signal {n}" for n in range(1, 11))
    assert len({s.number for s in job.signals}) == 10
    assert jobs.get(shop, "j").version == 11


def test_failed_change_leaves_everything_as_it_was(shop: Shop) -> None:
    view = fill(shop)

    def bad(job: Job, _: Snapshot) -> Job:
        return replace(job, name="new", note="nul\x00")

    with pytest.raises(InputError, match="note"):
        jobs.edit(shop, "j", view.version, bad)
    again = jobs.get(shop, "j")
    assert (again.version, again.job.name) == (1, "Job")
    jobs.edit(shop, "j", 1, lambda j, _: replace(j, name="good"))
    assert jobs.get(shop, "j").job.name == "good"


def test_numbers_are_remembered_as_the_database_has_them(shop: Shop, new_shop: Callable[[], Shop]) -> None:
    """A whole number given for a length is stored as 2.0; the editing process must not go on with 2."""
    view = fill(shop)

    def whole_numbers(job: Job, _: Snapshot) -> Job:
        case = replace(job.load_cases[0], supply_v=12)
        return replace(job, practice=replace(job.practice, min_mm2=1), load_cases=(case,))

    view = jobs.edit(shop, "j", view.version, whole_numbers)
    assert jobs.get(new_shop(), "j").snapshot.content_hash == view.snapshot.content_hash


def test_graph_follows_the_job(shop: Shop) -> None:
    view = fill(shop)
    view = jobs.edit(shop, "j", view.version, joining(3))

    def reached() -> set[str]:
        with shop.read() as session:
            stands = rows.versions(session, "j")
            loaded = [platform_rows.load_platform(session, i) for i, _ in stands.platforms]
            ids = {k: v for p in loaded for k, v in p.pin_ids.items()}
            found = graph.follow(session, stands.job_id, graph.pin_point(ids[pair(3)[0]]))
            return {str(k) for k, v in ids.items() if v in {r.pin_id for r in found}}

    assert reached() == {str(p) for p in pair(3)}
    platforms.update_connector(shop, "host", 1, "X1", new_name="C101")
    assert reached() == {"donor:X1-3", "host:C101-3"}
    view = jobs.get(shop, "j")
    jobs.edit(shop, "j", view.version, lambda job, _: edits.dissolve(job, job.signals[0].key))
    assert reached() == set()


def test_job_file_goes_out_and_into_another_shop(shop: Shop, tmp_path: object) -> None:
    view = fill(shop)
    view = jobs.edit(shop, "j", view.version, joining(1))
    data = jobs.export_json(shop, "j")
    other = Shop("sqlite://")
    other.upgrade()
    taken = jobs.import_json(other, data)
    assert taken.snapshot == view.snapshot
    assert taken.snapshot.content_hash == view.snapshot.content_hash
    other.close()


def test_import_beside_what_is_there(shop: Shop) -> None:
    fill(shop)
    data = jobs.export_json(shop, "j")
    with pytest.raises(StructureError, match="there is such a job"):
        jobs.import_json(shop, data)
    second = jobs.import_json(shop, data, rename=True)
    assert second.job.key == "j-2"
    assert len(platforms.list_platforms(shop)) == 2  # the same content is shared
    platforms.rename(shop, "host", 1, "Other name")
    third = jobs.import_json(shop, data, rename=True)
    assert third.job.key == "j-3"
    assert [p.platform for s in third.job.seats for p in s.picks] == ["donor", "host-2"]
    assert third.snapshot.platform["host-2"].name == "Host"


def test_clashing_platform_is_refused_by_name(shop: Shop) -> None:
    fill(shop)
    data = jobs.export_json(shop, "j").replace(b'"key": "j"', b'"key": "k"')
    platforms.rename(shop, "host", 1, "Other name")
    data = b"\n".join(line for line in data.splitlines() if b"content_hash" not in line)
    with pytest.raises(StructureError, match="platform host"):
        jobs.import_json(shop, data)
    assert [line.key for line in jobs.list_jobs(shop)] == ["j"]


def test_bad_file_stores_nothing(shop: Shop) -> None:
    with pytest.raises(FileRejected):
        jobs.import_json(shop, b"{")
    assert shop.is_empty()


def test_copy_and_delete(shop: Shop) -> None:
    view = fill(shop)
    jobs.edit(shop, "j", view.version, joining(1))
    copied = jobs.copy(shop, "j", "", "Job two")
    assert copied.job.key == "job-two"
    assert copied.job.signals == jobs.get(shop, "j").job.signals
    with pytest.raises(Conflict):
        jobs.delete(shop, "j", 1)
    jobs.delete(shop, "j", 2)
    with pytest.raises(NotFound):
        jobs.get(shop, "j")
    with shop.read() as session:
        assert session.execute(sa.text("SELECT count(DISTINCT job_id) FROM edge")).scalar_one() == 1


def test_list_says_how_far_each_job_is(shop: Shop) -> None:
    view = fill(shop)
    view = jobs.edit(shop, "j", view.version, joining(1))
    jobs.edit(shop, "j", view.version, lambda j, _: edits.set_fate(j, PinKey("host", "X2", "1"), Fate.PARKED, "spare"))
    (line,) = jobs.list_jobs(shop)
    assert (line.pins, line.undecided, line.signals, line.donor, line.host) == (40, 37, 1, "Donor", "Host")


def test_seats_can_change_to_another_platform(shop: Shop) -> None:
    view = fill(shop)
    platforms.create(shop, name="Box", role=Role.CONTROL)
    seat = Seat(key="box", name="Box", role=Role.CONTROL, picks=(Pick("box"),))
    view = jobs.edit(shop, "j", view.version, lambda j, _: edits.add_seat(j, seat))
    assert [p.key for p in view.snapshot.platforms] == ["donor", "host", "box"]
    with pytest.raises(StructureError, match="Job"):
        platforms.delete(shop, "box", 1)
    missing = replace(seat, key="none", picks=(Pick("none"),))
    with pytest.raises(NotFound):
        jobs.edit(shop, "j", view.version, lambda j, _: edits.add_seat(j, missing))


def test_changed_housing_reaches_the_job(shop: Shop, new_shop: Callable[[], Shop]) -> None:
    from pinmap.services import housings

    version = housings.create(shop, Housing(key="own", name="Own"))
    fill(shop)
    platforms.update_connector(shop, "host", 1, "X1", housing="own")
    other = new_shop()
    assert jobs.get(other, "j").snapshot.housing["own"].name == "Own"
    housings.update(shop, Housing(key="own", name="Changed"), version)
    assert jobs.get(other, "j").snapshot.housing["own"].name == "Changed"
    with pytest.raises(StructureError, match="connector X1"):
        housings.delete(shop, "own")


def test_uncommitted_state_is_never_remembered(shop: Shop) -> None:
    """A change undone late, and another one under the same version number after it."""
    fill(shop)

    def change_and_fail() -> None:
        with shop.write() as session:
            platforms.change_in(shop, session, "host", 1, "", lambda _s, old: replace(old.platform, name="Undone"))
            jobs.view_in(shop, session, "j")
            raise RuntimeError("too late")

    with pytest.raises(RuntimeError, match="too late"):
        change_and_fail()
    platforms.rename(shop, "host", 1, "Done")
    assert jobs.get(shop, "j").snapshot.platform["host"].name == "Done"
    assert platforms.get(shop, "host").platform.name == "Done"


def test_big_edit_writes_little_and_fast(shop: Shop) -> None:
    snapshot = big_snapshot(4000, 1900)
    with shop.write() as session:
        jobs.store_snapshot(shop, session, snapshot)
    view = jobs.get(shop, "big")
    view = jobs.edit(shop, "big", 1, lambda j, _: edits.update_signal(j, "s0005", name="Other"))
    assert view.snapshot.signal["s0005"].name == "Other"
