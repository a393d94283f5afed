"""Rules about fuses: that there is one, that the wire outlasts it, that the load does not wear it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from pinmap.core.electrics.heat import temperature_c, wire_heat
from pinmap.core.facts.conductors import awg_area_mm2, insulations
from pinmap.core.facts.fault import OVERLOAD_K
from pinmap.core.facts.sources import rows, source
from pinmap.core.loom.results import Wire
from pinmap.core.model.words import Direction, Kind, Severity
from pinmap.core.rules import workings
from pinmap.core.rules.context import Context
from pinmap.core.rules.declare import Hit, rule
from pinmap.core.rules.net_parts import pin_refs
from pinmap.core.rules.power_paths import Protection, by_custom_unfused

_AC4313 = f"{source('fuse_limits_ac4313')}"
_BY_AREA = sorted((awg_area_mm2(r["awg"]), r["awg"], float(r["max_fuse_a"])) for r in rows("fuse_limits_ac4313"))
_OPENS_AT = 1.35  # a blade fuse opens at 135 % of its rating within 30 min, ISO 8820-3 (from memory)


def largest_fuse_a(mm2: float) -> tuple[float, str] | None:
    """Largest fuse [A] for a copper wire, and the size it stands for: the next gauge not above its area. None for
    wires below the table."""
    found = None
    for area_mm2, awg, amps in _BY_AREA:
        if area_mm2 <= mm2 * 1.001:
            found = (amps, awg)
    return found


@rule(
    "R08",
    Severity.STOP,
    "Battery feed without a fuse",
    explanation="A wire from the battery with no fuse burns when it chafes through. Every feed needs a fuse near its "
    "source. Starter, alternator and battery cables are left out, as is usual.",
    limit="one fuse at least between the source and each consumer",
    source="common practice, workshop reports; AC 43.13-1B 11-47 for the place",
)
def no_fuse(context: Context) -> Iterator[Hit]:
    for net, protection in context.paths.protection.items():
        if protection.amps != math.inf:
            continue
        consumers = [
            p
            for p in context.net_pins[net]
            if p.key != protection.source.key
            and p.pin.direction is not Direction.OUT
            and not by_custom_unfused(context, p)
        ]
        coils = [context.devices[key] for key, ends in context.relay_ends.items() if net in ends]
        if consumers or coils:
            yield Hit(
                where=(
                    *context.pins_words(consumers),
                    *(f"{context.device_words(d)} coil" for d in coils),
                    context.signal_words(context.nets[net].signal),
                ),
                refs=(*pin_refs(consumers), *(f"device:{d.key}" for d in coils)),
                numbers=(("fuses on the path", 0.0, 1.0, ""),),
                # A permanent feed burns at any time. A switched one is usually fused by its own side, and only the
                # entry does not say so.
                severity=Severity.STOP if protection.source.pin.kind is Kind.SUPPLY_30 else Severity.FIX,
                why=f"from {context.pin_full(protection.source.key)} to here no fuse stands in line, and that pin is "
                "not entered as fused by its own side",
                way_out="put a fuse in line near the source; or, if the host already fuses this pin, enter its rating "
                "in the column fuse_a",
            )


@rule(
    "R09",
    Severity.STOP,
    "Fuse larger than the wire allows",
    explanation="The fuse protects the wire: if the wire gets hot enough to burn before the fuse opens, the wire "
    "is the fuse. The largest fuse that can feed a wire counts.",
    limit="largest fuse by wire: AWG 22 and 20 5 A, 18 and 16 10, 14 15, 12 20, 10 30, 8 50, 6 and 4 70, 2 100 A",
    source=_AC4313,
)
def fuse_against_wire(context: Context) -> Iterator[Hit]:
    unrated: dict[str, list[str]] = {}
    judged: list[tuple[Wire, Protection]] = []
    for wire in context.routing.wires:
        net = context.net_of_section.get((wire.signal, wire.section))
        found = context.paths.protection.get(net) if net is not None else None
        if found is None or found.amps == math.inf:
            continue
        if found.amps == 0.0:
            unrated.setdefault(found.fuse, []).append(wire.id)
        else:
            judged.append((wire, found))
    heat = _heat_at_fuse_current(context, judged)
    for wire, found in judged:
        yield from _judge(context, wire, found, heat.get(wire.id))
    for fuse, wires in unrated.items():
        yield Hit(
            where=(context.device_words(context.devices[fuse]), "wires " + ", ".join(wires[:6])),
            refs=(f"device:{fuse}",),
            severity=Severity.NOTE,
            title="Fuse against wire: not judged",
            why="this fuse has no rating entered, so whether it protects its wires could not be judged",
            way_out="enter the fuse's rating",
        )


class _Heat(NamedTuple):
    """Conductor temperatures [°C] at the current that a fuse carries for ever and at the one that opens it within half
    an hour, the insulation's limit, and the wire's surroundings: air [°C] and share of a free wire's current."""

    held_c: float
    opening_c: float
    limit_c: float
    air_c: float
    share: float


