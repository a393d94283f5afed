"""The network against circuits solved by hand, conservation of charge and power, and honest refusals."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics.check import check
from pinmap.core.electrics.heat import ampacity_a, wire_heat
from pinmap.core.electrics.network import build_network, solve
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.constants import CONTACT_OHM, SPLICE_OHM
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.loom.results import Routing, pin_point
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import PinFate, Practice, Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import DeviceKind, Direction, Fate, Kind, NodeKind
from tests.factories_electrics import say
from tests.factories_looms import JobMaker, big_snapshot

NONE = Dictionary()
OHM = CONTACT_OHM.value
IN, OUT = Direction.IN, Direction.OUT


def y_loom() -> JobMaker:
    m = JobMaker()
    m.zones = [Zone(key="z", name="Cold", ambient_c=20.0)]
    m.mate("xh", "h:C1")
    m.mate("xd", "d:C1")
    m.mate("xu", "u:C1")
    m.junction("j")
    m.junction("box", kind=NodeKind.PLACE)
    m.run("xh", "j", 1.0, "z")
    m.run("xd", "j", 2.0, "z")
    m.run("xu", "j", 0.5, "z")
    m.run("box", "j", 0.3, "z")
    m.pin("h:C1-1", Kind.SUPPLY_30, OUT, mm2=2.5)
    m.pin("h:C1-31", Kind.GROUND, OUT, mm2=2.5)
    return m


def solved(m: JobMaker, dictionary: Dictionary = NONE) -> tuple[Snapshot, Routing, ElectricalReport]:
    snapshot = m.snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant, dictionary)
    return snapshot, routing, check(snapshot, variant, routing, dictionary)


def load(m: JobMaker, name: str, amps: float | None, feed: str, back: str, **values: str) -> None:
    m.pin(feed, Kind.HIGH_SIDE, IN, amps=amps, component=name, mm2=1.0, **values)  # type: ignore[arg-type]  # test helper
    m.pin(back, Kind.GROUND, IN, component=name, mm2=1.0)


def test_series_circuit_by_hand() -> None:
    m = y_loom()
    load(m, "lamp", 5.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", "d:C1-1")
    m.signal("d:C1-2", "h:C1-31")
    _, routing, report = solved(m)
    state = next(s for s in report.loads if s.case == "key-on")
    # 3 m and allowances of 2.5 mm² from the host's wire size: 3.175 m · 7.60 mohm/m at 20 °C
    wires = report.wires["key-on"]
    for wire in routing.wires:
        factor = 1 + 0.00393 * (wires[wire.id].temp_c - 20)
        assert wires[wire.id].resistance_ohm == pytest.approx(3.175 * 0.0076 * factor, rel=1e-3)
        assert abs(wires[wire.id].current_a) == pytest.approx(5.0)
    by_hand = 5 * (wires["1A"].resistance_ohm + 2 * OHM)
    assert state.feed_drop_v == pytest.approx(by_hand, abs=1e-9)
    assert state.voltage_v == pytest.approx(
        12 - 5 * (wires["1A"].resistance_ohm + wires["2A"].resistance_ohm + 4 * OHM)
    )
    assert state.need_v == pytest.approx(10.8)
    assert {s.case for s in report.loads} == {"key-on", "cranking", "idle", "full-load"}


def test_branched_circuit_by_hand() -> None:
    """Two loads on one splice and one ground: the trunk carries the sum."""
    m = y_loom()
    load(m, "a", 4.0, "d:C1-1", "d:C1-2")
    load(m, "b", 3.0, "d:C1-3", "d:C1-4")
    m.signal("h:C1-1", "d:C1-1", "d:C1-3")
    m.signal("d:C1-2", "d:C1-4", "h:C1-31")
    _, _, report = solved(m)
    wires = report.wires["idle"]
    assert [wires[i].current_a for i in ("1A", "1B", "1C")] == pytest.approx([7, -4, -3])
    assert [wires[i].current_a for i in ("2A", "2B", "2C")] == pytest.approx([4, 3, -7])
    r = {i: w.resistance_ohm for i, w in wires.items()}
    states = {s.load: s for s in report.loads if s.case == "idle"}
    ends = OHM + SPLICE_OHM.value  # each wire's contact, and its crimp in the splice
    for name, amps, feed, back in (("d:a", 4, "1B", "2A"), ("d:b", 3, "1C", "2B")):
        assert states[name].feed_drop_v == pytest.approx(7 * (r["1A"] + ends) + amps * (r[feed] + ends))
        assert states[name].return_drop_v == pytest.approx(7 * (r["2C"] + ends) + amps * (r[back] + ends))


def test_parallel_grounds_share_by_resistance() -> None:
    m = y_loom()
    m.pin("h:C1-32", Kind.GROUND, OUT, mm2=1.0)
    m.pin("u:C1-1", Kind.SUPPLY_30, IN, amps=9.0, mm2=2.5)
    m.pin("u:C1-2", Kind.GROUND, IN, mm2=2.5)
    m.pin("u:C1-3", Kind.GROUND, IN, mm2=1.0)
    m.signal("h:C1-1", "u:C1-1")
    m.signal("u:C1-2", "h:C1-31")
    m.signal("u:C1-3", "h:C1-32")
    _, _, report = solved(m)
    wires = report.wires["idle"]
    r2, r3 = wires["2A"].resistance_ohm + 2 * OHM, wires["3A"].resistance_ohm + 2 * OHM
    assert wires["2A"].current_a == pytest.approx(9 * r3 / (r2 + r3))
    assert wires["2A"].current_a + wires["3A"].current_a == pytest.approx(9)
    assert wires["1A"].temp_c > 20


def test_relay_is_closed_by_the_unit_and_feeds_its_load() -> None:
    m = y_loom()
    m.device("F1", DeviceKind.FUSE, "box", rating_a=10)
    m.device("K1", DeviceKind.RELAY, "box", coil_ohm=90)
    m.pin("h:C1-2", Kind.SUPPLY_15, OUT)
    m.pin("u:C1-5", Kind.LOW_SIDE, OUT, code="RLY")
    m.pin("u:C1-6", Kind.GROUND, IN)
    load(m, "fan", 6.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", ("d:C1-1", 2), inline=("F1", "K1"))
    m.signal("d:C1-2", "h:C1-31")
    m.signal("h:C1-2", "K1.86")
    m.signal("K1.85", "u:C1-5")
    ground = m.signal("u:C1-6", "h:C1-31b")
    m.pin("h:C1-31b", Kind.GROUND, OUT)
    words = Dictionary((FunctionEntry(code="RLY", name="Relay", states="IF"),))
    _, _, report = solved(m, words)
    fan = {s.case for s in report.loads if s.load == "d:fan"}
    assert fan == {"idle", "full-load"}
    unfed = {u.case: u.why for u in report.unfed}
    assert set(unfed) == {"key-on", "cranking"}
    assert "relay K1, whose coil is not driven" in unfed["key-on"]
    coil = next(s for s in report.loads if s.load == "K1 coil" and s.case == "idle")
    assert coil.current_a == pytest.approx(coil.voltage_v / 90)
    assert coil.voltage_v > coil.need_v
    # without the unit's ground the coil has no way back
    m.signals.remove(ground)
    _, _, report = solved(m, words)
    assert {u.case for u in report.unfed} == {"key-on", "cranking", "idle", "full-load"}


def test_wires_behind_a_fuse_must_stand_its_rating() -> None:
    m = y_loom()
    m.device("F1", DeviceKind.FUSE, "box", rating_a=30)
    load(m, "lamp", 2.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", ("d:C1-1", 1), inline=("F1",))
    m.signal("d:C1-2", "h:C1-31")
    _, routing, report = solved(m)
    behind = next(w for w in routing.wires if w.section == 1)
    advice = report.advice[behind.id]
    assert advice.limit == "fuse"
    stock = Practice().stock_mm2
    smaller = stock[stock.index(advice.mm2) - 1]
    heat = wire_heat([(smaller, behind.insulation), (advice.mm2, behind.insulation)])
    too_little, enough = ampacity_a(heat, np.full(2, 20.0), np.ones(2))
    assert too_little < 30 <= enough
    assert report.advice["1A"].limit == "least size"  # before the fuse: its own side must protect it


def test_a_fuse_does_not_reach_through_a_units_driver() -> None:
    m = y_loom()
    m.device("F1", DeviceKind.FUSE, "box", rating_a=80)
    m.pin("u:C1-1", Kind.SUPPLY_30, IN, amps=0.1, mm2=10.0)
    m.pin("u:C1-2", Kind.HIGH_SIDE, OUT)
    m.pin("u:C1-3", Kind.GROUND, IN)
    load(m, "plug", 9.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", ("u:C1-1", 1), inline=("F1",))
    m.signal("u:C1-2", "d:C1-1")
    m.signal("u:C1-3", "d:C1-2", "h:C1-31")
    _, _, report = solved(m)
    assert not report.unfed
    assert report.advice["1B"].limit == "fuse"
    assert report.advice["2A"].limit != "fuse"


def test_supplies_live_in_their_cases_only() -> None:
    m = y_loom()
    m.pin("h:C1-75", Kind.SUPPLY_75, OUT)
    load(m, "radio", 1.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-75", "d:C1-1")
    m.signal("d:C1-2", "h:C1-31")
    _, _, report = solved(m)
    (lost,) = report.unfed
    assert lost.case == "cranking"
    assert "C1-75 of h is dead in this case" in lost.why


def test_missing_return_names_the_place() -> None:
    m = y_loom()
    load(m, "lamp", 1.0, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", "d:C1-1")
    _, _, report = solved(m)
    assert not report.loads
    assert report.unfed[0].why == "no return: nothing joins C1-2 of d to battery minus; that pin is joined to no signal"
    assert all(np.isfinite(v) for by_point in report.voltage_v.values() for v in by_point.values())


def test_unroutable_feed_names_the_gap() -> None:
    m = y_loom()
    load(m, "lamp", 1.0, "d:C7-1", "d:C1-2")
    m.signal("h:C1-1", "d:C7-1")
    m.signal("d:C1-2", "h:C1-31")
    _, _, report = solved(m)
    assert "no feed" in report.unfed[0].why
    assert "connector C7 of d has no place in the loom" in report.unfed[0].why


def test_diode_passes_one_way() -> None:
    for turned in (False, True):
        m = y_loom()
        m.device("D1", DeviceKind.DIODE, "box")
        load(m, "lamp", 1.0, "d:C1-1", "d:C1-2")
        ends = ("d:C1-1", ("h:C1-1", 1)) if turned else ("h:C1-1", ("d:C1-1", 1))
        m.signal(*ends, inline=("D1",))
        m.signal("d:C1-2", "h:C1-31")
        _, _, report = solved(m)
        if turned:
            assert "diode D1, which blocks" in report.unfed[0].why
        else:
            assert not report.unfed
            assert report.loads[0].feed_drop_v > 0.8


def test_unknown_current_is_said_and_not_counted() -> None:
    m = y_loom()
    load(m, "lamp", None, "d:C1-1", "d:C1-2")
    m.signal("h:C1-1", "d:C1-1")
    m.signal("d:C1-2", "h:C1-31")
    _, _, report = solved(m)
    assert report.unknown == ("d:lamp",)
    assert not report.loads


def test_dictionary_gives_current_states_and_need() -> None:
    m = y_loom()
    load(m, "pump", None, "d:C1-1", "d:C1-2", code="FP")
    m.signal("h:C1-1", "d:C1-1")
    m.signal("d:C1-2", "h:C1-31")
    entry = FunctionEntry(code="FP", name="Fuel pump", current_a=6.0, states="CF", critical=True)
    _, _, report = solved(m, Dictionary((entry,)))
    assert [(s.case, s.current_a) for s in report.loads] == [("cranking", 6.0), ("full-load", 6.0)]
    assert report.loads[0].need_v == pytest.approx(9.6 * 0.97)
    _, _, report = solved(m, Dictionary((replace(entry, min_v=7.0),)))
    assert report.loads[0].need_v == 7.0


def test_a_pin_that_stays_on_its_own_side_feeds_by_itself() -> None:
    m = y_loom()
    load(m, "lamp", 1.0, "d:C1-1", "d:C1-2")
    m.signal("d:C1-2", "h:C1-31")
    snapshot = m.snapshot()
    fate = PinFate(pin=m.key("d:C1-1"), fate=Fate.RETAINED, reason="own loom")
    snapshot = Snapshot(replace(snapshot.job, fates=(fate,)), snapshot.platforms)
    variant = snapshot.variants[0]
    report = check(snapshot, variant, route(snapshot, variant, NONE), NONE)
    assert not report.unfed
    assert report.loads[0].feed_drop_v == 0


def test_engine_body_is_the_return_only_where_it_is_strapped() -> None:
    m = y_loom()
    m.pin("d:C1-1", Kind.HIGH_SIDE, IN, amps=9.0)
    m.signal("h:C1-1", "d:C1-1")
    _, _, report = solved(m)
    assert "no return" in report.unfed[0].why
    m.pin("d:STUD-1", Kind.GROUND, OUT)
    _, _, report = solved(m)
    assert not report.unfed
    assert report.loads[0].return_drop_v == 0


def test_what_an_engine_gives_back_flows_through_its_strap() -> None:
    """A starter of 150 A: through its cable, the block and the strap; what they lose is known by Ohm's law."""
    m = y_loom()
    m.pin("d:C1-1", Kind.SUPPLY_30, IN, amps=150.0, component="starter", mm2=35.0)
    m.pin("d:C1-3", Kind.GROUND, OUT, mm2=35.0)
    m.signal("h:C1-1", "d:C1-1", mm2=35.0)
    m.signal("h:C1-31", "d:C1-3", mm2=35.0)
    _, routing, report = solved(m)
    cable, strap = (next(w for w in routing.wires if w.signal == s) for s in ("s0001", "s0002"))
    states = report.wires["cranking"]
    assert abs(states[cable.id].current_a) == pytest.approx(150.0)
    assert abs(states[strap.id].current_a) == pytest.approx(150.0)
    (state,) = (s for s in report.loads if s.case == "cranking")
    assert state.return_drop_v == pytest.approx(150.0 * (states[strap.id].resistance_ohm + 2 * OHM), rel=1e-3)
    assert report.advice[strap.id].mm2 >= 16  # drop decides


