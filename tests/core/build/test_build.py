"""The build's records: every line to be followed by hand, sums that close, lists that miss nothing."""

from collections import Counter
from dataclasses import replace

import pytest

from pinmap.core.build.cut_list import ONE_LABEL_M, cut_list, label_list
from pinmap.core.build.parts_list import parts_list
from pinmap.core.build.pin_table import pin_table
from pinmap.core.build.ring_out import ALLOWANCE_OHM, ring_out
from pinmap.core.build.splice_table import splice_table, stagger_words
from pinmap.core.build.table import build_table
from pinmap.core.electrics.results import ElectricalReport, WireState
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.looms import Fixing
from pinmap.core.model.pinouts import Cavity, Housing, PinKey
from pinmap.core.model.words import DeviceKind, Evidence, FixingKind, Gender, NodeKind
from pinmap.demo import finished_snapshot
from tests.factories_looms import JobMaker


def small() -> Snapshot:
    """Host feed over a fuse to two donor loads and a unit (a splice), a sensor wire, and a ground wire."""
    m = JobMaker()
    m.junction("j1")
    m.junction("box", kind=NodeKind.PLACE)
    m.mate("xh", "h:C1")
    m.mate("xd", "d:D1")
    m.mate("xu", "u:U1")
    m.run("xh", "j1", 1.0)
    m.run("xd", "j1", 2.0)
    m.run("xu", "j1", 0.5)
    m.run("box", "j1", 0.25)
    m.device("F1", DeviceKind.FUSE, "box", rating_a=15.0)
    m.signal("h:C1-1", ("d:D1-1", 1), ("d:D1-2", 1), ("u:U1-1", 1), inline=("F1",), mm2=1.5, colour="red")
    m.signal("d:D1-3", "u:U1-2", mm2=0.5, colour="GN/YE", twist="T1")
    m.signal("d:D1-4", "h:C1-2", mm2=2.5, colour="BN")
    snapshot = m.snapshot()
    housing = Housing(
        key="six", name="six-way", sealed=True, terminal="blade-1.5-sealed", gender=Gender.SOCKET,
        cavities=tuple(Cavity(name=str(i), column=float(i), row=0.0) for i in range(1, 7)),
    )  # fmt: skip
    host = next(p for p in snapshot.platforms if p.key == "h")
    measured = tuple(replace(p, evidence=Evidence.MEASURED, evidence_ref="by A. on the truck") for p in host.pins)
    platforms = tuple(replace(p, pins=measured) if p is host else p for p in snapshot.platforms)
    nodes = tuple(replace(n, housing="six") if n.key == "xd" else n for n in snapshot.job.nodes)
    return Snapshot(replace(snapshot.job, nodes=nodes), platforms, (housing,))


@pytest.fixture(scope="module")
def made():
    snapshot = small()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant)
    assert not routing.gaps
    return snapshot, variant, routing, build_table(snapshot, variant, routing, ElectricalReport())


def test_lines_in_order_and_followed_by_hand(made):
    _, _, _, rows = made
    assert [r.wire for r in rows] == ["1A", "1B", "1C", "1D", "1-F1.2", "2A", "3A"]
    by = {r.wire: r for r in rows}
    first = by["1A"]
    assert (first.start.place, first.start.cavity, first.start.mates) == ("XH", "1", "H C1")
    assert (first.end.place, first.end.cavity, first.end.function) == ("F1", "1", "fuse 15 A")
    assert first.fuse == ""
    assert by["1-F1.2"].fuse == "F1 (fuse 15 A)"
    assert by["1-F1.2"].splices == ("S1.1",)
    assert by["1B"].end.place == "S1.1"
    assert by["2A"].twist == "T1"
    assert (by["3A"].start.place, by["3A"].end.place) == ("XD", "XH")


