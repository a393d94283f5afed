"""Jobs in and out of the database without loss."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, given, settings
from sqlmodel import Session

from pinmap.core.errors import InputError, StructureError
from pinmap.core.model.jobs import Acceptance, Job, LoadCase, Member, PinFate, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, End, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import Connector, Edition, Housing, Pin, PinKey, Platform
from pinmap.core.model.words import DeviceKind, Fate, NodeKind, Role
from pinmap.services.shop import Shop
from pinmap.store import housings as stored_housings
from pinmap.store import jobs, platform_rows
from pinmap.store.base import table
from pinmap.store.jobs import Refs
from tests.factories_store import big_snapshot, platform, seats, snapshots


def put(session: Session, snapshot: Snapshot) -> tuple[int, Refs]:
    for housing in snapshot.housings:
        stored_housings.save_housing(session, housing, None)
    loaded = [platform_rows.load_platform(session, platform_rows.add_platform(session, p)) for p in snapshot.platforms]
    refs = Refs.of(loaded)
    return jobs.add_job(session, snapshot, refs), refs


def take(session: Session, key: str) -> Snapshot:
    stands = jobs.versions(session, key)
    loaded = [platform_rows.load_platform(session, i) for i, _ in stands.platforms]
    job = jobs.load_job(session, stands.job_id, Refs.of(loaded))
    return jobs.snapshot_of(job, loaded, {k: h for k, (h, _) in stored_housings.load_housings(session).items()})


@settings(
    max_examples=40,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(snapshot=snapshots())
def test_snapshot_comes_back_as_it_went_in(shop: Shop, snapshot: Snapshot) -> None:
    snapshot = jobs.canonical(snapshot)
    with Session(shop.engine) as session:  # rolled back, so that the next example finds an empty shop
        put(session, snapshot)
        session.expire_all()
        found = take(session, snapshot.job.key)
        assert found == snapshot
        assert found.content_hash == snapshot.content_hash
        session.rollback()


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(first=snapshots(), second=snapshots())
def test_one_job_turns_into_another(shop: Shop, first: Snapshot, second: Snapshot) -> None:
    """Saving over other rows leaves just the new job, whatever stood there; half of its parts stay the same."""
    second_job = replace(second.job, key=first.job.key)
    with Session(shop.engine) as session:
        job_id, refs = put(session, replace(first, job=replace(first.job, key=first.job.key)))
        new = replace(
            first,
            job=replace(first.job, zones=second_job.zones, note=second_job.note, load_cases=second_job.load_cases),
        )
        zones = {z.key for z in new.job.zones}
        new = replace(new, job=replace(new.job, segments=tuple(s for s in new.job.segments if s.zone in {"", *zones})))
        runs = {s.key for s in new.job.segments}
        led = (replace(s, via=tuple(r for r in s.via if r in runs)) for s in new.job.signals)
        held = tuple(f for f in new.job.fixings if f.segment in runs)
        new = replace(new, job=replace(new.job, signals=tuple(led), fixings=held))
        jobs.save_job(session, job_id, new, refs, before=first.job)
        assert take(session, first.job.key) == jobs.canonical(new)
        session.rollback()


def test_only_what_changed_is_written(shop: Shop) -> None:
    snapshot = big_snapshot(400, 100)
    with shop.write() as session:
        job_id, refs = put(session, snapshot)
        job = snapshot.job
        same = jobs.save_job(session, job_id, snapshot, refs, before=job)
        assert (same.rows, same.parts) == (0, ())
        renamed = replace(job, signals=(*job.signals[:5], replace(job.signals[5], name="Other"), *job.signals[6:]))
        assert jobs.save_job(session, job_id, replace(snapshot, job=renamed), refs, before=job).rows == 1
        gone = replace(renamed, signals=renamed.signals[:3] + renamed.signals[4:])
        saved = jobs.save_job(session, job_id, replace(snapshot, job=gone), refs, before=renamed)
        assert saved.rows == 3  # one signal and its two members
        assert take(session, "big").job == gone


def test_moving_an_end_to_another_signal(shop: Shop) -> None:
    snapshot = big_snapshot(200, 10)
    with shop.write() as session:
        job_id, refs = put(session, snapshot)
        first, second, *rest = snapshot.job.signals
        moved = replace(
            snapshot.job,
            signals=(
                replace(first, members=first.members[:1]),
                replace(second, members=(*second.members, first.members[1])),
                *rest,
            ),
        )
        jobs.save_job(session, job_id, replace(snapshot, job=moved), refs, before=snapshot.job)
        assert take(session, "big").job == moved


def test_node_is_replaced_by_one_that_mates_with_the_same_connector(shop: Shop) -> None:
    a = platform("donor", Role.DONOR)
    mates = next(iter(Snapshot(Job(key="j", name="J"), (a,)).connector))
    node = Node(key="n1", loom="l", kind=NodeKind.CONNECTOR, mates=mates)
    job = Job(key="j", name="J", seats=seats(a), looms=(Loom(key="l", name="L"),), nodes=(node,))
    job = replace(job, devices=(Device(key="F1", kind=DeviceKind.FUSE, place="n1"),))
    with shop.write() as session:
        job_id, refs = put(session, Snapshot(job, (a,)))
        new = replace(job, nodes=(replace(node, key="n2"),), devices=(replace(job.devices[0], place="n2"),))
        jobs.save_job(session, job_id, Snapshot(new, (a,)), refs, before=job)
        assert take(session, "j").job == new


A, B = platform("donor", Role.DONOR), platform("host", Role.HOST)
PIN = PinKey("donor", "X1", "1")


def _signal(*ends: End, key: str = "s", number: int = 1) -> Signal:
    return Signal(key=key, number=number, name=key, members=tuple(Member(end=e) for e in ends))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda j: replace(j, signals=(_signal(PinKey("donor", "X9", "1")),)), "X9-1"),
        (lambda j: replace(j, signals=(_signal(DeviceEnd("F9", "1")),)), "F9.1"),
        (lambda j: replace(j, signals=(_signal(PIN), _signal(PIN, key="t", number=2))), "twice"),
        (lambda j: replace(j, signals=(_signal(), _signal(key="t"))), "number 1"),
        (lambda j: replace(j, segments=(Segment(key="r", loom="l", a="n", b="m", length_m=1.0),)), "'m'"),
        (lambda j: replace(j, fates=(PinFate(pin=PinKey("x", "y", "z"), fate=Fate.PARKED),)), "x:y-z"),
        (lambda j: replace(j, seats=()), "not picked"),
        (lambda j: replace(j, devices=(Device(key="F1", kind=DeviceKind.FUSE, place="nowhere"),)), "nowhere"),
    ],
)
def test_contradictions_are_named_and_nothing_is_written(shop: Shop, change: Callable[[Job], Job], said: str) -> None:
    job = Job(key="j", name="J", seats=seats(A, B))
    with shop.write() as session:
        job_id, refs = put(session, Snapshot(job, (A, B)))
        with pytest.raises(StructureError, match=said):
            jobs.save_job(session, job_id, Snapshot(change(job), (A, B)), refs, before=job)
        assert take(session, "j").job == job


@pytest.mark.parametrize("text", ["nul\x00", "half \ud800", "x" * 121])
def test_text_that_an_engine_cannot_hold_is_refused_by_name(shop: Shop, text: str) -> None:
    with pytest.raises(InputError, match="key: "), shop.write() as session:
        platform_rows.add_platform(session, replace(A, key=text))


def test_a_cell_of_a_megabyte_is_kept(shop: Shop) -> None:
    long = "°" * 1_000_000
    with shop.write() as session:
        put(session, Snapshot(Job(key="j", name="J", seats=seats(A)), (replace(A, note=long),)))
    with shop.read() as session:
        assert take(session, "j").platforms[0].note == long


def test_a_big_job_is_loaded_as_it_was(shop: Shop) -> None:
    snapshot = big_snapshot(5000, 2400)
    with shop.write() as session:
        put(session, snapshot)
    with shop.read() as session:
        assert take(session, "big") == snapshot


@pytest.mark.parametrize(
    ("record", "name", "without"),
    [
        (Edition, "edition", ()),
        (Connector, "connector", ()),
        (Pin, "pin", ("connector", "editions")),
        (Housing, "housing", ("cavities",)),
        (Platform, "platform", ("editions", "connectors", "pins")),
        (Signal, "signal", ("members", "inline")),
        (Member, "member", ("end",)),
        (Device, "device", ()),
        (Node, "node", ("mates",)),
        (Segment, "segment", ()),
        (Zone, "zone", ()),
        (Loom, "loom", ()),
        (PinFate, "pin_fate", ("pin",)),
        (LoadCase, "load_case", ()),
        (Acceptance, "acceptance", ()),
    ],
)
def test_every_field_of_a_record_has_a_column(record: type, name: str, without: tuple[str, ...]) -> None:
    missing = {f.name for f in fields(record)} - set(without) - {c.name for c in table(name).c}
    assert not missing


def test_constraints_hold_without_the_services(shop: Shop) -> None:
    with shop.write() as session:
        put(session, Snapshot(Job(key="j", name="J", seats=seats(A)), (A,)))
    with pytest.raises(sa.exc.IntegrityError), shop.write() as session:
        session.execute(sa.delete(table("platform")))
    with pytest.raises(sa.exc.IntegrityError), shop.write() as session:
        session.execute(sa.insert(table("pick")).values(job_id=999, seat="x", position=0, platform_id=1, edition=""))
