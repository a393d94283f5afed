"""Nets and routes: what meets where, how long, and what must not change."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.errors import StructureError
from pinmap.core.facts.functions import Dictionary, FunctionEntry
from pinmap.core.loom.nets import nets
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.loom.route_signal import letters
from pinmap.core.model.jobs import Member, Practice, Snapshot
from pinmap.core.model.looms import DeviceEnd, Zone
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, NodeKind, Role
from tests.factories_looms import JobMaker, big_snapshot


def y_loom(practice: Practice | None = None) -> JobMaker:
    """Three connectors on a junction: host 1.0 m, donor 2.0 m, unit 0.5 m; a box 0.3 m off."""
    m = JobMaker(practice)
    m.mate("xh", "h:C1")
    m.mate("xd", "d:C1")
    m.mate("xu", "u:C1")
    m.junction("j")
    m.junction("box", kind=NodeKind.PLACE)
    m.run("xh", "j", 1.0)
    m.run("xd", "j", 2.0)
    m.run("xu", "j", 0.5)
    m.run("box", "j", 0.3)
    return m


def routed(m: JobMaker) -> tuple[Snapshot, Routing]:
    snapshot = m.snapshot()
    return snapshot, route(snapshot, snapshot.variants[0])


def test_two_ends_take_one_wire_with_length_by_hand() -> None:
    m = y_loom()
    m.signal("d:C1-1", "u:C1-1")
    _, found = routed(m)
    (wire,) = found.wires
    assert (wire.id, wire.a.label, wire.b.label, wire.segments) == ("1A", "XD-1", "XU-1", ("g2", "g3"))
    assert wire.length_m == pytest.approx(2.5)
    # 2.5 + 2 loops of 0.08 + 2 strips of 0.006 = 2.672, up to the next 5 mm
    assert wire.cut_length_m == pytest.approx(2.675)


def test_twisted_wires_are_longer() -> None:
    m = y_loom()
    m.signal("d:C1-1", "u:C1-1", twist="can")
    _, found = routed(m)
    assert found.wires[0].twist == "can"
    assert found.wires[0].cut_length_m == pytest.approx(2.775)  # 2.5 · 1.04 + 0.172 = 2.772


def test_three_ends_meet_in_a_splice_at_the_junction() -> None:
    m = y_loom()
    m.signal("d:C1-1", "u:C1-1", "h:C1-1")
    _, found = routed(m)
    assert [w.id for w in found.wires] == ["1A", "1B", "1C"]
    (splice,) = found.splices
    assert (splice.id, splice.node, splice.wires) == ("S1", "j", ("1A", "1B", "1C"))
    assert {w.b.point for w in found.wires} == {"splice:S1"}
    assert found.wires[2].cut_length_m == pytest.approx(1.115)  # 1 + 0.08 + 0.006 + 0.006 + 0.02 = 1.112


def test_splice_place_needs_the_least_copper() -> None:
    """Against every other junction by brute force."""
    staggered = big_snapshot(n_blocks=6, n_connectors=18, n_sensors=1)
    practice = replace(staggered.job.practice, splice_apart_m=0.0)
    snapshot = replace(staggered, job=replace(staggered.job, practice=practice))
    found = route(snapshot, snapshot.variants[0])
    lengths = {s.key: s.length_m for s in snapshot.job.segments}
    around: dict[str, dict[str, float]] = {}
    for s in snapshot.job.segments:
        around.setdefault(s.a, {})[s.b] = lengths[s.key]
        around.setdefault(s.b, {})[s.a] = lengths[s.key]

    def distances(start: str) -> dict[str, float]:
        best, todo = {start: 0.0}, [start]
        while todo:
            here = todo.pop()
            for other, length in around[here].items():
                if best[here] + length < best.get(other, 1e9):
                    best[other] = best[here] + length
                    todo.append(other)
        return best

    assert found.splices
    for splice in found.splices:
        wires = [found.wire[i] for i in splice.wires]
        froms = [(w.mm2, distances(w.a.node if w.b.splice else w.b.node)) for w in wires]
        copper = {
            n.key: sum(a * d[n.key] for a, d in froms) for n in snapshot.job.nodes if n.kind != NodeKind.CONNECTOR
        }
        assert sum(w.mm2 * w.length_m for w in wires) <= min(copper.values()) + 1e-6


def test_splice_keeps_out_of_wet_zones_where_it_can() -> None:
    m = y_loom()
    m.zones = [Zone(key="wet", name="Wheel arch", ambient_c=60, wet=True)]
    m.junction("dry")
    m.run("dry", "xh", 0.2)
    m.segments = [replace(s, zone="wet") if s.key == "g2" else s for s in m.segments]
    m.signal("d:C1-1", "u:C1-1", "h:C1-1")
    _, found = routed(m)
    (splice,) = found.splices
    assert splice.segment != "g2"
    assert splice.segment or splice.node != "j"  # 40 mm from the wet run's end, or at a junction that is dry
    assert splice.waived == ""


def test_a_loom_without_junctions_splices_beside_the_connector() -> None:
    m = JobMaker()
    m.mate("xh", "h:C1")
    m.mate("xd", "d:C1")
    m.run("xh", "xd", 1.0)
    m.signal("h:C1-1", "d:C1-1", "d:C1-2")
    _, found = routed(m)
    (splice,) = found.splices
    assert (splice.node, splice.segment, splice.at_m) == ("xd", "g1", pytest.approx(0.04))
    assert [w.length_m for w in found.wires] == pytest.approx([0.96, 0.04, 0.04])


def test_in_line_devices_cut_the_signal() -> None:
    m = y_loom()
    m.device("F1", DeviceKind.FUSE, "box", rating_a=10)
    m.device("K1", DeviceKind.RELAY, "box")
    m.pin("h:C1-1", mm2=2.5)
    m.signal("h:C1-1", ("d:C1-1", 2), ("d:C1-2", 2), inline=("F1", "K1"))
    snapshot, found = routed(m)
    assert [n.section for n in nets(snapshot, snapshot.variants[0])] == [0, 1, 2]
    ends = {w.id: (w.a.label, w.b.label) for w in found.wires}
    assert ends == {
        "1A": ("XH-1", "F1.1"),
        "1-F1.2": ("F1.2", "K1.30"),
        "1B": ("XD-1", "S1.2"),
        "1C": ("XD-2", "S1.2"),
        "1-K1.87": ("K1.87", "S1.2"),
    }
    assert found.wire["1-F1.2"].mm2 == 2.5
    assert [s.id for s in found.splices] == ["S1.2"]


def test_an_absent_device_joins_its_sections() -> None:
    m = y_loom()
    m.device("Q1", DeviceKind.CONVERTER, "box", only_with="elsewhere")
    m.signal("h:C1-1", ("d:C1-1", 1), inline=("Q1",))
    _, found = routed(m)
    assert [(w.id, w.a.label, w.b.label) for w in found.wires] == [("1A", "XH-1", "XD-1")]


def test_a_stud_takes_the_place_of_a_splice() -> None:
    m = y_loom()
    m.device("G1", DeviceKind.STUD, "box")
    m.signal("G1.1", "d:C1-1", "u:C1-1", "h:C1-1")
    _, found = routed(m)
    assert not found.splices
    assert [(w.id, w.b.label) for w in found.wires] == [("1B", "G1.1"), ("1C", "G1.1"), ("1D", "G1.1")]


def test_sizes_and_colours_by_rank() -> None:
    m = y_loom()
    m.pin("h:C1-1", mm2=1.2, colour="RD")
    m.pin("d:C1-1", mm2=0.3, colour="BU/WH")
    m.signal("h:C1-1", "d:C1-1")
    m.signal("h:C1-2", "d:C1-2")
    m.signal("h:C1-3", "d:C1-3", mm2=0.8, colour="GN")
    m.signal("h:C1-4", "d:C1-4", code="XYZ")
    first = m.signals[2]
    m.signals[2] = replace(first, members=(Member(end=first.members[0].end, mm2=4.0, colour="VT"), first.members[1]))
    snapshot = m.snapshot()
    words = Dictionary((FunctionEntry(code="XYZ", name="Example", colour="PK"),))
    found = route(snapshot, snapshot.variants[0], words)
    assert [(w.mm2, w.colour) for w in found.wires] == [(1.5, "BU/WH"), (0.5, ""), (4.0, "VT"), (0.5, "PK")]


def test_gaps_say_what_is_missing() -> None:
    m = y_loom()
    m.mate("xfar", "d:C9")
    m.device("F3", DeviceKind.FUSE, "", rating_a=5)
    m.signal("d:C9-1", "u:C1-1")
    m.signal("d:C8-1", "u:C1-2")
    m.signal("h:C1-1", ("d:C1-1", 1), inline=("F3",))
    _, found = routed(m)
    reasons = [g.reason for g in found.gaps]
    assert reasons[0] == (
        "no run of segments joins node XU and node XFAR: the loom falls into 2 pieces, {XFAR} and {XH, XD, XU, J, BOX}"
    )
    assert reasons[1] == "connector C8 of d has no place in the loom"
    assert reasons[2:] == ["device F3 has no place"] * 2
    assert not found.wires


def test_a_length_that_is_none_is_refused() -> None:
    m = y_loom()
    m.run("xh", "xd", float("nan"))
    m.signal("d:C1-1", "u:C1-1")
    with pytest.raises(StructureError, match="segment g5"):
        routed(m)


def test_wire_ids_outlive_changes_elsewhere() -> None:
    snapshot = big_snapshot(n_blocks=3, n_connectors=12, n_sensors=3)
    before = route(snapshot, snapshot.variants[0])
    job = snapshot.job
    fewer = replace(snapshot, job=replace(job, signals=job.signals[:10] + job.signals[15:]))
    after = route(fewer, fewer.variants[0])
    gone = {s.key for s in job.signals[10:15]}
    assert after.wires == tuple(w for w in before.wires if w.signal not in gone)
    assert len({w.id for w in before.wires}) == len(before.wires)


def _renamed(snapshot: Snapshot, old: ConnectorKey, new: str) -> Snapshot:
    def pin_key(key: PinKey) -> PinKey:
        return key._replace(connector=new) if (key.platform, key.connector) == old else key

    platforms = tuple(
        replace(
            p,
            connectors=tuple(replace(c, name=new) if c.name == old.connector else c for c in p.connectors),
            pins=tuple(replace(pin, connector=new) if pin.connector == old.connector else pin for pin in p.pins),
        )
        if p.key == old.platform
        else p
        for p in snapshot.platforms
    )
    job = snapshot.job
    signals = tuple(
        replace(
            s,
            members=tuple(m if isinstance(m.end, DeviceEnd) else replace(m, end=pin_key(m.end)) for m in s.members),
        )
        for s in job.signals
    )
    nodes = tuple(
        replace(n, mates=ConnectorKey(old.platform, new), name=new) if n.mates == old else n for n in job.nodes
    )
    return Snapshot(replace(job, signals=signals, nodes=nodes), platforms, snapshot.housings)


def _shape(found: Routing) -> list[object]:
    return [
        (w.id, w.a.node, w.b.node, w.segments, w.cut_length_m, w.mm2, w.colour, w.a.splice, w.b.splice)
        for w in found.wires
    ]


BIG = big_snapshot(n_blocks=3, n_connectors=12, n_sensors=3)


@settings(max_examples=20, deadline=None)
@given(
    st.integers(0, 11),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=12).filter(
        lambda t: not t.startswith("C0")
    ),
)
def test_renaming_a_connector_changes_names_and_nothing_else(which: int, name: str) -> None:
    node = [n for n in BIG.job.nodes if n.mates is not None][which]
    assert node.mates is not None
    other = _renamed(BIG, node.mates, name)
    assert _shape(route(other, other.variants[0])) == _shape(route(BIG, BIG.variants[0]))


@settings(max_examples=20, deadline=None)
@given(st.data())
def test_exchanging_donor_and_host_gives_the_mirror_image(data: st.DataObject) -> None:
    """The sides' roles, the seats and the order of each signal's ends turned round: the same copper between the same
    cavities."""
    job = BIG.job
    swap = {Role.DONOR: Role.HOST, Role.HOST: Role.DONOR}
    platforms = tuple(replace(p, role=swap.get(p.role, p.role)) for p in reversed(BIG.platforms))
    seats = tuple(reversed(tuple(replace(s, role=swap.get(s.role, s.role)) for s in job.seats)))
    signals = tuple(
        replace(s, members=tuple(reversed(s.members))) if data.draw(st.booleans()) else s for s in job.signals
    )
    mirrored = Snapshot(replace(job, seats=seats, signals=signals), platforms)

    def picture(found: Routing) -> list[tuple[object, ...]]:
        return sorted(
            (w.signal, tuple(sorted([w.a.label, w.b.label])), tuple(sorted(w.segments)), w.cut_length_m, w.mm2)
            for w in found.wires
        )

    assert picture(route(mirrored, mirrored.variants[0])) == picture(route(BIG, BIG.variants[0]))


def test_letters() -> None:
    assert [letters(i) for i in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]
