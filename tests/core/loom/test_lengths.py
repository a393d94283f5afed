"""A cut length is the sum of its parts, rounded up to the shop's step."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.loom.lengths import length_parts, parts_of
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Practice
from tests.factories_drawings import small_job

PRACTICE = Practice(
    service_loop_m=0.08, strip_m=0.006, splice_overlap_m=0.02, twist_take_up_pct=4.0, cut_step_m=0.005, bend_pct=2.0,
    connector_run_in_m=0.03, tolerance_m=0.01,
)  # fmt: skip


def test_parts_by_hand() -> None:
    """2 m twisted, from a connector to a splice."""
    parts = length_parts(PRACTICE, 2.0, splices=1, connectors=1, twisted=True)
    assert parts[:-1] == pytest.approx((2.0, 0.08, 0.04, 0.08, 0.03, 0.012, 0.02, 0.01))
    assert parts.exact_m == pytest.approx(2.272)
    assert parts.cut_m == pytest.approx(2.275)
    assert sum(m for words, m in parts.rows() if words != "cut length") == pytest.approx(parts.cut_m)


@settings(deadline=None)
@given(
    path_m=st.floats(0, 50), splices=st.integers(0, 2), connectors=st.integers(0, 2), twisted=st.booleans(),
    step_m=st.sampled_from([0.0, 0.001, 0.005, 0.01, 0.025]),
)  # fmt: skip
def test_rounded_up_by_less_than_a_step(
    path_m: float, splices: int, connectors: int, twisted: bool, step_m: float
) -> None:
    parts = length_parts(
        replace(PRACTICE, cut_step_m=step_m), path_m, splices=splices, connectors=connectors, twisted=twisted
    )
    assert -2e-6 <= parts.cut_m - parts.exact_m < max(step_m, 2e-6) + 2e-6
    if step_m:
        assert math.isclose(parts.cut_m / step_m, round(parts.cut_m / step_m), abs_tol=1e-3)
    straight = length_parts(PRACTICE, path_m, splices=splices, connectors=connectors, twisted=False)
    assert parts.twist_m == pytest.approx(0.04 * path_m if twisted else 0.0)
    assert straight.twist_m == 0.0


def test_every_wire_of_a_loom_is_cut_to_its_parts() -> None:
    snapshot = small_job()
    job = replace(snapshot.job, practice=PRACTICE)
    snapshot = type(snapshot)(job, snapshot.platforms, snapshot.housings)
    wires = route(snapshot, snapshot.variants[0]).wires
    assert any(w.twist for w in wires)
    assert any(w.a.splice or w.b.splice for w in wires)
    for wire in wires:
        assert wire.cut_length_m == pytest.approx(parts_of(PRACTICE, wire).cut_m, abs=1e-6)
