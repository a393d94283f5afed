"""Bundles: balance of heat, limits that must hold, and the whole job in time."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics import bundle_heat as b
from pinmap.core.electrics.heat import WireHeat, ampacity_a, given_off_w_per_m, temperature_c, wire_heat
from pinmap.core.errors import TableGap
from pinmap.core.facts.covering_heat import covering_heat, covering_heats
from pinmap.core.facts.parts import coverings


def layout_of(sizes: list[float], *, covering: str = "", air_c: float = 60.0) -> b.BundleLayout:
    wires = wire_heat([(mm2, "thin-wall-C") for mm2 in sizes])
    n = len(sizes)
    return b.bundle_layout(wires, np.arange(n), np.zeros(n, dtype=np.int64), np.array([air_c]), [covering])


@settings(deadline=None)
@given(
    st.lists(st.tuples(st.sampled_from([0.35, 0.5, 1.0, 2.5, 6.0]), st.floats(0, 4)), min_size=1, max_size=25),
    st.sampled_from(["", "conduit-17", "tape-fleece", "braid-pet", "heat-reflect"]),
    st.floats(-40, 100),
)
def test_all_heat_leaves_through_the_surface(wires: list[tuple[float, float]], covering: str, air_c: float) -> None:
    layout = layout_of([w[0] for w in wires], covering=covering, air_c=air_c)
    amps = np.array([w[0] * w[1] for w in wires])
    found = b.bundle_temperatures(layout, amps)
    made = float(np.sum(amps**2 * layout.wires.resistance_ohm_per_m(found.hottest_c)))
    shed = given_off_w_per_m(layout.outer_m, found.surface_c, layout.ambient_c, layout.emissivity)[0]
    if np.all(found.hottest_c < 1000):
        assert shed == pytest.approx(made, rel=2e-3, abs=2e-2)
    assert np.all(found.hottest_c >= found.bundle_c[0] - 1e-6)
    assert found.bundle_c[0] >= found.surface_c[0] >= air_c - 1e-9


def test_one_wire_is_a_wire_in_free_air() -> None:
    layout = layout_of([2.5])
    amps, air_c, one = np.array([25.0]), np.array([60.0]), np.ones(1)
    free = temperature_c(layout.wires, amps, air_c, one)
    assert b.bundle_temperatures(layout, amps).hottest_c == pytest.approx(free, abs=0.02)
    assert b.free_air_c(layout.wires, amps, air_c) == pytest.approx(free)


@pytest.mark.parametrize("covering", ["", "conduit-17", "tape-cloth"])
@pytest.mark.parametrize("n", [2, 7, 19, 40])
def test_the_whole_job_and_the_worksheet_agree_on_like_wires(n: int, covering: str) -> None:
    layout = layout_of([1.0] * n, covering=covering)
    one = np.ones(n)
    amps = 4.0 * one
    around = b.like_bundle(layout.wires, n * one, n * one, 60 * one, covering)
    expected = temperature_c(layout.wires, amps, 60 * one, one, around)
    assert b.bundle_temperatures(layout, amps).hottest_c == pytest.approx(expected, abs=0.05)


def test_more_loaded_neighbours_and_thicker_covers_are_warmer() -> None:
    def hot(loaded: int, covering: str = "") -> float:
        amps = np.where(np.arange(12) < loaded, 8.0, 0.0)
        return float(b.bundle_temperatures(layout_of([1.0] * 12, covering=covering), amps).hottest_c[0])

    steps = [hot(n) for n in range(1, 13)]
    assert all(x < y for x, y in pairwise(steps))
    assert hot(12) < hot(12, "tape-fleece") < hot(12, "conduit-17") < hot(12, "heat-reflect")


def test_an_idle_wire_is_as_warm_as_its_bundle() -> None:
    amps = np.array([0.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0])
    found = b.bundle_temperatures(layout_of([1.0] * 7), amps)
    assert found.hottest_c[0] > 85  # the air has 60 °C
    assert found.bundle_c[0] < found.hottest_c[0] < found.hottest_c[1]


def test_conductivity_inside_lies_between_air_and_wire() -> None:
    k = b.inside_w_per_m_k(np.array([0.286]), np.array([0.47]), np.array([0.75]), np.array([60.0]))[0]
    assert 0.1 < k < 0.3  # far below the wall's 0.286, far above air's 0.03
    full = b.inside_w_per_m_k(np.array([0.286]), np.array([0.0]), np.array([1.0]), np.array([60.0]))[0]
    assert full == pytest.approx(0.286)  # no air, no metal: the wall's own


def test_packing_of_equal_wires() -> None:
    one = np.full(4, 2e-3)
    found = b.even_bundle_m(np.array([1.0, 7.0, 19.0, 24.0]), one) * 1000
    assert found == pytest.approx([2.0, 6.0, 9.727, 11.758], abs=1e-3)  # 24 wires: 1.2·√(sum d²)


def test_allowed_current_brings_the_wire_to_its_class() -> None:
    layout = layout_of([2.5, 1.0, 1.0, 0.5, 0.5, 4.0])
    amps = np.array([10.0, 5.0, 5.0, 2.0, 0.0, 12.0])
    allowed = b.allowed_current_a(layout, amps)
    for i in range(len(amps)):
        tried = amps.copy()
        tried[i] = allowed[i]
        # Its neighbours warm up with it and make a little more heat, which the allowance leaves out.
        assert b.bundle_temperatures(layout, tried).hottest_c[i] == pytest.approx(125, abs=2.0)


def test_each_place_has_its_own_air_and_the_mean_is_by_length() -> None:
    wires = wire_heat([(1.0, "thin-wall-C")])
    layout = b.bundle_layout(
        wires, np.array([0, 0]), np.array([0, 1]), np.array([40.0, 100.0]), ["", ""], np.array([3.0, 1.0])
    )
    found = b.bundle_temperatures(layout, np.array([0.0]))
    assert found.hottest_c[0] == 100
    assert found.mean_c[0] == pytest.approx(55)


def test_a_wire_in_no_segment_has_a_place_of_its_own() -> None:
    wires = wire_heat([(1.0, "thin-wall-C")] * 2)
    layout = b.bundle_layout(wires, np.array([0]), np.array([0]), np.array([40.0]), lone_ambient_c=85.0)
    assert b.bundle_temperatures(layout, np.zeros(2)).hottest_c.tolist() == [40.0, 85.0]


def test_cases_are_solved_together_as_they_are_one_by_one() -> None:
    layout = layout_of([2.5, 1.0, 0.5])
    cases = np.array([[10.0, 5.0, 0.0], [0.0, 0.0, 3.0], [20.0, 9.0, 4.0]])
    together = b.bundle_temperatures(layout, cases).hottest_c
    for row, case in zip(together, cases, strict=True):
        assert row == pytest.approx(b.bundle_temperatures(layout, case).hottest_c, abs=0.02)


def test_absurd_currents_end_at_melting_metal() -> None:
    found = b.bundle_temperatures(layout_of([0.5] * 5), np.array([1e5, 1.0, 0.0, 0.0, 1e7]))
    assert np.all(np.isfinite(found.hottest_c))
    assert found.hottest_c[0] == pytest.approx(1084.6)
    aluminium = wire_heat([(2.5, "thin-wall-C")], ["aluminium"])
    assert temperature_c(aluminium, np.array([1e5]), np.array([20.0]), np.ones(1))[0] == pytest.approx(660.3)


def test_every_covering_has_its_heat_and_an_unknown_one_is_named() -> None:
    assert set(covering_heats()) == set(coverings())
    for key in coverings():
        outer, k_m_per_w, emissivity = b.covering_layer(key, np.array([0.008]), np.array([60.0]))
        assert outer[0] >= 0.008
        assert (k_m_per_w[0] > 0) == (key != "none")
        assert 0 < emissivity <= 1
    with pytest.raises(TableGap, match="conduit-17"):
        covering_heat("wool")


def test_tight_sleeve_by_hand() -> None:
    """Shrink sleeve, wall 0.7 mm at 0.286 W/(m·K) on 8 mm: ln(9.4/8)/(2π·0.286)."""
    outer, k_m_per_w, _ = b.covering_layer("shrink", np.array([0.008]), np.array([60.0]))
    assert outer[0] == pytest.approx(0.0094)
    assert k_m_per_w[0] == pytest.approx(np.log(9.4 / 8) / (2 * np.pi * 0.286))


def test_aluminium_carries_less_by_the_root_of_its_resistance() -> None:
    copper, aluminium = wire_heat([(4.0, "thin-wall-C")]), wire_heat([(4.0, "thin-wall-C")], ["aluminium"])
    air_c, one = np.array([40.0]), np.ones(1)
    ratio = ampacity_a(aluminium, air_c, one)[0] / ampacity_a(copper, air_c, one)[0]
    warm = (1 + 0.00403 * 105) / (1 + 0.00393 * 105)
    assert ratio == pytest.approx(1 / np.sqrt(1.667 * warm), rel=1e-6)


def test_as50881_bundle_point() -> None:
    """AC 43.13-1B example 2: 8 wires, 60 % loaded, factor 0.60."""
    wire = WireHeat(*(np.array([v]) for v in (1.75e-3, 2.6e-3, 3.06e-3 / 0.3048, 0.2, 200.0)))
    one = np.ones(1)
    around = b.like_bundle(wire, 4.8 * one, 8 * one, 50 * one)
    factor = ampacity_a(wire, 50 * one, one, around=around)[0] / ampacity_a(wire, 50 * one, one)[0]
    assert factor == pytest.approx(0.60, rel=0.05)


def test_3000_wires_in_five_cases() -> None:
    rng = np.random.default_rng(3)
    sizes = rng.choice([0.5, 0.75, 1.0, 2.5, 4.0], 3000)
    wires = wire_heat([(float(s), "thin-wall-C") for s in sizes])
    layout = b.bundle_layout(
        wires,
        np.repeat(np.arange(3000), 6),
        rng.integers(0, 400, 18000),
        rng.uniform(40, 100, 400),
        ["", "conduit-17"] * 200,
    )
    amps = rng.uniform(0, 3, (5, 3000)) * sizes
    assert np.all(np.isfinite(b.bundle_temperatures(layout, amps).hottest_c))