def test_a_strap_beside_one_with_a_typed_resistance_shares_its_current() -> None:
    m = y_loom()
    m.pin("d:C1-1", Kind.SUPPLY_30, IN, amps=150.0, component="starter", mm2=35.0)
    m.pin("d:C1-3", Kind.GROUND, OUT, mm2=35.0)
    say(m, "d:C1-3", chassis_ohm="0.001")
    m.signal("h:C1-1", "d:C1-1", mm2=35.0)
    m.signal("h:C1-31", "d:C1-3", mm2=35.0)
    _, routing, report = solved(m)
    strap = next(w for w in routing.wires if w.signal == "s0002")
    state = report.wires["cranking"][strap.id]
    own = state.resistance_ohm + 2 * OHM
    assert abs(state.current_a) == pytest.approx(150.0 * 0.001 / (0.001 + own), rel=1e-3)


def test_a_cable_carries_all_that_the_alternator_can_give() -> None:
    """Into a flat battery, in the cases in which the engine runs; what the pin says, or a limit typed for it."""
    for typed, amps in (({}, 60.0), ({"alternator_max_a": "70"}, 70.0)):
        m = y_loom()
        m.pin("d:C1-1", Kind.SUPPLY_30, OUT, amps=60.0, mm2=35.0)
        say(m, "d:C1-1", **typed)
        m.pin("d:C1-3", Kind.GROUND, OUT, mm2=35.0)
        m.signal("h:C1-1", "d:C1-1", mm2=35.0)
        m.signal("h:C1-31", "d:C1-3", mm2=35.0)
        _, routing, report = solved(m)
        for wire in routing.wires:
            for case, expected in (("key-on", 0.0), ("cranking", 0.0), ("idle", amps), ("full-load", amps)):
                assert abs(report.wires[case][wire.id].current_a) == pytest.approx(expected, abs=1e-6)
        assert {report.advice[w.id].limit for w in routing.wires} == {"heat"}


