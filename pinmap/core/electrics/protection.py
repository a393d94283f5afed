"""Protection: what each fuse of a variant guards, and whether it opens before anything behind it is hurt."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from pinmap.core.electrics.feeds import Feed, Step, feeds
from pinmap.core.electrics.fuse_curves import FuseCurve, by_rating, curve_of
from pinmap.core.electrics.loads import Load, loads
from pinmap.core.electrics.protection_limits import (
    Inputs,
    Limit,
    Mark,
    breaking_limit,
    damage_limit,
    held_limit,
    inrush_limit,
    load_limit,
    no_rating_limit,
    nothing_behind_limit,
    opening_limit,
    rated_limit,
    selective_limit,
)
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.typed import number_or_none, typed
from pinmap.core.electrics.wire_limits import WireLimit, wire_limits
from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import resistance_factor
from pinmap.core.facts.constants import AMBIENT_C, FUSE_DROP_V
from pinmap.core.facts.fault import (
    BARE_FUSE_M,
    BATTERY_OHM,
    COVERED_FUSE_M,
    INRUSH_S,
    ISO_FUSE_M,
    OPENS_WITHIN_S,
    RETURN_OHM,
    STRONG_V,
    WEAK_V,
)
from pinmap.core.facts.functions import Dictionary
from pinmap.core.facts.parts import fuse_derating
from pinmap.core.facts.sources import source
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.pinouts import Pin, PinKey
from pinmap.core.model.words import Role, Severity


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseReport:
    """One fuse. ``device`` is "" for the source platform's own; ``curve`` None while the rating is not known;
    current_a its greatest steady current, in ``case``; ``limits`` the gravest first."""

    device: str
    label: str
    place: str
    curve: FuseCurve | None
    ambient_c: float
    derating: float
    current_a: float
    case: str
    wires: tuple[str, ...]
    limits: tuple[Limit, ...]
    damage: WireLimit | None = None  # of the wire that stands least
    before: str = ""  # label of the next fuse towards the source
    before_curve: FuseCurve | None = None
    inrush: tuple[Mark, ...] = ()
    shorts: tuple[Mark, ...] = ()

    @property
    def verdict(self) -> str:
        """The gravest breach: "stop", "fix", "note"; "open" where a limit could not be judged; else "good"."""
        broken = {x.grade.value for x in self.limits if x.ok is False}
        worst = next((g.value for g in Severity if g.value in broken), "")
        return worst or ("open" if self.curve is None or any(x.ok is None for x in self.limits) else "good")


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedReport:
    """One source pin. ``unguarded`` are the wires before its first fuse."""

    source: PinKey
    label: str
    fuses: tuple[FuseReport, ...]
    unguarded: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Supply:
    """What drives a short circuit: greatest and least voltage [V], resistance of battery and return [ohm]."""

    strong_v: float
    weak_v: float
    ohm: float
    inputs: Inputs

    def current_a(self, way: Iterable[Step], temp_c: Mapping[str, float], *, strong: bool, more_ohm: float) -> float:
        """Current [A] into a dead short at the end of a way; cold wires where ``strong``, else at ``temp_c``."""
        ohm = self.ohm + more_ohm
        for step in way:
            warm = 20.0 if strong or step.wire is None else temp_c.get(step.wire.id, 20.0)
            ohm += step.ohm * (resistance_factor(warm) if step.wire is not None else 1.0)
        return (self.strong_v if strong else self.weak_v) / ohm


def supply_of(snapshot: Snapshot) -> Supply:
    """The host's battery in a short circuit, scaled by its nominal voltage; its resistance as typed in the column
    battery_ohm of a host's supply pin, else the usual one."""
    host = next((p for p in snapshot.platforms if p.role is Role.HOST), None)
    scale = host.nominal_v / 12 if host is not None else 1.0
    stated = [_battery_ohm(pin) for pin in (host.pins if host is not None else ()) if pin.extra]
    battery = next((ohm for ohm in stated if ohm), None)
    said = f"{battery:g} ohm (typed)" if battery else f"{BATTERY_OHM.value * scale:g} ohm ({BATTERY_OHM.source})"
    return Supply(
        strong_v=STRONG_V.value * scale,
        weak_v=WEAK_V.value * scale,
        ohm=(battery or BATTERY_OHM.value * scale) + RETURN_OHM.value,
        inputs=(
            ("battery", said),
            ("return", f"{RETURN_OHM.value:g} ohm ({RETURN_OHM.source})"),
            ("voltage, weak", f"{WEAK_V.value * scale:g} V ({WEAK_V.source})"),
            ("voltage, strong", f"{STRONG_V.value * scale:g} V ({STRONG_V.source})"),
        ),
    )


