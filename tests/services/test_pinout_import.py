"""A pinout staged, corrected, and taken in row by row."""

from __future__ import annotations

import pytest

from pinmap.core.crossing import edits
from pinmap.core.errors import Conflict, FileRejected, InputError, NotFound
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Kind, Role
from pinmap.services import jobs, pinout_import, platforms
from pinmap.services.shop import Shop
from tests.factories_store import platform, seats

HEAD = "connector,cavity,function,kind,current_a,Shelf mark\n"
GOOD = "C1,1,Fan,supply-30,12.5,left\nC1,2,Ground,ground-31,,\n"
BAD = "C1,3,Odd,no-kind,many,\n"


def _host(shop: Shop) -> None:
    platforms.create(shop, key="host", name="Host", role=Role.HOST)


def test_good_rows_first_bad_rows_after_correction(shop: Shop) -> None:
    _host(shop)
    draft = pinout_import.stage(shop, "host", (HEAD + GOOD + BAD).encode(), "pins.csv")
    view = pinout_import.get(shop, draft)
    assert [r.good for r in view.draft.rows] == [True, True, False]
    assert not platforms.get(shop, "host").platform.pins
    with pytest.raises(FileRejected) as caught:
        pinout_import.take_all(shop, draft)
    assert {(p.row, p.column) for p in caught.value.problems} == {(4, "kind"), (4, "current_a")}
    taken = pinout_import.take_good_rows(shop, draft, view.version)
    assert (taken.added, taken.left) == (2, 1)
    view = pinout_import.get(shop, draft)
    assert [r.row for r in view.draft.rows] == [4]
    with pytest.raises(InputError, match="rows"):
        pinout_import.take_good_rows(shop, draft)
    view = pinout_import.edit_cell(shop, draft, view.version, 4, 3, "logic-12v")
    view = pinout_import.edit_cell(shop, draft, view.version, 4, 4, "0.1")
    assert view.table.numbered_rows[2][1][3] == "logic-12v"
    assert pinout_import.take_all(shop, draft).left == 0
    pins = platforms.get(shop, "host").platform.pins
    assert [(p.cavity, p.kind) for p in pins] == [("1", Kind.SUPPLY_30), ("2", Kind.GROUND), ("3", Kind.LOGIC_12V)]
    assert pins[0].extra == (("Shelf mark", "left"),)
    with pytest.raises(NotFound):
        pinout_import.get(shop, draft)


def test_pin_on_file_is_replaced_only_when_told(shop: Shop) -> None:
    host, donor = platform("host", Role.HOST, 1, 2), platform("donor", Role.DONOR, 1, 2)
    for p in (host, donor):
        platforms._add(shop, p)
    view = jobs.create_job(shop, "j", "Job", seats(donor, host))
    ends = [PinKey("donor", "X1", "1"), PinKey("host", "X1", "1")]
    jobs.edit(shop, "j", view.version, lambda j, _: edits.join(j, ends, name="S"))  # type: ignore[arg-type]
    draft = pinout_import.stage_text(
        shop, "host", "connector\tcavity\tfunction\nX1\t1\tNew\nX1\t2\tNew too\nX1\t3\tThird\n"
    )
    view_ = pinout_import.get(shop, draft)
    assert {row: pin.function for row, pin in view_.existing.items()} == {2: "Signal 1.1", 3: "Signal 1.2"}
    with pytest.raises(FileRejected, match="2 things"):
        pinout_import.take_all(shop, draft)
    assert pinout_import.take_good_rows(shop, draft, view_.version).added == 1
    view_ = pinout_import.get(shop, draft)
    view_ = pinout_import.choose(shop, draft, view_.version, {2: "replace", 3: "keep"})
    taken = pinout_import.take_all(shop, draft, view_.version)
    assert (taken.added, taken.replaced, taken.kept, taken.left) == (0, 1, 1, 0)
    assert [p.function for p in platforms.get(shop, "host").platform.pins] == ["New", "Signal 1.2", "Third"]
    assert [m.end for m in jobs.get(shop, "j").job.signals[0].members] == ends


def test_columns_are_named_by_hand(shop: Shop) -> None:
    _host(shop)
    draft = pinout_import.stage_text(shop, "host", "aa\tbb\tcc\nC1\t1\tFan\n")
    view = pinout_import.get(shop, draft)
    view = pinout_import.remap(
        shop, draft, view.version, heading_row=1, read_as={0: "connector", 1: "cavity", 2: "function"}
    )
    assert view.draft.pins[0].function == "Fan"
    with pytest.raises(InputError, match="two columns"):
        pinout_import.remap(shop, draft, view.version, read_as={0: "cavity", 1: "cavity"})
    view = pinout_import.remap(
        shop, draft, view.version, read_as={1: "cavity", 2: "function", 0: ""}, default_connector="C7"
    )
    assert view.draft.pins[0].connector == "C7"
    assert view.draft.pins[0].extra == (("aa", "C1"),)
    with pytest.raises(Conflict):
        pinout_import.edit_cell(shop, draft, 1, 2, 2, "stale")


def test_discarded_draft_leaves_nothing(shop: Shop) -> None:
    _host(shop)
    draft = pinout_import.stage_text(shop, "host", "connector\tcavity\nC1\t1\n")
    assert [d.id for d in pinout_import.list_drafts(shop, "host")] == [draft]
    pinout_import.discard(shop, draft, 1)
    assert pinout_import.list_drafts(shop, "host") == ()
    with pytest.raises(NotFound):
        pinout_import.discard(shop, draft, 1)
    with pytest.raises(FileRejected):
        pinout_import.stage(shop, "host", b"", "empty.csv")


def test_odd_signs_are_kept(shop: Shop) -> None:
    _host(shop)
    text = "connector,cavity,function\nC1,1,<b>=1+1</b>\nC1,2,{{ x }}%00\n"
    draft = pinout_import.stage(shop, "host", text.encode(), "na\x00me\r\n.csv")
    pinout_import.take_good_rows(shop, draft)
    assert [p.function for p in platforms.get(shop, "host").platform.pins] == ["<b>=1+1</b>", "{{ x }}%00"]


def test_nul_in_a_correction_is_refused_or_taken_out(shop: Shop) -> None:
    _host(shop)
    draft = pinout_import.stage_text(shop, "host", "connector\tcavity\tfunction\nC1\t1\tFan\n")
    view = pinout_import.get(shop, draft)
    view = pinout_import.edit_cell(shop, draft, view.version, 2, 2, "F\x00an \ud800")
    assert "\x00" not in "".join(p.function for p in view.draft.pins)


def test_five_thousand_rows_are_taken_in(shop: Shop) -> None:
    _host(shop)
    rows = "".join(f"C{i // 50},{i % 50 + 1},Signal {i},logic-12v,0.1,\n" for i in range(5000))
    draft = pinout_import.stage(shop, "host", (HEAD + rows).encode(), "big.csv")
    view = pinout_import.get(shop, draft)
    assert len(view.draft.pins) == 5000
