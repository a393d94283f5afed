"""Two states side by side: equal ones give nothing, the mirror holds, and the counts add up."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinmap.core.build.comparison import Described, Section, Thing, Turn, compare
from pinmap.core.build.described import describe, wire_way
from pinmap.core.build.rework import Deed, State, counts, rework
from pinmap.core.build.table import build_table
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DeviceKind, NodeKind
from tests.factories_looms import JobMaker

_FIELD = st.sampled_from(["size", "colour", "from", "to"])
_WORD = st.sampled_from(["", "BK", "RD", "0.75 mm²", "D3-7"])
_THING = st.builds(
    Thing, st.sampled_from(["wire 1A", "wire 1a", "pin"]), st.lists(st.tuples(_FIELD, _WORD), max_size=4).map(tuple)
)
_STATE = st.dictionaries(
    st.sampled_from(["Wires", "Pins", "Parts"]),
    st.dictionaries(st.sampled_from("abcde12"), _THING, max_size=6),
    max_size=3,
)


def applied(old: Described, sections: tuple[Section, ...]) -> dict[str, dict[str, Thing]]:
    """The older state after every difference was carried out on it."""
    state = {subject: dict(things) for subject, things in old.items()}
    for section in sections:
        things = state.setdefault(section.subject, {})
        for d in section.differences:
            assert things.pop(d.key, None) == d.old
            if d.new is not None:
                things[d.key] = d.new
    return {subject: things for subject, things in state.items() if things}


@given(_STATE)
def test_equal_states_differ_in_nothing(state: Described) -> None:
    assert compare(state, state) == ()


@given(_STATE, _STATE)
def test_the_way_back_is_the_mirror(old: Described, new: Described) -> None:
    there = {s.subject: s.differences for s in compare(old, new)}
    back = {s.subject: tuple(d.mirrored for d in s.differences) for s in compare(new, old)}
    assert there == back
    for section in compare(old, new):
        for d in section.differences:
            assert {(c.field, c.new, c.old) for c in d.changes} == {(c.field, c.old, c.new) for c in d.mirrored.changes}


@given(_STATE, _STATE)
def test_carried_out_the_differences_give_the_newer_state(old: Described, new: Described) -> None:
    sections = compare(old, new)
    assert applied(old, sections) == {subject: dict(things) for subject, things in new.items() if things}
    for s in sections:
        before, after = len(old.get(s.subject, {})), len(new.get(s.subject, {}))
        assert before + s.count(Turn.ADDED) - s.count(Turn.REMOVED) == after


# --- a loom that is changed at random ----------------------------------------------------------------------------


def loom() -> Snapshot:
    m = JobMaker()
    m.junction("j1")
    m.junction("box", kind=NodeKind.PLACE)
    for node, connector in (("xh", "h:C1"), ("xd", "d:D1"), ("xe", "d:D2"), ("xu", "u:U1")):
        m.mate(node, connector)
        m.run(node, "j1", 1.0 + len(m.segments) * 0.3)
    m.run("xd", "xe", 0.4)
    for cavity in range(1, 5):
        m.pin(f"d:D2-{cavity}")
        m.pin(f"h:C1-{cavity + 4}")
    m.signal("h:C1-1", "d:D1-1", "u:U1-1", mm2=1.5, colour="RD")
    m.signal("h:C1-2", "d:D1-2", mm2=0.75, colour="GN")
    m.signal("u:U1-2", "d:D1-3", mm2=0.5, colour="BN", twist="T1")
    m.signal("u:U1-3", "d:D1-4", mm2=0.5, colour="YE", twist="T1")
    return m.snapshot()


BASE = loom()
_FREE = [PinKey("d", "D2", str(n)) for n in range(1, 5)] + [PinKey("h", "C1", str(n)) for n in range(5, 9)]


@st.composite
def changed_looms(draw: st.DrawFn) -> Snapshot:
    """The loom above after a few edits as a shop makes them."""
    job: Job = BASE.job
    signals = list(job.signals)
    free = draw(st.permutations(_FREE))
    for deed in draw(st.lists(st.sampled_from(["size", "colour", "drop", "join", "move", "twist", "run"]), max_size=6)):
        if deed == "run":
            at = draw(st.integers(0, len(job.segments) - 1))
            length_m = draw(st.sampled_from([0.3, 1.0, 1.6, 2.5]))
            runs = tuple(replace(s, length_m=length_m) if i == at else s for i, s in enumerate(job.segments))
            job = replace(job, segments=runs)
            continue
        if not signals:
            continue
        at = draw(st.integers(0, len(signals) - 1))
        signal = signals[at]
        match deed:
            case "size":
                signals[at] = replace(signal, mm2=draw(st.sampled_from([0.5, 1.0, 2.5])))
            case "colour":
                signals[at] = replace(signal, colour=draw(st.sampled_from(["BK", "WH", "GN/YE"])))
            case "twist":
                signals[at] = replace(signal, twist="")
            case "drop":
                del signals[at]
            case "join" if free:
                signals[at] = replace(signal, members=(*signal.members, replace(signal.members[0], end=free.pop())))
            case "move" if free:
                moved = replace(signal.members[-1], end=free.pop())
                signals[at] = replace(signal, members=(*signal.members[:-1], moved))
    return Snapshot(replace(job, signals=tuple(signals)), BASE.platforms, BASE.housings)


def state(snapshot: Snapshot) -> State:
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    rows = build_table(snapshot, variant, routing, ElectricalReport())
    ways = {w.id: wire_way(snapshot, routing, w.id) for w in routing.wires}
    return State(rows, ways, describe(snapshot, variant, routing, rows, (), "metric"))


_SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@_SLOW
@given(changed_looms())
def test_a_loom_built_to_the_same_needs_no_rework(snapshot: Snapshot) -> None:
    found = state(snapshot)
    assert rework(found, found, "metric") == ()


@_SLOW
@given(changed_looms(), changed_looms())
def test_rework_accounts_for_every_wire_both_ways(one: Snapshot, other: Snapshot) -> None:
    old, new = state(one), state(other)
    there, back = rework(old, new, "metric"), rework(new, old, "metric")
    assert {t.what for t in there} == {t.what for t in back}
    assert {t.what for t in there if t.deed is Deed.ADD} == {t.what for t in back if t.deed is Deed.REMOVE}
    assert {t.what for t in there if t.deed is Deed.REMOVE} == {t.what for t in back if t.deed is Deed.ADD}
    wires = [t for t in there if t.what.startswith("wire ")]
    assert len({t.what for t in wires}) == len(wires), "a wire has one task"
    done = counts(wires)
    assert len(old.rows) + done.get(Deed.ADD, 0) - done.get(Deed.REMOVE, 0) == len(new.rows)
    # whatever of a wire differs on the bench has a task, and nothing else has
    before, after = {r.wire: r for r in old.rows}, {r.wire: r for r in new.rows}
    touched = {t.what.removeprefix("wire ") for t in wires}
    for wire in before.keys() & after.keys():
        a, b = before[wire], after[wire]
        same = (a.mm2, a.colour, a.cut_m, a.twist) == (b.mm2, b.colour, b.cut_m, b.twist)
        same = same and {a.start.label, a.end.label} == {b.start.label, b.end.label}
        same = same and old.ways[wire] == new.ways[wire]
        assert same == (wire not in touched)


def _only(old: Snapshot, new: Snapshot, what: str) -> tuple[Deed, str]:
    (task,) = [t for t in rework(state(old), state(new), "metric") if t.what == what]
    return task.deed, task.how


def _signal(snapshot: Snapshot, number: int, **changes: object) -> Snapshot:
    signals = tuple(replace(s, **changes) if s.number == number else s for s in snapshot.job.signals)  # type: ignore[arg-type]
    return Snapshot(replace(snapshot.job, signals=signals), snapshot.platforms, snapshot.housings)


def test_the_words_are_those_of_the_bench() -> None:
    thicker = _signal(BASE, 2, mm2=1.0)
    (wire,) = [r for r in state(BASE).rows if r.signal_number == 2]
    assert _only(BASE, thicker, f"wire {wire.wire}") == (Deed.RECUT, "0.75 mm² → 1 mm²")
    members = BASE.job.signals[1].members
    moved = _signal(BASE, 2, members=(replace(members[0], end=PinKey("h", "C1", "6")), members[1]))
    deed, how = _only(BASE, moved, f"wire {wire.wire}")
    assert (deed, how) == (Deed.MOVE, "from XH-2 → XH-6")
    gone = Snapshot(
        replace(BASE.job, signals=tuple(s for s in BASE.job.signals if s.number != 2)), BASE.platforms, BASE.housings
    )
    deed, how = _only(BASE, gone, f"wire {wire.wire}")
    assert deed is Deed.REMOVE
    assert how.endswith("from XH-2 to XD-2")
    assert "0.75 mm² GN" in how
    assert _only(gone, BASE, f"wire {wire.wire}") == (Deed.ADD, how)


def test_shorter_is_recrimped_and_longer_is_cut_again() -> None:
    runs = tuple(replace(s, length_m=0.5) if s.key == "g1" else s for s in BASE.job.segments)
    short = Snapshot(replace(BASE.job, segments=runs), BASE.platforms, BASE.housings)
    (wire,) = [r for r in state(BASE).rows if r.signal_number == 2]
    deed, how = _only(BASE, short, f"wire {wire.wire}")
    assert deed is Deed.RECRIMP
    assert how.startswith("shorten one end, ")
    deed, how = _only(short, BASE, f"wire {wire.wire}")
    assert deed is Deed.RECUT
    assert how.startswith("longer, ")


@pytest.mark.parametrize(("units", "size", "length"), [("metric", "0.75 mm²", " mm"), ("awg", "18 AWG", " ft")])
def test_units_are_the_shops(units: str, size: str, length: str) -> None:
    without = Snapshot(replace(BASE.job, signals=()), BASE.platforms, BASE.housings)
    (task,) = [t for t in rework(state(without), state(BASE), units) if t.how.startswith(size)]
    assert length in task.how


def test_a_device_of_another_value_is_exchanged() -> None:
    m = JobMaker()
    m.junction("box", kind=NodeKind.PLACE)
    m.mate("xh", "h:C1")
    m.mate("xd", "d:D1")
    m.run("xh", "box", 1.0)
    m.run("xd", "box", 1.0)
    m.device("F1", DeviceKind.FUSE, "box", rating_a=10.0)
    m.signal("h:C1-1", ("d:D1-1", 1), inline=("F1",), mm2=1.5)
    old = m.snapshot()
    devices = (replace(old.job.devices[0], rating_a=15.0),)
    new = Snapshot(replace(old.job, devices=devices), old.platforms)
    assert _only(old, new, "fuse F1") == (Deed.EXCHANGE, "value fuse 10 A → fuse 15 A")
