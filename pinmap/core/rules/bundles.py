"""Rules about bundles and what covers them."""

from __future__ import annotations

from collections.abc import Iterator

from pinmap.core.facts.conductors import insulations
from pinmap.core.facts.parts import coverings
from pinmap.core.loom.coverings import covering_choices, fit_covering
from pinmap.core.loom.fixings import fixing_fit
from pinmap.core.model.words import Severity
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule

_CP = "common practice"
_MOST_WIRES = 75
_THICKEST_MM = 51.0


def _thick_mm(context: Context, segment: str) -> float:
    """Diameter of a segment's bundle at its fattest place [mm]; 0 where nothing runs or where a wire has a size that no
    wire has."""
    if segment not in context.bundles.stretches.segment:
        return 0.0
    wires = [context.routing.wire[i] for i in context.routing.bundle.get(segment, ())]
    known = all(0.05 <= w.mm2 <= 150 and w.insulation in insulations() for w in wires)
    return context.bundles.diameter_mm(segment) if known else 0.0


def _where(context: Context, segment: str) -> str:
    """Where the fattest place is, if it is a splice."""
    splices = context.bundles.fattest(segment).stretch.splices
    return f" at splice {', '.join(splices)}" if splices else ""


@rule(
    "R47",
    Severity.FIX,
    "Covering does not suit its bundle",
    explanation="A covering too small does not close, one too large leaves the wires to chafe, and one in air too hot "
    "for it melts or breaks. A covering that is not in the catalogue is not judged.",
    limit="the sizes and the highest temperature of the covering in the catalogue",
    source=_CP,
)
def covering_fits(context: Context) -> Iterator[Hit]:
    known = coverings()
    for segment in context.snapshot.job.segments:
        covering = known.get(segment.covering)
        if covering is None or covering.form == "none":
            continue
        thick_mm = _thick_mm(context, segment.key)
        zone = context.snapshot.zone.get(segment.zone)
        if not thick_mm:
            continue
        fit = fit_covering(covering, thick_mm, zone)
        if fit.against:
            best = next((c for c in covering_choices(thick_mm, zone) if not c.against), None)
            there = _where(context, segment.key)
            yield Hit(
                where=(f"segment {segment.key}", covering.name),
                refs=(f"segment:{segment.key}",),
                numbers=(("bundle", thick_mm, None, "mm"),),
                why=f"the bundle is {thick_mm:.1f} mm thick{there}; {covering.name}: {fit.against}",
                way_out=f"take {best.covering.name}, or another from the list at the bundle" if best is not None
                else "divide the bundle",
            )  # fmt: skip


@rule(
    "R49",
    Severity.FIX,
    "Bundle does not fit its clip, grommet or clamp",
    explanation="A bundle forced into too small a clip or hole is crushed, and its wires chafe at the edge.",
    limit="the clear diameter; of a grommet nine tenths, so that it can be drawn through",
    source=_CP,
)
def fixing_fits(context: Context) -> Iterator[Hit]:
    segments = {s.key: s for s in context.snapshot.job.segments}
    for fixing in context.snapshot.job.fixings:
        segment = segments.get(fixing.segment)
        if segment is None or not _thick_mm(context, segment.key):
            continue
        found = fixing_fit(context.bundles, segment, fixing)
        if not found.fits:
            yield Hit(
                where=(f"{fixing.kind.value} {fixing.key}", f"segment {segment.key}"),
                refs=(f"segment:{segment.key}",),
                numbers=(("bundle with covering", found.outside_mm, found.most_mm, "mm"),),
                why=f"{fixing.at_m * 1000:.0f} mm along the run the bundle is {found.outside_mm:.1f} mm thick with its "
                f"covering; {fixing.kind.value} {fixing.key} is {fixing.inner_mm:g} mm wide and takes "
                f"{found.most_mm:.1f} mm",
                way_out="take the next size, move it to a thinner stretch, or divide the bundle",
            )


@rule(
    "R48",
    Severity.NOTE,
    "Very large bundle",
    explanation="A bundle of many wires is stiff, hot inside and hard to repair.",
    limit="75 wires, 51 mm",
    source="FAA-H-8083 (aircraft practice)",
)
def bundle_size(context: Context) -> Iterator[Hit]:
    for segment in context.routing.bundle:
        thick_mm = _thick_mm(context, segment)
        wires = max((s.wires for s in context.bundles.stretches.of(segment)), key=len)
        if len(wires) > _MOST_WIRES or thick_mm > _THICKEST_MM:
            yield Hit(
                where=(f"segment {segment}",),
                refs=(f"segment:{segment}",),
                numbers=(
                    ("wires", float(len(wires)), float(_MOST_WIRES), ""),
                    ("diameter", thick_mm, _THICKEST_MM, "mm"),
                ),
                why=f"{len(wires)} wires run beside each other in this segment, {thick_mm:.0f} mm thick",
                way_out="divide the run into two bundles, power apart from signals",
            )


@rule(
    "R50",
    Severity.FIX,
    "Hot run without a heat sleeve",
    explanation="Near the exhaust or the turbine radiation adds to the heat of the air.",
    limit="a covering on each segment of a hot zone",
    source=_CP,
)
def hot_run(context: Context) -> Iterator[Hit]:
    for segment in context.snapshot.job.segments:
        zone = context.snapshot.zone.get(segment.zone)
        if zone is not None and zone.hot and not segment.covering and context.routing.bundle.get(segment.key):
            yield Hit(
                where=(f"segment {segment.key}", zone.name),
                refs=(f"segment:{segment.key}",),
                why="the zone is near the exhaust or the turbine, and the segment has no covering",
                way_out="name a heat-resistant covering for the segment, or lead it 150 mm or more away",
            )