def _heat_at_fuse_current(context: Context, judged: list[tuple[Wire, Protection]]) -> dict[str, _Heat]:
    known, ambient, share, amps = [], [], [], []
    for wire, found in judged:
        state = context.report.worst(wire.id)
        if state is not None and wire.insulation in insulations() and 0.05 <= wire.mm2 <= 150:
            known.append(wire)
            ambient.append(state.ambient_c)
            share.append(context.report.share.get(wire.id, 1.0))
            amps.append(found.amps)
    if not known:
        return {}
    wires = wire_heat([(w.mm2, w.insulation) for w in known])
    air_c, current, factor = np.array(ambient), np.array(amps), np.array(share)
    held = temperature_c(wires, current, air_c, factor)
    opening = temperature_c(wires, _OPENS_AT * current, air_c, factor)
    return {
        w.id: _Heat(float(h), float(o), float(m), a, s)
        for w, h, o, m, a, s in zip(known, held, opening, wires.max_temp_c, ambient, share, strict=True)
    }


def _judge(context: Context, wire: Wire, found: Protection, heat: _Heat | None) -> Iterator[Hit]:
    limit = largest_fuse_a(wire.mm2)
    fuse = (
        context.device_words(context.devices[found.fuse])
        if found.fuse
        else f"the fuse behind {context.pin_full(found.source.key)}"
    )
    where = (f"wire {wire.id}", fuse, context.signal_words(wire.signal))
    refs = (f"wire:{wire.id}",)
    amps, size = ("fuse", found.amps, limit[0] if limit else None, "A"), ("wire", wire.mm2, None, "mm²")
    fine_by_table = limit is not None and found.amps <= limit[0] * 1.001
    if heat is not None and heat.held_c > heat.limit_c:
        yield Hit(
            where=where,
            refs=refs,
            numbers=(amps, size, ("conductor at the fuse's rating", heat.held_c, heat.limit_c, "°C")),
            severity=Severity.FIX if fine_by_table else Severity.STOP,
            why=f"{fuse} carries {found.amps:g} A without opening, and that heats this wire, in its bundle and zone, "
            f"to {heat.held_c:.0f} °C where its insulation stands {heat.limit_c:.0f} °C",
            way_out="fit a smaller fuse or a thicker wire, or take the wire out of the heat",
            workings=(
                workings.at_fuse_current(
                    "conductor at the fuse's rating", wire, found.amps, 1.0, heat.air_c, heat.share
                ),
            ),
        )
    elif fine_by_table:
        return
    elif heat is not None and heat.opening_c <= heat.limit_c + OVERLOAD_K.value:
        yield Hit(
            where=where,
            refs=refs,
            numbers=(
                amps,
                size,
                ("conductor as the fuse opens", heat.opening_c, heat.limit_c + OVERLOAD_K.value, "°C"),
            ),
            severity=Severity.NOTE,
            title="Fuse above the table for this wire, but the wire outlasts it",
            why=f"the aviation table allows {f'{limit[0]:g} A' if limit else 'no fuse'} here; at {_OPENS_AT:g} times "
            f"the rating, where the fuse opens, the conductor is computed at {heat.opening_c:.0f} °C in its bundle; "
            f"its class of {heat.limit_c:.0f} °C stands {OVERLOAD_K.value:g} K more for hours ({OVERLOAD_K.source})",
            way_out="nothing need change; a smaller fuse or a thicker wire would meet the table too",
            workings=(
                workings.at_fuse_current(
                    "conductor as the fuse opens", wire, found.amps, _OPENS_AT, heat.air_c, heat.share
                ),
            ),
        )
    elif limit is None:
        yield Hit(
            where=where,
            refs=refs,
            numbers=(amps, size),
            severity=Severity.NOTE,
            title="Fuse against wire: not judged",
            why="the wire is thinner than the table's smallest, AWG 22",
            way_out="use 0.35 mm² or more behind a fuse, or a smaller fuse agreed with the wire's maker",
        )
    else:
        yield Hit(
            where=where,
            refs=refs,
            numbers=(amps, size),
            why=f"{wire.mm2:g} mm² counts as AWG {limit[1]}, for which the largest fuse is {limit[0]:g} A; "
            f"{fuse} has {found.amps:g} A",
            way_out=f"fit a fuse of {limit[0]:g} A or less, or a thicker wire",
        )