def test_colours_sizes_and_lengths(made):
    _, _, routing, rows = made
    by = {r.wire: r for r in rows}
    assert (by["1A"].colour, by["1A"].mm2, by["1A"].awg) == ("RD", 1.5, "15")  # 15 AWG is 1.65 mm2, ASTM B258
    assert by["2A"].colour == "GN/YE"
    assert by["2A"].run_m == pytest.approx(2.5)  # 2.0 + 0.5 of the loom
    assert by["3A"].run_m == pytest.approx(3.0)
    assert all(r.cut_m > r.run_m and r.cut_m == routing.wire[r.wire].cut_length_m for r in rows)


def test_what_is_not_measured_stays_visible(made):
    _, _, _, rows = made
    by = {r.wire: r for r in rows}
    assert by["1A"].proven  # host pin measured, fuse needs no proof
    assert not by["2A"].proven
    assert by["2A"].start.evidence_text == "manual"
    assert by["3A"].end.evidence_text == "measured: by A. on the truck"
    assert not by["3A"].proven


def test_load_and_drop_of_the_heaviest_case(made):
    snapshot, variant, routing, _ = made
    state = WireState(
        wire="2A",
        case="idle",
        current_a=-3.0,
        temp_c=60.0,
        resistance_ohm=0.1,
        drop_v=-0.3,
        ambient_c=40.0,
        loaded_in_bundle=1,
    )
    light = replace(state, case="key-on", current_a=1.0, drop_v=0.1)
    report = ElectricalReport(wires={"key-on": {"2A": light}, "idle": {"2A": state}})
    row = next(r for r in build_table(snapshot, variant, routing, report) if r.wire == "2A")
    assert (row.load_a, row.drop_v, row.load_case) == (3.0, 0.3, "Idle")
    assert next(r for r in build_table(snapshot, variant, routing, report) if r.wire == "3A").load_a is None


def test_renaming_a_connector_changes_names_and_nothing_else(made):
    snapshot, variant, _, rows = made
    nodes = tuple(replace(n, name="PLUG 7") if n.key == "xd" else n for n in snapshot.job.nodes)
    renamed = Snapshot(replace(snapshot.job, nodes=nodes), snapshot.platforms, snapshot.housings)
    again = build_table(renamed, variant, route(renamed, variant), ElectricalReport())

    def back(text):
        return text.replace("PLUG 7", "XD")

    def undone(row):
        ends = [replace(e, place=back(e.place), label=back(e.label)) for e in (row.start, row.end)]
        return replace(row, start=ends[0], end=ends[1], label=back(row.label))

    assert tuple(undone(r) for r in again) == rows
    assert again != rows


def test_cut_list_holds_every_wire_once_longest_first(made):
    _, _, _, rows = made
    spools = cut_list(rows)
    assert Counter(c.wire for s in spools for c in s.cuts) == Counter(r.wire for r in rows)
    assert [s.mm2 for s in spools] == sorted((s.mm2 for s in spools), reverse=True)
    for spool in spools:
        lengths = [c.cut_m for c in spool.cuts]
        assert lengths == sorted(lengths, reverse=True)
    assert sum(s.total_m for s in spools) == pytest.approx(sum(r.cut_m for r in rows))


def test_labels_at_both_ends_or_one_on_a_short_wire(made):
    _, _, _, rows = made
    labels = label_list([*rows, replace(rows[0], wire="9A", run_m=ONE_LABEL_M - 0.01)])
    assert [x.where for x in labels if x.wire == "9A"] == ["middle"]
    assert [x.where for x in labels if x.wire == "2A"] == ["XD-3", "XU-2"]


def test_splice_table_names_all_far_ends(made):
    snapshot, _, routing, _ = made
    (splice,) = splice_table(snapshot, routing)
    assert {(w.wire, w.leads_to) for w in splice.wires} == {
        ("1B", "XD-1"), ("1C", "XD-2"), ("1D", "XU-1"), ("1-F1.2", "F1.2"),
    }  # fmt: skip
    assert splice.total_mm2 == 6.0
    assert splice.where == "at J1"


