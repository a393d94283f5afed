"""Coverings by size and surroundings, bends, clips, grommets, backshell clamps."""

import itertools

import pytest

from pinmap.core.errors import TableGap
from pinmap.core.facts.fittings import fittings, sleeve_sizes
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.coverings import bend_limits, covering_choices, fit_covering, holds
from pinmap.core.model.looms import Zone

DRY = Zone(key="d", name="dry", ambient_c=40.0)


def _zone(ambient_c: float, **flags: bool) -> Zone:
    return Zone(key="z", name="z", ambient_c=ambient_c, **flags)


@pytest.mark.parametrize(
    ("bundle_mm", "size"),
    [(1.0, "1.6/0.8"), (1.4, "1.6/0.8"), (1.5, "2.4/1.2"), (5.0, "6.4/3.2"), (11.0, "12.7/6.4"), (40.0, "50.8/25.4")],
)
def test_heat_shrink_by_ratio_and_recovered_size(bundle_mm: float, size: str) -> None:
    """A tube is supplied at least a tenth wider than the bundle, so that it slips on, and shrinks to at least a tenth
    less, so that it grips."""
    found = fit_covering(coverings()["shrink"], bundle_mm, None)
    assert found.size == size
    assert not found.against
    supplied, recovered = (float(v) for v in size.split("/"))
    assert bundle_mm * 1.1 <= supplied + 1e-9
    assert recovered <= bundle_mm * 0.9 + 1e-9


@pytest.mark.parametrize("key", ["shrink", "shrink-glue", "shrink-elast"])
def test_heat_shrink_leaves_no_bundle_between_two_sizes(key: str) -> None:
    sizes = sleeve_sizes()[key]
    ratio = 3 if key == "shrink-glue" else 2
    for one, two in itertools.pairwise(sizes):
        assert two.min_mm <= one.max_mm
    for size in sizes:
        supplied, recovered = (float(v) for v in size.size.split("/"))
        assert supplied / recovered == pytest.approx(ratio, rel=0.1)


def test_nothing_is_bent_to_fit() -> None:
    found = fit_covering(coverings()["shrink"], 60.0, None)
    assert found.size == ""
    assert "no size for 60.0 mm" in found.against
    assert "for bundles of" in fit_covering(coverings()["conduit-8.5"], 9.0, None).against


def test_the_zone_decides() -> None:
    hot = covering_choices(12.0, _zone(140.0, hot=True))[0]
    assert hot.covering.form == "sleeve"
    assert covering_choices(12.0, _zone(60.0, moving=True))[0].covering.form == "braid"
    assert covering_choices(12.0, _zone(60.0, wet=True))[0].covering.form == "conduit"
    assert covering_choices(12.0, DRY)[0].covering.form == "tape"
    for zone in (_zone(140.0, hot=True), _zone(110.0, wet=True), DRY, None):
        for fit in covering_choices(12.0, zone):
            if zone is not None and not fit.against:
                assert fit.covering.max_temp_c >= zone.ambient_c
            assert fit.outside_mm > 12.0
    against = {f.covering.key: f.against for f in covering_choices(12.0, _zone(110.0))}
    assert against["tape-pvc"] == "to 90 °C; the zone has 110 °C"


def test_outside_diameter_by_the_wall_of_the_size() -> None:
    def over(bundle_mm: float, key: str) -> float:
        return fit_covering(coverings()[key], bundle_mm, None).outside_mm

    assert over(10.0, "tape-cloth") == pytest.approx(11.0)
    assert over(11.0, "shrink") == pytest.approx(11.0 + 2 * 0.64)
    assert over(7.0, "conduit-8.5") == pytest.approx(8.2 + 2 * 1.5)


def test_bends() -> None:
    """8 mm cable: 48 mm short term; 80 mm for long."""
    assert [b.radius_mm for b in bend_limits(8.0)] == [80.0, 48.0, 24.0]


def test_clip_grommet_backshell() -> None:
    clip, grommet, backshell = holds(11.2)
    assert clip.fitting is not None
    assert clip.words == "size 12"
    assert grommet.words == "size 14"  # nine tenths of 12 mm are 10.8 mm
    assert backshell.words == "size 04"
    assert holds(13.4)[0].words == "size 15, built up with tape to 14 mm"
    assert all("divide the bundle" in h.words for h in holds(80.0))
    with pytest.raises(TableGap, match="clip, grommet, backshell"):
        fittings("bracket")
