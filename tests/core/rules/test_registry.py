"""The registry: complete, well-worded, merging variants, quick, and never broken by a broken job."""

from __future__ import annotations

import random
import re
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pinmap.core.electrics.check import check
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary, dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Pick, Seat, Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Fate, Gender, Kind, Role, Severity
from pinmap.core.rules.registry import rule_list, run, run_all
from pinmap.demo import finished_snapshot, half_way_snapshot
from tests import factories_rules as f

REQUIRED = [
    "R01",
    "R02",
    "R03",
    "R04",
    "R07",
    "R08",
    "R09",
    "R12",
    "R14",
    "R15",
    "R18",
    "R19",
    "R21",
    "R22",
    "R24",
    "R30",
    "R31",
    "R32",
    "R33",
    "R34",
    "R37",
    "R57",
    "R61",
    "R62",
    "R64",
    "R66",
    "R77",
    "R79",
    "R83",
    "R84",
]


def test_every_required_rule_is_there_once() -> None:
    ids = [info.id for info in rule_list()]
    assert set(REQUIRED) <= set(ids)
    assert len(ids) == len(set(ids))
    assert ids == sorted(ids)


@pytest.mark.parametrize("info", rule_list(), ids=lambda info: info.id)
def test_every_card_is_filled_in(info: object) -> None:
    for name in ("id", "title", "explanation", "limit", "source"):
        assert getattr(info, name).strip(), name
    assert re.fullmatch(r"R\d\d", info.id)  # type: ignore[attr-defined]  # RuleInfo
    assert isinstance(info.severity, Severity)  # type: ignore[attr-defined]  # RuleInfo


def test_findings_name_their_variant_and_stops_stand_first() -> None:
    job = f.no_fate(f.change_device(f.clean(), "F1", rating_a=40.0), "H1-3")
    variant = job.variants[0]
    routing = route(job, variant)
    said = run(job, variant, routing, check(job, variant, routing, dictionary()), dictionary())
    assert {x.variant for x in said} == {variant.key}
    gravity = [("stop", "fix", "note").index(x.severity.value) for x in said]
    assert gravity == sorted(gravity)
    assert len(set(gravity)) > 1


def _two_hosts(job: Snapshot) -> Snapshot:
    seats = (replace(job.job.seats[0], picks=(Pick(f.HOST, "early"), Pick(f.HOST, "late"))), *job.job.seats[1:])
    return f.change_job(job, seats=seats)


def test_the_same_finding_of_all_variants_is_one() -> None:
    job = _two_hosts(f.clean())
    assert f.findings(job) == ()
    found = f.findings(f.change_device(job, "K1", suppressed=False))
    assert [(x.rule, x.variant) for x in found] == [("R55", "")]


def test_a_finding_of_one_variant_names_it() -> None:
    job = f.add_pin(_two_hosts(f.clean()), "H1-8", "HORN", Kind.HIGH_SIDE, Direction.IN, editions=("early",))
    found = f.findings(job)
    assert [(x.rule, x.variant) for x in found] == [("R62", "Brindle 6, 1998-2001")]


def test_results_given_are_the_results_used() -> None:
    job = _two_hosts(f.clean())
    results = []
    for variant in job.variants:
        routing = route(job, variant)
        results.append((variant, routing, check(job, variant, routing, dictionary())))
    job_with_fault = f.change_device(job, "K1", suppressed=False)
    assert [x.rule for x in run_all(job_with_fault, dictionary(), results)] == ["R55"]


def test_keys_are_unique() -> None:
    keys = [x.key for x in f.findings(_broken(random.Random(4)))]
    assert len(keys) == len(set(keys))


# --- broken jobs --------------------------------------------------------------------------------------------------


def test_an_empty_job_says_nothing() -> None:
    empty = Snapshot(Job(key="e", name="Empty"))
    assert run_all(empty, dictionary()) == ()
    assert run(empty, Variant(()), Routing(), ElectricalReport(), Dictionary()) == ()


def test_pinouts_without_a_loom_are_only_undecided() -> None:
    job = f.change_job(f.clean(), signals=(), devices=(), nodes=(), segments=(), zones=(), looms=(), fates=())
    assert {x.rule for x in f.findings(job)} == {"R62"}


def test_signals_without_a_loom_make_no_false_stop() -> None:
    job = f.change_job(f.clean(), nodes=(), segments=(), zones=(), looms=())
    assert not [x for x in f.findings(job) if x.severity is Severity.STOP]


def test_unknown_kinds_make_no_false_stop() -> None:
    job = f.clean()
    for platform in job.platforms:
        job = f.change_platform(
            job,
            platform.key,
            lambda x: replace(x, pins=tuple(replace(p, kind=Kind.UNKNOWN, function_code="") for p in x.pins)),
        )
    assert not [x for x in f.findings(job) if x.severity is Severity.STOP]


