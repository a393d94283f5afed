"""A job of two looms that plug into each other: what is measured, read, built and bought on either side."""

from __future__ import annotations

import pytest

from pinmap.core.build.parts_list import parts_list
from pinmap.core.build.ring_out import ALLOWANCE_OHM, resistance_ohm, ring_out
from pinmap.core.build.table import build_table
from pinmap.core.electrics.check import check
from pinmap.core.electrics.feeds import feeds
from pinmap.core.electrics.ladder import ladder
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.parts import terminals
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import DeviceKind, Kind
from pinmap.core.tracing.flow import PlaceKind
from pinmap.core.tracing.path import trace
from pinmap.exchange.build_tables import build_rows_table, continuity_table
from tests.factories_electrics import IN, OUT, bench_loom, in_two_looms, say

WORDS = Dictionary()


def lamp(*, apart: bool = True) -> Snapshot:
    """A fused lamp and its ground, both through the pair; a sensor wire to the unit."""
    m = bench_loom()
    m.device("F1", DeviceKind.FUSE, "box", rating_a=10.0)
    m.pin("h:C1-1", Kind.SUPPLY_30, OUT, mm2=2.5)
    m.pin("h:C1-2", Kind.GROUND, OUT, mm2=2.5)
    m.pin("d:C1-1", Kind.HIGH_SIDE, IN, component="lamp", mm2=1.5)
    say(m, "d:C1-1", load_model="amperes", load_value="5")
    m.pin("d:C1-2", Kind.GROUND, IN, component="lamp", mm2=1.5)
    m.signal("h:C1-1", ("d:C1-1", 1), inline=("F1",))
    m.signal("h:C1-2", "d:C1-2")
    m.signal("d:C1-3", "u:C1-3")
    return in_two_looms(m.snapshot(), 6) if apart else m.snapshot()


SNAPSHOT = lamp()
VARIANT = SNAPSHOT.variants[0]
ROUTING = route(SNAPSHOT, VARIANT, WORDS)
REPORT = check(SNAPSHOT, VARIANT, ROUTING, WORDS)


def test_the_ladder_shows_the_contact_between_the_looms() -> None:
    found = ladder(SNAPSHOT, VARIANT, ROUTING, REPORT, WORDS, "d:lamp", "idle")
    between = [r for r in found.rungs if r.label.startswith("contact PC-")]
    assert [(r.side, r.label) for r in between] == [
        ("feed", "contact PC-1 to PE-1"),
        ("return", "contact PC-2 to PE-2"),
    ]
    ohm = terminals()["blade-2.8-sealed"].contact_ohm
    for rung in between:
        assert rung.ohm == pytest.approx(ohm, rel=1e-6)
        assert rung.drop_v == pytest.approx(5.0 * ohm, rel=1e-6)


def test_the_pair_costs_its_contacts_and_the_longer_wires() -> None:
    whole = lamp(apart=False)
    routing = route(whole, whole.variants[0], WORDS)
    before = check(whole, whole.variants[0], routing, WORDS)
    lost = {s.case: s.feed_drop_v + s.return_drop_v for s in before.loads if s.load == "d:lamp"}
    now = {s.case: s.feed_drop_v + s.return_drop_v for s in REPORT.loads if s.load == "d:lamp"}
    ohm = terminals()["blade-2.8-sealed"].contact_ohm
    assert now["idle"] - lost["idle"] > 2 * 5.0 * ohm  # and two service loops more a wire
    assert now["idle"] - lost["idle"] < 2 * 5.0 * ohm + 0.05


def test_a_feed_goes_on_behind_the_pair_under_the_same_fuse() -> None:
    (feed,) = feeds(SNAPSHOT, VARIANT, ROUTING)
    labels = [s.label for s in feed.steps]
    assert "contact PC-1 to PE-1" in labels
    guarded = {feed.steps[i].key for i in feed.guarded[feed.fuses[0]]}
    assert guarded == {"1-F1.2", "1B"}


