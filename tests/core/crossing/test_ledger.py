"""Every pin exactly once, whatever is noted for it."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.crossing.edits import add_pick, add_seat, join, new_job, set_fate
from pinmap.core.crossing.ledger import ledger
from pinmap.core.model.jobs import Job, Pick, PinFate, Seat, Snapshot
from pinmap.core.model.pinouts import Connector, Edition, Pin, PinKey, Platform
from pinmap.core.model.words import Fate, Role

HOST = Platform(
    key="host",
    name="Host",
    role=Role.HOST,
    editions=(Edition(key="early", name="Early"), Edition(key="late", name="Late"), Edition(key="old", name="Old")),
    connectors=(Connector(name="C1"), Connector(name="C2", editions=("late",))),
    pins=(
        Pin(connector="C1", cavity="1", function="same in all"),
        Pin(connector="C1", cavity="2", function="was this", editions=("early",)),
        Pin(connector="C1", cavity="2", function="is that", editions=("late",)),
        Pin(connector="C1", cavity="3", function="long gone", editions=("old",)),
        Pin(connector="C2", cavity="1", function="late connector"),
    ),
)


def job(*editions: str) -> Job:
    made = add_seat(
        new_job("j", "J"), Seat(key="host", name="Host", role=Role.HOST, picks=(Pick("host", editions[0]),))
    )
    for edition in editions[1:]:
        made = add_pick(made, "host", Pick("host", edition))
    return made


def test_all_picked_editions_count_and_no_other() -> None:
    early, both = ledger(Snapshot(job("early"), (HOST,))), ledger(Snapshot(job("early", "late"), (HOST,)))
    assert [str(row.pin) for row in early.rows] == ["host:C1-1", "host:C1-2@early"]
    assert [str(row.pin) for row in both.rows] == ["host:C1-1", "host:C1-2@early", "host:C1-2@late", "host:C2-1"]
    assert ledger(Snapshot(new_job("j", "J"), (HOST,))).rows == ()


def test_fates_are_counted_and_deferred_stays_open() -> None:
    one, early, late = (
        PinKey("host", "C1", "1"),
        PinKey("host", "C1", "2", "early"),
        PinKey("host", "C1", "2", "late"),
    )
    made = join(job("early", "late"), [one, early], name="Both")
    made = set_fate(made, late, Fate.DEFERRED, "waiting for a measurement", owner="Ada", due="2031-01-31")
    book = ledger(Snapshot(made, (HOST,)))
    assert book.counts["host"][Fate.JOINED] == 2
    assert book.counts["host"][Fate.DEFERRED] == 1
    assert book.counts["host"][Fate.UNDECIDED] == 1
    assert book.counts["host"][Fate.CAPPED] == 0
    assert book.undecided == 2
    assert {row.pin: row.signal for row in book.rows}[early] == "s001"
    assert "Ada" in next(row.reason for row in book.rows if row.pin == late)


def test_a_joined_pin_is_joined_even_if_an_old_file_parks_it_too() -> None:
    one, early = PinKey("host", "C1", "1"), PinKey("host", "C1", "2", "early")
    made = join(job("early"), [one, early], name="Both")
    made = replace(made, fates=(PinFate(pin=one, fate=Fate.PARKED, reason="old"),))
    book = ledger(Snapshot(made, (HOST,)))
    assert [row.fate for row in book.rows] == [Fate.JOINED, Fate.JOINED]
