from __future__ import annotations

from collections import Counter
from dataclasses import replace

from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import PinKey
from pinmap.core.tracing.flow import Flow, flow, pin_gives, walk
from pinmap.demo import finished_snapshot
from tests.factories_drawings import routed, small_job


def _flow(snapshot: Snapshot) -> Flow:
    return flow(snapshot, snapshot.variants[0], routed(snapshot))


def _ways(streams: Flow) -> set[tuple[str, str]]:
    return {(hop.a, hop.b) for hop in streams.hops}


def test_every_wire_is_one_hop() -> None:
    snapshot = small_job()
    hops = Counter(hop.wire.id for hop in _flow(snapshot).hops if hop.wire is not None)
    assert hops == Counter(w.id for w in routed(snapshot).wires)


def test_supply_runs_to_the_load_through_the_devices_in_line() -> None:
    ways = _ways(_flow(small_job()))
    assert {
        ("pin:brindle:C101:1", "device:F1"),
        ("device:F1", "device:R1:contact"),
        ("device:R1:contact", "splice:S1.2"),
        ("splice:S1.2", "pin:q24:E3:1"),
        ("pin:q24:E3:1", "component:q24:Fuel metering valve"),
        ("component:q24:Fuel metering valve", "pin:q24:E3:2"),
        ("pin:q24:E3:2", "pin:qf2:K1:12"),
    } <= ways


def test_returns_run_from_the_pin_that_needs_a_way_back() -> None:
    ways = _ways(_flow(small_job()))
    assert {
        ("pin:q24:E2:3", "splice:S8"),
        ("splice:S8", "pin:qf2:K1:9"),
        ("pin:qf2:K1:3", "splice:S4"),
        ("splice:S4", "pin:brindle:C102:1"),
        ("inside:qf2:minus", "pin:qf2:K1:3"),
        ("pin:qf2:K1:12", "inside:qf2:minus"),
    } <= ways


def test_a_relays_coil_stands_between_its_supply_and_its_driver() -> None:
    assert {("splice:S2", "device:R1:coil"), ("device:R1:coil", "pin:qf2:K1:5")} <= _ways(_flow(small_job()))


def test_a_return_listed_from_the_minus_side_still_runs_to_minus() -> None:
    """A signal's sections may be listed from the ground upwards; current runs the same way."""
    snapshot = small_job()
    signals = []
    for s in snapshot.job.signals:
        if s.number == 4:
            members = tuple(replace(m, section=0 if m.end[0] == "brindle" else 1) for m in s.members)
            s = replace(s, members=members, inline=("F1",))
        elif s.number == 1:
            members = tuple(replace(m, section=max(0, m.section - 1)) for m in s.members)
            s = replace(s, members=members, inline=("R1",))
        signals.append(s)
    ways = _ways(_flow(replace(snapshot, job=replace(snapshot.job, signals=tuple(signals)))))
    assert ("device:F1", "pin:brindle:C102:1") in ways
    assert any(b == "device:F1" for _, b in ways)


def test_a_bus_has_a_direction_too_but_no_pin_is_lost() -> None:
    streams = _flow(small_job())
    assert ("pin:brindle:C101:5", "pin:qf2:K1:6") in _ways(streams)
    ends = {m.end for s in small_job().job.signals for m in s.members if isinstance(m.end, PinKey)}
    assert {p.pin for p in streams.places.values() if p.pin is not None} == ends


def test_directions_of_pins() -> None:
    pins = small_job().pin
    assert pin_gives(pins[PinKey("brindle", "C101", "1")]) is True
    assert pin_gives(pins[PinKey("brindle", "C102", "1")]) is False
    assert pin_gives(pins[PinKey("qf2", "K1", "3")]) is True
    assert pin_gives(pins[PinKey("qf2", "K1", "12")]) is False
    assert pin_gives(pins[PinKey("brindle", "C101", "5")]) is None


def test_walks_are_nearest_first_and_stop_at_bars() -> None:
    streams = _flow(small_job())
    found = walk("pin:brindle:C101:1", streams.after)
    assert list(found)[:3] == ["pin:brindle:C101:1", "device:F1", "device:R1:contact"]
    assert "splice:S1.2" not in walk("pin:brindle:C101:1", streams.after, {"device:R1:contact"})


def test_relay_coils_of_the_demo_are_never_sources_beside_a_feed() -> None:
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    streams = flow(snapshot, variant, route(snapshot, variant))
    assert Counter(h.wire.id for h in streams.hops if h.wire is not None) == Counter(
        w.id for w in route(snapshot, variant).wires
    )
    coils = [p for p in streams.places if p.endswith(":coil")]
    assert coils
    for coil in coils:
        assert streams.before[coil], f"nothing feeds {coil}"