def test_wires_of_paired_drivers_are_judged_by_what_the_pinout_states() -> None:
    """An injector of 2.5 A mean and 20 A peak heats its wires as 7.07 A would; the network knows no branch for it."""
    m = y_loom()
    for cavity in (1, 2):
        m.pin(f"d:C1-{cavity}", Kind.INJECTOR_BOOSTED, IN, amps=2.5, peak=20.0, component="injector", mm2=1.5)
        m.pin(f"u:C1-{cavity}", Kind.INJECTOR_BOOSTED, OUT, amps=2.5, peak=20.0, mm2=1.5)
        m.signal(f"u:C1-{cavity}", f"d:C1-{cavity}", mm2=1.5)
    _, routing, report = solved(m)
    for wire in routing.wires:
        state = report.wires["full-load"][wire.id]
        assert state.current_a == 2.5
        assert state.heating_a == pytest.approx(np.sqrt(2.5 * 20.0))
        assert state.temp_c > 25.0  # in air of 20 °C
        assert state.drop_v == pytest.approx(2.5 * state.resistance_ohm)


def test_a_sensors_drops_are_told_from_the_unit_that_feeds_it() -> None:
    """The unit's ground is lifted by its own current; what the sensor loses on its own wires is not."""
    m = y_loom()
    m.pin("u:C1-1", Kind.SUPPLY_30, IN, amps=10.0, mm2=1.0)
    m.pin("u:C1-2", Kind.GROUND, IN, mm2=1.0)
    m.pin("u:C1-3", Kind.REFERENCE_5V, OUT, mm2=0.5)
    m.pin("u:C1-4", Kind.SENSOR_GROUND, OUT, mm2=0.5)
    m.pin("d:C1-1", Kind.REFERENCE_5V, IN, amps=0.02, component="sensor", mm2=0.5)
    m.pin("d:C1-2", Kind.SENSOR_GROUND, IN, component="sensor", mm2=0.5)
    for one, two in (("h:C1-1", "u:C1-1"), ("h:C1-31", "u:C1-2"), ("u:C1-3", "d:C1-1"), ("u:C1-4", "d:C1-2")):
        m.signal(one, two)
    _, _, report = solved(m)
    (state,) = (s for s in report.loads if s.load == "d:sensor" and s.case == "idle")
    assert report.voltage_v["idle"][pin_point(m.key("u:C1-2"))] > 0.1
    assert 0 < state.return_drop_v < 0.01
    assert 0 < state.feed_drop_v < 0.01
    assert state.feed_drop_v + state.voltage_v + state.return_drop_v == pytest.approx(5.0)


