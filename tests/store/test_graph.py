"""A signal followed by one recursive query, against networkx."""

from __future__ import annotations

import random
from dataclasses import replace

import networkx as nx
import pytest

from pinmap.core.model.jobs import Job, Member, Signal, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd
from pinmap.core.model.pinouts import Edition, Pin, PinKey
from pinmap.core.model.words import DeviceKind, Kind, Role
from pinmap.services.shop import Shop
from pinmap.store import graph, jobs, platform_rows
from pinmap.store.graph import CONDUCTING, Electrical
from pinmap.store.graph_tables import EdgeKind
from pinmap.store.jobs import Refs
from tests.factories_store import big_snapshot, platform, seats


def _job(shop: Shop, snapshot: Snapshot) -> tuple[int, Refs]:
    with shop.write() as session:
        loaded = [
            platform_rows.load_platform(session, platform_rows.add_platform(session, p)) for p in snapshot.platforms
        ]
        refs = Refs.of(loaded)
        return jobs.add_job(session, snapshot, refs), refs


@pytest.mark.parametrize("seed", range(6))
def test_reaches_what_networkx_reaches(shop: Shop, seed: int) -> None:
    rng = random.Random(seed)
    job_id, _ = _job(shop, big_snapshot(100, 0))
    names = [f"splice:S{i}" for i in range(60)]
    edges = {}
    for _ in range(rng.randint(20, 90)):
        a, b = sorted(rng.sample(names, 2))
        edges[a, b, rng.choice(list(EdgeKind))] = "s"
    wanted = Electrical(dict.fromkeys(names), edges)
    with shop.write() as session:
        graph.write(session, job_id, wanted)
    free = nx.Graph()
    free.add_nodes_from(names)
    free.add_edges_from((a, b) for a, b, kind in edges if kind in CONDUCTING)
    whole = nx.Graph()
    whole.add_nodes_from(names)
    whole.add_edges_from((a, b) for a, b, _ in edges)
    with shop.read() as session:
        for name in rng.sample(names, 12):
            found = {r.name for r in graph.follow(session, job_id, name)}
            assert found == nx.node_connected_component(free, name)
            found = {r.name for r in graph.follow(session, job_id, name, list(EdgeKind))}
            assert found == nx.node_connected_component(whole, name)
        assert graph.follow(session, job_id, "splice:none") == ()
        assert graph.follow(session, job_id + 1, names[0]) == ()


def _wired() -> Snapshot:
    """Donor X1-1 through fuse F1 to host X1-1 and X1-2; X1-1 and X1-3 of the host are one component."""
    a, b = platform("donor", Role.DONOR), platform("host", Role.HOST)
    parted = tuple(replace(p, component="lamp") if p.cavity in "13" else p for p in b.pins)
    b = replace(b, pins=parted)
    fuse = Device(key="F1", kind=DeviceKind.FUSE)
    signal = Signal(
        key="s1",
        number=7,
        name="Lamp",
        inline=("F1",),
        members=(
            Member(end=PinKey("donor", "X1", "1")),
            Member(end=PinKey("host", "X1", "1"), section=1),
            Member(end=PinKey("host", "X1", "2"), section=1),
        ),
    )
    return Snapshot(Job(key="j", name="J", seats=seats(a, b), devices=(fuse,), signals=(signal,)), (a, b))


def test_signal_is_followed_through_the_fuse_and_stops_at_the_load(shop: Shop) -> None:
    snapshot = _wired()
    job_id, refs = _job(shop, snapshot)
    with shop.write() as session:
        graph.write(session, job_id, graph.derive(snapshot, refs.pin_ids))
    start = graph.pin_point(refs.pin_ids[PinKey("donor", "X1", "1")])
    with shop.read() as session:
        near = graph.follow(session, job_id, start)
        far = graph.follow(session, job_id, start, list(EdgeKind))
    assert {
        refs.pin_keys[r.pin_id].cavity for r in near if r.pin_id and refs.pin_keys[r.pin_id].platform == "host"
    } == {"1", "2"}
    assert {r.name for r in near if r.pin_id is None} == {"device:F1:1", "device:F1:2", "splice:S7.1"}
    assert {refs.pin_keys[r.pin_id] for r in far if r.pin_id} - {refs.pin_keys[r.pin_id] for r in near if r.pin_id} == {
        PinKey("host", "X1", "3")
    }


def test_only_the_difference_is_written(shop: Shop) -> None:
    snapshot = _wired()
    job_id, refs = _job(shop, snapshot)
    first = graph.derive(snapshot, refs.pin_ids)
    with shop.write() as session:
        assert graph.write(session, job_id, first) == len(first.points) + len(first.edges)
        assert graph.write(session, job_id, first) == 0
        assert graph.write(session, job_id, first, first) == 0
        shorter = replace(snapshot.job.signals[0], members=snapshot.job.signals[0].members[:2])
        second = graph.derive(replace(snapshot, job=replace(snapshot.job, signals=(shorter,))), refs.pin_ids)
        graph.write(session, job_id, second, first)
        assert graph.write(session, job_id, second) == 0


def test_entries_of_different_editions_in_one_cavity_never_meet(shop: Shop) -> None:
    a = platform("donor", Role.DONOR)
    early, late = Edition(key="early", name="Early"), Edition(key="late", name="Late")
    pins = tuple(
        Pin(connector="X1", cavity="1", function=e, kind=Kind.LOGIC_12V, editions=(e,)) for e in ("early", "late")
    )
    b = replace(platform("host", Role.HOST), editions=(early, late), pins=pins)
    signals = tuple(
        Signal(
            key=e,
            number=i,
            name=e,
            members=(Member(end=PinKey("donor", "X1", str(i))), Member(end=PinKey("host", "X1", "1", e))),
        )
        for i, e in enumerate(("early", "late"), 1)
    )
    snapshot = Snapshot(Job(key="j", name="J", seats=seats(a, b), signals=signals), (a, b))
    job_id, refs = _job(shop, snapshot)
    with shop.write() as session:
        graph.write(session, job_id, graph.derive(snapshot, refs.pin_ids))
    with shop.read() as session:
        found = graph.follow(session, job_id, graph.pin_point(refs.pin_ids[PinKey("donor", "X1", "1")]))
    assert {refs.pin_keys[r.pin_id] for r in found if r.pin_id} == {
        PinKey("donor", "X1", "1"),
        PinKey("host", "X1", "1", "early"),
    }


def test_relay_coil_is_a_load_and_its_contact_conducts() -> None:
    relay = Device(key="K1", kind=DeviceKind.RELAY)
    a = platform("donor", Role.DONOR)
    signals = (
        Signal(key="p", number=1, name="Power", inline=("K1",), members=(Member(end=PinKey("donor", "X1", "1")),)),
        Signal(
            key="c",
            number=2,
            name="Coil",
            members=(Member(end=DeviceEnd("K1", "85")), Member(end=PinKey("donor", "X1", "2"))),
        ),
    )
    snapshot = Snapshot(Job(key="j", name="J", seats=seats(a), devices=(relay,), signals=signals), (a,))
    made = graph.derive(snapshot, {p.key("donor"): i for i, p in enumerate(a.pins)})
    assert made.edges["device:K1:30", "device:K1:87", EdgeKind.CONTACT] == "p"
    assert made.edges["device:K1:85", "device:K1:86", EdgeKind.LOAD] == ""
