"""Where the splices are and what meets in each."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.build.ends import colour_letters
from pinmap.core.loom.results import Routing, Splice, Wire
from pinmap.core.model.jobs import Snapshot


@dataclass(frozen=True, slots=True, kw_only=True)
class SpliceWire:
    """One wire of a splice and where its other end is."""

    wire: str
    colour: str
    mm2: float
    leads_to: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SpliceRow:
    """One splice. ``where`` tells the builder where to find it; total_mm2 is the sum of the conductors in it."""

    splice: str
    signal_name: str
    where: str
    wires: tuple[SpliceWire, ...]

    @property
    def total_mm2(self) -> float:
        return round(sum(w.mm2 for w in self.wires), 4)


def splice_table(snapshot: Snapshot, routing: Routing) -> tuple[SpliceRow, ...]:
    """Splices in the order of their signals."""
    rows = []
    for splice in routing.splices:
        wires = tuple(_wire(routing.wire[w], splice) for w in splice.wires)
        rows.append(
            SpliceRow(
                splice=splice.id,
                signal_name=snapshot.signal[splice.signal].name,
                where=splice_place(snapshot, splice),
                wires=wires,
            )
        )
    return tuple(rows)


def stagger_words(snapshot: Snapshot, routing: Routing) -> str:
    """How far splices were shifted to keep apart and what that costs, for the head of the table."""
    shifts_mm = [1000 * s.shift_m for s in routing.splices if s.shift_m > 0]
    if not shifts_mm:
        return "Each sits where it needs the least copper."
    apart_mm, sit = 1000 * snapshot.job.practice.splice_apart_m, "sits" if len(shifts_mm) == 1 else "sit"
    return (
        f"Kept {apart_mm:g} mm apart where there is room: {len(shifts_mm)} of {len(routing.splices)} {sit} up to "
        f"{max(shifts_mm):.0f} mm from where they need the least copper; that takes {routing.stagger_g:.1f} g more."
    )


def _wire(wire: Wire, splice: Splice) -> SpliceWire:
    far = wire.b if wire.a.splice == splice.id else wire.a
    return SpliceWire(wire=wire.id, colour=colour_letters(wire.colour), mm2=wire.mm2, leads_to=far.label)


def splice_place(snapshot: Snapshot, splice: Splice) -> str:
    """Such as "at J2" or "100 mm from X3 towards J2"."""
    node = _name(snapshot, splice.node)
    segment = next((s for s in snapshot.job.segments if s.key == splice.segment), None)
    if segment is None:
        return f"at {node}"
    other = segment.b if segment.a == splice.node else segment.a
    return f"{splice.at_m * 1000:.0f} mm from {node} towards {_name(snapshot, other)}"


def _name(snapshot: Snapshot, key: str) -> str:
    node = snapshot.node.get(key)
    return (node.name or node.key) if node is not None else key
