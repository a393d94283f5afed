"""What lies around the wires of a routing, and how much less each may carry among the others of its bundle."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import chain

import numpy as np

from pinmap.core.electrics.bundle_heat import BundleLayout, Ints, allowed_current_a, bundle_layout
from pinmap.core.electrics.heat import Floats, WireHeat, ampacity_a, wire_heat
from pinmap.core.errors import TableGap
from pinmap.core.facts.conductors import insulations
from pinmap.core.facts.constants import AMBIENT_C
from pinmap.core.facts.covering_heat import covering_heat
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.loom.stretches import Stretch, Stretches
from pinmap.core.model.jobs import Snapshot

FACTOR_WORDS = "heat balance of the bundle, the other wires at their load"
_LEAST = 0.05


def judgeable(wire: Wire) -> bool:
    """Its insulation is known and its size a possible one."""
    return wire.insulation in insulations() and 0.05 <= wire.mm2 <= 150


@dataclass(frozen=True, eq=False)
class HeatPlaces:
    """Stretches in the order in which a layout has them, and the covering of each as heat meets it. By place, in the
    order of the routing's wires: the ``wire`` that lies there, and in which ``stretch``."""

    stretches: tuple[Stretch, ...]
    coverings: tuple[str, ...]
    wire: Ints
    stretch: Ints

    @classmethod
    def of(cls, snapshot: Snapshot, routing: Routing, found: Stretches | None = None) -> HeatPlaces:
        """A covering of which no heat data are known counts as bare; ``found`` are the routing's stretches where they
        are at hand."""
        found = found or Stretches(routing, snapshot.job.segments, snapshot.job.practice)
        each = [(stretch, _known(s.covering)) for s in snapshot.job.segments for stretch in found.of(s.key)]
        number = {w.id: i for i, w in enumerate(routing.wires)}
        inside = [stretch.wires for stretch, _ in each]
        wire = np.array(list(map(number.__getitem__, chain.from_iterable(inside))), dtype=np.int64)
        stretch = np.repeat(np.arange(len(each)), np.fromiter(map(len, inside), dtype=np.int64, count=len(each)))
        by_wire = np.argsort(wire, kind="stable")
        coverings = tuple(covering for _, covering in each)
        return cls(tuple(stretch for stretch, _ in each), coverings, wire[by_wire], stretch[by_wire])


def same_places(before: Snapshot, old: Routing, changed: tuple[int, ...], after: Snapshot, new: Routing) -> bool:
    """Whether every wire lies in the same stretches as before, whatever its size; ``changed`` are the wires that
    differ."""
    return (
        before.job.segments == after.job.segments
        and before.job.practice == after.job.practice
        and old.splices == new.splices
        and all(_same_way(old.wires[i], new.wires[i]) for i in changed)
    )


def _same_way(old: Wire, new: Wire) -> bool:
    return (
        old.segments == new.segments
        and old.pieces_m == new.pieces_m
        and all(v.node == w.node and v.splice == w.splice for v, w in ((old.a, new.a), (old.b, new.b)))
    )


def layout_of(snapshot: Snapshot, routing: Routing, places: HeatPlaces | None = None) -> BundleLayout:
    """Which wire of a routing lies in which stretch, with the stretches' air and coverings; ``places`` where they are
    at hand, of a routing with the same wires in the same order."""
    places = places or HeatPlaces.of(snapshot, routing)
    zones, segment = snapshot.zone, {s.key: s for s in snapshot.job.segments}
    zone_of = [segment[s.segment].zone for s in places.stretches]
    return bundle_layout(
        wire_heat([(w.mm2, w.insulation) for w in routing.wires]),
        places.wire,
        places.stretch,
        np.array([zones[z].ambient_c if z in zones else AMBIENT_C.value for z in zone_of], dtype=float),
        places.coverings,
        np.array([s.length_m for s in places.stretches], dtype=float),
    )


def _known(covering: str) -> str:
    try:
        covering_heat(covering)
    except TableGap:
        return ""
    return covering


def shares(layout: BundleLayout, heating_a: Floats, free: Floats, place_c: Sequence[Callable[[], Floats]]) -> Floats:
    """By wire: what it may carry alone while all others keep their currents, as a share of what it may carry in free
    air, at most 1; in the load case in which the loom makes the most heat. heating_a of shape (cases, wires);
    ``free`` is what it may carry there (see ``free_a``), ``place_c`` gives the places' temperatures in each case."""
    heat = layout.wires
    if not heating_a.size:
        return np.ones(heat.outside_m.size)
    worst = int(np.argmax((heating_a**2 * heat.r20_ohm_per_m).sum(axis=1)))
    allowed = allowed_current_a(layout, heating_a[worst], place_c=place_c[worst]())
    share = np.divide(allowed, free, out=np.ones_like(free), where=free > 0)
    return np.asarray(np.clip(np.floor(share * 100) / 100, _LEAST, 1.0))


def hottest_air_c(layout: BundleLayout) -> Floats:
    """Hottest air on each wire's way [°C]."""
    air_c = np.full(layout.wires.outside_m.size, -np.inf)
    np.maximum.at(air_c, layout.wire, layout.ambient_c[layout.segment])
    return air_c


def free_a(heat: WireHeat, air_c: Floats) -> Floats:
    """What each wire may carry alone in free air [A]; like ones are worked out once."""
    columns = (heat.conductor_m, heat.outside_m, heat.r20_ohm_per_m, heat.wall_w_per_m_k, heat.max_temp_c,
               heat.alpha_per_k, air_c)  # fmt: skip
    return np.array([_free_a(*kind) for kind in zip(*(c.tolist() for c in columns), strict=True)], dtype=float)


@lru_cache(maxsize=4096)
def _free_a(*kind: float) -> float:
    conductor, outside, r20, wall, top, alpha, air_c = (np.array([value]) for value in kind)
    heat = WireHeat(conductor, outside, r20, wall, top, alpha)
    return float(ampacity_a(heat, air_c, np.ones(1))[0])
