"""How a bundle with its covering sits in the clips, grommets and backshell clamps of its run."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.facts.parts import coverings
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.coverings import fit_covering
from pinmap.core.model.looms import Fixing, Segment
from pinmap.core.model.words import FixingKind

FILLED = {FixingKind.CLIP: 1.0, FixingKind.GROMMET: 0.9, FixingKind.BACKSHELL: 1.0}
"""The most of its clear diameter that a bundle takes: a grommet is filled to nine tenths (common practice)."""


@dataclass(frozen=True, slots=True)
class FixingFit:
    """A fixing with the bundle there: its diameter over the covering and the most that would fit [mm]."""

    fixing: Fixing
    outside_mm: float
    most_mm: float

    @property
    def fits(self) -> bool:
        return self.outside_mm <= self.most_mm + 1e-6


def fixing_fit(bundles: Bundles, segment: Segment, fixing: Fixing) -> FixingFit:
    """By the thickest of the stretches and splices at the place; a covering that is not in the catalogue counts as
    nothing."""
    at_m = fixing.at_m
    here = [
        s.bundle_mm for s in bundles.sections(segment.key) if s.stretch.from_m - 1e-6 <= at_m <= s.stretch.to_m + 1e-6
    ]
    thick_mm = max(here, default=0.0)
    covering = coverings().get(segment.covering)
    if covering is not None and thick_mm:
        thick_mm = fit_covering(covering, thick_mm, None).outside_mm
    return FixingFit(fixing, thick_mm, fixing.inner_mm * FILLED[fixing.kind])
