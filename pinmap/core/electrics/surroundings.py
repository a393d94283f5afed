"""How much less a wire may carry among the others of its bundle, by the bundle's heat balance."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from pinmap.core.electrics.bundle_heat import BundleLayout, allowed_current_a, bundle_layout
from pinmap.core.electrics.heat import ampacity_a, wire_heat
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.errors import TableGap
from pinmap.core.facts.conductors import insulations
from pinmap.core.facts.constants import AMBIENT_C
from pinmap.core.facts.covering_heat import covering_heat
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import Snapshot

FACTOR_WORDS = "heat balance of the bundle, the other wires at their load"
_LEAST = 0.05


def judgeable(wire: Wire) -> bool:
    """Its insulation is known and its size a possible one."""
    return wire.insulation in insulations() and 0.05 <= wire.mm2 <= 150


def layout_of(snapshot: Snapshot, routing: Routing) -> BundleLayout:
    """Which wire of a routing lies in which segment, with the segments' air and coverings; a covering of which no heat
    data are known counts as bare."""
    zones, segments = snapshot.zone, snapshot.job.segments
    place = {s.key: i for i, s in enumerate(segments)}
    pairs = [(i, place[s]) for i, w in enumerate(routing.wires) for s in w.segments if s in place]
    return bundle_layout(
        wire_heat([(w.mm2, w.insulation) for w in routing.wires]),
        np.array([i for i, _ in pairs], dtype=np.int64),
        np.array([s for _, s in pairs], dtype=np.int64),
        np.array([zones[s.zone].ambient_c if s.zone in zones else AMBIENT_C.value for s in segments], dtype=float),
        [_known(s.covering) for s in segments],
        np.array([s.length_m for s in segments], dtype=float),
    )


def _known(covering: str) -> str:
    try:
        covering_heat(covering)
    except TableGap:
        return ""
    return covering


def factors(snapshot: Snapshot, routing: Routing, report: ElectricalReport) -> Mapping[str, float]:
    """By wire: what it may carry alone while all others keep their present currents, as a share of what it may carry in
    free air, at most 1; in the load case in which the loom makes the most heat."""
    if not routing.wires or not all(judgeable(w) for w in routing.wires):
        return {}
    layout = layout_of(snapshot, routing)
    heat = layout.wires
    worst = np.zeros(len(routing.wires))
    most_w = -1.0
    for states in report.wires.values():
        amps = np.array([abs(states[w.id].current_a) if w.id in states else 0.0 for w in routing.wires])
        watts = float(np.sum(amps**2 * heat.r20_ohm_per_m))
        if watts > most_w:
            most_w, worst = watts, amps
    allowed = allowed_current_a(layout, worst)
    air_c = np.full(len(routing.wires), -np.inf)
    np.maximum.at(air_c, layout.wire, layout.ambient_c[layout.segment])
    free = ampacity_a(heat, air_c, np.ones(air_c.size))
    share = np.divide(allowed, free, out=np.ones_like(free), where=free > 0)
    share = np.clip(np.floor(share * 100) / 100, _LEAST, 1.0)
    return {w.id: float(f) for w, f in zip(routing.wires, share, strict=True)}
