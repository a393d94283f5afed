"""Conductor catalogues against printed values."""

from itertools import pairwise

import pytest

from pinmap.core.errors import TableGap
from pinmap.core.facts.catalogues import catalogue, catalogues
from pinmap.core.facts.conductors import iec60228_ohm_per_km, wire_size
from pinmap.core.facts.metals import metal


@pytest.mark.parametrize("key", list(catalogues()))
def test_every_list_rises_and_says_where_it_comes_from(key: str) -> None:
    found = catalogue(key)
    assert len(found.conductors) >= 8
    assert all(x.mm2 < y.mm2 and x.r20_ohm_per_m > y.r20_ohm_per_m for x, y in pairwise(found.conductors))
    assert found.source
    least = metal(found.metal).ohm_mm2_per_m
    assert all(0.94 < c.r20_ohm_per_m * c.mm2 / least < 1.2 for c in found.conductors)


def test_ranges() -> None:
    assert [catalogue("iso6722-copper").conductors[i].mm2 for i in (0, -1)] == [0.13, 120]
    assert [catalogue("iec60228-5-tinned").conductors[i].mm2 for i in (0, -1)] == [0.5, 120]
    assert [catalogue("sae").conductors[i].name for i in (0, -1)] == ["SAE 18", "SAE 4/0"]
    assert "10 AWG" in [c.name for c in catalogue("awg-copper").conductors]


def test_aluminium() -> None:
    """IEC 60228 class 2: 16 mm² 1.91 ohm/km, 1.64 to 1.69 of copper; ISO 6722-2 4 mm²: 7.85 mohm/m (from memory)."""
    assert iec60228_ohm_per_km(16, 2, aluminium=True) == 1.91
    for c in catalogue("iec60228-2-aluminium").conductors:
        assert 1.63 < 1000 * c.r20_ohm_per_m / iec60228_ohm_per_km(c.mm2, 2) < 1.69
    assert 1000 * wire_size(4.0, "thin-wall-C", "aluminium").r20_ohm_per_m == pytest.approx(7.85, rel=0.005)
    with pytest.raises(TableGap):
        iec60228_ohm_per_km(2.5, 2, aluminium=True)
    with pytest.raises(TableGap, match="copper, aluminium"):
        wire_size(2.5, "thin-wall-C", "tin")
    with pytest.raises(TableGap, match="awg-copper"):
        catalogue("none")
