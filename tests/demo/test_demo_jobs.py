"""The demo's jobs: decided, connected, checked."""

from __future__ import annotations

from collections import Counter
from functools import cache

import networkx as nx
import pytest

from pinmap.core.crossing.ledger import ledger
from pinmap.core.electrics.check import check
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DEVICE_TERMINALS, Evidence, Gender, NodeKind, Role, Severity
from pinmap.core.rules.registry import run
from pinmap.demo import finished_snapshot, half_way_snapshot
from pinmap.exchange.job_json import dump, load

FINISHED, HALF_WAY = finished_snapshot(), half_way_snapshot()
BOTH = pytest.mark.parametrize("snapshot", [FINISHED, HALF_WAY], ids=["finished", "half-way"])
VARIANTS = pytest.mark.parametrize("variant", FINISHED.variants, ids=lambda v: FINISHED.variant_label(v))


@cache
def _findings(finished: bool, index: int):
    snapshot = FINISHED if finished else HALF_WAY
    variant = snapshot.variants[index]
    routing = route(snapshot, variant)
    report = check(snapshot, variant, routing, dictionary())
    return run(snapshot, variant, routing, report, dictionary()), report


def findings(snapshot: Snapshot, variant):
    return _findings(snapshot is FINISHED, snapshot.variants.index(variant))


def used(snapshot: Snapshot, variant) -> Counter[Role]:
    """Joined pins by role; the glow module came with the donor."""
    return Counter(
        Role.DONOR if key.platform == "quern-qg4" else snapshot.role_of(key.platform)
        for key in snapshot.active_pins(variant)
        if key in snapshot.signal_of
    )


def test_two_editions_and_two_control_units():
    assert len(FINISHED.variants) == len(HALF_WAY.variants) == 4


@VARIANTS
def test_at_least_150_used_pins_a_side_and_25_loom_connectors(variant):
    count = used(FINISHED, variant)
    assert count[Role.DONOR] + count[Role.CONTROL] >= 150
    assert count[Role.HOST] >= 150
    there = FINISHED.active_connectors(variant)
    assert sum(node.mates in there for node in FINISHED.job.nodes if node.kind is NodeKind.CONNECTOR) >= 25


def test_every_pin_of_the_finished_job_is_decided_with_a_reason():
    assert ledger(FINISHED).undecided == 0
    assert all(fate.reason for fate in FINISHED.job.fates)


def test_the_half_way_job_has_open_pins_and_one_put_off():
    assert 40 <= ledger(HALF_WAY).undecided <= 120
    assert any(fate.owner and fate.due for fate in HALF_WAY.job.fates)
    assert any(not signal.confirmed for signal in HALF_WAY.job.signals)


@BOTH
def test_every_end_exists_and_belongs_to_one_signal(snapshot):
    ends = [m.end for s in snapshot.job.signals for m in s.members]
    assert len(ends) == len(set(ends))
    for end in ends:
        if isinstance(end, PinKey):
            assert end in snapshot.pin
        else:
            assert isinstance(end, DeviceEnd)
            assert end.terminal in DEVICE_TERMINALS[snapshot.device[end.device].kind]


@BOTH
def test_no_pin_is_both_joined_and_otherwise_decided(snapshot):
    fates = [f.pin for f in snapshot.job.fates]
    assert len(fates) == len(set(fates))
    assert not set(fates) & set(snapshot.signal_of)


@BOTH
def test_loom_connectors_mate_and_are_reachable(snapshot):
    job = snapshot.job
    graph = nx.Graph((s.a, s.b) for s in job.segments)
    assert set(graph) == {n.key for n in job.nodes}
    assert nx.is_connected(graph)
    for node in job.nodes:
        if node.kind is NodeKind.CONNECTOR:
            theirs = snapshot.housing[snapshot.connector[node.mates].housing]
            ours = snapshot.housing[node.housing]
            assert {ours.gender, theirs.gender} == {Gender.PIN, Gender.SOCKET}
            assert ours.family == theirs.family