def test_parts_list_counts(made):
    snapshot, variant, routing, rows = made
    parts = parts_list(snapshot, variant, routing)
    terminals = [p for p in parts if p.group == "Terminals"]
    ends = [e for r in rows for e in (r.start, r.end) if e.evidence]
    assert sum(p.quantity for p in terminals) == len(ends) == 8
    assert all(p.buy >= p.quantity * 1.2 and p.buy >= p.quantity + 1 for p in terminals)
    (plugs,) = [p for p in parts if p.group == "Cavity plugs"]
    assert (plugs.quantity, plugs.buy, plugs.where) == (2, 3, ("XD",))  # six cavities, four used
    assert sum(p.quantity for p in parts if p.group == "Seals") == 4
    assert sum(p.quantity for p in parts if p.group == "Wire") == pytest.approx(sum(r.cut_m for r in rows))
    assert [(p.item, p.quantity) for p in parts if p.group == "Devices"] == [("fuse 15 A", 1)]
    assert sum(p.quantity for p in parts if p.group == "Device terminals") == 2
    assert [p.quantity for p in parts if p.group == "Splices"] == [1]
    housings = {p.where: p for p in parts if p.group == "Housings"}
    assert housings["XD",].item == "six-way"
    assert housings["XH",].note == "housing not named yet"


def test_a_cavity_with_two_wires_takes_one_terminal(made):
    snapshot, variant, routing, _ = made
    wire = routing.wire["2A"]
    doubled = Routing((*routing.wires, replace(wire, id="2B")), routing.splices, ())
    before, after = (
        sum(p.quantity for p in parts_list(snapshot, variant, r) if p.group == "Terminals") for r in (routing, doubled)
    )
    assert after == before
    assert any("0.5 + 0.5" in p.detail for p in parts_list(snapshot, variant, doubled) if p.group == "Terminals")


def test_ring_out_expects_what_the_wire_table_says(made):
    snapshot, _, routing, _ = made
    plan = ring_out(snapshot, routing)
    # ISO 6722-1: 0.5 mm2 at most 37.1 mohm/m, 2.5 mm2 at most 7.6 mohm/m at 20 °C.
    sensor = next(t for t in plan.continuity if t.wires == ("2A",))
    assert sensor.expected_ohm == pytest.approx(0.0371 * routing.wire["2A"].cut_length_m, rel=1e-6)
    assert sensor.limit_ohm == pytest.approx(sensor.expected_ohm + ALLOWANCE_OHM)
    ground = next(t for t in plan.continuity if t.wires == ("3A",))
    assert ground.expected_ohm == pytest.approx(0.0076 * routing.wire["3A"].cut_length_m, rel=1e-6)


def test_ring_out_through_a_splice_adds_both_legs(made):
    snapshot, _, routing, _ = made
    plan = ring_out(snapshot, routing)
    legs = [t for t in plan.continuity if len(t.wires) == 2]
    assert {t.wires for t in legs} == {("1B", "1C"), ("1B", "1D"), ("1-F1.2", "1B")}
    r15 = 0.0127  # ISO 6722-1, 1.5 mm2
    for test in legs:
        assert test.expected_ohm == pytest.approx(r15 * sum(routing.wire[w].cut_length_m for w in test.wires), rel=1e-6)


def test_ring_out_counts_parallel_wires_as_such(made):
    snapshot, _, routing, _ = made
    doubled = Routing((*routing.wires, replace(routing.wire["3A"], id="3B")), routing.splices, ())
    one, two = (
        next(t.expected_ohm for t in ring_out(snapshot, r).continuity if "3A" in t.wires) for r in (routing, doubled)
    )
    assert two == pytest.approx(one / 2)


def test_ring_out_reaches_every_wire_and_every_net(made):
    snapshot, _, routing, _ = made
    plan = ring_out(snapshot, routing)
    assert {w for t in plan.continuity for w in t.wires} == set(routing.wire)
    assert len(plan.isolation) == 4  # before the fuse, behind it, sensor, ground
    assert all(t.against == "the other 3 nets joined" for t in plan.isolation)
    points = [p for t in plan.isolation for p in t.points]
    assert len(points) == len(set(points)) == 10