def test_a_pick_that_is_not_there_is_said_and_breaks_nothing() -> None:
    gone = Seat(key="extra", name="Extra", role=Role.ACCESSORY, picks=(Pick("nowhere", "never"),))
    variant = Variant((*f.clean().variants[0].picks, ("extra", gone.picks[0])))
    said = run(f.clean(), variant, Routing(), ElectricalReport(), dictionary())
    assert [x.title for x in said if x.rule == "R84"] == ["Picked platform is missing"]


def _broken(chance: random.Random) -> Snapshot:
    """The clean job after some dozen random blows, each of which the store would accept."""
    job = f.clean()
    cavities = [
        f"{c}-{n}" for c, n in (("H1", 13), ("U1", 13), ("D1", 4), ("D2", 3), ("D3", 3), ("D4", 2)) for n in range(1, n)
    ]
    ends = [*cavities, "F1.1", "F1.2", "K1.30", "K1.87", "K1.87a", "K1.85", "K1.86", "R1.1", "R1.2", "gone.1"]
    for _ in range(chance.randrange(1, 14)):
        blow = chance.randrange(13)
        text, number = chance.choice(cavities), chance.randrange(1, 13)
        if blow == 0:
            job = f.change_pin(job, text, kind=chance.choice(list(Kind)), direction=chance.choice(list(Direction)))
        elif blow == 1 and f"s{number}" in job.signal:
            job = f.join(job, number, f"{chance.choice(ends)}@{chance.randrange(4)}")
        elif blow == 2 and job.job.signals:
            job = f.change_job(job, signals=tuple(s for s in job.job.signals if s.number != number))
        elif blow == 3:
            job = f.change_job(job, devices=tuple(d for d in job.job.devices if chance.random() < 0.7))
        elif blow == 4:
            job = f.change_job(job, nodes=tuple(n for n in job.job.nodes if chance.random() < 0.8))
        elif blow == 5:
            job = f.change_job(job, segments=tuple(s for s in job.job.segments if chance.random() < 0.8))
        elif blow == 6:
            job = Snapshot(job.job, job.platforms, tuple(h for h in job.housings if chance.random() < 0.7))
        elif blow == 7:
            job = f.set_fate(job, text, chance.choice(list(Fate)), chance.choice(("", "why")))
        elif blow == 8:
            extra = (
                (
                    chance.choice(("fuse_a", "terminator_ohm", "view", "source_edition")),
                    chance.choice(("", "x", "1e9", "120", "0")),
                ),
            )
            job = f.change_pin(job, text, extra=extra, evidence=chance.choice(list(Evidence)), evidence_ref="2002-1998")
        elif blow == 9:
            job = f.change_device(
                job, "F1", kind=chance.choice(list(DeviceKind)), rating_a=chance.choice((None, 0.0, 5.0))
            )
        elif blow == 10:
            job = f.change_node(
                job, "xu1", gender=chance.choice(list(Gender)), housing=chance.choice(("", "no", "g2-pin"))
            )
        elif blow == 11:
            job = f.change_pin(
                job,
                text,
                component=chance.choice(("", "pump", "rail sensor")),
                current_a=chance.choice((None, 0.0, 99.0)),
            )
        else:
            job = f.change_job(job, zones=(), practice=replace(job.job.practice, insulation="thin-wall-A"))
    return job


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 2**32))
def test_no_rule_crashes_on_a_broken_job(seed: int) -> None:
    job = _broken(random.Random(seed))
    variant = job.variants[0]
    for routing in (Routing(), route(job, variant)):
        for found in run(job, variant, routing, ElectricalReport(), dictionary()):
            assert found.where
            assert found.refs
            assert found.why
            assert found.way_out
            assert all(isinstance(value, float) and value == value for _, value, _, _ in found.numbers)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 2**32))
def test_the_order_of_records_does_not_change_what_is_said(seed: int) -> None:
    chance = random.Random(seed)
    job = _broken(chance)
    turned = Snapshot(
        replace(job.job, devices=tuple(reversed(job.job.devices)), nodes=tuple(reversed(job.job.nodes))),
        job.platforms,
        tuple(reversed(job.housings)),
    )
    variant = job.variants[0]
    one, other = (run(s, variant, Routing(), ElectricalReport(), dictionary()) for s in (job, turned))
    assert {x.rule for x in one} == {x.rule for x in other}
    assert DeviceEnd("F1", "1") is not None


def test_every_number_of_every_finding_says_how_it_came_about() -> None:
    said = [x for s in (finished_snapshot(), half_way_snapshot()) for x in run_all(s, dictionary())]
    numbers = [(x.rule, x.working(what)) for x in said for what, *_ in x.numbers]
    assert len(numbers) > 40
    for rule_id, working in numbers:
        assert working is not None, rule_id
        assert working.formula, rule_id
        assert working.inputs, rule_id
        assert working.source, rule_id
