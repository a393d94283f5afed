"""Ways: zones that keep kinds of wire out, runs too hot, runs led by hand, twisted groups."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.loom.choices import joint_choices
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Practice
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import Direction, Joint, Kind
from tests.factories_looms import JobMaker

OUT, IN = Direction.OUT, Direction.IN


def ring(**zone: object) -> JobMaker:
    """Two ways from xd to xh: g2, 1.0 m, through zone "z", and g3 and g4, 1.6 m, around it; g1 and g5 lead there."""
    m = JobMaker(Practice(splice_clear_m=0.0))
    m.zones = [Zone(key="z", name="Short way", **{"ambient_c": 60.0, **zone})]  # type: ignore[arg-type]  # a test's choice
    m.mate("xd", "d:C1")
    m.mate("xh", "h:C1")
    m.junction("j1", "j2", "j3")
    m.run("xd", "j1", 0.2)
    m.run("j1", "j2", 1.0, "z")
    m.run("j1", "j3", 0.8)
    m.run("j3", "j2", 0.8)
    m.run("j2", "xh", 0.2)
    return m


def sensor(m: JobMaker, cavity: int, **values: object) -> None:
    m.pin(f"d:C1-{cavity}", Kind.INDUCTIVE, OUT)
    m.signal(f"d:C1-{cavity}", f"h:C1-{cavity}", **values)  # type: ignore[arg-type]  # a test's choice


def routed(m: JobMaker) -> Routing:
    snapshot = m.snapshot()
    return route(snapshot, snapshot.variants[0])


SHORT, ROUND = ("g1", "g2", "g5"), ("g1", "g3", "g4", "g5")


@pytest.mark.parametrize(
    ("kinds", "way"), [((), SHORT), (("ignition",), SHORT), (("sensor",), ROUND), (("any",), ROUND)]
)
@pytest.mark.parametrize("deed", ["avoid", "forbid"])
def test_a_zone_turns_kinds_of_wire_away(deed: str, kinds: tuple[str, ...], way: tuple[str, ...]) -> None:
    m = ring(**{deed: kinds})
    sensor(m, 1)
    assert routed(m).wires[0].segments == way


def test_what_is_to_be_avoided_is_taken_where_the_way_round_is_too_long() -> None:
    m = ring(avoid=("sensor",))
    m.segments[2] = replace(m.segments[2], length_m=2.5)  # 3.3 m around against 3 x 1.0 m
    sensor(m, 1)
    assert routed(m).wires[0].segments == SHORT


def test_what_is_forbidden_is_a_gap_where_there_is_no_other_way() -> None:
    m = ring(forbid=("sensor",))
    del m.segments[2]
    sensor(m, 1)
    found = routed(m)
    assert found.wires == ()
    assert "closed to such wires: z" in found.gaps[0].reason


def test_no_wire_goes_where_it_is_too_hot_for_its_insulation() -> None:
    m = ring(ambient_c=180.0)
    sensor(m, 1)
    sensor(m, 2)
    m.signals[1] = replace(m.signals[1], insulation="thin-wall-F")
    found = routed(m)
    assert found.wires[0].segments == ROUND
    assert found.wires[1].segments == SHORT


@pytest.mark.parametrize(
    ("kind", "mm2"), [(Kind.COIL_PRIMARY, 0.75), (Kind.INJECTOR_BOOSTED, 0.75), (Kind.SUPPLY_30, 16.0)]
)
def test_sensor_pairs_keep_away_from_noisy_wires(kind: Kind, mm2: float) -> None:
    m = ring()
    sensor(m, 1, twist="ckp")
    sensor(m, 2, twist="ckp")
    sensor(m, 3)
    m.pin("d:C1-9", kind, OUT, mm2=mm2)
    m.signal("d:C1-9", "h:C1-9")
    ways = [w.segments for w in routed(m).wires]
    assert ways == [ROUND, ROUND, SHORT, SHORT]


def test_a_way_led_by_hand_is_taken_and_its_twisted_partner_follows() -> None:
    m = ring()
    sensor(m, 1, twist="ckp")
    sensor(m, 2, twist="ckp")
    m.signals[0] = replace(m.signals[0], via=("g4",))
    found = routed(m)
    assert [w.segments for w in found.wires] == [ROUND, ROUND]
    assert found.wires[0].length_m == pytest.approx(2.0)
    assert found.notes == ()


def test_a_hand_led_way_of_a_signal_in_two_sections_goes_to_the_one_that_it_suits() -> None:
    m = ring()
    m.junction("box")
    m.run("j2", "box", 0.1)
    m.device("F1", "fuse", "box", rating_a=10.0)  # type: ignore[arg-type]  # a DeviceKind by its word
    m.signal("h:C1-1", ("d:C1-1", 1), inline=("F1",))
    m.signals[0] = replace(m.signals[0], via=("g3",))
    found = routed(m)
    assert {tuple(sorted(w.segments)) for w in found.wires} == {("g5", "g6"), ("g1", "g3", "g4", "g6")}
    assert found.notes == ()


def test_a_net_of_three_ends_is_led_by_hand() -> None:
    m = ring()
    m.signal("h:C1-1", "d:C1-1", "d:C1-2")
    straight = {key for w in routed(m).wires for key in w.segments}
    m.signals[0] = replace(m.signals[0], via=("g3",))
    led = routed(m)
    assert "g2" in straight
    assert {"g3", "g4"} <= {key for w in led.wires for key in w.segments}
    assert led.notes == ()


def test_a_run_that_no_way_takes_is_noted() -> None:
    m = ring()
    sensor(m, 1)
    m.junction("a", "b")
    m.run("a", "b", 1.0)
    m.signals[0] = replace(m.signals[0], via=("g6",))
    (note,) = routed(m).notes
    assert "g6" in note.text


def test_pieces_add_up_to_the_way_with_a_splice_within_a_run() -> None:
    m = ring(wet=True)
    m.zones.append(Zone(key="w", name="Wet", ambient_c=60.0, wet=True))
    m.segments = [replace(s, zone="w") if s.key in {"g3", "g4", "g5"} else s for s in m.segments]
    m.practice = Practice()
    m.signal("h:C1-1", "d:C1-1", "d:C1-2")
    found = routed(m)
    assert found.splices[0].segment == "g1"
    for wire in found.wires:
        assert sum(wire.pieces_m) == pytest.approx(wire.length_m)
        assert len(wire.pieces_m) == len(wire.segments)


def test_the_choices_show_what_each_joint_costs() -> None:
    """Ends 0.2 m, 0.2 m and 1.2 m from the branch point, 0.5 mm2 each: a splice near the two, a chain over them."""
    m = ring()
    m.signal("h:C1-1", "d:C1-1", "d:C1-2", mm2=0.5)
    snapshot = m.snapshot()
    found = {c.joint: c for c in joint_choices(snapshot, snapshot.variants[0], "s0001")}
    assert set(found) == set(Joint)
    assert found[Joint.CHAIN].copper_m == pytest.approx(1.4)
    assert found[Joint.CHAIN].splices == 0
    assert found[Joint.SPLICE].wires == 3
    assert found[Joint.SPLICE].cost_g == pytest.approx(found[Joint.SPLICE].copper_g + 40.0)
    assert found[Joint.CHAIN].copper_g == pytest.approx(8.89 * 0.5 * 1.4)
    m.signal("h:C1-7", "d:C1-7")
    assert joint_choices(m.snapshot(), m.snapshot().variants[0], "s0002") == ()


@pytest.mark.parametrize("joint", [Joint.CHAIN, Joint.CRIMP])
def test_a_chosen_joint_is_built(joint: Joint) -> None:
    m = ring()
    m.signal("h:C1-1", "d:C1-1", "d:C1-2")
    m.signals[0] = replace(m.signals[0], joint=joint)
    found = routed(m)
    assert found.splices == ()
    assert len(found.wires) == 2
    ends = [end.point for w in found.wires for end in (w.a, w.b)]
    assert max(ends.count(p) for p in ends) == 2


def test_four_wires_do_not_go_into_one_crimp() -> None:
    m = ring()
    m.signal("h:C1-1", "d:C1-1", "d:C1-2", "d:C1-3")
    m.signals[0] = replace(m.signals[0], joint=Joint.CRIMP)
    found = routed(m)
    assert found.splices
    assert "spliced instead" in found.notes[0].text
