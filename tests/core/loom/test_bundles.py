"""Bundle diameters against published packings and bounds that hold for any packing."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.errors import InputError
from pinmap.core.loom.bundles import bundle_diameter_mm

PUBLISHED = {  # diameter ratios of the best packings of N equal circles
    1: 1, 2: 2, 3: 2.15470, 4: 2.41421, 5: 2.70130, 6: 3, 7: 3, 8: 3.30476, 9: 3.61313, 10: 3.813, 11: 3.92380,
    12: 4.0296, 13: 4.23607, 14: 4.328, 15: 4.52136, 16: 4.615, 17: 4.792, 18: 4.86370, 19: 4.86370, 20: 5.122,
}  # fmt: skip


@pytest.mark.parametrize(("n", "ratio"), PUBLISHED.items())
def test_equal_wires(n: int, ratio: float) -> None:
    assert bundle_diameter_mm([1.0] * n) == pytest.approx(ratio, abs=1e-3)


def test_published_examples() -> None:
    assert bundle_diameter_mm([2.0] * 7) == pytest.approx(6.00, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 19) == pytest.approx(9.727, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 3) == pytest.approx(4.309, abs=1e-3)
    assert bundle_diameter_mm([2.0] * 24) == pytest.approx(11.76, abs=0.01)
    assert bundle_diameter_mm([2.0] * 2) == pytest.approx(4.0)


def test_three_touching_wires_and_their_circle() -> None:
    """Descartes' circle theorem gives the circle around three touching ones; where the third fits into the gap
    beside the two larger, those two decide."""
    assert bundle_diameter_mm([6.0, 4.0, 2.0]) == pytest.approx(10.0, rel=0.01)
    r = [1.5, 1.3, 1.2]
    k = [1 / x for x in r]
    outer = 1 / abs(sum(k) - 2 * math.sqrt(k[0] * k[1] + k[1] * k[2] + k[2] * k[0]))
    found = bundle_diameter_mm([2 * x for x in r])
    assert 2 * outer - 1e-9 <= found <= 2 * outer * 1.02


@given(st.lists(st.floats(0.8, 15), min_size=1, max_size=40))
def test_never_below_what_any_packing_needs(diameters: list[float]) -> None:
    found = bundle_diameter_mm(diameters)
    ordered = sorted(diameters, reverse=True)
    assert found >= math.sqrt(sum(d * d for d in ordered)) - 1e-9
    assert found >= sum(ordered[:2]) - 1e-9
    assert found <= sum(ordered) * 1.001  # side by side is a packing too


@given(st.permutations([1.2, 3.0, 2.4, 5.0, 1.9, 2.4]))
def test_order_does_not_matter(diameters: list[float]) -> None:
    assert bundle_diameter_mm(diameters) == bundle_diameter_mm(sorted(diameters))


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_bad_diameter(bad: float) -> None:
    with pytest.raises(InputError, match="diameter"):
        bundle_diameter_mm([1.0, bad])
