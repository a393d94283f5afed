"""The ledger: every pin of every side exactly once, with what becomes of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Fate

OPEN_FATES = frozenset({Fate.UNDECIDED, Fate.DEFERRED})


@dataclass(frozen=True, slots=True)
class LedgerRow:
    """One pin entry. ``signal`` is the key of the signal that has it, "" for none."""

    pin: PinKey
    entry: Pin
    fate: Fate
    signal: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Ledger:
    """Rows in the order of seats, picks and the platforms' own pins; a deferred pin is still open."""

    rows: tuple[LedgerRow, ...]

    @cached_property
    def counts(self) -> Mapping[str, Mapping[Fate, int]]:
        """Platform -> fate -> number of pins; every fate is there, 0 where none."""
        out: dict[str, dict[Fate, int]] = {}
        for row in self.rows:
            of_platform = out.setdefault(row.pin.platform, dict.fromkeys(Fate, 0))
            of_platform[row.fate] += 1
        return out

    @cached_property
    def undecided(self) -> int:
        """Pins that are still open: undecided or deferred. A job is released at 0."""
        return sum(row.fate in OPEN_FATES for row in self.rows)

    @cached_property
    def open_pins(self) -> tuple[PinKey, ...]:
        return tuple(row.pin for row in self.rows if row.fate in OPEN_FATES)


def seated_pins(snapshot: Snapshot) -> dict[PinKey, Pin]:
    """Every pin that exists in at least one pick of the job's seats."""
    found: dict[PinKey, Pin] = {}
    for platform_key, editions in picked_editions(snapshot).items():
        platform = snapshot.platform[platform_key]
        limits = {c.name: c.editions for c in platform.connectors}
        for pin in platform.pins:
            if any(
                pin.in_edition(e) and (not e or not limits.get(pin.connector) or e in limits[pin.connector])
                for e in editions
            ):
                found[pin.key(platform.key)] = pin
    return found


def picked_editions(snapshot: Snapshot) -> dict[str, tuple[str, ...]]:
    """Platforms in the order of the seats, each with the editions picked ("" where it has only one)."""
    out: dict[str, tuple[str, ...]] = {}
    for seat in snapshot.job.seats:
        for pick in seat.picks:
            if pick.edition not in out.get(pick.platform, ()):
                out[pick.platform] = (*out.get(pick.platform, ()), pick.edition)
    return out


def ledger(snapshot: Snapshot) -> Ledger:
    """Accounts for every pin of every platform that the seats pick, in all editions picked, each exactly once.

    A pin that a signal has is joined, whatever else was noted for it.
    """
    fates = {f.pin: f for f in snapshot.job.fates}
    rows = []
    for key, pin in seated_pins(snapshot).items():
        signal, noted = snapshot.signal_of.get(key), fates.get(key)
        if signal is not None:
            rows.append(LedgerRow(key, pin, Fate.JOINED, signal.key, f"signal {signal.number}, {signal.name}"))
        elif noted is None:
            rows.append(LedgerRow(key, pin, Fate.UNDECIDED))
        else:
            who = f" ({noted.owner} by {noted.due})" if noted.fate == Fate.DEFERRED else ""
            rows.append(LedgerRow(key, pin, noted.fate, "", noted.reason + who))
    return Ledger(tuple(rows))
