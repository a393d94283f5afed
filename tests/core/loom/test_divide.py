"""Several looms joined by matings: the same pins are joined as in one loom, each loom's wires end at the pair."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinmap.core.loom.cavities import keep_proposed, proposed_cavities
from pinmap.core.loom.lengths import parts_of
from pinmap.core.loom.nets import nets
from pinmap.core.loom.results import Routing, loom_point
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Pick, Practice, Snapshot
from pinmap.core.model.looms import MatedCavity, Zone
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, Gender, Joint, NodeKind
from tests.factories_looms import JobMaker, two_looms


def _routed(m: JobMaker) -> Routing:
    snapshot = m.snapshot()
    return route(snapshot, snapshot.variants[0])


def joined(snapshot: Snapshot, routing: Routing) -> set[frozenset[str]]:
    """Pins and terminals that the wires join, mated cavities being one point."""
    group: dict[str, set[str]] = {}

    def meet(a: str, b: str) -> None:
        both = group.setdefault(a, {a}) | group.setdefault(b, {b})
        for point in both:
            group[point] = both

    for wire in routing.wires:
        meet(wire.a.point, wire.b.point)
        for end in (wire.a, wire.b):
            if end.mated is not None:
                meet(end.point, f"mated:{snapshot.mating_of[end.mated.node].other(end.mated.node)}:{end.mated.cavity}")
    found = {frozenset(p for p in points if p.startswith(("loom:", "device:"))) for points in group.values()}
    return {points for points in found if len(points) > 1}


def _crossed(routing: Routing) -> set[tuple[str, str]]:
    """(label at the pair, wire)."""
    return {(e.label, w.id) for w in routing.wires for e in (w.a, w.b) if e.mated is not None}


def test_a_signal_runs_through_both_looms() -> None:
    m = two_looms()
    m.signal("d:E1-1", "u:U1-1")
    routing = _routed(m)
    assert [(w.id, w.a.label, w.b.label, w.length_m) for w in routing.wires] == [
        ("1A", "E1-1", "XE-1", pytest.approx(0.2 + 0.5)),
        ("1B", "U1-1", "XC-1", pytest.approx(0.3 + 0.3)),
    ]
    assert {w.a.in_connector and w.b.in_connector for w in routing.wires} == {True}
    assert not routing.gaps


def test_the_pair_counts_as_a_connector_in_cut_lengths() -> None:
    m = two_looms()
    m.practice = Practice(connector_run_in_m=0.03, service_loop_m=0.08, strip_m=0.006, cut_step_m=0.0)
    m.signal("d:E1-1", "u:U1-1")
    wire = _routed(m).wires[0]
    assert wire.cut_length_m == pytest.approx(0.7 + 2 * (0.08 + 0.006 + 0.03))
    assert parts_of(m.practice, wire).cut_m == pytest.approx(wire.cut_length_m)


def test_splices_are_placed_loom_by_loom_and_named_apart() -> None:
    m = two_looms()
    m.signal("d:E1-1", "d:E2-1", "h:B1-1", "u:U1-1")
    routing = _routed(m)
    assert [s.id for s in routing.splices] == ["S1", "S1@xc"]
    assert [w.id for w in routing.wires] == ["1A", "1B", "1C", "1D", "1@xe", "1@xc"]
    assert len({w.id for w in routing.wires}) == len(routing.wires)
    node_loom = {n.key: n.loom for n in m.nodes}
    segment_loom = {s.key: s.loom for s in m.segments}
    for wire in routing.wires:
        assert len({node_loom[wire.a.node], node_loom[wire.b.node], *(segment_loom[s] for s in wire.segments)}) == 1


def test_the_trunk_between_looms_is_as_large_as_what_crosses() -> None:
    m = two_looms()
    for text in ("d:E1-1", "d:E2-1"):
        m.pin(text, mm2=1.0)
    for text in ("h:B1-1", "u:U1-1"):
        m.pin(text, mm2=0.75)
    m.signal("d:E1-1", "d:E2-1", "h:B1-1", "u:U1-1")
    size = {w.id: w.mm2 for w in _routed(m).wires}
    assert (size["1A"], size["1C"]) == (1.0, 0.75)
    assert size["1@xe"] == size["1@xc"] == 1.5  # the lesser side: 2 x 0.75


def test_two_ends_across_the_pair_are_sized_as_one_wire() -> None:
    m = two_looms()
    m.pin("d:E1-1", mm2=0.5)
    m.pin("h:B1-1", mm2=2.5)
    m.signal("d:E1-1", "h:B1-1")
    assert {w.mm2 for w in _routed(m).wires} == {2.5}


def test_wires_that_stay_in_one_loom_do_not_change() -> None:
    m = two_looms()
    m.signal("d:E1-1", "d:E2-1")
    routing = _routed(m)
    m.matings.clear()
    assert routing == _routed(m)


def test_devices_in_line_and_studs_on_either_side() -> None:
    m = two_looms()
    m.nodes.append(replace(m.nodes[0], key="box", kind=NodeKind.PLACE, loom="chassis", name="BOX"))
    m.run("box", "j-chassis", 0.4)
    m.device("F1", DeviceKind.FUSE, "box", rating_a=10.0)
    m.device("G1", DeviceKind.STUD, "box")
    m.signal("h:B1-1", ("d:E1-1", 1), ("d:E2-1", 1), inline=("F1",))
    m.signal("d:E1-2", "d:E2-2", "u:U1-2", "G1.1")
    routing = _routed(m)
    assert [(w.id, w.a.label, w.b.label) for w in routing.wires] == [
        ("1A", "B1-1", "F1.1"),
        ("1B", "E1-1", "S1.1@xe"),
        ("1C", "E2-1", "S1.1@xe"),
        ("1-F1.2", "F1.2", "XC-1"),
        ("1.1@xe", "XE-1", "S1.1@xe"),
        ("2A", "E1-2", "S2"),
        ("2B", "E2-2", "S2"),
        ("2C", "U1-2", "G1.1"),
        ("2@xe", "XE-2", "S2"),
        ("2@xc", "XC-2", "G1.1"),
    ]


@pytest.mark.parametrize("joint", [Joint.CHAIN, Joint.CRIMP])
def test_other_joints_cross_as_well(joint: Joint) -> None:
    m = two_looms()
    signal = m.signal("d:E1-1", "d:E2-1", "u:U1-1")
    m.signals[0] = replace(signal, joint=joint)
    snapshot = m.snapshot()
    routing = route(snapshot, snapshot.variants[0])
    assert not routing.splices
    assert joined(snapshot, routing) == {frozenset({"loom:d:E1:1", "loom:d:E2:1", "loom:u:U1:1"})}


def test_without_a_mating_it_is_a_gap_that_names_both_looms() -> None:
    m = two_looms()
    m.matings.clear()
    m.signal("d:E1-1", "u:U1-1")
    (gap,) = _routed(m).gaps
    for words in ("Main loom", "Chassis loom", "mated"):
        assert words in gap.reason


# Cavities


def test_the_lowest_free_cavity_is_proposed_and_kept_ones_stay() -> None:
    m = two_looms()
    m.matings[0] = replace(m.matings[0], cavities=(MatedCavity(cavity="1", signal="s0002"),))
    for i in range(1, 4):
        m.signal(f"d:E1-{i}", f"u:U1-{i}")
    assert _crossed(_routed(m)) == {
        ("XE-2", "1A"), ("XC-2", "1B"), ("XE-1", "2A"), ("XC-1", "2B"), ("XE-3", "3A"), ("XC-3", "3B"),
    }  # fmt: skip


def test_kept_cavities_outlast_other_signals() -> None:
    m = two_looms()
    for i in range(1, 4):
        m.signal(f"d:E1-{i}", f"u:U1-{i}")
    snapshot = m.snapshot()
    job = keep_proposed(snapshot)
    assert [(c.cavity, c.signal) for c in job.matings[0].cavities] == [("1", "s0001"), ("2", "s0002"), ("3", "s0003")]
    assert keep_proposed(replace(snapshot, job=job)) == job
    gone = replace(
        job, signals=job.signals[1:], matings=(replace(job.matings[0], cavities=job.matings[0].cavities[1:]),)
    )
    after = replace(snapshot, job=gone)
    assert _crossed(route(after, after.variants[0])) == {("XE-2", "2A"), ("XC-2", "2B"), ("XE-3", "3A"), ("XC-3", "3B")}


def test_running_out_of_cavities_is_a_gap_by_name_and_joins_nothing_wrong() -> None:
    m = two_looms(cavities=2)
    for i in range(1, 4):
        m.signal(f"d:E1-{i}", f"u:U1-{i}")
    snapshot = m.snapshot()
    routing = route(snapshot, snapshot.variants[0])
    (gap,) = routing.gaps
    assert (gap.signal, gap.reason) == ("s0003", "no cavity is free where XE and XC mate")
    assert {w.signal for w in routing.wires} == {"s0001", "s0002"}


def test_a_cavity_kept_twice_joins_only_the_first() -> None:
    m = two_looms()
    kept = tuple(MatedCavity(cavity="5", signal=f"s000{i}") for i in (1, 2))
    m.matings[0] = replace(m.matings[0], cavities=kept)
    for i in range(1, 3):
        m.signal(f"d:E1-{i}", f"u:U1-{i}")
    snapshot = m.snapshot()
    routing = route(snapshot, snapshot.variants[0])
    (gap,) = routing.gaps
    assert (gap.signal, gap.reason) == ("s0002", "cavity 5 where XE and XC mate has signal 'Signal 1' already")
    assert joined(snapshot, routing) == {frozenset({"loom:d:E1:1", "loom:u:U1:1"})}


def test_pairs_and_their_screen_get_neighbours() -> None:
    m = two_looms(cavities=12)
    m.housings = []
    m.housing("plug", 12, rows=3, gender=Gender.PIN)  # 1 to 4, 5 to 8, 9 to 12
    m.housing("cap", 12, rows=3, gender=Gender.SOCKET)
    m.matings[0] = replace(m.matings[0], cavities=(MatedCavity(cavity="2", signal="s0001"),))
    m.signal("d:E1-1", "u:U1-1")
    m.signal("d:E1-2", "u:U1-2", twist="t", screen="c")
    m.signal("d:E1-3", "u:U1-3")
    m.signal("d:E1-4", "u:U1-4", twist="t", screen="c")
    m.signal("d:E1-5", "u:U1-5", screen="c")
    at = {seat.signal: cavity for seat, cavity in proposed_cavities(m.snapshot()).items()}
    # From 1, next to the kept 2, only 5 and 6 are neighbours.
    assert at == {"s0002": "1", "s0004": "5", "s0005": "6", "s0003": "3"}


def test_a_housing_without_cavities_counts_from_one() -> None:
    m = two_looms()
    m.housings = []
    m.signal("d:E1-1", "u:U1-1")
    m.signal("d:E1-2", "u:U1-2")
    assert {label for label, _ in _crossed(_routed(m))} == {"XE-1", "XC-1", "XE-2", "XC-2"}


def test_cavities_are_the_same_in_all_variants_and_shared_only_where_none_is_free() -> None:
    m = two_looms(cavities=2)
    for i in range(1, 4):
        m.signal(f"d:E1-{i}", f"u:U1-{i}")
    snapshot = m.snapshot()
    # A second control unit in the place of the first, with the third signal's pin alone.
    unit, job = snapshot.platform["u"], snapshot.job
    connector = replace(unit.connectors[0], name="V1")
    other = replace(unit, key="v", name="V", connectors=(connector,), pins=(replace(unit.pins[0], connector="V1"),))
    *two, third = job.signals
    third = replace(third, members=(third.members[0], replace(third.members[1], end=PinKey("v", "V1", "1"))))
    node, run = snapshot.node["u1"], next(s for s in job.segments if s.b == "u1")
    job = replace(
        job,
        seats=tuple(replace(s, picks=(*s.picks, Pick("v"))) if s.picks == (Pick("u"),) else s for s in job.seats),
        signals=(*two, third),
        nodes=(*job.nodes, replace(node, key="v1", mates=ConnectorKey("v", "V1"))),
        segments=(*job.segments, replace(run, key="gv", b="v1")),
    )
    both = Snapshot(job, (*snapshot.platforms, other), snapshot.housings)
    at = {seat.signal: cavity for seat, cavity in proposed_cavities(both).items()}
    assert at == {"s0001": "1", "s0002": "2", "s0003": "1"}  # the third crosses where the others do not
    for variant in both.variants:
        assert not route(both, variant).gaps


# Several pairs


def _second_pair(m: JobMaker, reach_m: float) -> None:
    for loom, key in (("main", "ye"), ("chassis", "yc")):
        m.nodes.append(replace(next(n for n in m.nodes if n.key == "xe"), key=key, name=key.upper(), loom=loom))
        m.run(key, f"j-{loom}", reach_m)
    m.plug("y9", "ye", "yc")


def test_of_several_pairs_the_shortest_admissible_way_is_taken() -> None:
    m = two_looms()
    m.signal("d:E1-1", "u:U1-1")
    _second_pair(m, 0.1)
    assert {label for label, _ in _crossed(_routed(m))} == {"YE-1", "YC-1"}
    m.zones = [Zone(key="shut", name="Shut", ambient_c=40.0, forbid=("any",))]
    m.segments[-1] = replace(m.segments[-1], zone="shut")
    assert {label for label, _ in _crossed(_routed(m))} == {"XE-1", "XC-1"}


def test_a_kept_cavity_leads_through_its_pair() -> None:
    m = two_looms()
    m.signal("d:E1-1", "u:U1-1")
    _second_pair(m, 0.1)
    m.matings[0] = replace(m.matings[0], cavities=(MatedCavity(cavity="4", signal="s0001"),))
    assert {label for label, _ in _crossed(_routed(m))} == {"XE-4", "XC-4"}


def test_a_loom_on_the_way_has_a_wire_from_pair_to_pair() -> None:
    m = two_looms()
    m.loom("cab")
    m.junction("j-cab")
    m.in_line("zb", "plug")
    m.mate("c1", "h:C1")
    m.run("j-cab", "zb", 0.2)
    m.run("j-cab", "c1", 0.2)
    m.nodes.append(replace(next(n for n in m.nodes if n.key == "xc"), key="za", name="ZA"))
    m.run("j-chassis", "za", 0.25)
    m.plug("z9", "za", "zb")
    m.signal("d:E1-1", "h:C1-1")
    assert [(w.id, w.a.label, w.b.label, round(w.length_m, 3)) for w in _routed(m).wires] == [
        ("1A", "E1-1", "XE-1", 0.7),
        ("1B", "C1-1", "ZB-1", 0.4),
        ("1@xc", "XC-1", "ZA-1", 0.55),
    ]


@st.composite
def jobs(draw: st.DrawFn) -> JobMaker:
    """Two to four looms joined by one chain of matings or by more, and signals of any ends."""
    m = JobMaker(Practice(max_splices=0))
    m.looms.clear()
    looms = draw(st.integers(2, 4))
    cavities = draw(st.integers(1, 9))
    m.housing("half", cavities)
    places: list[str] = []
    for i in range(looms):
        m.loom(f"l{i}")
        count = draw(st.integers(1, 3))
        m.junction(*(f"j{i}-{k}" for k in range(count)))
        for k in range(1, count):
            m.run(f"j{i}-{draw(st.integers(0, k - 1))}", f"j{i}-{k}", draw(st.integers(1, 9)) / 10)
        for k in range(draw(st.integers(1, 3))):
            name = f"{'hdu'[i % 3]}:L{i}K{k}"
            m.mate(f"c{i}-{k}", name)
            m.run(f"j{i}-{draw(st.integers(0, count - 1))}", f"c{i}-{k}", draw(st.integers(1, 9)) / 10)
            places.append(name)
    pairs = [(draw(st.integers(0, i - 1)), i) for i in range(1, looms)]
    loom = st.integers(0, looms - 1)
    pairs += [(a, b) for a, b in draw(st.lists(st.tuples(loom, loom), max_size=2)) if a != b]
    for n, (a, b) in enumerate(pairs):
        for side, i in (("a", a), ("b", b)):
            m.loom(f"l{i}")
            m.in_line(f"x{n}{side}", "half")
            m.run(f"j{i}-0", f"x{n}{side}", draw(st.integers(1, 9)) / 10)
        m.plug(f"m{n}", f"x{n}a", f"x{n}b")
    free = dict.fromkeys(places, 0)
    for _ in range(draw(st.integers(1, 6))):
        ends = []
        for place in draw(st.lists(st.sampled_from(places), min_size=2, max_size=5)):
            free[place] += 1
            ends.append(f"{place}-{free[place]}")
        m.signal(*ends)
    return m


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(jobs())
def test_looms_join_what_one_loom_would(m: JobMaker) -> None:
    """Also: each crossing has one cavity, no cavity carries two signals, wires stay in their loom, ids are unique."""
    snapshot = m.snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    stopped = {g.signal for g in routing.gaps}
    assert all("no cavity is free" in g.reason for g in routing.gaps)
    named = {
        net.signal: frozenset(loom_point(e) for e in net.own if isinstance(e, PinKey))
        for net in nets(snapshot, variant)
        if len(net.ends) > 1
    }
    found = joined(snapshot, routing)
    assert {ends for signal, ends in named.items() if signal not in stopped} == {
        ends for ends in found if not any(ends <= named[s] for s in stopped)
    }
    for ends in found:  # what could not cross is joined less, never otherwise
        assert any(ends <= whole for whole in named.values())
    at: dict[tuple[str, str], set[str]] = defaultdict(set)
    count: dict[tuple[str, str], int] = defaultdict(int)
    loom_of = {n.key: n.loom for n in m.nodes}
    for wire in routing.wires:
        assert loom_of[wire.a.node] == loom_of[wire.b.node]
        for end in (wire.a, wire.b):
            if end.mated is not None:
                at[end.mated.node, end.mated.cavity].add(wire.signal)
                count[end.mated.node, end.mated.cavity] += 1
    assert all(len(signals) == 1 for signals in at.values())
    assert all(n == 1 for n in count.values())
    for mating in snapshot.job.matings:
        halves = [{c for node, c in at if node == half} for half in (mating.a, mating.b)]
        assert halves[0] == halves[1]
    assert len(routing.wire) == len(routing.wires)
    assert len({s.id for s in routing.splices}) == len(routing.splices)
