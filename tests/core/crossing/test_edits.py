"""Edits refuse nonsense and lose nothing silently."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.crossing import edits
from pinmap.core.crossing.ledger import ledger
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job, LoadCase, Pick, Seat, Snapshot
from pinmap.core.model.looms import Device, DeviceEnd, Loom, Node, Segment, Zone
from pinmap.core.model.pinouts import ConnectorKey, PinKey
from pinmap.core.model.words import DeviceKind, Fate, NodeKind, Role
from tests.factories_crossing import bare

DONOR = bare("donor", {"X1": {str(n): f"Signal {n}" for n in range(1, 7)}})
HOST = bare("host", {"C1": {str(n): f"Signal {n}" for n in range(1, 7)}}, Role.HOST)
PINS = tuple(pin.key(p.key) for p in (DONOR, HOST) for pin in p.pins)
D, H = PINS[:6], PINS[6:]


def job() -> Job:
    made = edits.new_job("demo", "Demonstration")
    made = edits.add_seat(made, Seat(key="donor", name="Donor", role=Role.DONOR, picks=(Pick("donor"),)))
    made = edits.add_seat(made, Seat(key="host", name="Host", role=Role.HOST, picks=(Pick("host"),)))
    made = edits.add_loom(made, Loom(key="main", name="Adapter loom"))
    made = edits.add_node(made, Node(key="p1", loom="main", kind=NodeKind.PLACE, name="Fuse box"))
    for key, kind in (("F1", DeviceKind.FUSE), ("F2", DeviceKind.FUSE), ("K1", DeviceKind.RELAY)):
        made = edits.add_device(made, Device(key=key, kind=kind, place="p1"))
    return edits.add_device(made, Device(key="ST1", kind=DeviceKind.STUD, place="p1"))


def snapshot(of: Job) -> Snapshot:
    return Snapshot(of, (DONOR, HOST))


def refused(field: str, call: object, *args: object, **kwargs: object) -> InputError:
    assert callable(call)
    with pytest.raises(InputError) as caught:
        call(*args, **kwargs)
    assert caught.value.field == field
    assert caught.value.remedy
    return caught.value


def test_join_numbers_signals_once_and_keeps_the_order_of_the_ends() -> None:
    made = edits.join(job(), [D[0], H[0]], name=" Crank + ")
    made = edits.join(made, [H[1], D[1]], name="Crank -")
    assert [(s.key, s.number, s.name) for s in made.signals] == [("s001", 1, "Crank +"), ("s002", 2, "Crank -")]
    assert [m.end for m in made.signals[1].members] == [H[1], D[1]]
    made = edits.join(edits.dissolve(made, "s002"), [H[1], D[1]], name="Crank - again")
    assert made.signals[-1].number == 3


def test_join_refuses_what_cannot_be_joined() -> None:
    made = edits.join(job(), [D[0], H[0]], name="One")
    assert "'One'" in str(refused("end", edits.join, made, [D[0], H[1]], name="Two"))
    refused("ends", edits.join, made, [D[1]], name="Two")
    refused("ends", edits.join, made, [D[1], D[1]], name="Two")
    refused("name", edits.join, made, [D[1], H[1]], name=" ")
    refused("key", edits.join, made, [D[1], H[1]], name="Two", key="s001")
    refused("mm2", edits.join, made, [D[1], H[1]], name="Two", mm2=-1.0)
    refused("pin", edits.join, made, [D[1], PinKey("stranger", "X", "1")], name="Two")
    refused("pin", edits.join, made, [D[1], PinKey("host", "C1", "99")], name="Two", known=set(PINS))
    refused("device", edits.join, made, [D[1], DeviceEnd("F9", "1")], name="Two")
    refused("terminal", edits.join, made, [D[1], DeviceEnd("F1", "87")], name="Two")
    parked = edits.set_fate(made, D[1], Fate.PARKED, "not fitted on this host")
    assert "not fitted" in str(refused("end", edits.join, parked, [D[1], H[1]], name="Two"))


def test_members_come_and_go_by_name() -> None:
    made = edits.join(job(), [D[0], H[0]], name="One")
    made = edits.add_member(made, "s001", DeviceEnd("ST1", "1"), mm2=2.5)
    made = edits.update_member(made, "s001", DeviceEnd("ST1", "1"), colour="RD")
    assert [(str(m.end), m.mm2, m.colour) for m in made.signals[0].members][-1] == ("ST1.1", 2.5, "RD")
    made = edits.remove_member(made, "s001", D[0])
    assert [m.end for m in made.signals[0].members] == [H[0], DeviceEnd("ST1", "1")]
    refused("end", edits.remove_member, made, "s001", D[0])
    refused("section", edits.add_member, made, "s001", D[1], section=1)
    alone = edits.remove_member(made, "s001", H[0])
    refused("end", edits.remove_member, alone, "s001", DeviceEnd("ST1", "1"))
    refused("number", edits.update_signal, made, "s001", number=9)
    refused("signal", edits.update_signal, made, "s9", name="x")


def test_devices_in_line_raise_the_sections_behind_them() -> None:
    made = edits.join(job(), [D[0], H[0], H[1], H[2]], name="Feed")
    made = edits.put_in_line(made, "s001", "F1", downstream=[H[0], H[1], H[2]])
    made = edits.put_in_line(made, "s001", "K1", downstream=[H[2]])
    assert made.signals[0].inline == ("F1", "K1")
    assert [m.section for m in made.signals[0].members] == [0, 1, 1, 2]
    between = edits.put_in_line(made, "s001", "F2", at=1, downstream=[H[1]])
    assert between.signals[0].inline == ("F1", "F2", "K1")
    assert [m.section for m in between.signals[0].members] == [0, 1, 2, 3]
    assert edits.take_out_of_line(between, "s001", "F2") == made
    refused("device", edits.put_in_line, made, "s001", "F1", downstream=[H[1]])
    refused("device", edits.put_in_line, made, "s001", "ST1", downstream=[H[1]])
    refused("downstream", edits.put_in_line, made, "s001", "F2", at=2)
    refused("downstream", edits.put_in_line, made, "s001", "F2", at=0, downstream=[D[0]])
    refused("downstream", edits.put_in_line, made, "s001", "F2", at=2, downstream=[H[0]])
    refused("device", edits.take_out_of_line, made, "s001", "F2")
    refused("device", edits.remove_device, made, "F1")
    refused("kind", edits.update_device, made, "F1", kind=DeviceKind.DIODE)
    refused("end", edits.join, made, [D[3], DeviceEnd("F1", "2")], name="Twice")
    coil = edits.join(made, [D[3], DeviceEnd("K1", "85")], name="Coil")
    assert coil.signals[-1].members[1].end == DeviceEnd("K1", "85")


def test_merge_moves_every_member() -> None:
    made = edits.join(edits.join(job(), [D[0], H[0]], name="One"), [D[1], H[1]], name="Two")
    merged = edits.merge(made, "s001", "s002")
    assert [m.end for m in merged.signals[0].members] == [D[0], H[0], D[1], H[1]]
    assert len(merged.signals) == 1
    refused("other", edits.merge, made, "s001", "s001")
    fused = edits.put_in_line(made, "s002", "F1", downstream=[H[1]])
    refused("other", edits.merge, fused, "s001", "s002")


def test_fates_owe_a_reason_and_are_not_overwritten() -> None:
    made = edits.set_fate(job(), D[0], Fate.CAPPED, "live")
    refused("pin", edits.set_fate, made, D[0], Fate.PARKED, "changed my mind")
    changed = edits.set_fate(made, D[0], Fate.PARKED, "changed my mind", replacing=True)
    assert [f.fate for f in changed.fates] == [Fate.PARKED]
    refused("reason", edits.set_fate, made, D[1], Fate.PARKED, "  ")
    refused("owner", edits.set_fate, made, D[1], Fate.DEFERRED, "ask")
    refused("due", edits.set_fate, made, D[1], Fate.DEFERRED, "ask", owner="Ada")
    refused("fate", edits.set_fate, made, D[1], Fate.JOINED, "x")
    refused("fate", edits.set_fate, made, D[1], Fate.UNDECIDED, "x")
    joined = edits.join(made, [D[1], H[1]], name="One")
    refused("pin", edits.set_fate, joined, D[1], Fate.PARKED, "x")
    refused("pin", edits.clear_fate, made, D[1])
    assert edits.clear_fate(made, D[0]) == job()


def test_the_loom_is_laid_out_without_loose_ends() -> None:
    made = edits.add_zone(job(), Zone(key="bay", name="Engine bay", ambient_c=95.0))
    x1 = Node(key="x1", loom="main", kind=NodeKind.CONNECTOR, mates=ConnectorKey("donor", "X1"))
    made = edits.add_node(made, x1)
    run = Segment(key="g1", loom="main", a="x1", b="p1", length_m=0.4, zone="bay")
    made = edits.add_segment(made, run)
    refused("length_m", edits.add_segment, made, replace(run, key="g2", length_m=0.0))
    refused("length_m", edits.update_segment, made, "g1", length_m=float("nan"))
    refused("b", edits.add_segment, made, replace(run, key="g2", b="x1"))
    refused("b", edits.add_segment, made, replace(run, key="g2", b="nowhere"))
    refused("key", edits.add_segment, made, run)
    refused("zone", edits.update_segment, made, "g1", zone="sea")
    refused("node", edits.remove_node, made, "x1")
    refused("zone", edits.remove_zone, made, "bay")
    refused("loom", edits.remove_loom, made, "main")
    refused("mates", edits.add_node, made, replace(x1, key="x2"))
    refused("mates", edits.update_node, made, "p1", mates=ConnectorKey("host", "C1"))
    refused("place", edits.update_device, made, "F1", place="x1")
    refused("key", edits.add_node, made, replace(x1, key="a b"))
    refused("ambient_c", edits.update_zone, made, "bay", ambient_c=float("inf"))
    bare_again = edits.remove_zone(edits.remove_segment(made, "g1"), "bay")
    refused("node", edits.remove_node, edits.remove_node(bare_again, "x1"), "p1")
    assert edits.remove_node(bare_again, "x1") == job()


def test_seats_keep_what_was_decided() -> None:
    made = edits.join(job(), [D[0], H[0]], name="One")
    refused("seat", edits.remove_seat, made, "host")
    refused("pick", edits.remove_pick, made, "host", Pick("host"))
    refused("picks", edits.add_pick, made, "host", Pick("host"))
    refused("picks", edits.add_pick, made, "host", Pick("donor"))
    refused("picks", edits.add_pick, made, "host", Pick("host", "late"))
    more = edits.add_pick(made, "host", Pick("van", "late"))
    late = edits.set_fate(
        edits.add_pick(more, "host", Pick("van", "early")), PinKey("van", "C", "1", "late"), Fate.PARKED, "x"
    )
    refused("pick", edits.remove_pick, late, "host", Pick("van", "late"))
    assert edits.remove_pick(more, "host", Pick("van", "late")) == made


def test_practice_load_cases_and_acceptances() -> None:
    made = edits.update_practice(job(), stock_mm2=(2.5, 1.0), drop_other_pct=5.0)
    assert made.practice.stock_mm2 == (1.0, 2.5)
    refused("stock_mm2", edits.update_practice, made, stock_mm2=())
    refused("drop_other_pct", edits.update_practice, made, drop_other_pct=100.0)
    refused("units", edits.update_practice, made, units="cubits")
    refused("colour", edits.update_practice, made, colour="x")
    refused("code", edits.add_load_case, made, LoadCase(key="x", code="Z", name="X", supply_v=12.0))
    refused("supply_v", edits.update_load_case, made, "idle", supply_v=0.0)
    made = edits.accept_finding(made, "R14|wire:1A", by="Ada", reason="short run")
    refused("finding", edits.accept_finding, made, "R14|wire:1A", by="Bo", reason="again")
    refused("by", edits.accept_finding, made, "R15", by="", reason="x")
    assert edits.withdraw_acceptance(made, "R14|wire:1A").acceptances == ()


OPERATIONS = st.lists(
    st.tuples(
        st.sampled_from(["join", "add", "remove", "dissolve", "line", "unline", "park", "clear", "merge"]),
        st.integers(0, 11),
        st.integers(0, 11),
        st.sampled_from(["F1", "F2", "K1"]),
    ),
    max_size=25,
)


def apply(made: Job, operation: tuple[str, int, int, str]) -> Job:
    what, x, y, device = operation
    keys = [s.key for s in made.signals] or ["none"]
    key, other = keys[x % len(keys)], keys[y % len(keys)]
    match what:
        case "join":
            return edits.join(made, [PINS[x], PINS[y]], name=f"{x} {y}")
        case "add":
            return edits.add_member(made, key, PINS[y])
        case "remove":
            return edits.remove_member(made, key, PINS[y])
        case "dissolve":
            return edits.dissolve(made, key)
        case "line":
            return edits.put_in_line(made, key, device, downstream=[PINS[y]])
        case "unline":
            return edits.take_out_of_line(made, key, device)
        case "park":
            return edits.set_fate(made, PINS[x], Fate.PARKED, "spare")
        case "clear":
            return edits.clear_fate(made, PINS[x])
    return edits.merge(made, key, other)


@given(OPERATIONS)
def test_no_edit_loses_a_member_silently_and_the_ledger_always_adds_up(
    operations: list[tuple[str, int, int, str]],
) -> None:
    made = job()
    numbers: set[int] = set()
    for operation in operations:
        before = {m.end for s in made.signals for m in s.members}
        had = {s.number for s in made.signals}
        try:
            after = apply(made, operation)
        except InputError:
            continue
        ends = [m.end for s in after.signals for m in s.members]
        assert len(ends) == len(set(ends))
        lost = before - set(ends)
        match operation[0]:
            case "remove":
                assert lost == {PINS[operation[2]]}
            case "dissolve":
                gone = {s.key for s in made.signals} - {s.key for s in after.signals}
                assert lost == {m.end for s in made.signals if s.key in gone for m in s.members}
            case _:
                assert lost == set()
        assert all(0 <= m.section <= len(s.inline) for s in after.signals for m in s.members)
        new = {s.number for s in after.signals} - had
        assert not new & numbers
        numbers |= had | new
        book = ledger(snapshot(after))
        assert len(book.rows) == len(PINS) == sum(n for fates in book.counts.values() for n in fates.values())
        assert sum(row.fate == Fate.JOINED for row in book.rows) == len(ends)
        made = after


@given(OPERATIONS, st.sampled_from(D), st.sampled_from(H))
def test_join_then_dissolve_gives_the_earlier_content(
    operations: list[tuple[str, int, int, str]], one: PinKey, other: PinKey
) -> None:
    made = job()
    for operation in operations:
        try:
            made = apply(made, operation)
        except InputError:
            continue
    try:
        joined = edits.join(made, [one, other], name="Tried")
    except InputError:
        return
    undone = edits.dissolve(joined, joined.signals[-1].key)
    assert undone.next_number == made.next_number + 1
    assert replace(undone, next_number=made.next_number) == made
