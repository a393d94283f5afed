"""Crossing, ledger and signals."""

from __future__ import annotations

import pytest

from pinmap.core.model.jobs import Job, Signal
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Fate
from pinmap.services import jobs
from tests.factories_web import JOB, Visitor

LEDGER, SETTLE = f"{JOB}/decide/ledger", f"{JOB}/decide/settle"
SIGNAL = f"{JOB}/decide/signals/s001"
RIG3, RIG4, CART3, CART4 = "p/rig/C1/3/", "p/rig/C1/4/", "p/cart/C1/3/", "p/cart/C1/4/"


def _job(visitor: Visitor) -> Job:
    return jobs.get(visitor.shop, "bench").job


def _signal(visitor: Visitor, key: str = "s001") -> Signal:
    return jobs.get(visitor.shop, "bench").snapshot.signal[key]


def test_proposals_are_taken_by_tick(bench: Visitor) -> None:
    bench.open(f"{JOB}/decide")
    offered = bench.form(f"{JOB}/decide/take").offered("take")
    assert len(offered) == 2
    bench.send(f"{JOB}/decide/take").refused("tick at least one proposal")
    bench.sent(f"{JOB}/decide/take", {"take": offered})
    assert {s.function_code for s in _job(bench).signals} >= {"CKP", "OPS"}
    assert "Every pin has a fate" in bench.text


def test_pins_are_joined_in_the_ledger(bench: Visitor) -> None:
    bench.open(f"{LEDGER}?fate=undecided")
    bench.sent(SETTLE, {"pin": [RIG3, CART3], "name": "Crank"}, press="deed=join")
    assert bench.at.startswith(f"{LEDGER}?fate=undecided"), "the filter is kept"
    assert bench.notice() == "Done for 2 pins"
    assert [str(m.end) for m in _job(bench).signals[-1].members] == ["rig:C1-3", "cart:C1-3"]
    bench.sent(SETTLE, {"pin": [RIG4], "signal": _job(bench).signals[-1].key}, press="deed=join")
    assert len(_job(bench).signals[-1].members) == 3


def test_pins_are_settled_with_a_reason_and_cleared(bench: Visitor) -> None:
    typed = {"pin": [RIG4, CART4], "fate": "deferred", "reason": "ask", "owner": "Ann", "due": "2026-12-01"}
    bench.open(LEDGER).sent(SETTLE, typed, press="deed=settle")
    fates = {f.pin: f for f in _job(bench).fates}
    assert fates[PinKey("rig", "C1", "4")].owner == "Ann"
    assert fates[PinKey("cart", "C1", "4")].fate is Fate.DEFERRED
    bench.open(f"{LEDGER}?fate=deferred").sent(SETTLE, {"pin": [RIG4]}, press="deed=clear")
    assert PinKey("rig", "C1", "4") not in {f.pin for f in _job(bench).fates}


@pytest.mark.parametrize(
    ("typed", "press", "remedy"),
    [
        ({"reason": "x"}, "settle", "tick at least one pin"),
        ({"pin": [RIG4]}, "settle", "say why the pin is parked"),
        ({"pin": [RIG4], "reason": "x", "fate": "deferred"}, "settle", "the name of who will decide"),
        ({"pin": [RIG4], "name": "Alone"}, "join", "joins at least two ends"),
        ({"pin": [RIG4, CART4]}, "join", "give the signal a name"),
        ({"pin": ["p/rig/C1/1/"], "reason": "x"}, "settle", "take it out there first"),
        ({"pin": [RIG4]}, "clear", "it has no fate to clear"),
    ],
)
def test_what_cannot_be_settled_says_why_and_keeps_ticks_and_text(
    bench: Visitor, typed: dict[str, list[str]], press: str, remedy: str
) -> None:
    before = _job(bench)
    bench.open(LEDGER).send(SETTLE, typed, press=f"deed={press}").refused(remedy)
    again = bench.form(SETTLE).values()
    for name, value in typed.items():
        assert again[name] == ([value] if isinstance(value, str) else value)
    assert _job(bench) == before


def test_a_signal_is_changed(bench: Visitor) -> None:
    typed = {"name": "Lamps", "mm2": "2,5", "colour": "rd/ye", "twist": "t1", "note": "n", "function_code": "LAMP"}
    bench.open(f"{JOB}/decide/signals").follow("Lamp feed").sent(SIGNAL, typed)
    signal = _signal(bench)
    assert (signal.name, signal.mm2, signal.colour, signal.twist) == ("Lamps", 2.5, "RD/YE", "t1")
    assert signal.confirmed
    bench.sent(SIGNAL, {"confirmed": []})
    assert not _signal(bench).confirmed


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ({"name": " "}, "a signal needs a name"),
        ({"mm2": "thick"}, "type a plain number"),
        ({"mm2": "-1"}, "give a number above 0"),
        ({"insulation": "rubber"}, "choose one of"),
    ],
)
def test_a_bad_signal_is_refused(bench: Visitor, typed: dict[str, str], remedy: str) -> None:
    bench.open(SIGNAL).send(SIGNAL, typed | {"note": "kept"}).refused(remedy)
    again = bench.form(SIGNAL).values()
    assert {k: again[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert again["note"] == ["kept"]
    assert _signal(bench).note == ""


def test_ends_come_and_go(bench: Visitor) -> None:
    action = f"{SIGNAL}/members"
    bench.open(SIGNAL).sent(action, {"add": RIG4, "section": "1"}, press="deed=add")
    assert [(str(m.end), m.section) for m in _signal(bench).members][-1] == ("rig:C1-4", 1)
    bench.sent(action, {"end": [RIG4]}, press="deed=remove")
    assert len(_signal(bench).members) == 2
    bench.send(action, press="deed=remove").refused("tick the ends to take out")
    bench.send(action, press="deed=add").refused("choose the pin or device terminal")


def test_devices_stand_in_line_and_leave_it(bench: Visitor) -> None:
    action = f"{SIGNAL}/members"
    bench.open(SIGNAL).sent(action, press="deed=out:F1")
    assert _signal(bench).inline == ()
    bench.sent(action, {"end": ["p/rig/C1/1/"], "device": "new:fuse", "value": "15", "place": "box"}, press="deed=in")
    made = _signal(bench).inline[0]
    assert jobs.get(bench.shop, "bench").snapshot.device[made].rating_a == 15.0
    bench.send(action, {"end": ["p/cart/C1/1/"], "device": "new:fuse"}, press="deed=in").refused("needs its rating")
    assert bench.form(action, "deed=in").values()["end"] == ["p/cart/C1/1/"]
    bench.open(SIGNAL).send(action, press="deed=in").refused("choose a device")


def test_a_signal_is_taken_apart(bench: Visitor) -> None:
    bench.open(SIGNAL).sent(f"{SIGNAL}/dissolve")
    assert "its pins are undecided" in bench.notice()
    assert [s.key for s in _job(bench).signals] == ["s002"]
    bench.open(SIGNAL, status=404)
    assert "s001" in bench.text
