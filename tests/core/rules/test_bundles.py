"""Bundles and coverings: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.model.looms import Zone
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
