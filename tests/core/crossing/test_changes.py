"""What differs between two states: nothing is missed, nothing is made up, and the way back is the mirror."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from hypothesis import HealthCheck, given, settings

from pinmap.core.crossing import edits
from pinmap.core.crossing.changes import differences, housing_changes, job_changes, plain_changes, platform_changes
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Device
from pinmap.core.model.pinouts import Housing, PinKey
from pinmap.core.model.words import DeviceKind, Fate, Role
from pinmap.demo import finished_snapshot
from tests.factories_store import platform, seats, snapshots

_SLOW = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
JOB = finished_snapshot().job
DONOR, HOST = platform("donor", Role.DONOR), platform("host", Role.HOST)
ONE, TWO = PinKey("donor", "X1", "1"), PinKey("host", "X1", "1")
FUSE = Device(key="F1", kind=DeviceKind.FUSE, rating_a=10.0)


@_SLOW
@given(snapshots(), snapshots())
def test_changes_are_none_for_equal_states_only_and_mirror(one: Snapshot, other: Snapshot) -> None:
    assert job_changes(one.job, one.job) == ()
    there, back = job_changes(one.job, other.job), job_changes(other.job, one.job)
    assert bool(there) == (one.job != other.job)
    assert Counter((c.field, c.old, c.new, c.pin) for c in there) == Counter(
        (m.field, m.old, m.new, m.pin) for m in (c.mirrored for c in back)
    )
    for side in one.platforms:
        assert platform_changes(side, side) == ()
        taken_out = platform_changes(side, None)
        assert [c.mirrored for c in platform_changes(None, side)] == list(taken_out)
        assert {c.pin for c in taken_out if c.pin} == {p.key(side.key) for p in side.pins}
        twin = next((p for p in other.platforms if p.key == side.key), None)
        if twin is not None:
            assert bool(platform_changes(side, twin)) == (side != twin)


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
        (f"signal {first.number} {first.name}", True, False),
        (f"signal {second.number} {second.name}", False, True),
    ]
    assert isinstance(moved.end, PinKey)
    assert {c.pin for c in found} == {moved.end}


def test_fields_are_told_from_what_to_what_with_their_units() -> None:
    fate = JOB.fates[0]
    other = next(f for f in Fate if f is not fate.fate)
    after = replace(
        JOB,
        name="Another name",
        practice=replace(JOB.practice, service_loop_m=0.25, drop_other_pct=8.5),
        fates=(replace(fate, fate=other), *JOB.fates[1:]),
    )
    assert [(c.subject, c.field, c.old, c.new) for c in job_changes(JOB, after)[:3]] == [
        ("the job", "name", JOB.name, "Another name"),
        ("the shop's practice", "drop_other_pct", "10 %", "8.5 %"),
        ("the shop's practice", "service_loop_m", "80 mm", "250 mm"),
    ]
    (told,) = job_changes(JOB, after, (DONOR,))[3:]
    assert (told.field, told.old, told.new, told.pin) == ("fate", fate.fate.value, other.value, fate.pin)


def test_numbers_that_differ_read_differently() -> None:
    one = replace(JOB, practice=replace(JOB.practice, min_mm2=0.5000001))
    (change,) = job_changes(JOB, one)
    assert (change.old, change.new) == ("0.5 mm²", "0.5000001 mm²")


def test_parts_are_called_as_they_were_and_as_they_are() -> None:
    run, node = JOB.segments[0], JOB.nodes[0]
    other = next(n for n in JOB.nodes if n.key not in (run.a, run.b, node.key) and n.name)
    renamed = replace(other, name="Elsewhere")
    nodes = tuple(renamed if n is other else n for n in JOB.nodes)
    before = replace(JOB, segments=(replace(run, a=other.key), *JOB.segments[1:]))
    found = job_changes(before, replace(JOB, nodes=nodes))
    at = {n.key: n.name or n.key for n in JOB.nodes}[run.a]
    assert [(c.field, c.old, c.new) for c in found] == [("name", other.name, "Elsewhere"), ("a", other.name, at)]


def test_what_a_late_save_reads() -> None:
    bare_job = edits.add_device(Job(key="j", name="Job", seats=seats(DONOR, HOST)), FUSE)
    job = edits.join(bare_job, [ONE, TWO], name="Lamp", mm2=1.5)

    def told(before: Job, after: Job) -> list[tuple[str, str, str, str]]:
        found = differences(job_changes(before, after, (DONOR, HOST)))
        return [(d.where, d.what, d.before, d.after) for d in found]

    assert told(job, edits.update_signal(job, "s001", mm2=2.5, confirmed=False)) == [
        ("signal 1 Lamp", "Wire size", "1.5 mm²", "2.5 mm²"),
        ("signal 1 Lamp", "Checked", "yes", "no"),
    ]
    assert told(job, edits.dissolve(job, "s001"))[1:] == [
        ("signal 1 Lamp", "Joins", "Donor X1-1", "–"),
        ("signal 1 Lamp", "Joins", "Host X1-1", "–"),
    ]
    assert told(job, edits.remove_device(job, "F1"))[0][:2] == ("fuse F1", "")
    assert told(job, edits.remove_device(job, "F1"))[0][3] == "taken out"
    assert told(edits.remove_device(job, "F1"), job) == [("fuse F1", "", "not there", "Key F1; Kind fuse; Rating 10 A")]
    assert ("signal 1 Lamp", "In line", "–", "F1") in told(job, edits.put_in_line(job, "s001", "F1", downstream=[TWO]))
    parked = edits.set_fate(edits.dissolve(job, "s001"), ONE, Fate.PARKED, "not used")
    (line,) = told(edits.dissolve(job, "s001"), parked)
    assert line[:3] == ("pin Donor X1-1", "", "not there")
    assert "parked" in line[3]


def test_platforms() -> None:
    pin = DONOR.pins[0]
    after = replace(DONOR, nominal_v=24.0, pins=(replace(pin, current_a=4.25), *DONOR.pins[2:]))
    found = platform_changes(DONOR, after)
    assert [(c.subject, c.field, c.old, c.new) for c in found[:2]] == [
        ("the platform", "nominal_v", "12 V", "24 V"),
        ("pin X1-1", "current_a", "", "4.25 A"),
    ]
    assert [(c.subject, c.field, c.new) for c in found[2:]] == [("pin X1-2", "removed", "")]


def test_order_alone_is_a_change() -> None:
    turned = replace(JOB, signals=(JOB.signals[1], JOB.signals[0], *JOB.signals[2:]))
    (change,) = job_changes(JOB, turned)
    assert change.field == "order"
    signal = JOB.signals[0]
    ends = replace(signal, members=signal.members[::-1])
    (change,) = job_changes(JOB, replace(JOB, signals=(ends, *JOB.signals[1:])))
    assert (change.subject, change.field) == (f"signal {signal.number} {signal.name}, its ends", "order")


def test_housings_and_plain_fields() -> None:
    old = Housing(key="h", name="One")
    assert [(c.field, c.old, c.new) for c in housing_changes(old, replace(old, sealed=True))] == [
        ("sealed", "no", "yes")
    ]
    assert housing_changes(None, old)[0].field == "added"
    assert [(c.field, c.old, c.new) for c in plain_changes("x", {"a": 1, "b": None}, {"a": 2, "c": ["u", "v"]})] == [
        ("a", "1", "2"),
        ("c", "", "u, v"),
    ]
