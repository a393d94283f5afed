"""The looms of a job and the matings between them, ready for a page."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.loom.cavities import Seat, crossing_seats, kept_cavities, mating_cavities, proposed_cavities
from pinmap.core.model.jobs import Signal
from pinmap.core.model.looms import Loom, Mating, Node
from pinmap.services.analysis import Analysis


@dataclass(frozen=True, slots=True, kw_only=True)
class LoomLine:
    """A loom with what it has in the chosen variant."""

    loom: Loom
    connectors: int
    runs: int
    wires: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SeatLine:
    """One signal's crossing. ``cavity`` is "" where none is free; mm2 by half [mm²], None without a wire in the chosen
    variant; ``idle`` says that it crosses in no variant."""

    seat: Seat
    signal: Signal
    cavity: str
    kept: bool
    mm2: tuple[float | None, float | None]
    idle: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MatingLine:
    """A mating with all that crosses in any variant. ``cavities`` are the names both halves have, None while no
    housing says; ``free`` of them have nothing kept or proposed."""

    mating: Mating
    halves: tuple[Node, Node]
    seats: tuple[SeatLine, ...]
    cavities: tuple[str, ...] | None
    free: int


def loom_lines(done: Analysis) -> tuple[LoomLine, ...]:
    job = done.snapshot.job
    loom_of = {n.key: n.loom for n in job.nodes}
    wires = [loom_of[w.a.node] for w in done.routing.wires]
    return tuple(
        LoomLine(
            loom=loom,
            connectors=sum(n.loom == loom.key and n.kind == "connector" for n in job.nodes),
            runs=sum(s.loom == loom.key for s in job.segments),
            wires=wires.count(loom.key),
        )
        for loom in job.looms
    )


def mating_lines(done: Analysis) -> tuple[MatingLine, ...]:
    snapshot = done.snapshot
    if not snapshot.job.matings:
        return ()
    kept, proposed, seats = kept_cavities(snapshot.job), proposed_cavities(snapshot), crossing_seats(snapshot)
    number = {s.key: (s.number, s.key) for s in snapshot.job.signals}
    mm2 = {
        (end.node, wire.signal, wire.section): wire.mm2
        for wire in done.routing.wires
        for end in (wire.a, wire.b)
        if end.mated is not None
    }

    def seat_line(mating: Mating, seat: Seat) -> SeatLine:
        return SeatLine(
            seat=seat,
            signal=snapshot.signal[seat.signal],
            cavity=kept.get(seat) or proposed.get(seat, ""),
            kept=seat in kept,
            mm2=(mm2.get((mating.a, *seat[1:])), mm2.get((mating.b, *seat[1:]))),
            idle=seat not in seats,
        )

    out = []
    for mating in snapshot.job.matings:
        here = [s for s in dict.fromkeys((*seats, *kept)) if s.mating == mating.key]
        here.sort(key=lambda s: (number[s.signal], s.section))
        lines = tuple(seat_line(mating, seat) for seat in here)
        named = mating_cavities(snapshot, mating)
        names = None if named is None else tuple(c.name for c in named)
        out.append(
            MatingLine(
                mating=mating,
                halves=(snapshot.node[mating.a], snapshot.node[mating.b]),
                seats=lines,
                cavities=names,
                free=len(set(names or ()) - {line.cavity for line in lines}),
            )
        )
    return tuple(out)
