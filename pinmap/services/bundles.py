"""One segment's bundle, ready for a page: wires, packing beside the rules of thumb, what covers and holds it."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.build.ends import by_loom
from pinmap.core.errors import NotFound
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.bundles import (
    Mass,
    RuleOfThumb,
    loom_mass,
    rules_of_thumb,
    segment_mass,
    segment_wires,
    wire_diameters_mm,
)
from pinmap.core.loom.coverings import BendLimit, CoveringFit, Hold, bend_limits, covering_choices, fit_covering, holds
from pinmap.core.loom.layup import LayUp, rings
from pinmap.core.loom.packing import pack
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.looms import Segment, Zone
from pinmap.drawings.section import SectionWire, section_svg
from pinmap.services.analysis import Analysis
from pinmap.services.drawings import Svg

LAID_UP = 7  # from so many wires on a lay-up in rings is worth a drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleView:
    """A segment and all that follows from the wires in it. ``against`` says why its covering will not do."""

    segment: Segment
    zone: Zone | None
    ends: tuple[str, str]
    wires: tuple[Wire, ...]
    names: tuple[str, ...]  # of each wire's signal
    diameters_mm: tuple[float, ...]
    hottest_c: tuple[float | None, ...]
    bundle_mm: float
    outside_mm: float
    covering: str
    against: str
    rules: tuple[RuleOfThumb, ...]
    lay_up: LayUp
    choices: tuple[CoveringFit, ...]
    bends: tuple[BendLimit, ...]
    holds: tuple[Hold, ...]
    mass: Mass
    section: Svg
    laid: Svg | None


def bundle(done: Analysis, key: str) -> BundleView:
    """The bundle of a segment. Raises NotFound."""
    snapshot, routing = done.snapshot, done.routing
    segment = next((s for s in snapshot.job.segments if s.key == key), None)
    if segment is None:
        raise NotFound(f"the loom has no segment {key!r}")
    zone = snapshot.zone.get(segment.zone)
    wires = segment_wires(routing, key)
    diameters = wire_diameters_mm(wires)
    packing, lay_up = pack(diameters), rings(diameters)
    known = coverings().get(segment.covering)
    fit = fit_covering(known, packing.diameter_mm, zone) if known is not None and wires else None
    outside = fit.outside_mm if fit is not None else packing.diameter_mm
    covering = known.name if known is not None else segment.covering
    choices = covering_choices(packing.diameter_mm, zone) if wires else ()
    worst = [done.report.worst(w.id) for w in wires]
    names = {n.key: n.name or n.key for n in snapshot.job.nodes}
    title = f"Cross-section of segment {key}"

    def placed(at_mm: tuple[tuple[float, float], ...]) -> list[SectionWire]:
        return [SectionWire(w.id, w.colour, d, at) for w, d, at in zip(wires, diameters, at_mm, strict=True)]

    return BundleView(
        segment=segment,
        zone=zone,
        ends=(names.get(segment.a, segment.a), names.get(segment.b, segment.b)),
        wires=tuple(wires),
        names=tuple(snapshot.signal[w.signal].name for w in wires),
        diameters_mm=tuple(diameters),
        hottest_c=tuple(state.temp_c if state is not None else None for state in worst),
        bundle_mm=packing.diameter_mm,
        outside_mm=outside,
        covering=covering,
        against=fit.against if fit is not None else "",
        rules=rules_of_thumb(diameters),
        lay_up=lay_up,
        choices=choices,
        bends=bend_limits(outside),
        holds=holds(outside) if wires else (),
        mass=segment_mass(routing, segment),
        section=Svg(
            section_svg(
                placed(packing.at_mm),
                packing.diameter_mm,
                title=title,
                covering=covering,
                covering_mm=(fit.inside_mm, fit.outside_mm) if fit is not None else None,
            )
        ),
        laid=Svg(
            section_svg(
                placed(lay_up.at_mm),
                lay_up.diameter_mm,
                title=f"Segment {key} laid up in rings",
                rings_mm=[r.over_mm for r in lay_up.rings],
            )
        )
        if len(wires) >= LAID_UP
        else None,
    )


def mass(done: Analysis) -> Mass:
    """Wires as they are cut and coverings of all segments; without connectors, terminals and devices."""
    return loom_mass(done.routing, done.snapshot.job.segments)


def masses(done: Analysis) -> tuple[tuple[str, Mass], ...]:
    """``mass`` of each loom by its name, where several have wires."""
    looms = by_loom(done.snapshot, done.routing.wires)
    segments = done.snapshot.job.segments
    found = tuple(
        (loom.name, loom_mass(Routing(tuple(wires)), [s for s in segments if s.loom == loom.key]))
        for loom, wires in looms
    )
    return found if len(found) > 1 else ()
