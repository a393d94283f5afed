"""Cut list and wire labels."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.core.build.table import BuildRow
from pinmap.core.model.words import natural_key

# A wire shorter than this takes one label in its middle, AC 43.13-1B, wire identification: 7 in.
ONE_LABEL_M = 0.178


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """One piece to cut; cut_m in metres."""

    wire: str
    cut_m: float
    start: str
    start_terminal: str
    end: str
    end_terminal: str
    label: str
    twist: str = ""
    screen: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpoolCuts:
    """All pieces from one spool, the longest first."""

    mm2: float
    awg: str
    colour: str
    insulation: str
    cuts: tuple[Cut, ...]

    @property
    def total_m(self) -> float:
        return round(sum(c.cut_m for c in self.cuts), 6)


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One label; ``where`` is the end that it sits at, or the middle of a short wire."""

    wire: str
    where: str
    text: str


def cut_list(rows: Sequence[BuildRow]) -> tuple[SpoolCuts, ...]:
    """Wires by spool (size, colour, insulation), thick ones first; in a spool the longest first, so that a spool's rest
    still serves a shorter piece."""
    spools: dict[tuple[float, str, str], list[BuildRow]] = defaultdict(list)
    for row in rows:
        spools[row.mm2, row.colour, row.insulation].append(row)
    return tuple(
        SpoolCuts(
            mm2=mm2,
            awg=spools[mm2, colour, insulation][0].awg,
            colour=colour,
            insulation=insulation,
            cuts=tuple(
                Cut(
                    wire=r.wire,
                    cut_m=r.cut_m,
                    start=r.start.label,
                    start_terminal=r.start.terminal,
                    end=r.end.label,
                    end_terminal=r.end.terminal,
                    label=r.label,
                    twist=r.twist,
                    screen=r.screen,
                )
                for r in sorted(spools[mm2, colour, insulation], key=lambda r: (-r.cut_m, natural_key(r.wire)))
            ),
        )
        for mm2, colour, insulation in sorted(spools, key=lambda k: (-k[0], k[1], k[2]))
    )


def label_list(rows: Sequence[BuildRow]) -> tuple[Label, ...]:
    """A label at both ends of each wire, one in the middle of a short wire, in the order of the table."""
    labels: list[Label] = []
    for row in rows:
        if row.run_m < ONE_LABEL_M:
            labels.append(Label(wire=row.wire, where="middle", text=row.label))
        else:
            labels += [Label(wire=row.wire, where=end.label, text=row.label) for end in (row.start, row.end)]
    return tuple(labels)
