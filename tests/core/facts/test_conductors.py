"""Conductors against the formula, the `fluids` library and published tables."""

import math
from itertools import pairwise

import pytest
from fluids.piping import t_from_gauge
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.errors import InputError, TableGap
from pinmap.core.facts import conductors as c
from pinmap.core.facts.sources import rows
from pinmap.core.model.jobs import Practice

_ZEROS = {"4/0": 0.25, "3/0": 0.33, "2/0": 0.5, "1/0": 0}  # how the library writes them


@pytest.mark.parametrize("name", [n for n in c.awg_names() if "/" in n or int(n) <= 30])
def test_gauges_agree_with_fluids(name: str) -> None:
    library_mm = t_from_gauge(_ZEROS.get(name, name if "/" in name else int(name)), SI=True, schedule="AWG") * 1000
    within = 0.001 if "/" in name or int(name) <= 18 else 0.004
    assert c.awg_diameter_mm(name) == pytest.approx(library_mm, rel=within)


def test_fixed_points_of_astm_b258() -> None:
    assert c.awg_diameter_mm("4/0") == pytest.approx(11.684, rel=1e-9)
    assert c.awg_diameter_mm(36) == pytest.approx(0.127, rel=1e-12)
    assert c.awg_diameter_mm("AWG 10") == pytest.approx(2.5882, rel=1e-4)
    assert c.awg_area_mm2("10") == pytest.approx(5.2612, rel=1e-4)
    assert c.awg_diameter_mm("0000") == c.awg_diameter_mm("4/0")


@pytest.mark.parametrize(("mm2", "awg"), [(1.0, "17"), (0.5, "20"), (1.5, "15"), (2.5, "13"), (6.0, "9")])
def test_nearest_gauge(mm2: float, awg: str) -> None:
    assert c.nearest_awg(mm2) == awg


@given(st.sampled_from(c.awg_names()))
def test_gauge_round_trip(name: str) -> None:
    assert c.nearest_awg(c.awg_area_mm2(name)) == name


@pytest.mark.parametrize("bad", ["", "x", "5/0", "99", "-1", "10.5"])
def test_bad_gauge(bad: str) -> None:
    with pytest.raises(InputError, match="wire gauge"):
        c.awg_area_mm2(bad)


def test_iec_60228() -> None:
    assert c.iec60228_ohm_per_km(2.5, 5) * 20 / 1000 * 10 == pytest.approx(1.596)  # 10 A, 10 m out and back
    assert c.iec60228_ohm_per_km(50, 5) < c.iec60228_ohm_per_km(50, 2)  # as printed
    assert c.iec60228_ohm_per_km(1, 5, tinned=True) == 20.0
    with pytest.raises(TableGap):
        c.iec60228_ohm_per_km(3, 5)


def test_iso_6722_lies_at_a_steady_share_of_iec_60228_class_5() -> None:
    common = [r for r in rows("conductors_iso6722") if r["source"] == "corroborated"]
    assert len(common) == 15
    for r in common:
        share = float(r["r20_mohm_per_m"]) / c.iec60228_ohm_per_km(float(r["mm2"]), 5)
        assert 0.945 <= share <= 0.960, r["mm2"]


def test_resistance_at_temperature() -> None:
    assert c.resistance_factor(75.0) == pytest.approx((234.5 + 75) / 254.5, rel=1e-4)


def test_sae_areas_are_89_to_97_per_cent_of_the_gauge() -> None:
    for name, area in c.sae_areas_mm2().items():
        assert 0.88 < area / c.awg_area_mm2(name) < 0.975


@pytest.mark.parametrize("key", list(c.insulations()))
def test_every_size_in_stock_exists_in_every_insulation(key: str) -> None:
    sizes = [c.wire_size(mm2, key) for mm2 in Practice().stock_mm2]
    assert all(a.r20_ohm_per_m > b.r20_ohm_per_m and a.od_mm < b.od_mm for a, b in pairwise(sizes))
    assert all(s.conductor_mm < s.od_mm for s in sizes)


@given(st.floats(0.05, 150))
def test_unlisted_sizes_lie_between_their_neighbours(mm2: float) -> None:
    size = c.wire_size(mm2, "thin-wall-C")
    assert size.r20_ohm_per_m >= 0.98 / 58 / mm2
    assert math.isfinite(size.od_mm)
    assert size.od_mm > size.conductor_mm


def test_refusals() -> None:
    with pytest.raises(InputError, match="wire size"):
        c.wire_size(math.nan, "thin-wall-C")
    with pytest.raises(TableGap, match="thin-wall-C"):
        c.wire_sizes("rubber")


def test_33_cfr_spot_values() -> None:
    table = {r["awg"]: r for r in rows("ampacity_33cfr183")}
    assert (table["14"]["a105"], table["10"]["a75"], table["18"]["a200"], table["4/0"]["a60"]) == (
        "35",
        "40",
        "25",
        "300",
    )
    for temp in (60, 75, 80, 90, 105, 125):
        assert float(table["engine-space"][f"a{temp}"]) == pytest.approx(math.sqrt((temp - 50) / (temp - 30)), abs=0.01)
