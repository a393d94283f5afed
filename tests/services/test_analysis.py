"""What is computed from a job and remembered."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.electrics import check as checks
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.demo import finished_snapshot
from pinmap.services.analysis import analyse


def test_analysis_after_an_edit_is_that_of_the_edited_job() -> None:
    """A wire's size, then back: each analysis is that of a check from scratch, whatever was analysed before."""
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    thin = analyse(snapshot, variant)
    signal = snapshot.signal[thin.routing.wires[0].signal]
    signals = tuple(replace(s, mm2=10.0) if s is signal else s for s in snapshot.job.signals)
    edited = Snapshot(replace(snapshot.job, signals=signals), snapshot.platforms, snapshot.housings)
    thick = analyse(edited, variant)
    assert thick.routing.wires[0].mm2 == 10.0
    for job, done in ((snapshot, thin), (edited, thick), (snapshot, analyse(snapshot, variant))):
        scratch = checks.check(job, variant, route(job, variant, dictionary()), dictionary())
        assert len(scratch.loads) == len(done.report.loads)
        for ours, fresh in zip(done.report.loads, scratch.loads, strict=True):
            assert abs(ours.voltage_v - fresh.voltage_v) < 1e-9
        assert {w: a.mm2 for w, a in done.report.advice.items()} == {w: a.mm2 for w, a in scratch.advice.items()}
