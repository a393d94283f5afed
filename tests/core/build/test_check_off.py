"""What is checked off at the bench follows from the build; what was written down stands as long as the line is the
same."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from itertools import pairwise

from pinmap.core.build.check_off import Line, LineState, Standing, lines, progress, states
from pinmap.core.build.ring_out import ring_out
from pinmap.core.model.bench import Entry, Stage, Verdict, digest
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Kind
from pinmap.services.analysis import analyse
from tests.factories_electrics import IN, OUT, bench_loom, in_two_looms
from tests.factories_rules import change_job, change_segment, change_signal, clean


def made_of(snapshot: Snapshot) -> tuple[Line, ...]:
    done = analyse(snapshot, snapshot.variants[0])
    return lines(snapshot, done.routing, done.build_rows, ring_out(snapshot, done.routing))


@lru_cache(1)
def of_clean() -> tuple[Line, ...]:
    return made_of(clean())


def entry(line: Line, verdict: Verdict, number: int = 1, who: str = "Tess") -> Entry:
    at = datetime(2026, 3, 1, tzinfo=UTC) + timedelta(hours=number)
    return Entry(
        id=number, stage=line.stage, line=line.key, name=line.name, content=line.content, digest=line.digest,
        verdict=verdict, value_ohm=None, note="", who=who, at=at,
    )  # fmt: skip


def test_every_wire_end_and_test_has_one_line() -> None:
    snapshot = clean()
    done = analyse(snapshot, snapshot.variants[0])
    plan = ring_out(snapshot, done.routing)
    count = {stage: sum(x.stage is stage for x in of_clean()) for stage in Stage}
    assert count == {
        Stage.CUT: len(done.routing.wires),
        Stage.ENDS: 2 * len(done.routing.wires),
        Stage.CONTINUITY: len(plan.continuity),
        Stage.ISOLATION: len(plan.isolation),
    }
    assert len({(x.stage, x.key) for x in of_clean()}) == len({x.ref for x in of_clean()}) == len(of_clean())


def test_the_same_build_gives_the_same_hashes() -> None:
    again = {(x.stage, x.key): x.digest for x in made_of(clean())}
    assert again == {(x.stage, x.key): x.digest for x in of_clean()}
    assert digest((("mm2", 4),)) == digest((("mm2", 4.0),)) != digest((("mm2", 4.1),))


def test_cutting_goes_the_longest_of_a_spool_first_and_ends_go_by_connector() -> None:
    cuts = [x for x in of_clean() if x.stage is Stage.CUT]
    for a, b in pairwise(cuts):
        assert a.place != b.place or dict(a.content)["cut_m"] >= dict(b.content)["cut_m"]
    places = [x.place for x in of_clean() if x.stage is Stage.ENDS]
    assert len(list(dict.fromkeys(places))) == sum(a != b for a, b in zip(["", *places], places, strict=False))


def state_of(now: tuple[Line, ...], written: list[Entry], stage: Stage, key: str) -> LineState:
    return next(s for s in states(now, written) if s.stage is stage and s.line is not None and s.line.key == key)


def test_a_thicker_wire_is_cut_crimped_and_measured_again_and_says_why() -> None:
    signal = clean().job.signals[0]
    written = [entry(x, Verdict.PASSED if x.stage.measured else Verdict.DONE, n) for n, x in enumerate(of_clean(), 1)]
    assert progress(states(of_clean(), written)).complete
    changed = made_of(change_signal(clean(), signal.number, mm2=6.0))
    again = [s for s in states(changed, written) if s.standing is Standing.AGAIN]
    wires = {s.line.key.split(" ")[0] for s in again if s.line and s.stage in (Stage.CUT, Stage.ENDS)}
    assert wires
    assert all(w.startswith(str(signal.number)) for w in wires)
    assert {s.stage for s in again} == {Stage.CUT, Stage.ENDS, Stage.CONTINUITY}  # no point of a net was changed
    cut = next(s for s in again if s.stage is Stage.CUT)
    (change,) = [c for c in cut.changes("metric") if c.field == "size"]
    assert (change.old, change.new) == (f"{signal.mm2:g} mm²", "6 mm²")
    measured = next(s for s in again if s.stage is Stage.CONTINUITY)
    assert any(c.field.startswith("wire ") and "6 mm²" in c.new for c in measured.changes("metric"))
    assert any(c.field == "at most" and c.old.endswith("Ω") for c in measured.changes("metric"))
    assert cut.changes("awg")[0].old.endswith("AWG")


def test_a_longer_run_concerns_only_what_goes_through_it() -> None:
    done = analyse(clean(), clean().variants[0])
    key, through = next((k, ids) for k, ids in done.routing.bundle.items() if 0 < len(ids) < len(done.routing.wires))
    length_m = next(s.length_m for s in clean().job.segments if s.key == key)
    written = [entry(x, Verdict.DONE, n) for n, x in enumerate(of_clean(), 1) if x.stage is Stage.CUT]
    changed = made_of(change_segment(clean(), key, length_m=length_m + 0.5))
    again = {s.line.key for s in states(changed, written) if s.line and s.standing is Standing.AGAIN}
    assert again == set(through)


def test_a_later_entry_supersedes_and_both_stay() -> None:
    line = of_clean()[0]
    written = [entry(line, Verdict.DONE, 1, "Tess"), entry(line, Verdict.FAILED, 2, "Bert")]
    state = state_of(of_clean(), written[::-1], line.stage, line.key)
    assert state.standing is Standing.FAILED
    assert [e.who for e in state.history] == ["Tess", "Bert"]
    taken = state_of(of_clean(), [*written, entry(line, Verdict.TAKEN_BACK, 3)], line.stage, line.key)
    assert taken.standing is Standing.OPEN
    assert len(taken.history) == 3


def test_what_left_the_loom_stays_on_the_list_until_it_is_taken_out() -> None:
    gone = of_clean()[0]
    rest = tuple(x for x in of_clean() if x is not gone)
    (state,) = [s for s in states(rest, [entry(gone, Verdict.DONE)]) if s.line is None]
    assert (state.standing, state.name, state.changes("metric")) == (Standing.AGAIN, gone.name, ())
    assert progress(states(rest, [entry(gone, Verdict.DONE)])).again == 1
    back = entry(gone, Verdict.TAKEN_BACK, 2)
    assert all(s.line is not None for s in states(rest, [entry(gone, Verdict.DONE), back]))


def test_a_test_that_is_not_asked_for_any_more_leaves_nothing_to_do() -> None:
    gone = next(x for x in of_clean() if x.stage is Stage.CONTINUITY)
    rest = tuple(x for x in of_clean() if x is not gone)
    assert all(s.line is not None for s in states(rest, [entry(gone, Verdict.PASSED)]))


def test_it_does_not_matter_which_end_of_a_wire_is_called_the_first() -> None:
    snapshot = clean()
    turned = tuple(replace(s, members=s.members[::-1]) if len(s.members) == 2 else s for s in snapshot.job.signals)
    ends = {(x.key, x.digest) for x in of_clean() if x.stage is Stage.ENDS}
    again = made_of(change_job(snapshot, signals=turned))
    done = analyse(snapshot, snapshot.variants[0]).routing
    other = analyse(change_job(snapshot, signals=turned), snapshot.variants[0]).routing
    assert any(w.a.point == other.wire[w.id].b.point for w in done.wires if w.id in other.wire)
    assert len(ends & {(x.key, x.digest) for x in again if x.stage is Stage.ENDS}) > len(ends) / 2


def test_progress_in_words() -> None:
    found = states(
        of_clean()[:4],
        [
            entry(of_clean()[0], Verdict.DONE, 1),
            entry(of_clean()[1], Verdict.FAILED, 2),
            replace(entry(of_clean()[2], Verdict.DONE, 3), digest="0" * 64),
        ],
    )
    far = progress(found)
    assert far.words("done") == "1 of 4 done, 1 failed, 1 to do again"
    assert (far.open, far.complete) == (1, False)
    assert not progress(()).complete


def test_looms_that_plug_into_each_other_are_worked_on_one_by_one() -> None:
    m = bench_loom()
    m.pin("h:C1-1", Kind.SUPPLY_30, OUT, mm2=2.5)
    m.pin("h:C1-2", Kind.GROUND, OUT, mm2=2.5)
    m.pin("d:C1-1", Kind.HIGH_SIDE, IN, component="lamp", mm2=1.5)
    m.pin("d:C1-2", Kind.GROUND, IN, component="lamp", mm2=1.5)
    m.signal("h:C1-1", "d:C1-1")
    m.signal("h:C1-2", "d:C1-2")
    found = made_of(in_two_looms(m.snapshot(), 6))
    ends = [x.loom for x in found if x.stage is Stage.ENDS]
    assert len(set(ends)) == 2
    assert len(list(dict.fromkeys(ends))) == sum(a != b for a, b in zip(["", *ends], ends, strict=False))
    for stage in Stage:
        assert {x.loom for x in found if x.stage is stage} == set(ends), stage