@rule(
    "R10",
    Severity.FIX,
    "Fuse loaded too near its rating",
    explanation="A fuse that carries close to its rating all day ages and opens for nothing, sooner where it is hot. "
    "Every fuse of a feed counts, the platform's own too.",
    limit="75 % of the rating at 25 °C, less in hotter air, steady load",
    source="fuse makers' advice (from memory)",
)
def fuse_load(context: Context) -> Iterator[Hit]:
    for feed in context.protection:
        for fuse in feed.fuses:
            limit = next((x for x in fuse.limits if x.key == "load"), None)
            if limit is None or limit.ok is not False or fuse.curve is None:
                continue
            yield Hit(
                where=(fuse.label,),
                refs=(f"device:{fuse.device}" if fuse.device else f"fuse:{fuse.label}",),
                numbers=(
                    ("steady current", limit.value, limit.limit, "A"),
                    ("rating", fuse.curve.rating_a, None, "A"),
                    ("air at the fuse", fuse.ambient_c, None, "°C"),
                ),
                why=limit.why,
                way_out="fit the next larger fuse if the wires allow it, divide the load over two fuses, or move the "
                "fuse to a cooler place",
                source=limit.source,
                workings=(workings.of_limit(limit, "steady current"),),
            )


@rule(
    "R11",
    Severity.FIX,
    "Fuse far from its source",
    explanation="The wire between the source and the fuse has no protection at all, so it is kept short. All wires on "
    "the way count together.",
    limit="0.18 m bare, 1.02 m where covered all the way; ISO 10133 gives 0.2 m",
    source="33 CFR 183.455 (7 in, 40 in; written for boats); AC 43.13-1B 11-47: as close as possible",
)
def fuse_place(context: Context) -> Iterator[Hit]:
    for feed in context.protection:
        for limit in feed.limits:
            if limit.ok is False:
                device = context.devices[limit.key.partition(" ")[2]]
                yield Hit(
                    where=(f"wire {limit.wire}", context.device_words(device)),
                    refs=(f"wire:{limit.wire}",),
                    numbers=(("unfused length", limit.value, limit.limit, "m"),),
                    why=limit.why,
                    way_out="move the fuse nearer to the source, or cover the wire all the way and keep it short",
                    source=limit.source,
                    workings=(workings.of_limit(limit, "unfused length"),),
                )
