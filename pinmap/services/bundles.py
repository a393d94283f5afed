"""One segment's bundle, ready for a page: wires, packing beside the rules of thumb, what covers and holds it."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.build.ends import by_loom
from pinmap.core.errors import NotFound
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.bundles import (
    Mass,
    RuleOfThumb,
    Section,
    loom_mass,
    rules_of_thumb,
)
from pinmap.core.loom.coverings import BendLimit, CoveringFit, Hold, bend_limits, covering_choices, fit_covering, holds
from pinmap.core.loom.fixings import FixingFit, fixing_fit
from pinmap.core.loom.layup import LayUp, rings
from pinmap.core.loom.packing import pack
from pinmap.core.loom.results import Wire
from pinmap.core.model.looms import Segment, Zone
from pinmap.drawings.section import SectionWire, section_svg
from pinmap.services.analysis import Analysis
from pinmap.services.drawings import Svg

LAID_UP = 7  # from so many wires on a lay-up in rings is worth a drawing


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleView:
    """A segment and all that follows from the wires in it. ``sections`` are its stretches and its places of splices;
    ``chosen`` is the one whose wires and drawing are shown, its number from 1. The covering is chosen for the fattest
    place, ``fattest_mm``; ``against`` says why the segment's will not do there."""

    segment: Segment
    zone: Zone | None
    sections: tuple[Section, ...]
    chosen: int
    splices: tuple[tuple[str, float, tuple[str, ...]], ...]  # in this section: name, diameter [mm], wires
    fattest_mm: float
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


def fits(done: Analysis, run: Segment) -> tuple[FixingFit, ...]:
    """What is fixed to a run, along it, and whether the bundle fits."""
    own = sorted((f for f in done.snapshot.job.fixings if f.segment == run.key), key=lambda f: (f.at_m, f.key))
    return tuple(fixing_fit(done.bundles, run, f) for f in own)


def bundle(done: Analysis, key: str, chosen: int = 0) -> BundleView:
    """The bundle of a segment, at the section of this number; 0 for the fattest. Raises NotFound."""
    snapshot, routing = done.snapshot, done.routing
    segment = next((s for s in snapshot.job.segments if s.key == key), None)
    if segment is None:
        raise NotFound(f"the loom has no segment {key!r}")
    zone = snapshot.zone.get(segment.zone)
    bundles = done.bundles
    sections, fattest = bundles.sections(key), bundles.fattest(key)
    if not 0 <= chosen <= len(sections):
        raise NotFound(f"segment {key!r} has no stretch {chosen}; they are numbered from 1 to {len(sections)}")
    number = chosen or sections.index(fattest) + 1
    section = sections[number - 1]
    wires = [routing.wire[i] for i in section.stretch.wires]
    diameters = section.diameters_mm
    packing, lay_up = pack(diameters), rings(diameters)
    known = coverings().get(segment.covering)
    fit = fit_covering(known, packing.diameter_mm, zone) if known is not None and diameters else None
    tightest = fit_covering(known, fattest.bundle_mm, zone) if known is not None and diameters else None
    outside = fit.outside_mm if fit is not None else packing.diameter_mm
    covering = known.name if known is not None else segment.covering
    choices = covering_choices(fattest.bundle_mm, zone) if diameters else ()
    worst = [done.report.worst(w.id) for w in wires]
    names = {n.key: n.name or n.key for n in snapshot.job.nodes}
    title = f"Cross-section of segment {key}"
    named = [*((w.id, w.colour) for w in wires), *((s, "") for s in section.stretch.splices)]
    splice = {s.id: s for s in routing.splices}

    def placed(at_mm: tuple[tuple[float, float], ...]) -> list[SectionWire]:
        return [SectionWire(*own, d, at) for own, d, at in zip(named, diameters, at_mm, strict=True)]

    return BundleView(
        segment=segment,
        zone=zone,
        sections=sections,
        chosen=number,
        splices=tuple((s, bundles.splice_mm(s), splice[s].wires) for s in section.stretch.splices),
        fattest_mm=fattest.bundle_mm,
        ends=(names.get(segment.a, segment.a), names.get(segment.b, segment.b)),
        wires=tuple(wires),
        names=tuple(snapshot.signal[w.signal].name for w in wires),
        diameters_mm=diameters,
        hottest_c=tuple(state.temp_c if state is not None else None for state in worst),
        bundle_mm=packing.diameter_mm,
        outside_mm=outside,
        covering=covering,
        against=tightest.against if tightest is not None else "",
        rules=rules_of_thumb(diameters),
        lay_up=lay_up,
        choices=choices,
        bends=bend_limits(outside),
        holds=holds(outside) if diameters else (),
        mass=bundles.mass(segment),
        section=Svg(
            section_svg(
                placed(packing.at_mm),
                packing.diameter_mm,
                title=title,
                covering=covering,
                covering_mm=(fit.inside_mm, fit.outside_mm) if fit is not None else None,
                splices=len(section.stretch.splices),
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
        if len(wires) >= LAID_UP and not section.stretch.splices
        else None,
    )


def mass(done: Analysis) -> Mass:
    """Wires as they are cut and coverings of all segments; without connectors, terminals and devices."""
    return loom_mass(done.bundles, done.routing.wires, done.snapshot.job.segments)


def masses(done: Analysis) -> tuple[tuple[str, Mass], ...]:
    """``mass`` of each loom by its name, where several have wires."""
    looms, bundles = by_loom(done.snapshot, done.routing.wires), done.bundles
    segments = done.snapshot.job.segments
    found = tuple(
        (loom.name, loom_mass(bundles, wires, [s for s in segments if s.loom == loom.key])) for loom, wires in looms
    )
    return found if len(found) > 1 else ()
