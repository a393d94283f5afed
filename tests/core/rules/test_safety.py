"""What can hurt: each rule silent on the clean job, and speaking about one seeded fault."""

from __future__ import annotations

import pytest

from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind, Fate, Kind, Severity
from tests import factories_rules as f
from tests.factories_rules import only


def test_r61_parked_end_live_through_its_part() -> None:
    job = f.set_fate(f.leave(f.clean(), 12, "D3-2"), "D3-2", Fate.PARKED)
    found = only(f.set_fate(f.leave(job, 12, "U1-12"), "U1-12", Fate.PARKED), "R61", "D3-2", "after-run pump")
    assert found.severity is Severity.STOP


def test_r61_parked_and_yet_in_a_live_signal() -> None:
    only(f.set_fate(f.clean(), "D3-1", Fate.CAPPED), "R61", "D3-1", "signal 1")


def test_r61_parked_feed() -> None:
    assert only(f.set_fate(f.clean(), "H1-3", Fate.PARKED), "R61", "H1-3").severity is Severity.STOP
    assert f.findings(f.set_fate(f.clean(), "H1-3", Fate.CAPPED)) == ()


def test_r61_feed_capped_in_a_connector_that_nothing_closes() -> None:
    job = f.add_pin(f.clean(), "H2-1", "PERM", Kind.SUPPLY_30, f.OUT)
    job = f.change_platform(job, f.HOST, lambda x: f.replace(x, connectors=(*x.connectors, f.Connector(name="H2"))))
    found = only(f.set_fate(job, "H2-1", Fate.CAPPED), "R61", "H2-1")
    assert found.severity is Severity.FIX


def test_r61_dead_parked_ends_are_fine() -> None:
    job = f.clean()
    for number in (8, 9):
        job = f.change_job(job, signals=tuple(s for s in job.job.signals if s.number != number))
    for pin in ("D2-1", "D2-2", "U1-7", "U1-8"):
        job = f.set_fate(job, pin, Fate.PARKED)
    assert "R61" not in f.spoken(job)


@pytest.mark.parametrize("fate", [Fate.PARKED, Fate.CAPPED, Fate.DELETED])
def test_r66_restraint_circuit_given_a_fate(fate: Fate) -> None:
    assert only(f.set_fate(f.clean(), "H1-6", fate), "R66", "H1-6").severity is Severity.STOP


def test_r66_restraint_circuit_joined() -> None:
    job = f.add_pin(f.no_fate(f.clean(), "H1-6"), "H1-8", "BEACON", Kind.HIGH_SIDE, f.OUT)
    only(f.add_signal(job, f.signal(20, "Lamp", "H1-6", "H1-8", colour="PK")), "R66", "H1-6", "signal 20")


def test_r66_by_name_where_the_kind_is_unknown() -> None:
    job = f.change_pin(f.clean(), "H1-7", kind=Kind.UNKNOWN, function_code="", function="Airbag module feed")
    assert f.findings(job) == ()
    assert "by its name" in only(f.set_fate(job, "H1-7", Fate.CAPPED), "R66", "H1-7").why


def test_r67_high_voltage() -> None:
    job = f.change_pin(f.change_pin(f.clean(), "D1-2", kind=Kind.HIGH_VOLTAGE), "U1-6", kind=Kind.UNKNOWN)
    only(job, "R67", "D1-2")


def test_r71_thermocouple() -> None:
    job = f.change_pin(f.change_pin(f.clean(), "D1-2", kind=Kind.THERMOCOUPLE), "U1-6", kind=Kind.THERMOCOUPLE)
    only(job, "R71", "D1-2", "wire 6A")


def test_r54_diode_across_a_feed() -> None:
    job = f.add_device(f.clean(), Device(key="V1", kind=DeviceKind.DIODE, place="box"))
    wrong = f.join(f.join(job, 3, "V1.A"), 4, "V1.K")
    assert "R54" in f.spoken(wrong)
    assert "R54" not in f.spoken(f.join(f.join(job, 3, "V1.K"), 4, "V1.A"))
