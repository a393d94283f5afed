"""What differs between two states, in a builder's words."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given, settings

from pinmap.core.crossing import edits
from pinmap.core.crossing.differences import field_words, job_differences, platform_differences
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import DeviceKind, Fate, Role
from tests.factories_store import platform, seats, snapshots

A, B = platform("donor", Role.DONOR), platform("host", Role.HOST)
ONE = PinKey("donor", "X1", "1")
TWO = PinKey("host", "X1", "1")


def _job() -> Job:
    job = Job(key="j", name="Job", seats=seats(A, B))
    job = edits.add_device(job, Device(key="F1", kind=DeviceKind.FUSE, rating_a=10.0))
    return edits.join(job, [ONE, TWO], name="Lamp", mm2=1.5)


def _lines(before: Job, after: Job) -> list[tuple[str, str, str, str]]:
    return [(d.where, d.what, d.before, d.after) for d in job_differences(before, after, (A, B))]


def test_changed_fields_are_named_with_their_units() -> None:
    job = _job()
    after = edits.update_signal(job, "s001", mm2=2.5, confirmed=False)
    assert _lines(job, after) == [
        ("signal 1 Lamp", "Wire size", "1.5 mm²", "2.5 mm²"),
        ("signal 1 Lamp", "Checked", "yes", "no"),
    ]
    after = edits.update_practice(job, strip_m=0.0075, drop_other_pct=8.0)
    assert _lines(job, after) == [
        ("the shop's practice", "Drop, other loads", "10 %", "8 %"),
        ("the shop's practice", "Strip", "6 mm", "7.5 mm"),
    ]


def test_parts_that_come_and_go() -> None:
    job = _job()
    assert _lines(job, edits.dissolve(job, "s001")) == [("signal 1 Lamp", "", "Donor X1-1, Host X1-1", "taken out")]
    assert _lines(edits.remove_device(job, "F1"), job) == [("fuse F1", "", "not there", "10 A")]


def test_a_fate_is_one_line() -> None:
    job = edits.dissolve(_job(), "s001")
    parked = edits.set_fate(job, ONE, Fate.PARKED, "not used")
    assert _lines(job, parked) == [("pin Donor X1-1", "Fate", "undecided, or joined", "parked: not used")]
    later = edits.set_fate(parked, ONE, Fate.DEFERRED, "ask", owner="Ann", due="2026-12-01", replacing=True)
    assert _lines(parked, later) == [
        ("pin Donor X1-1", "Fate", "parked: not used", "deferred: ask (Ann by 2026-12-01)")
    ]


def test_members_in_line_are_shown_by_name() -> None:
    job = _job()
    after = edits.put_in_line(job, "s001", "F1", downstream=[TWO])
    assert ("signal 1 Lamp", "In line", "–", "F1") in _lines(job, after)
    more = edits.add_device(job, Device(key="E1", kind=DeviceKind.STUD))
    after = edits.add_member(more, "s001", DeviceEnd("E1", "1"))
    assert _lines(more, after) == [("signal 1 Lamp", "Ends", "Donor X1-1, Host X1-1", "Donor X1-1, Host X1-1, E1 1")]


def test_platforms() -> None:
    pin = A.pins[0]
    after = replace(A, nominal_v=24.0, pins=(replace(pin, current_a=4.25), *A.pins[2:]))
    assert [(d.where, d.what, d.before, d.after) for d in platform_differences(A, after)] == [
        ("the platform", "Supply", "12 V", "24 V"),
        ("pin X1-2", "", "Signal 1.2, logic-12v, out", "taken out"),
        ("pin X1-1", "Current", "–", "4.25 A"),
    ]


def test_fields_have_words_without_underscores() -> None:
    assert field_words("rating_a") == "Rating"
    assert field_words("never_heard_of") == "Never heard of"


@given(snapshots(), snapshots())
@settings(max_examples=15, deadline=None)
def test_any_two_jobs_can_be_compared_and_equal_ones_do_not_differ(a: Snapshot, b: Snapshot) -> None:
    platforms = (*a.platforms, *b.platforms)
    assert job_differences(a.job, a.job, platforms) == ()
    named = replace(b.job, key=a.job.key)
    found = job_differences(a.job, named, platforms)
    if not found:
        assert named.signals == a.job.signals
        assert named.segments == a.job.segments
    assert all(d.where and d.before and d.after for d in found)
