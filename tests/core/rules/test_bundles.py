"""Bundles and coverings: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.fixings import fixing_fit
from pinmap.core.loom.route import route
from pinmap.core.model.looms import Fixing, Zone
from pinmap.core.model.words import FixingKind
from tests import factories_rules as f
from tests.factories_rules import only


@pytest.mark.parametrize(
    ("covering", "why"),
    [("conduit-4.5", "for bundles of 1.9 to 4.6 mm"), ("conduit-29", "for bundles of 11.6 to 27.5 mm")],
)
def test_r47_covering_of_the_wrong_size(covering: str, why: str) -> None:
    found = only(f.change_segment(f.clean(), "j1-j2", covering=covering), "R47", "j1-j2")
    assert why in found.why
    assert "take " in found.way_out


def test_r47_covering_that_the_zone_is_too_hot_for() -> None:
    zones = tuple(replace(z, ambient_c=100.0) for z in f.clean().job.zones)
    job = f.change_job(f.clean(), zones=zones)
    said = f.spoken(f.change_segment(job, "j1-j2", covering="tape-pvc"))
    assert "to 90 °C; the zone has 100 °C" in said["R47"][0].why
    assert "R47" not in f.spoken(f.change_segment(job, "j1-j2", covering="tape-cloth"))
    assert f.findings(f.change_segment(f.clean(), "j1-j2", covering="a sleeve of our own")) == ()


def test_r48_very_large_bundle() -> None:
    job = f.clean()
    for number in range(100, 170):
        job = f.add_signal(job, replace(job.signal["s6"], key=f"s{number}", number=number, name=f"Signal {number}"))
    said = f.spoken(job)
    assert {x.where[0] for x in said["R48"]} >= {"segment j1-j2"}


def test_r50_hot_run_needs_a_covering() -> None:
    zones = (*f.clean().job.zones, Zone(key="turbo", name="Turbine", ambient_c=100.0, hot=True))
    job = f.change_segment(f.change_job(f.clean(), zones=zones), "j2-xd1", zone="turbo")
    only(job, "R50", "j2-xd1", "Turbine")
    assert f.findings(f.change_segment(job, "j2-xd1", covering="heat sleeve")) == ()


@pytest.mark.parametrize(("kind", "takes"), [(FixingKind.CLIP, 3.0), (FixingKind.GROMMET, 2.7)])
def test_r100_bundle_too_thick_for_what_holds_it(kind: FixingKind, takes: float) -> None:
    held = Fixing(key="c1", segment="j1-j2", kind=kind, at_m=0.05, inner_mm=3.0, part="P 7")
    found = only(f.change_job(f.clean(), fixings=(held,)), "R49", f"{kind.value} c1", "segment j1-j2")
    assert f"is 3 mm wide and takes {takes:.1f} mm" in found.why
    (_, thick_mm, most_mm, _) = found.numbers[0]
    assert most_mm == pytest.approx(takes)
    assert f"{thick_mm:.1f} mm thick" in found.why
    assert f.findings(f.change_job(f.clean(), fixings=(replace(held, inner_mm=30.0),))) == ()


def test_r100_counts_the_covering_and_the_place() -> None:
    job = f.clean()
    bare = fixing_fit(Bundles.of(job, route(job, job.variants[0])), job.job.segments[0], Fixing(
        key="c1", segment=job.job.segments[0].key, kind=FixingKind.CLIP, at_m=0.01, inner_mm=3.0
    ))  # fmt: skip
    taped = f.change_segment(job, job.job.segments[0].key, covering="tape-cloth")
    over = fixing_fit(Bundles.of(taped, route(taped, taped.variants[0])), taped.job.segments[0], bare.fixing)
    assert over.outside_mm > bare.outside_mm > 0
