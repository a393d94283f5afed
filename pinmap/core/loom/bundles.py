"""The bundle in each segment: how thick it is, what rules of thumb say, what it weighs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.fittings import density_kg_per_m3
from pinmap.core.facts.metals import metal
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.coverings import fit_covering
from pinmap.core.loom.packing import bundle_diameter_mm
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.looms import Segment


@dataclass(frozen=True, slots=True)
class RuleOfThumb:
    """What a formula gives for a bundle [mm], beside the packing."""

    words: str
    diameter_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class Mass:
    """Metal, insulation and covering [kg]."""

    metal_kg: float = 0.0
    insulation_kg: float = 0.0
    covering_kg: float = 0.0

    @property
    def total_kg(self) -> float:
        return self.metal_kg + self.insulation_kg + self.covering_kg

    def __add__(self, other: Mass) -> Mass:
        return Mass(
            self.metal_kg + other.metal_kg,
            self.insulation_kg + other.insulation_kg,
            self.covering_kg + other.covering_kg,
        )


def wire_diameters_mm(wires: Sequence[Wire]) -> list[float]:
    """Outside diameter of each wire [mm]."""
    return [wire_size(w.mm2, w.insulation).od_mm for w in wires]


def segment_wires(routing: Routing, segment: str) -> list[Wire]:
    """Wires that run in a segment, in their order."""
    return [routing.wire[i] for i in routing.bundle.get(segment, ())]


def segment_diameter_mm(routing: Routing, segment: str) -> float:
    """Diameter of the bare bundle in a segment [mm], without covering; 0 where no wire runs. Wires that end at a splice
    within the segment count along all of it, so the diameter is never under that of the thickest place."""
    return bundle_diameter_mm(wire_diameters_mm(segment_wires(routing, segment)))


def rules_of_thumb(diameters_mm: Sequence[float]) -> tuple[RuleOfThumb, ...]:
    """The trade's formulas for a bundle of one wire or more."""
    if not diameters_mm:
        return ()
    root = math.sqrt(sum(d * d for d in diameters_mm))
    mean = sum(diameters_mm) / len(diameters_mm)
    return (
        RuleOfThumb("1.2 · √Σd²", 1.2 * root, "handbooks, common practice; too thin for 2 to 5 equal wires"),
        RuleOfThumb("1.15 · √Σd², packed with care", 1.15 * root, "common practice, lower end"),
        RuleOfThumb("1.45 · √Σd², laid at random", 1.45 * root, "common practice, upper end"),
        RuleOfThumb("1.155 · d · √N, rings of equal wires", 1.155 * mean * math.sqrt(len(diameters_mm)), "from memory"),
        RuleOfThumb(
            "√2 · √Σd², room for any mix",
            max(math.sqrt(2) * root, max(diameters_mm)),
            "Fekete, Keldenich, Scheffer 2019, from memory: discs of half a disc's area always fit into it",
        ),
    )


def wire_mass(mm2: float, insulation: str, length_m: float) -> Mass:
    """A length of copper wire [m]: its nominal area as metal, its insulation as the ring around the strands. Raises
    InputError, TableGap."""
    size = wire_size(mm2, insulation)
    ring_mm2 = math.pi / 4 * (size.od_mm**2 - size.conductor_mm**2)
    return Mass(
        mm2 * 1e-6 * metal("copper").density_kg_per_m3 * length_m,
        ring_mm2 * 1e-6 * density_kg_per_m3("insulation", insulation) * length_m,
    )


def covering_mass(bundle_mm: float, key: str, length_m: float) -> Mass:
    """A length of covering on a bundle. Raises TableGap for a covering without a density."""
    covering = coverings().get(key)
    if covering is None or not bundle_mm:
        return Mass()
    fit = fit_covering(covering, bundle_mm, None)
    ring_mm2 = math.pi / 4 * (fit.outside_mm**2 - fit.inside_mm**2)
    return Mass(covering_kg=ring_mm2 * 1e-6 * density_kg_per_m3("covering", key) * length_m)


def segment_mass(routing: Routing, segment: Segment) -> Mass:
    """Wires and covering along a segment."""
    total = Mass()
    for wire in segment_wires(routing, segment.key):
        runs_m = sum(m for key, m in zip(wire.segments, wire.pieces_m, strict=True) if key == segment.key)
        total += wire_mass(wire.mm2, wire.insulation, runs_m)
    return total + covering_mass(segment_diameter_mm(routing, segment.key), segment.covering, segment.length_m)


def loom_mass(routing: Routing, segments: Sequence[Segment]) -> Mass:
    """All wires as they are cut, and the coverings of these segments; without connectors, terminals and devices."""
    total = sum((wire_mass(w.mm2, w.insulation, w.cut_length_m) for w in routing.wires), Mass())
    for segment in segments:
        total += covering_mass(segment_diameter_mm(routing, segment.key), segment.covering, segment.length_m)
    return total