def test_the_trace_stops_at_the_pair_with_a_reading_on_both_sides() -> None:
    end = SNAPSHOT.job.signals[0].members[1].end
    found = trace(SNAPSHOT, VARIANT, ROUTING, REPORT, end, WORDS)
    assert [s.label for s in found.stations if s.kind is PlaceKind.MATED] == ["PC/PE-1", "PC/PE-2"]
    feed, back = (s for s in found.stations if s.kind is PlaceKind.MATED)
    ohm = terminals()["blade-2.8-sealed"].contact_ohm
    for station in (feed, back):
        assert station.voltage_v["idle"] - station.leaving_v["idle"] == pytest.approx(5 * ohm, rel=1e-6)
    volts = [s.voltage_v["idle"] for s in found.stations if s.voltage_v]
    assert volts == sorted(volts, reverse=True)
    assert found.from_source
    assert found.to_minus


def test_the_build_table_lists_loom_by_loom() -> None:
    rows = build_table(SNAPSHOT, VARIANT, ROUTING, REPORT)
    assert [(r.loom, r.wire, r.start.label, r.end.label) for r in rows] == [
        ("Main loom", "1A", "XH-1", "F1.1"),
        ("Main loom", "1-F1.2", "F1.2", "PC-1"),
        ("Main loom", "2A", "XH-2", "PC-2"),
        ("Main loom", "3B", "XU-3", "PC-3"),
        ("Engine loom", "1B", "XD-1", "PE-1"),
        ("Engine loom", "2B", "XD-2", "PE-2"),
        ("Engine loom", "3A", "XD-3", "PE-3"),
    ]
    assert (rows[1].end.mates, rows[1].end.terminal) == ("PE", terminals()["blade-2.8-sealed"].name)
    table = build_rows_table(rows)
    assert (table.columns[0].heading, table.rows[0][0]) == ("loom", "Main loom")
    one = lamp(apart=False)
    routing = route(one, one.variants[0], WORDS)
    plain = build_table(one, one.variants[0], routing, check(one, one.variants[0], routing, WORDS))
    assert {r.loom for r in plain} == {""}
    assert build_rows_table(plain).columns[0].heading == "wire"


def test_each_loom_is_rung_out_alone() -> None:
    plan = ring_out(SNAPSHOT, ROUTING)
    assert [(t.loom, t.start, t.end) for t in plan.continuity] == [
        ("Main loom", "XH-1", "F1.1"),
        ("Main loom", "F1.2", "PC-1"),
        ("Main loom", "XH-2", "PC-2"),
        ("Main loom", "XU-3", "PC-3"),
        ("Engine loom", "XD-1", "PE-1"),
        ("Engine loom", "XD-2", "PE-2"),
        ("Engine loom", "XD-3", "PE-3"),
    ]
    for test in plan.continuity:
        (wire,) = test.wires
        assert test.limit_ohm == pytest.approx(resistance_ohm(ROUTING.wire[wire]) + ALLOWANCE_OHM)
    assert {(t.loom, t.against) for t in plan.isolation} == {
        ("Main loom", "the other 3 nets joined"),
        ("Engine loom", "the other 2 nets joined"),
    }
    assert [t.number for t in plan.continuity] == list(range(1, 8))
    assert continuity_table(plan).columns[0].heading == "loom"


def test_both_halves_are_bought_with_terminals_seals_and_plugs() -> None:
    parts = parts_list(SNAPSHOT, VARIANT, ROUTING)
    housings = {p.item: (p.detail, p.where) for p in parts if p.group == "Housings"}
    assert housings["Plug of 6"] == ("contacts: pin, 6 cavities, sealed", ("PE",))
    assert housings["Cap of 6"] == ("contacts: socket, 6 cavities, sealed", ("PC",))
    name = terminals()["blade-2.8-sealed"].name
    ends = sum(p.quantity or 0 for p in parts if p.group == "Terminals" and p.item == name)
    assert ends == 6
    assert sum(p.quantity or 0 for p in parts if p.group == "Seals" and {"PC", "PE"} & set(p.where)) == 6
    assert sum(p.quantity or 0 for p in parts if p.group == "Cavity plugs") == 6
