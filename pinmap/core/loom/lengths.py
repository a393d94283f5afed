"""How long a wire is cut: its way through the loom, and what its ends, its twist, its bends and the bench add."""

from __future__ import annotations

import math
from typing import NamedTuple

from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import Practice


class LengthParts(NamedTuple):
    """The parts of a cut length [m]. ``cut_m`` is their sum rounded up to the shop's step."""

    path_m: float
    twist_m: float  # take-up: a twisted wire winds around its partner
    bend_m: float
    service_loop_m: float
    run_in_m: float
    strip_m: float
    overlap_m: float
    tolerance_m: float
    cut_m: float

    @property
    def exact_m(self) -> float:
        """Sum of the parts, before it is rounded up."""
        return sum(self[:-1])

    def rows(self) -> tuple[tuple[str, float], ...]:
        """Each part in words with its length [m], those that add nothing left out; the cut length last."""
        named = (
            ("way through the loom", self.path_m),
            ("twist take-up", self.twist_m),
            ("bend allowance", self.bend_m),
            ("service loops", self.service_loop_m),
            ("run-in at connectors", self.run_in_m),
            ("strip", self.strip_m),
            ("overlap in splices", self.overlap_m),
            ("tolerance", self.tolerance_m),
        )
        rounding = ("rounded up by", self.cut_m - self.exact_m)
        return (*((n, v) for n, v in (*named, rounding) if abs(v) > 1e-9), ("cut length", self.cut_m))


def length_parts(practice: Practice, path_m: float, *, splices: int, connectors: int, twisted: bool) -> LengthParts:
    """Parts of the cut length of a wire of which so many ends lie in splices and in connectors (the others at devices).

    An end in a splice overlaps and has no service loop. Take-up and bend allowance are shares of the way.
    """
    twist_m = path_m * practice.twist_take_up_pct / 100 if twisted else 0.0
    bend_m = path_m * practice.bend_pct / 100
    loops_m = practice.service_loop_m * (2 - splices)
    run_in_m = practice.connector_run_in_m * connectors
    strip_m = 2 * practice.strip_m
    overlap_m = practice.splice_overlap_m * splices
    exact_m = path_m + twist_m + bend_m + loops_m + run_in_m + strip_m + overlap_m + practice.tolerance_m
    step_m = practice.cut_step_m
    cut_m = math.ceil(exact_m / step_m - 1e-6) * step_m if step_m > 0 else exact_m
    return LengthParts(
        path_m, twist_m, bend_m, loops_m, run_in_m, strip_m, overlap_m, practice.tolerance_m, round(cut_m, 6)
    )


def parts_of(practice: Practice, wire: Wire) -> LengthParts:
    """The parts of a routed wire's cut length."""
    ends = (wire.a, wire.b)
    return length_parts(
        practice,
        wire.length_m,
        splices=sum(bool(e.splice) for e in ends),
        connectors=sum(e.in_connector for e in ends),
        twisted=bool(wire.twist),
    )
