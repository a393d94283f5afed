"""The limits that protection is judged by, each with its numbers, its formula and its source."""

from __future__ import annotations

import math
from dataclasses import dataclass

from pinmap.core.electrics.fuse_curves import FuseCurve
from pinmap.core.electrics.wire_limits import WireLimit
from pinmap.core.facts.fault import INRUSH_S, LONG_OVERLOAD_K, OVERLOAD_K, SHORT_END_SOURCE
from pinmap.core.facts.parts import CONTINUOUS_SHARE
from pinmap.core.facts.sources import source
from pinmap.core.model.words import Severity

Inputs = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit of protection. ``ok`` is None where it could not be judged; ``grade`` is how grave a breach is;
    value and limit in ``unit``, ``at_most`` says on which side of the limit the value must lie."""

    key: str
    title: str
    ok: bool | None
    grade: Severity
    value: float
    limit: float
    unit: str
    why: str
    formula: str
    inputs: Inputs
    source: str
    at_most: bool = True
    wire: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point on a fuse's chart: a current, for so long; seconds 0 marks a current only. ``assumed``: nobody gave the
    duration."""

    label: str
    current_a: float
    seconds: float = 0.0
    assumed: bool = False


def nothing_behind_limit() -> Limit:
    return Limit(
        key="nothing", title="Something hangs behind it", ok=False, grade=Severity.FIX, value=0.0, limit=1.0, unit="",
        at_most=False, why="no load and no coil hang behind this fuse: it protects nothing", inputs=(),
        formula="ends of the net behind the fuse, devices in line passed", source="common practice",
    )  # fmt: skip


def no_rating_limit() -> Limit:
    return Limit(
        key="rating", title="Its rating is known", ok=None, grade=Severity.NOTE, value=0.0, limit=0.0, unit="A",
        why="nobody entered its rating, so nothing could be judged; enter it at the device, or in the column fuse_a "
        "where the platform has it", inputs=(), formula="", source="",
    )  # fmt: skip


def load_limit(current_a: float, case: str, curve: FuseCurve, ambient_c: float, derating: float) -> Limit:
    limit_a = CONTINUOUS_SHARE * derating * curve.rating_a
    return Limit(
        key="load",
        title="It carries its load for ever",
        ok=current_a <= limit_a + 1e-6,
        grade=Severity.FIX,
        value=current_a,
        limit=limit_a,
        unit="A",
        why=f"{current_a:.3g} A steady{f' in the case {case}' if case else ''}; {100 * CONTINUOUS_SHARE:g} % of "
        f"{curve.rating_a:g} A, times {derating:.3g} at {ambient_c:g} °C, is {limit_a:.3g} A",
        formula="I ≤ 0.75 · derating(ambient) · rating",
        inputs=(("rating", f"{curve}"), ("air at the fuse", f"{ambient_c:g} °C"), ("derating", f"{derating:.3g}")),
        source=f"fuse makers' application notes (75 % at 25 °C); {source('fuse_derating')}",
    )


def breaking_limit(short_a: float, curve: FuseCurve, supply: Inputs) -> Limit:
    return Limit(
        key="breaking",
        title="It can break the short-circuit current at its place",
        ok=short_a <= curve.type.breaking_a,
        grade=Severity.STOP,
        value=short_a,
        limit=curve.type.breaking_a,
        unit="A",
        why=f"a dead short right behind it draws {short_a:.0f} A from a strong battery, wires cold; such a fuse breaks "
        f"{curve.type.breaking_a:g} A",
        formula="I = U / (battery + return + wires and contacts before the fuse) ≤ breaking capacity; the fuse's own "
        "resistance left out",
        inputs=(("fuse", str(curve)), *supply),
        source=f"{curve.type.standard}; {curve.type.breaking_from}",
    )


def inrush_limit(mark: Mark, curve: FuseCurve, derating: float) -> Limit | None:
    earliest_s = curve.earliest_s(mark.current_a / derating)
    if not math.isfinite(earliest_s):
        return None
    return Limit(
        key=f"inrush {mark.label}",
        title=f"It stands the inrush: {mark.label}",
        ok=True if mark.seconds <= earliest_s else None if mark.assumed else False,
        grade=Severity.NOTE,
        value=mark.seconds,
        limit=earliest_s,
        unit="s",
        why=f"{mark.current_a:.3g} A for {mark.seconds:g} s; such a fuse may open after {earliest_s:.2g} s at the "
        "earliest" + ("; nobody gave the duration, so this is not judged" if mark.assumed else ""),
        formula="duration ≤ earliest opening time at inrush / derating",
        inputs=(("inrush with the other loads", f"{mark.current_a:.3g} A"), ("duration", f"{mark.seconds:g} s, "
                "typed or " + INRUSH_S.source)),
        source=str(source("fuse_gates")),
    )  # fmt: skip


