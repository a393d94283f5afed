"""What differs between two states: nothing is missed, nothing is made up, and the way back is the mirror."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from hypothesis import HealthCheck, given, settings

from pinmap.core.crossing.changes import housing_changes, job_changes, plain_changes, platform_changes
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import Housing, PinKey
from pinmap.core.model.words import Fate
from pinmap.demo import finished_snapshot
from tests.factories_store import snapshots

_SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
JOB = finished_snapshot().job


@_SLOW
@given(snapshots(), snapshots())
def test_changes_are_none_for_equal_states_only_and_mirror(one: Snapshot, other: Snapshot) -> None:
    assert job_changes(one.job, one.job) == ()
    there, back = job_changes(one.job, other.job), job_changes(other.job, one.job)
    assert bool(there) == (one.job != other.job)
    assert Counter((c.field, c.old, c.new, c.pin) for c in there) == Counter(
        (m.field, m.old, m.new, m.pin) for m in (c.mirrored for c in back)
    )
    for platform in one.platforms:
        assert platform_changes(platform, platform) == ()
        taken_out = platform_changes(platform, None)
        assert [c.mirrored for c in platform_changes(None, platform)] == list(taken_out)
        assert {c.pin for c in taken_out if c.pin} == {p.key(platform.key) for p in platform.pins}
        twin = next((p for p in other.platforms if p.key == platform.key), None)
        if twin is not None:
            assert bool(platform_changes(platform, twin)) == (platform != twin)


def test_a_pin_that_moves_to_another_signal_is_told_twice() -> None:
    first, second = JOB.signals[0], JOB.signals[1]
    moved = first.members[0]
    signals = (
        replace(first, members=first.members[1:]),
        replace(second, members=(*second.members, moved)),
        *JOB.signals[2:],
    )
    found = job_changes(JOB, replace(JOB, signals=signals))
    assert [(c.subject, bool(c.old), bool(c.new)) for c in found] == [
        (f"signal {first.number}", True, False),
        (f"signal {second.number}", False, True),
    ]
    assert isinstance(moved.end, PinKey)
    assert {c.pin for c in found} == {moved.end}


def test_fields_are_told_from_what_to_what() -> None:
    fate = JOB.fates[0]
    other = next(f for f in Fate if f is not fate.fate)
    after = replace(
        JOB,
        name="Another name",
        practice=replace(JOB.practice, service_loop_m=0.25),
        fates=(replace(fate, fate=other), *JOB.fates[1:]),
    )
    assert [(c.subject, c.field, c.old, c.new, c.pin) for c in job_changes(JOB, after)] == [
        ("job", "name", JOB.name, "Another name", None),
        ("practice", "service_loop_m", "0.08", "0.25", None),
        (f"pin {fate.pin}", "fate", fate.fate.value, other.value, fate.pin),
    ]


def test_order_alone_is_a_change() -> None:
    turned = replace(JOB, signals=(JOB.signals[1], JOB.signals[0], *JOB.signals[2:]))
    (change,) = job_changes(JOB, turned)
    assert change.field == "order"
    signal = JOB.signals[0]
    ends = replace(signal, members=signal.members[::-1])
    (change,) = job_changes(JOB, replace(JOB, signals=(ends, *JOB.signals[1:])))
    assert (change.subject, change.field) == (f"signal {signal.number}, its ends", "order")


def test_housings_and_plain_fields() -> None:
    old = Housing(key="h", name="One")
    assert [(c.field, c.old, c.new) for c in housing_changes(old, replace(old, sealed=True))] == [
        ("sealed", "no", "yes")
    ]
    assert housing_changes(None, old)[0].field == "added"
    assert [(c.field, c.old, c.new) for c in plain_changes("x", {"a": 1, "b": None}, {"a": 2, "c": ["u", "v"]})] == [
        ("a", "1", "2"),
        ("c", "", "u; v"),
    ]
