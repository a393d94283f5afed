"""Packings against published ones, and what holds for any packing: nothing overlaps, nothing sticks out."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.errors import InputError
from pinmap.core.loom.layup import rings
from pinmap.core.loom.packing import Packing, bundle_diameter_mm, pack, packing_ratios

# Diameter ratios of the best packings of equal circles: the table up to 20 with its source, 21 to 37 from memory of the
# lists of best-known packings, cut after the third decimal, so that no true value lies below.
FROM_MEMORY = {
    21: 5.252, 22: 5.439, 23: 5.545, 24: 5.651, 25: 5.752, 26: 5.828, 27: 5.906, 28: 6.014, 29: 6.138, 30: 6.197,
    31: 6.291, 32: 6.429, 33: 6.486, 34: 6.610, 35: 6.697, 36: 6.746, 37: 6.758,
}  # fmt: skip
PUBLISHED = {n: ratio for n, ratio in enumerate(packing_ratios()) if n} | FROM_MEMORY


def check(diameters: list[float], found: Packing) -> None:
    at, radii = np.array(found.at_mm).reshape(-1, 2), np.array(diameters) / 2
    assert len(at) == len(diameters)
    gaps = np.hypot(at[:, None, 0] - at[:, 0], at[:, None, 1] - at[:, 1]) - radii[:, None] - radii
    np.fill_diagonal(gaps, 1.0)
    assert gaps.min(initial=1.0) >= -1e-8, "wires overlap"
    assert (np.hypot(*at.T) + radii).max(initial=0.0) <= found.diameter_mm / 2 + 1e-8, "a wire sticks out"


@pytest.mark.parametrize(("n", "ratio"), PUBLISHED.items())
def test_equal_wires_are_as_good_as_the_best_known_and_never_better(n: int, ratio: float) -> None:
    for d in (1.0, 2.4):
        found = pack([d] * n)
        check([d] * n, found)
        assert ratio - 1e-4 <= found.diameter_mm / d <= ratio * 1.002


def test_published_examples() -> None:
    assert bundle_diameter_mm([2.0] * 7) == pytest.approx(6.00, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 19) == pytest.approx(9.727, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 3) == pytest.approx(4.309, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 2) == 4.0
    assert bundle_diameter_mm([]) == 0.0
    assert bundle_diameter_mm([3.7]) == 3.7


def test_nearly_equal_wires_lie_as_equal_ones_of_the_thickest() -> None:
    assert bundle_diameter_mm([2.0] * 18 + [1.9]) <= 9.728


def test_three_touching_wires_and_their_circle() -> None:
    """Descartes' circle theorem gives the circle around three touching ones; where the third fits into the gap
    beside the two larger, those two decide."""
    assert bundle_diameter_mm([6.0, 4.0, 2.0]) == pytest.approx(10.0, rel=0.001)
    r = [1.5, 1.3, 1.2]
    k = [1 / x for x in r]
    outer = 1 / abs(sum(k) - 2 * math.sqrt(k[0] * k[1] + k[1] * k[2] + k[2] * k[0]))
    found = bundle_diameter_mm([2 * x for x in r])
    assert 2 * outer - 1e-9 <= found <= 2 * outer * 1.005


@given(st.lists(st.floats(0.8, 15), max_size=40))
@settings(max_examples=60, deadline=None)
def test_any_mix_is_a_packing_and_never_below_its_bounds(diameters: list[float]) -> None:
    found = pack(diameters)
    check(diameters, found)
    ordered = sorted(diameters, reverse=True)
    assert found.diameter_mm >= math.sqrt(sum(d * d for d in ordered)) - 1e-9
    assert found.diameter_mm >= sum(ordered[:2]) - 1e-9
    assert found.diameter_mm <= sum(ordered) + 1e-4  # side by side is a packing too
    for n in range(1, min(len(ordered), 20) + 1):  # the n thickest need what n of the n-th need
        assert found.diameter_mm >= PUBLISHED[n] * ordered[n - 1] - 1e-3


@pytest.mark.parametrize("count", [41, 90, 150, 151, 400])
def test_many_wires_are_packed_too(count: int) -> None:
    """Nearly as tight as the handbook's 1.2 times the root of the squares, far from its 1.45 for wires at random."""
    sizes = (1.4, 1.6, 1.9, 2.1, 2.4, 3.0, 4.3)
    diameters = [sizes[i * i % 7] for i in range(count)]
    found = pack(diameters)
    check(diameters, found)
    root = math.sqrt(sum(d * d for d in diameters))
    assert root < found.diameter_mm <= 1.25 * root


@settings(deadline=None)
@given(st.permutations([1.2, 3.0, 2.4, 5.0, 1.9, 2.4]))
def test_order_does_not_matter(diameters: list[float]) -> None:
    assert bundle_diameter_mm(diameters) == bundle_diameter_mm(sorted(diameters))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_bad_diameter(bad: float) -> None:
    with pytest.raises(InputError, match="diameter"):
        bundle_diameter_mm([1.0, bad])


def test_equal_wires_make_rings_of_six_more_each() -> None:
    laid = rings([2.0] * 37)
    assert laid.words == "1-6-12-18"
    assert laid.diameter_mm == pytest.approx(14.0)
    assert laid.fillers == 0
    assert rings([2.0] * 12).words == "3-9"
    assert rings([1.0] * 17).words in {"1-6-10", "2-8-7", "3-9-5", "5-12"}


def test_fillers_close_what_a_ring_leaves_open() -> None:
    """Twenty around one: 1-6-12 is full, the last ring of 18 bears one wire and seventeen rods of its size."""
    laid = rings([1.0] * 5)
    assert laid.diameter_mm <= 3.0 + 1e-9
    for count in range(2, 60):
        laid = rings([1.0] * count)
        for ring in laid.rings[1:]:
            room = int(math.pi / math.asin(1 / (ring.over_mm - 1)) + 1e-9)  # chords of 1 on the ring's middle line
            assert len(ring.wires) + ring.fillers == room


@given(st.lists(st.floats(0.8, 15), min_size=1, max_size=80))
@settings(max_examples=60, deadline=None)
def test_a_lay_up_holds_every_wire_once_and_none_overlap(diameters: list[float]) -> None:
    laid = rings(diameters)
    check(diameters, Packing(laid.diameter_mm, laid.at_mm))
    assert sorted(i for ring in laid.rings for i in ring.wires) == list(range(len(diameters)))
    assert all(a.over_mm < b.over_mm for a, b in zip(laid.rings, laid.rings[1:], strict=False))
    for one, two in combinations(laid.rings, 2):  # the thickest lie inside
        assert min(diameters[i] for i in one.wires) >= max(diameters[i] for i in two.wires)