def rated_limit(k: WireLimit) -> Limit:
    return Limit(
        key="rated",
        title="Its wires stand its rating for ever",
        ok=k.rating_c <= k.class_c,
        grade=Severity.STOP,
        value=k.rating_c,
        limit=k.class_c,
        unit="°C",
        wire=k.wire.id,
        why=f"{k.rating_a:g} A bring wire {k.wire.id} ({k.wire.mm2:g} mm²) to {k.rating_c:.0f} °C in its bundle",
        formula="heat balance at the fuse's rating ≤ temperature class of the insulation",
        inputs=k.inputs,
        source="heat balance, see Method; class: ISO 6722",
    )


def held_limit(k: WireLimit) -> Limit:
    limit_c = k.class_c + LONG_OVERLOAD_K.value
    return Limit(
        key="held",
        title="Its wires stand the overload that need not open it",
        ok=k.held_c <= limit_c,
        grade=Severity.STOP,
        value=k.held_c,
        limit=limit_c,
        unit="°C",
        wire=k.wire.id,
        why=f"{k.held_a:.3g} A may flow for days without opening it, and bring wire {k.wire.id} ({k.wire.mm2:g} mm²) "
        f"to {k.held_c:.0f} °C in its bundle",
        formula="heat balance at the fuse's first gate ≤ class + 25 K",
        inputs=k.inputs,
        source=f"{LONG_OVERLOAD_K.source}; gate: {source('fuse_gates')}",
    )


def opening_limit(k: WireLimit, curve: FuseCurve) -> Limit:
    limit_c = k.class_c + OVERLOAD_K.value
    return Limit(
        key="opening",
        title="Its wires stand the overload that just opens it",
        ok=k.opening_c <= limit_c,
        grade=Severity.STOP,
        value=k.opening_c,
        limit=limit_c,
        unit="°C",
        wire=k.wire.id,
        why=f"{curve.opening_a:.3g} A may flow for {curve.latest_s(curve.opening_a):.0f} s, and would bring wire "
        f"{k.wire.id} ({k.wire.mm2:g} mm²) to {k.opening_c:.0f} °C",
        formula="heat balance at the first gate with a longest time ≤ class + 50 K",
        inputs=k.inputs,
        source=f"{OVERLOAD_K.source}; gate: {source('fuse_gates')}",
    )


def damage_limit(k: WireLimit) -> Limit:
    return Limit(
        key="damage",
        title="It opens before a short circuit hurts any wire",
        ok=k.margin >= 1.0,
        grade=Severity.STOP,
        value=k.opens_s,
        limit=k.stands_s,
        unit="s",
        wire=k.wire.id,
        why=f"closest at {k.worst_a:.0f} A: the fuse opens within {k.opens_s:.2g} s, wire {k.wire.id} "
        f"({k.wire.mm2:g} mm²) stands it for {k.stands_s:.2g} s"
        if math.isfinite(k.stands_s)
        else f"wire {k.wire.id} stands for ever what can flow before this fuse is sure to open",
        formula="latest opening time ≤ (k·S/I)² up to 5 s, beyond it the time to class + 50 K; at every current",
        inputs=(*k.inputs, ("k", f"{k.k_factor:.1f} A·√s/mm², {k.start_c:.0f} to {k.end_c:.0f} °C")),
        source=f"IEC 60364-5-54 annex A; {SHORT_END_SOURCE}; gates: {source('fuse_gates')}",
    )


def selective_limit(name: str, above: FuseCurve, curve: FuseCurve, short_a: float) -> Limit:
    low, high = curve.opening_a, max(short_a, curve.opening_a * 1.01)
    currents = [low * (high / low) ** (i / 60) for i in range(61)]
    broken = next((i for i in currents if above.earliest_s(i) <= curve.latest_s(i)), None)
    ok = broken is None
    early_s, late_s = above.earliest_s(short_a), curve.latest_s(short_a)
    return Limit(
        key="selective",
        title=f"It opens before {name}",
        ok=ok,
        grade=Severity.NOTE,
        value=late_s,
        limit=early_s,
        unit="s",
        why=f"the bands keep apart up to the short-circuit current of {short_a:.0f} A"
        if ok
        else f"from {broken:.3g} A on the bands overlap, and {name} ({above.rating_a:g} A) may open too or instead; a "
        "fault here can take its other loads along",
        formula="earliest opening time of the fuse before it > latest of this one, up to the short-circuit current",
        inputs=(
            ("fuse before it", str(above)),
            ("this fuse", str(curve)),
            ("short-circuit current", f"{short_a:.0f} A"),
        ),
        source=str(source("fuse_gates")),
    )
