"""Findings name a load case as its user named it, never by the key that addresses carry."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.model.jobs import Snapshot
from tests import factories_rules as f

FAULTS = {
    "R10": lambda s: f.change_pin(s, "D3-1", current_a=2.9),
    "R14": lambda s: f.change_device(
        f.change_pin(f.change_signal(s, 12, mm2=0.5), "D3-1", current_a=14.0), "F1", rating_a=30.0
    ),
    "R15": lambda s: f.change_segment(s, "j2-xd3", length_m=4.5),
    "R16": lambda s: f.change_segment(
        f.change_job(s, load_cases=tuple(replace(c, supply_v=8.2) if c.code == "C" else c for c in s.job.load_cases)),
        "box-j1",
        length_m=2.4,
    ),
    "R20": lambda s: f.change_segment(s, "j2-xd4", length_m=3.6),
    "R53": lambda s: f.change_device(s, "K1", resistance_ohm=0.08),
    "R95": lambda s: f.change_pin(
        f.change_segment(s, "j2-xd3", length_m=60.0), "D3-1", extra=(("load_model", "watts"), ("load_value", "200"))
    ),
}


def renamed() -> Snapshot:
    s = f.clean()
    return f.change_job(
        s, load_cases=tuple(replace(c, key=f"key{c.code}", name=f"Our state {c.code}") for c in s.job.load_cases)
    )


@pytest.mark.parametrize("rule", FAULTS)
def test_a_finding_names_the_case_by_its_name(rule: str) -> None:
    said = f.spoken(FAULTS[rule](renamed()))
    assert "Our state" in str(said[rule])
    for found in (x for same in said.values() for x in same):
        assert not any(f"key{code}" in str(replace(found, refs=())) for code in "KCIFA"), found