def test_pin_table_leads_from_pin_to_pin(made):
    snapshot, variant, _, rows = made
    table = pin_table(snapshot, variant, rows)
    assert [(r.connector, r.cavity) for r in table] == [
        ("XD", "1"), ("XD", "2"), ("XD", "3"), ("XD", "4"), ("XH", "1"), ("XH", "2"), ("XU", "1"), ("XU", "2"),
    ]  # fmt: skip
    assert table[0].leads_to == ("H C1-1", "D D1-2", "U U1-1")
    assert table[2].leads_to == ("U U1-2",)


def test_the_demo_in_every_variant_closes():
    snapshot = finished_snapshot()
    for variant in snapshot.variants:
        routing = route(snapshot, variant)
        rows = build_table(snapshot, variant, routing, ElectricalReport())
        plan = ring_out(snapshot, routing)
        assert {r.wire for r in rows} == set(routing.wire) == {w for t in plan.continuity for w in t.wires}
        active = snapshot.active_pins(variant)
        for row, wire in zip(rows, routing.wires, strict=True):
            for words, end in ((row.start, wire.a), (row.end, wire.b)):
                if isinstance(end.pin, PinKey):
                    assert end.pin in active
                    assert words.cavity == end.pin.cavity
                    assert words.mates == f"{snapshot.platform[end.pin.platform].name} {end.pin.connector}"
                    assert snapshot.signal_of[end.pin].key == row.signal
        assert parts_list(snapshot, variant, routing)


def test_fixings_are_counted_by_kind_and_width() -> None:
    snapshot = finished_snapshot()
    one, two = (s.key for s in snapshot.job.segments[:2])
    held = [("c1", one, 14.0), ("c2", two, 14.0), ("c3", two, 20.0)]
    fixings = tuple(Fixing(key=k, segment=s, kind=FixingKind.CLIP, at_m=0.01, inner_mm=mm) for k, s, mm in held)
    snapshot = replace(snapshot, job=replace(snapshot.job, fixings=fixings))
    routing = route(snapshot, snapshot.variants[0])
    rows = [r for r in parts_list(snapshot, snapshot.variants[0], routing) if r.group == "Clips, grommets, clamps"]
    assert [(r.item, r.quantity, r.buy) for r in rows] == [("clip 14 mm", 2, 2), ("clip 20 mm", 1, 1)]
    assert set(rows[0].where) == {f"{one} at 10 mm", f"{two} at 10 mm"}


def test_the_splice_table_says_what_keeping_apart_takes():
    """Two nets that meet at one branch point: one splice gives way by 60 mm, one of its three wires gets shorter."""
    m = JobMaker(Practice(min_mm2=0.35))
    m.junction("j")
    for i, side in enumerate("hdu"):
        m.mate(f"x{side}", f"{side}:C1")
        m.run(f"x{side}", "j", 0.5 + 0.1 * i)
    for number, mm2 in ((1, 2.5), (2, 1.0)):
        for side in "hdu":
            m.pin(f"{side}:C1-{number}", mm2=mm2)
        m.signal(*(f"{side}:C1-{number}" for side in "hdu"))
    snapshot = m.snapshot()
    routing = route(snapshot, snapshot.variants[0])
    assert splice_table(snapshot, routing)[0].where == "at J"
    assert splice_table(snapshot, routing)[1].where.startswith("60 mm from J towards X")
    assert stagger_words(snapshot, routing) == (
        "Kept 60 mm apart where there is room: 1 of 2 sits up to 60 mm from where they need the least copper; "
        "that takes 0.5 g more."
    )
    first = replace(snapshot, job=replace(snapshot.job, signals=snapshot.job.signals[:1]))
    assert stagger_words(first, route(first, first.variants[0])) == "Each sits where it needs the least copper."
