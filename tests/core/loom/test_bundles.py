"""Rules of thumb against their published examples, and masses against hand calculation."""

import math
from dataclasses import replace

import pytest

from pinmap.core.facts import sources
from pinmap.core.facts.conductors import insulations
from pinmap.core.facts.fittings import density_kg_per_m3
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.bundles import (
    Bundles,
    Mass,
    covering_mass,
    loom_mass,
    rules_of_thumb,
    wire_mass,
)
from pinmap.core.loom.results import Routing
from tests.factories_drawings import routed, small_job


def test_the_handbooks_example() -> None:
    """24 wires of 2.0 mm: 11.76 mm by 1.2 times the root of the squares."""
    assert rules_of_thumb([2.0] * 24)[0].diameter_mm == pytest.approx(11.76, abs=0.005)
    assert rules_of_thumb([]) == ()


def test_two_wires_need_more_than_the_rule_of_thumb() -> None:
    """4.00 mm true against 3.39 mm."""
    assert rules_of_thumb([2.0, 2.0])[0].diameter_mm == pytest.approx(3.39, abs=0.005)


def test_a_metre_of_wire() -> None:
    """1 mm2 of copper weighs 8.89 g a metre; the whole wire, 2.1 mm thick, 11 g by usual data sheets (from memory:
    10.5 to 11.5 g)."""
    found = wire_mass(1.0, "thin-wall-A", 1.0)
    assert found.metal_kg == pytest.approx(0.00889)
    assert 0.0105 < found.total_kg < 0.0125
    assert found.covering_kg == 0


def test_every_insulation_and_covering_has_a_density() -> None:
    for key in insulations():
        assert 500 <= density_kg_per_m3("insulation", key) <= 2500
    for key in coverings():
        assert 0 <= density_kg_per_m3("covering", key) <= 2000
    known = {(r["kind"], r["key"]) for r in sources.rows("loom_densities")}
    assert known == {("insulation", k) for k in insulations()} | {("covering", k) for k in coverings()}


def test_a_covering_weighs_its_wall() -> None:
    """PVC tube of 0.6 mm wall on 10 mm: π·10.6·0.6 mm² of PVC at 1350 kg/m³ is 27.0 g/m."""
    assert covering_mass(10.0, "tube-pvc", 2.0).total_kg == pytest.approx(2 * math.pi * 10.6 * 0.6e-6 * 1350, rel=1e-6)
    assert covering_mass(10.0, "", 2.0) == Mass()
    assert covering_mass(0.0, "tube-pvc", 2.0) == Mass()


def test_masses_of_a_loom_add_up() -> None:
    snapshot = small_job()
    routing = routed(snapshot)
    segments = [replace(s, covering="") for s in snapshot.job.segments]
    bundles = Bundles.of(snapshot, routing)
    along = sum((bundles.mass(s) for s in segments), Mass())
    cut = loom_mass(bundles, routing.wires, segments)
    runs = {w.id: w.length_m for w in routing.wires}
    assert along.metal_kg == pytest.approx(sum(runs[w.id] * w.mm2 * 8.89e-3 for w in routing.wires))
    assert cut.metal_kg == pytest.approx(sum(w.cut_length_m * w.mm2 * 8.89e-3 for w in routing.wires))
    taped = [replace(s, covering="tape-cloth") for s in segments]
    assert loom_mass(bundles, routing.wires, taped).covering_kg > 0
    assert loom_mass(bundles, routing.wires, taped).metal_kg == cut.metal_kg


def test_an_empty_segment_has_no_bundle() -> None:
    snapshot = small_job()
    bundles = Bundles.of(snapshot, Routing())
    assert {bundles.diameter_mm(s.key) for s in snapshot.job.segments} == {0.0}
