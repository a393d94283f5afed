"""What heats a wire: ripple, pauses, and who else is loaded in the same case."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pinmap.core.electrics.check import check
from pinmap.core.electrics.heat import wire_heat
from pinmap.core.electrics.heat_rules import may_carry, table_limit
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.transient import pulse_share, time_constant_s
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import Zone
from pinmap.core.model.words import Direction, Kind
from tests.factories_looms import JobMaker

NONE = Dictionary()


def job(*loads: tuple[tuple[str, str], ...], mm2: float = 1.0, grounds: int = 1, covering: str = "") -> Snapshot:
    """Loads side by side on one supply and splice; ``grounds`` parallel ways back."""
    m = JobMaker()
    m.zones = [Zone(key="z", name="Zone", ambient_c=40.0)]
    m.mate("xh", "h:H1")
    m.mate("xd", "d:D1")
    m.junction("j")
    m.run("xh", "j", 1.0, "z")
    m.run("j", "xd", 1.0, "z")
    m.pin("h:H1-1", Kind.SUPPLY_30, Direction.OUT, mm2=mm2)
    backs = [f"h:H1-{2 + g}" for g in range(grounds)]
    for back in backs:
        m.pin(back, Kind.GROUND, Direction.OUT, mm2=mm2)
    for i in range(len(loads)):
        m.pin(f"d:D1-{2 * i + 1}", Kind.SUPPLY_30, Direction.IN, component=f"load {i}", mm2=mm2)
        m.pin(f"d:D1-{2 * i + 2}", Kind.GROUND, Direction.IN, component=f"load {i}", mm2=mm2)
    m.signal("h:H1-1", *(f"d:D1-{2 * i + 1}" for i in range(len(loads))))
    m.signal(*(f"d:D1-{2 * i + 2}" for i in range(len(loads))), *backs)
    snapshot = m.snapshot()
    donor = next(p for p in snapshot.platforms if p.key == "d")
    pins = tuple(replace(p, extra=loads[(int(p.cavity) - 1) // 2]) if int(p.cavity) % 2 else p for p in donor.pins)
    segments = tuple(replace(s, covering=covering) for s in snapshot.job.segments)
    platforms = tuple(replace(donor, pins=pins) if p is donor else p for p in snapshot.platforms)
    return Snapshot(replace(snapshot.job, segments=segments), platforms)


def solved(snapshot: Snapshot) -> tuple[Routing, ElectricalReport]:
    variant = snapshot.variants[0]
    routing = route(snapshot, variant, NONE)
    return routing, check(snapshot, variant, routing, NONE)


def duty(amps: float, share: float, *more: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    return (("load_model", "duty"), ("load_value", f"{amps}"), ("load_duty_pct", f"{100 * share}"), *more)


def test_ripple_heats_by_the_root_mean_square() -> None:
    routing, report = solved(job(duty(10, 0.25)))
    state = report.wires["full-load"][routing.wires[0].id]
    assert state.heating_a == pytest.approx(2 * abs(state.current_a), rel=1e-6)  # 10·√0.25 by 10·0.25
    assert abs(state.current_a) == pytest.approx(2.5, rel=0.06)  # a resistance, at 14 V in place of 13.5 V


def test_ripples_of_several_loads_add_by_their_squares() -> None:
    routing, report = solved(job(duty(10, 0.25), duty(10, 0.25), duty(10, 0.25)))
    states = report.wires["full-load"]
    loads = [s for s in report.loads if s.case == "full-load"]
    trunk = max((states[w.id] for w in routing.wires), key=lambda s: abs(s.current_a))
    mean = sum(s.current_a for s in loads)
    by_hand = np.sqrt(mean**2 + sum((2**2 - 1) * s.current_a**2 for s in loads))
    assert trunk.heating_a == pytest.approx(by_hand, rel=1e-6)


def test_ripple_divides_over_parallel_grounds_as_the_current_does() -> None:
    routing, report = solved(job(duty(10, 0.25), grounds=2))
    states = report.wires["full-load"]
    back = [states[w.id] for w in routing.wires if w.signal == routing.wires[-1].signal]
    halves = [s for s in back if abs(s.current_a) < 2.0]
    assert len(halves) == 2
    for state in halves:
        assert state.heating_a == pytest.approx(2 * abs(state.current_a), rel=1e-3)


def test_a_load_with_pauses_heats_by_the_wires_time_constant() -> None:
    typed = (("load_model", "amperes"), ("load_value", "20"), ("load_on_s", "5"), ("load_period_s", "60"))
    routing, report = solved(job(typed))
    wire = routing.wires[0]
    state = report.wires["full-load"][wire.id]
    heat, air = wire_heat([(wire.mm2, wire.insulation)]), np.array([40.0])
    tau = time_constant_s(heat, air, heat.max_temp_c, on_s=5.0)
    share = float(pulse_share(np.array([5.0]), np.array([60.0]), tau)[0])
    assert 0.05 < share < 0.9
    assert abs(state.current_a) == pytest.approx(20)
    assert state.heating_a == pytest.approx(20 * np.sqrt(share), rel=1e-6)
    steady = solved(job((("load_model", "amperes"), ("load_value", "20"))))[1].worst(wire.id)
    once = solved(job(typed[:3]))[1].worst(wire.id)
    assert steady is not None
    assert once is not None
    assert once.temp_c < state.temp_c < steady.temp_c


def test_a_steady_load_beside_one_with_pauses() -> None:
    typed = (("load_model", "amperes"), ("load_value", "10"), ("load_on_s", "5"), ("load_period_s", "60"))
    routing, report = solved(job(typed, (("load_model", "amperes"), ("load_value", "6"))))
    states = report.wires["full-load"]
    trunk = max((states[w.id] for w in routing.wires), key=lambda s: abs(s.current_a))
    alone = min((s for s in states.values() if abs(s.current_a) > 9), key=lambda s: abs(s.current_a))
    share = (alone.heating_a / 10) ** 2
    assert trunk.heating_a**2 == pytest.approx(6**2 + share * (2 * 6 * 10 + 10**2), rel=1e-6)


def test_a_pause_without_its_length_is_named() -> None:
    _, report = solved(job((("load_model", "amperes"), ("load_value", "6"), ("load_period_s", "60"))))
    assert "load_on_s" in dict(report.problems)["d:load 0"]
    _, report = solved(job((("load_model", "amperes"), ("load_value", "6"), ("load_on_s", "9"),
                            ("load_period_s", "6"))))  # fmt: skip
    assert "load_period_s" in dict(report.problems)["d:load 0"]


def test_each_case_has_the_heat_of_what_is_on_in_it() -> None:
    """One of six loads is on at idle, all at full load: the same current in its wire, in a colder bundle."""
    amperes = (("load_model", "amperes"), ("load_value", "6"))
    loads = [(*amperes, ("load_states", "IF")), *[(*amperes, ("load_states", "F"))] * 5]
    routing, report = solved(job(*loads, mm2=1.0))
    idle, full = report.wires["idle"], report.wires["full-load"]
    own = next(w.id for w in routing.wires if "d:D1:1" in {w.a.point.partition(":")[2], w.b.point.partition(":")[2]})
    assert abs(idle[own].current_a) == pytest.approx(abs(full[own].current_a))
    assert idle[own].temp_c < full[own].temp_c - 5
    assert idle[own].loaded_in_bundle < full[own].loaded_in_bundle


def test_coverings_count_and_resistance_agrees_with_temperature() -> None:
    amperes = (("load_model", "amperes"), ("load_value", "10"))
    routing, bare = solved(job(amperes, amperes))
    _, covered = solved(job(amperes, amperes, covering="conduit-17"))
    for wire in routing.wires:
        a, b = bare.worst(wire.id), covered.worst(wire.id)
        assert a is not None
        assert b is not None
        assert b.temp_c > a.temp_c + 2
        cold = wire_heat([(wire.mm2, wire.insulation)]).r20_ohm_per_m[0] * wire.cut_length_m
        mean_c = 20 + (b.resistance_ohm / cold - 1) / 0.00393
        assert 40 < mean_c <= b.temp_c + 0.1


def test_a_standards_table_decides_where_it_was_chosen_and_covers_the_wire() -> None:
    amperes = (("load_model", "amperes"), ("load_value", "10"))
    snapshot = job(amperes, amperes, mm2=1.0)
    routing, report = solved(snapshot)
    both = may_carry(snapshot, routing, report, "full-load")
    assert {x.rules for x in both.values()} == {"model"}
    assert all(x.table.standard == "iso10133" and x.table.ampacity_a for x in both.values())
    job_iso = replace(snapshot.job, practice=replace(snapshot.job.practice, heat_rule="iso10133"))
    chosen = Snapshot(job_iso, snapshot.platforms)
    routing, report = solved(chosen)
    both = may_carry(chosen, routing, report, "full-load")
    assert {x.rules for x in both.values()} == {"iso10133"}
    trunk = max(report.wires["full-load"].values(), key=lambda s: s.heating_a)
    # 1 mm², 125 °C column of table A.1: 25 A at 30 °C, 0.89 in engine spaces, 0.7 for 4 to 6 in the bundle or 1 below
    assert trunk.table_a == pytest.approx(25 * 0.89 * (0.7 if trunk.loaded_in_bundle >= 4 else 1.0))
    assert trunk.too_hot(125.0) is (trunk.heating_a > trunk.table_a)
    assert table_limit("iso10133", 0.5, 125.0, 40.0, 1, 12.0).ampacity_a is None  # its table starts at 0.75 mm²


@pytest.mark.parametrize("standard", ["iso10133", "abyc-e11", "33cfr183", "ac43-13"])
def test_tables_beyond_their_air(standard: str) -> None:
    """Hotter air than the table's lowers its current by the root of the rises left; at the class nothing is left."""
    amps = [table_limit(standard, 4.0, 125.0, air_c, 8, 12.0).ampacity_a for air_c in (50.0, 70.0, 90.0, 105.0, 125.0)]
    assert all(a is not None for a in amps)
    known = [a for a in amps if a is not None]
    assert known == sorted(known, reverse=True)
    assert known[-1] == 0
    column = {"iso10133": 125.0, "abyc-e11": 105.0, "33cfr183": 125.0, "ac43-13": 105.0}[standard]
    top = 70.0 if standard == "ac43-13" else 50.0
    base = known[1] if standard == "ac43-13" else known[0]
    assert known[2] == pytest.approx(base * np.sqrt((column - 90) / (column - top)))