def test_each_connector_with_a_joined_pin_is_in_the_loom():
    for end in FINISHED.signal_of:
        if isinstance(end, PinKey):
            assert (end.platform, end.connector) in FINISHED.node_of_connector


@BOTH
def test_everything_can_be_routed(snapshot):
    for variant in snapshot.variants:
        assert route(snapshot, variant).gaps == ()


@VARIANTS
def test_the_finished_job_is_clean_but_for_what_a_person_accepted(variant):
    found, report = findings(FINISHED, variant)
    accepted = {a.finding for a in FINISHED.job.acceptances}
    open_findings = [f for f in found if f.severity is not Severity.NOTE and f.key not in accepted]
    assert not open_findings, [(f.rule, f.where, f.why) for f in open_findings]
    assert report.unfed == ()


def test_each_acceptance_is_about_a_finding_that_exists():
    keys = {f.key for variant in FINISHED.variants for f in findings(FINISHED, variant)[0]}
    assert {a.finding for a in FINISHED.job.acceptances} <= keys


@VARIANTS
def test_the_finished_job_reaches_its_loads_with_current_that_the_trade_knows(variant):
    _, report = findings(FINISHED, variant)
    by_load = {(s.load, s.case): s for s in report.loads}
    starter = by_load["quern-q24:starter motor", "cranking"]
    assert starter.current_a == pytest.approx(170)
    assert starter.voltage_v > 9.2
    glow = by_load["quern-q24:R1-1", "key-on"]
    assert 11.4 < glow.voltage_v < 12.0
    heavy = {s.name: s.key for s in FINISHED.job.signals}
    routing = route(FINISHED, variant)
    for name, case, least_a in (("Engine strap", "cranking", 170.0), ("Alternator charging cable", "full-load", 84.9)):
        amps = [abs(report.wires[case][w.id].current_a) for w in routing.wires if w.signal == heavy[name]]
        assert min(amps) > least_a, name
    hottest = max(state.temp_c for by_wire in report.wires.values() for state in by_wire.values())
    assert 100 < hottest < 150


def test_the_half_way_job_shows_each_of_its_mistakes():
    found = {f.rule for variant in HALF_WAY.variants for f in findings(HALF_WAY, variant)[0]}
    # no fuse, wire too thin, sensor ground to block, pair, terminator, suppression, polarity, open pins, evidence
    assert found >= {"R08", "R09", "R19", "R22", "R24", "R55", "R57", "R62", "R83"}


@BOTH
def test_a_job_file_gives_back_the_same_content(snapshot):
    assert load(dump(snapshot)).content_hash == snapshot.content_hash


def test_screens_and_pairs():
    pairs = Counter(s.twist for s in FINISHED.job.signals if s.twist)
    assert set(pairs.values()) == {2}
    assert {"crank", "can", *(f"injector-{n}" for n in range(1, 5))} <= set(pairs)


def test_no_two_wires_of_a_connector_share_a_colour():
    for variant in FINISHED.variants:
        assert not [f for f in findings(FINISHED, variant)[0] if f.rule == "R64"]


def test_sealed_and_open_unit_leave_different_pins_without_a_wire():
    lone = {}
    for variant in FINISHED.variants:
        wired = {e.pin for w in route(FINISHED, variant).wires for e in (w.a, w.b) if e.pin}
        lone[variant.key] = {k for k in FINISHED.active_pins(variant) if k in FINISHED.signal_of} - wired
    assert all(pins for key, pins in lone.items() if "ou-48" in key)
    assert len({frozenset(pins) for pins in lone.values()}) == 4


def test_assumed_pins_of_the_finished_job_are_accepted_by_name():
    for key, pin in FINISHED.pin.items():
        if pin.evidence is Evidence.ASSUMED and key in FINISHED.signal_of:
            named = f"pin:{key.platform}:{key.connector}:{key.cavity}"
            assert any(named in a.finding and a.by and a.reason for a in FINISHED.job.acceptances)
