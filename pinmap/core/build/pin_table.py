"""The pin table of a built loom, connector by connector: what a customer or a technician looks a pin up in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.core.build.ends import EndWords
from pinmap.core.build.table import BuildRow
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import natural_key


@dataclass(frozen=True, slots=True, kw_only=True)
class PinTableRow:
    """One cavity of a loom connector; ``leads_to`` names the other ends of its signal."""

    connector: str
    mates: str
    cavity: str
    function: str
    signal: str
    wires: str
    colour: str
    leads_to: tuple[str, ...]
    evidence: str

    @property
    def name(self) -> str:
        """Such as "X12-4"."""
        return f"{self.connector}-{self.cavity}"


def pin_table(snapshot: Snapshot, variant: Variant, rows: Sequence[BuildRow]) -> tuple[PinTableRow, ...]:
    """Every cavity that has a wire, by connector and cavity in natural order."""
    pins, devices = snapshot.active_pins(variant), snapshot.active_devices(variant)
    ends: dict[str, list[tuple[str, str, str]]] = {}  # signal -> (connector, cavity, words)
    for signal in snapshot.job.signals:
        named = ends.setdefault(signal.key, [])
        for member in signal.members:
            end = member.end
            if isinstance(end, PinKey) and end in pins:
                mates = f"{snapshot.platform[end.platform].name} {end.connector}"
                named.append((mates, end.cavity, f"{mates}-{end.cavity}"))
            elif isinstance(end, DeviceEnd) and end.device in devices:
                named.append((end.device, end.terminal, str(end)))
    at: dict[tuple[str, str], list[tuple[BuildRow, EndWords]]] = {}
    for row in rows:
        for end_ in (row.start, row.end):
            if end_.mates:
                at.setdefault((end_.place, end_.cavity), []).append((row, end_))
    out = []
    for (place, cavity), found in sorted(at.items(), key=lambda x: (natural_key(x[0][0]), natural_key(x[0][1]))):
        first, here = found[0]
        out.append(
            PinTableRow(
                connector=place,
                mates=here.mates,
                cavity=cavity,
                function=here.function,
                signal=first.signal_name,
                wires=", ".join(r.wire for r, _ in found),
                colour=", ".join(dict.fromkeys(r.colour for r, _ in found if r.colour)),
                leads_to=tuple(text for p, c, text in ends[first.signal] if (p, c) != (here.mates, cavity)),
                evidence=here.evidence_text,
            )
        )
    return tuple(out)
