"""The bundle in each segment: how thick it is, what rules of thumb say, what it weighs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.core.facts.conductors import wire_size
from pinmap.core.facts.fittings import SHRINK_MARGIN, density_kg_per_m3, sleeve_sizes
from pinmap.core.facts.metals import metal
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.coverings import fit_covering
from pinmap.core.loom.packing import bundle_diameter_mm
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.loom.stretches import Stretch, Stretches
from pinmap.core.model.jobs import Practice, Snapshot
from pinmap.core.model.looms import Segment

SPLICE_SLEEVE = "shrink-glue"  # key of the covering over a splice: common practice


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


@dataclass(frozen=True, slots=True)
class Section:
    """A cross-section of a bundle: its stretch, the outside diameters [mm] of the wires that run there and then of the
    splices beside them, and the packing's diameter [mm]."""

    stretch: Stretch
    diameters_mm: tuple[float, ...]
    bundle_mm: float


class Bundles:
    """The bare bundles of a routed loom along each segment."""

    def __init__(self, routing: Routing, segments: Sequence[Segment], practice: Practice) -> None:
        self.routing, self.stretches = routing, Stretches(routing, segments, practice)

    @classmethod
    def of(cls, snapshot: Snapshot, routing: Routing) -> Bundles:
        return cls(routing, snapshot.job.segments, snapshot.job.practice)

    def sections(self, segment: str) -> tuple[Section, ...]:
        """Each stretch and each place of splices, from the segment's node ``a`` on."""
        found = [self._section(s) for s in (*self.stretches.of(segment), *self.stretches.at_splices(segment))]
        return tuple(sorted(found, key=lambda s: (s.stretch.from_m + s.stretch.to_m, s.stretch.splices)))

    def fattest(self, segment: str) -> Section:
        """The thickest of the sections, a stretch rather than a splice of the same thickness."""
        return max(self.sections(segment), key=lambda s: (round(s.bundle_mm, 6), not s.stretch.splices))

    def diameter_mm(self, segment: str) -> float:
        """Diameter of the bare bundle at its fattest place [mm], without covering; 0 where no wire runs."""
        return self.fattest(segment).bundle_mm

    def _section(self, stretch: Stretch) -> Section:
        wires = wire_diameters_mm([self.routing.wire[w] for w in stretch.wires])
        found = (*wires, *(self.splice_mm(s) for s in stretch.splices))
        return Section(stretch, found, bundle_diameter_mm(found))

    def splice_mm(self, splice: str) -> float:
        """Outside diameter of a splice in line [mm]: its conductors beside each other, or the insulated wires of the
        thicker side, in an adhesive-lined sleeve (common practice) whose wall is thinner where it is stretched."""
        sides = [[self.routing.wire[w] for w in side] for side in self.stretches.sides(splice)]
        own = self.stretches.splice[splice].wires
        metal = [wire_size(w.mm2, w.insulation).conductor_mm for w in map(self.routing.wire.__getitem__, own)]
        inside = max(bundle_diameter_mm(metal), *(bundle_diameter_mm(wire_diameters_mm(side)) for side in sides))
        sizes = sleeve_sizes()[SPLICE_SLEEVE]
        sleeve = next((s for s in sizes if inside <= s.max_mm), sizes[-1])
        free, wall = sleeve.min_mm * (1 - SHRINK_MARGIN), sleeve.wall_mm or 0.0  # recovered on nothing
        return math.sqrt(inside**2 + 4 * wall * (free + wall))  # of the same volume

    def mass(self, segment: Segment) -> Mass:
        """Wires and covering along a segment."""
        total = Mass()
        for wire in (self.routing.wire[i] for i in self.routing.bundle.get(segment.key, ())):
            runs_m = sum(m for key, m in zip(wire.segments, wire.pieces_m, strict=True) if key == segment.key)
            total += wire_mass(wire.mm2, wire.insulation, runs_m)
        return total + self.covering_mass(segment)

    def covering_mass(self, segment: Segment) -> Mass:
        """The covering along a segment, stretch by stretch."""
        each = (self._section(s) for s in self.stretches.of(segment.key))
        return sum((covering_mass(s.bundle_mm, segment.covering, s.stretch.length_m) for s in each), Mass())


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


def loom_mass(bundles: Bundles, wires: Sequence[Wire], segments: Sequence[Segment]) -> Mass:
    """These wires as they are cut, and the coverings of these segments; without connectors, terminals and devices."""
    total = sum((wire_mass(w.mm2, w.insulation, w.cut_length_m) for w in wires), Mass())
    return sum((bundles.covering_mass(s) for s in segments), total)
