"""What a bundle is covered with, how tight it may be bent, and which clip, grommet and backshell clamp it fits."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.facts.fittings import Fitting, SleeveSize, fittings, sleeve_sizes
from pinmap.core.facts.parts import Covering, coverings
from pinmap.core.model.looms import Zone

# Forms in the order of preference by what surrounds the run: common practice.
_DRY = ("tape", "braid", "tube", "conduit", "sleeve")
_WET = ("conduit", "tube", "braid", "tape", "sleeve")
_MOVING = ("braid", "conduit", "tube", "tape", "sleeve")
_HOT = ("sleeve", "braid", "conduit", "tape", "tube")


@dataclass(frozen=True, slots=True)
class CoveringFit:
    """A covering on a bundle: its size ("" where it comes by the metre), the diameters in and over it [mm], and in
    ``against`` why it will not do ("" where it does)."""

    covering: Covering
    size: str
    inside_mm: float
    outside_mm: float
    against: str
    source: str


@dataclass(frozen=True, slots=True)
class BendLimit:
    """The smallest radius [mm], to the inside of the bend."""

    words: str
    radius_mm: float
    source: str


@dataclass(frozen=True, slots=True)
class Hold:
    """The smallest fitting of a kind that takes the bundle; None where it is thicker than all."""

    kind: str
    fitting: Fitting | None
    words: str


def fit_covering(covering: Covering, bundle_mm: float, zone: Zone | None) -> CoveringFit:
    """How one covering sits on a bundle in a zone (None: nothing is known of it)."""
    sizes = sleeve_sizes().get(covering.key, ())
    size = _size(sizes, bundle_mm)
    wall = size.wall_mm if size is not None and size.wall_mm is not None else covering.wall_mm
    against = ""
    if sizes and size is None:
        against = f"no size for {bundle_mm:.1f} mm; from {sizes[0].min_mm:.1f} to {sizes[-1].max_mm:.1f} mm"
    elif not sizes and not covering.min_bundle_mm <= bundle_mm <= covering.max_bundle_mm:
        against = f"for bundles of {covering.min_bundle_mm:g} to {covering.max_bundle_mm:g} mm"
    elif zone is not None and zone.ambient_c > covering.max_temp_c:
        against = f"to {covering.max_temp_c:g} °C; the zone has {zone.ambient_c:g} °C"
    elif zone is not None and zone.hot and covering.form in ("none", "tube"):
        against = "beside the exhaust a run needs a sleeve against radiated heat, or a braid that bears it"
    inside = max(bundle_mm, covering.max_bundle_mm) if covering.form == "conduit" else bundle_mm
    shown = size.size if size is not None else ""
    return CoveringFit(covering, shown, inside, inside + 2 * wall, against, size.source if size else covering.source)


def _size(sizes: tuple[SleeveSize, ...], bundle_mm: float) -> SleeveSize | None:
    """The smallest size that takes the bundle."""
    return next((s for s in sizes if s.min_mm - 1e-9 <= bundle_mm <= s.max_mm + 1e-9), None)


def covering_choices(bundle_mm: float, zone: Zone | None) -> tuple[CoveringFit, ...]:
    """All coverings of the catalogue, those that will do first, in the order common practice prefers them for the
    zone: tape where it is dry and still, conduit where it is wet, braid where it moves, a heat sleeve beside the
    exhaust; of a form the thinnest that bears the heat."""
    order = _DRY
    if zone is not None:
        order = _HOT if zone.hot else _MOVING if zone.moving else _WET if zone.wet else _DRY
    rank = {form: i for i, form in enumerate(order)}
    found = [fit_covering(c, bundle_mm, zone) for c in coverings().values() if c.form != "none"]

    def worth(fit: CoveringFit) -> tuple[bool, int, float, float]:
        form = rank.get(fit.covering.form, len(rank))
        return bool(fit.against), form, fit.outside_mm, fit.covering.max_temp_c

    return tuple(sorted(found, key=worth))


def bend_limits(outside_mm: float) -> tuple[BendLimit, ...]:
    """Smallest bends of a bundle of this outside diameter [mm]."""
    return (
        BendLimit("installed", 10 * outside_mm, "AC 43.13-1B: 10 times the bundle's diameter"),
        BendLimit("once, while it is laid", 6 * outside_mm, "NASA-STD-8739.4: 6 times, short term"),
        BendLimit("held at a terminal strip", 3 * outside_mm, "AC 43.13-1B: 3 times where it is supported"),
    )


def holds(outside_mm: float) -> tuple[Hold, ...]:
    """The clip, grommet and backshell clamp for a bundle of this outside diameter [mm]."""
    found = []
    for kind in ("clip", "grommet", "backshell"):
        fitting = next((f for f in fittings(kind) if outside_mm <= f.max_mm + 1e-9), None)
        if fitting is None:
            words = f"none: the largest takes {fittings(kind)[-1].max_mm:g} mm; divide the bundle"
        elif outside_mm < fitting.min_mm:
            words = f"size {fitting.size}, built up with tape to {fitting.min_mm:g} mm"
        else:
            words = f"size {fitting.size}"
        found.append(Hold(kind, fitting, words))
    return tuple(found)
