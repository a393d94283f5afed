"""Points of the loom where wires end and splices may sit, and ways between them; see ``graph``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


class Station(NamedTuple):
    """A point of the loom: ``out_m`` along the run of the end node ``leaf``, away from the graph's node ``core``; or
    that node itself, with leaf -1. ``out_w`` is the same way as it counts when ways are compared."""

    core: int
    leaf: int = -1
    out_m: float = 0.0
    out_w: float = 0.0


class SplicePlace(NamedTuple):
    """Where a splice may sit: at a node, or ``at_m`` from it along a segment."""

    station: Station
    node: int
    segment: str = ""
    at_m: float = 0.0


class Spots(NamedTuple):
    """Stations as arrays, each of shape (n,)."""

    core: Ints
    leaf: Ints
    out_w: Floats

    @classmethod
    def of(cls, stations: Sequence[Station]) -> Spots:
        return cls(
            np.array([s.core for s in stations], dtype=np.intp),
            np.array([s.leaf for s in stations], dtype=np.intp),
            np.array([s.out_w for s in stations]),
        )

    def take(self, which: Ints) -> Spots:
        return Spots(self.core[which], self.leaf[which], self.out_w[which])


class Way(NamedTuple):
    """The segments from one station to another, how far it runs in each and in all [m]."""

    segments: tuple[str, ...] = ()
    pieces_m: tuple[float, ...] = ()
    length_m: float = 0.0

    def back(self) -> Way:
        return Way(self.segments[::-1], self.pieces_m[::-1], self.length_m)

    def then(self, segment: str, piece_m: float) -> Way:
        return Way((*self.segments, segment), (*self.pieces_m, piece_m), self.length_m + piece_m)

    def joined(self, way: Way) -> Way:
        return Way((*self.segments, *way.segments), (*self.pieces_m, *way.pieces_m), self.length_m + way.length_m)

    def meeting(self, way: Way) -> Way:
        """``joined``, where a run that the point between divides is named once."""
        if not self.segments or not way.segments or self.segments[-1] != way.segments[0]:
            return self.joined(way)
        pieces_m = (*self.pieces_m[:-1], self.pieces_m[-1] + way.pieces_m[0], *way.pieces_m[1:])
        return Way((*self.segments, *way.segments[1:]), pieces_m, self.length_m + way.length_m)
