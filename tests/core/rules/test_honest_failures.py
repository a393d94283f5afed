"""A load that cannot be met, a fuse that protects nothing, a missing return: named findings, never NaN or a crash."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics.check import check
from pinmap.core.electrics.ground_lift import ground_lifts
from pinmap.core.electrics.heat_rules import may_carry
from pinmap.core.electrics.protection import protection
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import HEAT_RULES, Snapshot
from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind
from pinmap.core.rules.registry import run
from tests import factories_rules as f
from tests.factories_electrics import random_job

ABSURD = (("load_model", "watts"), ("load_value", "50000"))


def finite(report: ElectricalReport) -> None:
    for by_wire in report.wires.values():
        for state in by_wire.values():
            numbers = (state.current_a, state.heating_a, state.temp_c, state.resistance_ohm, state.drop_v)
            assert all(math.isfinite(x) for x in numbers), state
    for load in report.loads:
        assert all(math.isfinite(x) for x in (load.current_a, load.voltage_v, load.need_v)), load
    for volts in report.voltage_v.values():
        assert all(math.isfinite(v) for v in volts.values())


def judged(snapshot: Snapshot) -> None:
    """Everything that is computed of a job gives finite numbers, and findings with places and reasons."""
    for variant in snapshot.variants:
        routing = route(snapshot, variant, dictionary())
        report = check(snapshot, variant, routing, dictionary())
        finite(report)
        for case in report.wires:
            for both in may_carry(snapshot, routing, report, case).values():
                assert math.isfinite(both.model_a)
                assert both.table.ampacity_a is None or math.isfinite(both.table.ampacity_a)
        assert all(math.isfinite(lift.volts) for lift in ground_lifts(snapshot, variant, report))
        for feed in protection(snapshot, variant, routing, report, dictionary()):
            for fuse in feed.fuses:
                assert all(x.why and not math.isnan(x.value) for x in fuse.limits)
        for finding in run(snapshot, variant, routing, report, dictionary()):
            assert finding.where
            assert finding.why
            assert all(math.isfinite(value) for _, value, _, _ in finding.numbers), finding


def _spoil(snapshot: Snapshot, fault: str, r: random.Random) -> Snapshot:
    job = snapshot.job
    if fault == "signal gone":
        i = r.randrange(len(job.signals))
        job = replace(job, signals=(*job.signals[:i], *job.signals[i + 1 :]))
    elif fault == "absurd load":
        platforms = tuple(
            replace(p, pins=tuple(replace(x, extra=ABSURD) if x.extra else x for x in p.pins))
            for p in snapshot.platforms
        )
        return Snapshot(job, platforms, snapshot.housings)
    elif fault == "fuse without a rating":
        job = replace(job, devices=tuple(replace(d, rating_a=None) for d in job.devices))
    elif fault == "spare fuse":
        spare = Device(key="F999", kind=DeviceKind.FUSE, place=job.nodes[0].key, rating_a=5.0)
        job = replace(job, devices=(*job.devices, spare))
    elif fault == "hair-thin wires":
        job = replace(job, signals=tuple(replace(s, mm2=0.05) for s in job.signals))
    elif fault == "furnace":
        job = replace(job, zones=tuple(replace(z, ambient_c=900.0) for z in job.zones))
    else:
        job = replace(job, practice=replace(job.practice, heat_rule=r.choice(HEAT_RULES)))
    return Snapshot(job, snapshot.platforms, snapshot.housings)


FAULTS = ("signal gone", "absurd load", "fuse without a rating", "spare fuse", "hair-thin wires", "furnace", "table")


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 400), st.lists(st.sampled_from(FAULTS), min_size=1, max_size=3), st.integers(0, 99))
def test_no_fault_gives_a_number_that_is_none(seed: int, faults: list[str], pick: int) -> None:
    snapshot, r = random_job(seed), random.Random(pick)
    for fault in faults:
        if snapshot.job.signals:
            snapshot = _spoil(snapshot, fault, r)
    judged(snapshot)


@pytest.mark.parametrize(
    ("spoiled", "rule", "place"),
    [
        (lambda: f.change_pin(f.clean(), "D3-1", extra=ABSURD), "R95", "after-run pump"),
        (
            lambda: f.add_device(f.clean(), Device(key="F9", kind=DeviceKind.FUSE, place="box", rating_a=5.0)),
            "R92",
            "F9",
        ),
        (lambda: f.leave(f.clean(), 12, "D3-2"), "R21", "D3"),
    ],
    ids=["load that cannot be met", "fuse that protects nothing", "missing return"],
)
def test_each_is_a_finding_that_names_it(spoiled, rule: str, place: str) -> None:
    snapshot = spoiled()
    assert any(place in " ".join(x.where) for x in f.spoken(snapshot)[rule])
    judged(snapshot)