def test_advice_says_where_no_load_case_shows_a_current() -> None:
    m = y_loom()
    m.pin("d:C1-1", Kind.SUPPLY_30, IN, mm2=2.5)
    m.signal("h:C1-1", "d:C1-1")
    _, routing, report = solved(m)
    assert report.advice[routing.wires[0].id].why.startswith("no load case shows a current")


def test_heat_of_a_short_circuit_is_a_number() -> None:
    m = y_loom()
    m.signal("h:C1-1", "h:C1-31")
    _, _, report = solved(m)
    state = report.wires["idle"]["1A"]
    assert state.current_a > 100
    assert state.temp_c == pytest.approx(1084.6)
    assert "even 50 mm²" in report.advice["1A"].why


def test_empty_job() -> None:
    m = JobMaker()
    m.pin("h:C1-1", Kind.SUPPLY_30, OUT)
    _, routing, report = solved(m)
    assert not routing.wires
    assert not report.loads


@settings(max_examples=15, deadline=None)
@given(st.integers(1, 5), st.integers(6, 15), st.sampled_from(range(5)))
def test_charge_and_power_balance(blocks: int, connectors: int, which: int) -> None:
    snapshot = big_snapshot(n_blocks=blocks, n_connectors=connectors, n_sensors=2)
    variant = snapshot.variants[0]
    network = build_network(snapshot, variant, route(snapshot, variant, NONE), NONE)
    case = snapshot.job.load_cases[which]
    found = solve(network, case, network.wire_ohm_20)
    known = found.active & np.isfinite(found.volts[network.a])
    into = np.zeros(found.node.max() + 1)
    np.add.at(into, found.node[network.a], -found.amps)
    np.add.at(into, found.node[network.b], found.amps)
    for item in found.fed:
        into[found.node[network.feed_of[item.key]]] -= item.current_a or 0
        into[found.node[network.back_of[item.key]]] += item.current_a or 0
    fixed = set(found.node[found.plus_points]) | set(found.node[found.minus_points])
    free = [n for n in range(into.size) if n not in fixed]
    assert np.abs(into[free]).max(initial=0) < 1e-9
    losses = float((found.amps[known] * (found.volts[network.a] - found.volts[network.b])[known]).sum())
    used = sum(
        (item.current_a or 0) * (found.volts[network.feed_of[item.key]] - found.volts[network.back_of[item.key]])
        for item in found.fed
    )
    assert case.supply_v * found.supply_a == pytest.approx(losses + used, rel=1e-9, abs=1e-9)
    assert not found.starved


def test_advised_sizes_meet_every_need() -> None:
    practice = replace(Practice(), drop_other_pct=1.5)
    snapshot = big_snapshot(n_blocks=6, n_connectors=18, n_sensors=2)
    snapshot = Snapshot(replace(snapshot.job, practice=practice), snapshot.platforms)
    variant = snapshot.variants[0]
    routing = route(snapshot, variant, NONE)
    first = check(snapshot, variant, routing, NONE)
    assert any(s.voltage_v < s.need_v for s in first.loads)
    resized = Routing(
        tuple(replace(w, mm2=first.advice[w.id].mm2) for w in routing.wires), routing.splices, routing.gaps
    )
    after = check(snapshot, variant, resized, NONE)
    assert all(s.voltage_v >= s.need_v for s in after.loads)
    assert all(s.temp_c <= 125 - 9 for by_wire in after.wires.values() for s in by_wire.values())
