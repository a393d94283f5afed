"""Checking off at the bench: who and when are kept, nothing is taken away, and what changed is to be done again."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from pinmap.core.build.check_off import LineState, Standing
from pinmap.core.crossing import edits
from pinmap.core.errors import InputError, NotAllowed, NotFound, StructureError
from pinmap.core.model.bench import Stage, Verdict
from pinmap.core.model.people import RIGHTS, VISITOR, Actor, PersonRole
from pinmap.services import audit, backup, bench, demo, integrity, jobs, people, revisions
from pinmap.services.analysis import Analysis, analyse
from pinmap.services.shop import Shop
from pinmap.store.audit import Query
from tests.factories_store import big_snapshot
from tests.factories_web import make_bench

KEY = "bench"


@pytest.fixture
def made(shop: Shop) -> Shop:
    make_bench(shop)
    return shop


def as_person(shop: Shop, role: PersonRole, name: str) -> Shop:
    person, _ = people.invite(shop, name, name.lower().replace(" ", "-"), role)
    return shop.acting_as(Actor(name, RIGHTS[role], person.id))


def done(shop: Shop) -> Analysis:
    view = jobs.get(shop, KEY)
    return analyse(view.snapshot, view.snapshot.variants[0], view.dictionary)


def line(shop: Shop, stage: Stage, number: int = 0, serial: str = "") -> LineState:
    return bench.sheet(shop, done(shop), serial).of(stage)[number]


def tick(shop: Shop, state: LineState, verdict: Verdict, as_shown: str = "", **more: object) -> LineState:
    shown = as_shown or bench.shown(state)
    return bench.check_off(shop, done(shop), state.ref, as_shown=shown, verdict=verdict, **more)  # type: ignore[arg-type]  # value, note, serial


def widen(shop: Shop) -> None:
    version = jobs.get(shop, KEY).version
    wider = replace(jobs.get(shop, KEY).job.signals[0], mm2=6.0)
    jobs.edit(shop, KEY, version, lambda j, _: replace(j, signals=(wider, *j.signals[1:])))


def test_a_technician_checks_off_and_it_is_written_down_who_and_when(made: Shop) -> None:
    tess = as_person(made, PersonRole.TECHNICIAN, "Tess Fitter")
    tick(tess, line(made, Stage.CUT), Verdict.DONE, note="from the new spool")
    test = line(made, Stage.CONTINUITY)
    assert test.line is not None
    assert test.line.limit_ohm is not None
    tick(tess, test, Verdict.PASSED, value=test.line.limit_ohm)
    tick(tess, line(made, Stage.ISOLATION), Verdict.FAILED, value=2.5)
    cut, read, isolated = (line(made, s) for s in (Stage.CUT, Stage.CONTINUITY, Stage.ISOLATION))
    assert [s.standing for s in (cut, read, isolated)] == [Standing.DONE, Standing.PASSED, Standing.FAILED]
    assert cut.last is not None
    assert (cut.last.who, cut.last.note) == ("Tess Fitter", "from the new spool")
    assert read.last is not None
    assert read.last.value_ohm == test.line.limit_ohm
    assert isolated.last is not None
    assert isolated.last.value_ohm == 2.5e6
    sheet = bench.sheet(made, done(made))
    assert sheet.tested.failed == 1
    assert sheet.made.good == 1
    assert [len(of) for of in sheet.by_wire.values()] == [3] * len(sheet.by_wire)
    (entry, *_) = audit.entries(made, Query(kind="job", who="Tess Fitter")).entries
    assert entry.what == "isolation checked off at the bench"
    assert entry.changes[0].new == "failed; 2.5 MΩ"


def test_visitors_may_not(made: Shop) -> None:
    state, now = line(made, Stage.CUT), done(made)
    with pytest.raises(NotAllowed):
        bench.check_off(made.acting_as(VISITOR), now, state.ref, as_shown=bench.shown(state), verdict=Verdict.DONE)


def test_the_same_line_twice_keeps_both(made: Shop) -> None:
    tess, bert = (
        as_person(made, r, n) for r, n in ((PersonRole.TECHNICIAN, "Tess Fitter"), (PersonRole.BUILDER, "Bert Smith"))
    )
    seen = line(made, Stage.ENDS)
    tick(tess, seen, Verdict.DONE)
    tick(bert, seen, Verdict.FAILED)  # had the page open since before
    state = line(made, Stage.ENDS)
    assert [(e.who, e.verdict) for e in state.history] == [("Tess Fitter", "done"), ("Bert Smith", "failed")]
    assert state.standing is Standing.FAILED
    tick(bert, state, Verdict.TAKEN_BACK)
    assert line(made, Stage.ENDS).standing is Standing.OPEN
    assert len(line(made, Stage.ENDS).history) == 3


def test_a_form_that_arrives_twice_counts_once(made: Shop) -> None:
    state = line(made, Stage.CUT)
    shown = bench.shown(state)

    def send(_: int) -> None:
        tick(made, state, Verdict.DONE, shown)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(send, range(12)))
    assert len(line(made, Stage.CUT).history) == 1
    tick(made, state, Verdict.FAILED, shown)  # another button on the same page is another entry
    assert len(line(made, Stage.CUT).history) == 2


def test_many_people_at_once_never_refuse_one_another(made: Shop) -> None:
    people_ = [as_person(made, PersonRole.TECHNICIAN, f"Tess {n}") for n in range(4)]
    refs = bench.sheet(made, done(made)).states

    def work(shop: Shop) -> None:
        for state in refs:
            tick(shop, state, Verdict.PASSED if state.stage.measured else Verdict.DONE)

    with ThreadPoolExecutor(4) as pool:
        list(pool.map(work, people_))
    sheet = bench.sheet(made, done(made))
    assert all(sorted(e.who for e in s.history) == ["Tess 0", "Tess 1", "Tess 2", "Tess 3"] for s in sheet.states)
    assert sheet.made.complete
    assert sheet.tested.complete


def test_what_changed_after_it_was_checked_off_is_to_be_done_again(made: Shop) -> None:
    first = line(made, Stage.CUT)
    tick(made, first, Verdict.DONE)
    shown = bench.shown(first)
    widen(made)
    assert first.line is not None
    state = next(s for s in bench.sheet(made, done(made)).of(Stage.CUT) if s.line and s.line.key == first.line.key)
    assert state.standing is Standing.AGAIN
    assert [(c.field, c.old, c.new) for c in state.changes("metric")] == [("size", "4 mm²", "6 mm²")]
    with pytest.raises(StructureError, match="has changed since the page was opened; it is now: size 6 mm²"):
        tick(made, state, Verdict.DONE, shown)
    tick(made, state, Verdict.DONE)
    jobs.edit(
        made, KEY, jobs.get(made, KEY).version, lambda j, _: replace(j, customer="another", note="nothing of the build")
    )
    again = next(s for s in bench.sheet(made, done(made)).of(Stage.CUT) if s.line and s.line.key == first.line.key)
    assert again.standing is Standing.DONE


def test_a_wire_that_left_the_loom_is_to_be_taken_out(made: Shop) -> None:
    first = line(made, Stage.CUT)
    tick(made, first, Verdict.DONE)
    view = jobs.get(made, KEY)
    jobs.edit(made, KEY, view.version, lambda j, s: edits.dissolve(j, "s001"))
    (gone,) = [s for s in bench.sheet(made, done(made)).states if s.line is None]
    with pytest.raises(InputError, match="taken back"):
        tick(made, gone, Verdict.DONE)
    tick(made, gone, Verdict.TAKEN_BACK)
    assert all(s.line is not None for s in bench.sheet(made, done(made)).states)


def test_looms_are_told_apart_by_serial_number_and_measured_against_each_state(shop: Shop) -> None:
    demo.load(shop)
    key = "q24-brindle"
    view = jobs.get(shop, key)
    revisions.release(shop, key, view.version, "A. Fitter")
    frozen = revisions.get(shop, key, "A")
    now = analyse(view.snapshot, view.snapshot.variants[0], view.dictionary)
    first = bench.sheet(shop, now, "007").of(Stage.CUT)[0]
    bench.check_off(shop, now, first.ref, as_shown=bench.shown(first), verdict=Verdict.DONE, serial=" 007 ")
    assert bench.sheet(shop, now).made.good == 0
    assert first.line is not None
    signal = next(s for s in view.job.signals if s.key == now.routing.wire[first.line.key].signal)
    thicker = tuple(replace(s, mm2=25.0) if s is signal else s for s in view.job.signals)
    after = jobs.edit(shop, key, jobs.get(shop, key).version, lambda j, _: replace(j, signals=thicker))
    (old,) = bench.summaries(shop, frozen.snapshot, frozen.dictionary)
    (new,) = bench.summaries(shop, after.snapshot, after.dictionary)
    assert (old.serial, new.serial) == ("007", "007")
    assert old.sheet is not None
    assert new.sheet is not None
    assert (old.sheet.made.good, old.sheet.made.again) == (1, 0)
    assert (new.sheet.made.good, new.sheet.made.again) == (0, 1)


def test_refused_entries_name_the_field_and_the_remedy(made: Shop) -> None:
    test = line(made, Stage.CONTINUITY)
    for more, match in (
        ({"value": 2.0}, "above the limit of 0.05"),
        ({"value": -1.0}, "0 or more"),
        ({"value": float("inf")}, "0 or more"),
        ({"note": "x" * 1001}, "shorten it to 1000"),
        ({"serial": "x" * 41}, "shorten it to 40"),
    ):
        with pytest.raises(InputError, match=match):
            tick(made, test, Verdict.PASSED, **more)  # type: ignore[arg-type]  # as named
    with pytest.raises(InputError, match="below the limit of 10 MΩ"):
        tick(made, line(made, Stage.ISOLATION), Verdict.PASSED, value=9.9)
    with pytest.raises(InputError, match="choose one of: done"):
        tick(made, line(made, Stage.CUT), Verdict.PASSED)
    with pytest.raises(InputError, match="only a test has a reading"):
        tick(made, line(made, Stage.CUT), Verdict.DONE, value=1.0)
    with pytest.raises(NotFound):
        bench.sheet(made, done(made), "\x00")
    with pytest.raises(NotFound):
        bench.sheet(made, done(made), "\ud800")
    with pytest.raises(InputError, match="NUL"):
        tick(made, line(made, Stage.CUT), Verdict.DONE, note="a\x00b")
    with pytest.raises(NotFound):
        bench.check_off(made, done(made), "nothing", as_shown="x", verdict=Verdict.DONE)
    assert not any(s.history for s in bench.sheet(made, done(made)).states)


@pytest.mark.parametrize(
    "deed",
    [
        "UPDATE check_off SET verdict = 'passed'",
        "DELETE FROM check_off",
        "INSERT OR REPLACE INTO check_off SELECT * FROM check_off",
        "TRUNCATE check_off",
    ],
)
def test_the_database_takes_no_entry_back(made: Shop, deed: str) -> None:
    tick(made, line(made, Stage.CUT), Verdict.DONE)
    sqlite = made.engine.dialect.name == "sqlite"
    if sqlite == deed.startswith("TRUNCATE") or (not sqlite and "REPLACE" in deed):
        return  # the other engine's words
    with pytest.raises(sa.exc.DBAPIError, match="only added to"), made.engine.begin() as connection:
        connection.exec_driver_sql(deed)
    assert line(made, Stage.CUT).standing is Standing.DONE


def test_a_job_that_was_worked_on_is_kept(made: Shop) -> None:
    tick(made, line(made, Stage.CUT), Verdict.DONE)
    with pytest.raises(StructureError, match="1 lines of the job were checked off at the bench; keep it"):
        jobs.delete(made, KEY, jobs.get(made, KEY).version)


def test_backup_move_and_integrity_cover_it(
    made: Shop, new_db: Callable[..., str], engine_name: str, tmp_path: Path
) -> None:
    tick(made, line(made, Stage.CONTINUITY), Verdict.FAILED, value=0.75, note="=1+1 “Ω”\nsecond line")
    url = made.engine.url.render_as_string(hide_password=False)
    before = line(made, Stage.CONTINUITY).history
    backup.backup(url, tmp_path / "b.zip")
    other = new_db({"sqlite": "postgres", "postgres": "sqlite"}[engine_name])
    backup.move(url, other)
    back = new_db(engine_name)
    backup.restore(back, tmp_path / "b.zip")
    for found in (other, back):
        assert integrity.check(found).faults == ()
        with closing(Shop(found)) as shop:
            assert line(shop, Stage.CONTINUITY).history == before
            tick(shop, line(shop, Stage.CUT), Verdict.DONE)
            with pytest.raises(sa.exc.DBAPIError, match="only added to"), shop.engine.begin() as connection:
                connection.exec_driver_sql("DELETE FROM check_off")
    with made.engine.connect() as connection:
        if engine_name == "sqlite":
            trigger = connection.exec_driver_sql("SELECT sql FROM sqlite_master WHERE name = 'check_off_no_update'")
            again = str(trigger.scalar_one())
            connection.exec_driver_sql("DROP TRIGGER check_off_no_update")
        else:
            again = "SET session_replication_role = origin"
            connection.exec_driver_sql("SET session_replication_role = replica")
        connection.exec_driver_sql("UPDATE check_off SET digest = 'other'")
        connection.exec_driver_sql(again)
        connection.commit()
    told = [(f.table, f.what) for f in integrity.check(url).faults]
    assert told == [("check_off", "what was checked off is not what its hash says")]


def test_a_long_history_is_one_question_to_the_database(shop: Shop) -> None:
    with shop.write() as session:
        jobs.store_snapshot(shop, session, big_snapshot(100, 2))
    view = jobs.get(shop, "big")
    now = analyse(view.snapshot, view.snapshot.variants[0], view.dictionary)
    asked: list[str] = []
    sa.event.listen(shop.engine, "before_cursor_execute", lambda *a: asked.append(a[2]))
    bench.sheet(shop, now)
    assert sum("check_off" in text for text in asked) == 2