def _battery_ohm(pin: Pin) -> float | None:
    try:
        return number_or_none(typed(pin), "battery_ohm")
    except InputError:  # the network's report names the entry; here the usual figure stands in
        return None


def protection(
    snapshot: Snapshot, variant: Variant, routing: Routing, report: ElectricalReport, dictionary: Dictionary
) -> tuple[FeedReport, ...]:
    """The protection of every feed of a variant, in platform order."""
    return _Protection(snapshot, variant, routing, report, dictionary).run()


class _Protection:
    def __init__(
        self, snapshot: Snapshot, variant: Variant, routing: Routing, report: ElectricalReport, dictionary: Dictionary
    ) -> None:
        self.snapshot, self.routing, self.report = snapshot, routing, report
        self.feeds = feeds(snapshot, variant, routing)
        self.supply = supply_of(snapshot)
        self.loads: dict[PinKey, Load] = {
            load.feed: load for load in loads(snapshot, variant, dictionary) if load.feed is not None
        }
        self.temp_c = {w.id: s.temp_c for w in routing.wires if (s := report.worst(w.id)) is not None}
        self.crank = {case.key for case in snapshot.job.load_cases if case.code == "C"}
        self.covered = {s.key: bool(s.covering) for s in snapshot.job.segments}
        self.zone_at: dict[str, float] = {}
        for segment in snapshot.job.segments:
            zone = snapshot.zone.get(segment.zone)
            air_c = zone.ambient_c if zone is not None else AMBIENT_C.value
            for node in (segment.a, segment.b):
                self.zone_at[node] = max(self.zone_at.get(node, -273.0), air_c)

    def run(self) -> tuple[FeedReport, ...]:
        asked = []
        for feed in self.feeds:
            for fuse, wires in feed.guarded.items():
                curve = self.curve(feed, fuse)
                if curve is not None:
                    asked += [(feed.steps[i].wire, curve, self._strong_a(feed, feed.steps[i].before)) for i in wires]
        limits = wire_limits([(w, c, a) for w, c, a in asked if w is not None], self.report)
        return tuple(self._feed(feed, limits) for feed in self.feeds)

    # Parts

    def curve(self, feed: Feed, fuse: int) -> FuseCurve | None:
        if fuse < 0:
            return by_rating(feed.source_fuse_a) if feed.source_fuse_a else None
        device = feed.steps[fuse].device
        return curve_of(device) if device is not None else None

    def _own_ohm(self, feed: Feed) -> float:
        return FUSE_DROP_V.value / feed.source_fuse_a if feed.source_fuse_a else 0.0

    def _strong_a(self, feed: Feed, index: int) -> float:
        return self.supply.current_a(feed.way(index), self.temp_c, strong=True, more_ohm=self._own_ohm(feed))

    def _prospective_a(self, feed: Feed, fuse: int) -> float:
        """What a short circuit right behind a fuse would draw if the fuse had no resistance [A]."""
        return self.supply.current_a(feed.way(fuse)[:-1], self.temp_c, strong=True, more_ohm=self._own_ohm(feed))

    def _weak_a(self, feed: Feed, index: int) -> float:
        return self.supply.current_a(feed.way(index), self.temp_c, strong=False, more_ohm=self._own_ohm(feed))

    def _label(self, key: PinKey) -> str:
        return f"{key.connector}-{key.cavity} of {self.snapshot.platform[key.platform].name}"

    def _fuse_label(self, feed: Feed, fuse: int) -> str:
        if fuse < 0:
            return f"the fuse behind {self._label(feed.source)}" if feed.source_fused else ""
        device = feed.steps[fuse].device
        return f"{device.key} {device.name}".rstrip() if device is not None and device.name != device.key else (
            feed.steps[fuse].key
        )  # fmt: skip

    def _feed(self, feed: Feed, limits: Mapping[str, WireLimit]) -> FeedReport:
        reports = []
        if feed.source_fused:
            reports.append(self._fuse(feed, -1, limits))
        reports += [self._fuse(feed, i, limits) for i in feed.fuses]
        open_wires = () if feed.source_fused else feed.guarded.get(-1, ())
        unguarded = tuple(w.id for i in open_wires if (w := feed.steps[i].wire) is not None)
        return FeedReport(
            source=feed.source,
            label=f"{self._label(feed.source)} {feed.entry.function}".rstrip(),
            fuses=tuple(reports),
            unguarded=unguarded,
            limits=() if feed.source_fused else tuple(self._distances(feed)),
        )

    def _fuse(self, feed: Feed, fuse: int, limits: Mapping[str, WireLimit]) -> FuseReport:
        curve = self.curve(feed, fuse)
        step = feed.steps[fuse] if fuse >= 0 else None
        place = step.device.place if step is not None and step.device is not None else ""
        ambient_c = self.zone_at.get(place, 25.0 if fuse < 0 else AMBIENT_C.value)
        derating = fuse_derating(ambient_c)
        current_a, case = self._steady(feed, fuse)
        guarded = feed.guarded.get(fuse, ())
        wires = [w for i in guarded if (w := feed.steps[i].wire) is not None]
        found: list[Limit] = []
        inrush: tuple[Mark, ...] = ()
        shorts: tuple[Mark, ...] = ()
        weakest: WireLimit | None = None
        before = feed.fuse_before(fuse) if fuse >= 0 else -1
        above = self.curve(feed, before) if fuse >= 0 and (before >= 0 or feed.source_fused) else None
        if fuse >= 0 and not self._wires_behind(feed, fuse):
            found.append(nothing_behind_limit())
        if curve is None:
            found.append(no_rating_limit())
        else:
            found.append(load_limit(current_a, self.snapshot.case_name.get(case, ""), curve, ambient_c, derating))
            inrush = self._inrush(feed, fuse, current_a)
            found += [x for m in inrush if (x := inrush_limit(m, curve, derating)) is not None]
            known = [limits[w.id] for w in wires if w.id in limits]
            if known:
                weakest = min(known, key=lambda k: k.margin)
                found += [rated_limit(max(known, key=lambda k: k.rating_c - k.class_c))]
                found += [held_limit(max(known, key=lambda k: k.held_c - k.class_c))]
                found += [opening_limit(max(known, key=lambda k: k.opening_c - k.class_c), curve)]
                found += [damage_limit(min(known, key=lambda k: k.margin))]
            if guarded:
                ends = {i: self._weak_a(feed, i) for i in guarded}
                far = min(ends, key=lambda i: ends[i])
                near_a = self._strong_a(feed, fuse)
                if fuse >= 0:  # what lies before a platform's own fuse is not known
                    found.append(breaking_limit(self._prospective_a(feed, fuse), curve, self.supply.inputs))
                found.append(self._short(feed, far, ends[far], curve))
                shorts = (
                    Mark(
                        label=f"short at {feed.steps[far].label.split(' to ')[-1]}, weak battery", current_a=ends[far]
                    ),
                    Mark(label="short at the fuse, strong battery", current_a=near_a),
                )
            if above is not None:
                top_a = self._strong_a(feed, fuse)
                found.append(selective_limit(self._fuse_label(feed, before), above, curve, top_a))
        order = list(Severity)
        found.sort(key=lambda x: (x.ok is not False, order.index(x.grade)))
        return FuseReport(
            device=step.key if step is not None else "",
            label=self._fuse_label(feed, fuse),
            place=place,
            curve=curve,
            ambient_c=ambient_c,
            derating=derating,
            current_a=current_a,
            case=case,
            wires=tuple(w.id for w in wires),
            limits=tuple(found),
            damage=weakest,
            before=self._fuse_label(feed, before) if above is not None else "",
            before_curve=above,
            inrush=inrush,
            shorts=shorts,
        )

    def _wires_behind(self, feed: Feed, fuse: int) -> bool:
        """Something that can draw hangs behind this fuse: a cavity of a platform, a coil, or a converter."""
        inside: set[int] = {fuse}
        taken = {s.key for s in feed.steps if s.before == fuse}
        # A wire that was reached another way, by a fuse beside this one: what hangs there is this one's too.
        consumers = any(w.id not in taken for w in self.routing.wires_at.get(feed.steps[fuse].b, ()))
        for i, step in enumerate(feed.steps):
            if step.before in inside:
                inside.add(i)
                ends_at_coil = step.b.startswith("device:") and step.b.rpartition(":")[2] in {"85", "86", "IN", "15"}
                consumers = consumers or step.b.startswith("pin:") or ends_at_coil
        return consumers

    def _steady(self, feed: Feed, fuse: int) -> tuple[float, str]:
        """Greatest current through a fuse outside cranking [A], and its load case."""
        worst, at = 0.0, ""
        after = [s for s in feed.steps if s.wire is not None and self._next_wire(feed, s, fuse)]
        for case, states in self.report.wires.items():
            if case in self.crank:
                continue
            total = 0.0
            for step in after:
                state = states.get(step.key)
                if state is not None and step.wire is not None:
                    total += state.current_a if step.wire.a.point == step.a else -state.current_a
            if abs(total) > worst:
                worst, at = abs(total), case
        return worst, at

    def _next_wire(self, feed: Feed, step: Step, fuse: int) -> bool:
        """This wire is the first one behind the fuse (behind the source's contact for the source's own)."""
        at = step.before
        if fuse < 0:
            return at == 0
        while at >= 0 and at != fuse and feed.steps[at].wire is None:
            at = feed.steps[at].before
        return at == fuse

    def _inrush(self, feed: Feed, fuse: int, steady_a: float) -> tuple[Mark, ...]:
        """What the fuse sees when one load behind it starts while the others run."""
        inside: set[int] = {fuse} if fuse >= 0 else {-1}
        found = []
        for i, step in enumerate(feed.steps):
            if step.before not in inside:
                continue
            inside.add(i)
            load = self.loads.get(step.pin) if step.pin is not None and step.b.startswith("pin:") else None
            if load is None or not load.inrush_a or load.inrush_a <= (load.current_a or 0.0):
                continue
            at_a = max(steady_a - (load.current_a or 0.0), 0.0) + load.inrush_a
            seconds = load.inrush_s or INRUSH_S.value
            assumed = load.inrush_s is None
            found.append(Mark(label=f"{load.name} starts", current_a=at_a, seconds=seconds, assumed=assumed))
        return tuple(found)

    def _short(self, feed: Feed, far: int, current_a: float, curve: FuseCurve) -> Limit:
        need_a = curve.opens_within_a(OPENS_WITHIN_S.value)
        opens_s = curve.latest_s(current_a)
        way = feed.way(far)
        ohm = sum(s.ohm for s in way)
        return Limit(
            key="short",
            title="A short circuit at the far end opens it in time",
            ok=current_a >= need_a or current_a <= curve.rating_a,  # its wires stand the rating for ever
            grade=Severity.STOP,
            value=current_a,
            limit=need_a,
            unit="A",
            at_most=False,
            wire=feed.steps[far].key,
            why=f"a dead short at the end of wire {feed.steps[far].key} draws {current_a:.0f} A from a weak battery; "
            + (
                f"the fuse opens within {opens_s:.2g} s" if math.isfinite(opens_s) else "the fuse need not open at that"
            ),
            formula="I = U / (battery + return + each wire at its temperature, each contact and device on the way)",
            inputs=(
                *self.supply.inputs,
                ("way at 20 °C", f"{ohm * 1000:.1f} mΩ over {len(way)} pieces"),
                ("must open within", f"{OPENS_WITHIN_S.value:g} s, {need_a:.3g} A"),
            ),
            source=f"{OPENS_WITHIN_S.source}; gates: {source('fuse_gates')}",
        )

    def _distances(self, feed: Feed) -> Iterable[Limit]:
        """How far each first fuse is from its source."""
        for i in feed.fuses:
            if feed.fuse_before(i) >= 0:
                continue
            wires = [s.wire for s in feed.way(i) if s.wire is not None]
            length_m = sum(w.length_m for w in wires)
            segments = [s for w in wires for s in w.segments]
            covered = bool(segments) and all(self.covered.get(s) for s in segments)
            limit = COVERED_FUSE_M if covered else BARE_FUSE_M
            far = length_m > limit.value + 1e-9
            yield Limit(
                key=f"distance {feed.steps[i].key}",
                title=f"{feed.steps[i].key} is near the source",
                ok=not far,
                grade=Severity.FIX,
                value=length_m,
                limit=limit.value,
                unit="m",
                wire=wires[0].id if wires else "",
                why=f"{length_m:.2f} m of wire hang on the source without a fuse"
                + (", covered all the way" if covered else "")
                + (f"; more than the {ISO_FUSE_M.value:g} m of {ISO_FUSE_M.source}" if length_m > 0.2 else ""),
                formula="sum of the runs between the source's cavity and the fuse",
                inputs=tuple((f"wire {w.id}", f"{w.length_m:.3f} m") for w in wires),
                source=f"{limit.source}; for comparison {ISO_FUSE_M.source}",
            )
