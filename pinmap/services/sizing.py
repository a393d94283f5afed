"""Protection and sizing of a stored job: what is shown, and how proposed sizes come into the job."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass

from pinmap.core.crossing import edits
from pinmap.core.electrics.optimum import Optimum, copper_kg, optimum
from pinmap.core.electrics.protection import FeedReport, protection
from pinmap.core.electrics.size_choices import Knob, knobs
from pinmap.core.electrics.size_limits import Breach, Judge
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.services.analysis import Analysis, analyse, own_entries
from pinmap.services.memory import Memory

_TIME_S = 20.0
_PROTECTIONS: Memory[tuple[FeedReport, ...]] = Memory(16)
_OPTIMA: Memory[Optimum] = Memory(8)
_SETTLED: Memory[Settled] = Memory(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One proposed size. ``limit`` is what binds it; down and up say what the next size either way would do;
    copper_g is what the change adds, in all variants together [g]."""

    index: int
    knob: Knob
    mm2: float
    limit: str
    down: str
    up: str
    copper_g: float

    @property
    def changes(self) -> bool:
        return abs(self.mm2 - self.knob.now_mm2) > 1e-9


def feed_reports(done: Analysis) -> tuple[FeedReport, ...]:
    """The protection of every feed of a variant."""
    key = (done.snapshot.content_hash, done.variant.key, own_entries(done.dictionary))
    return _PROTECTIONS.get(
        key, lambda: protection(done.snapshot, done.variant, done.routing, done.report, done.dictionary)
    )


def wires_of(done: Analysis, signal: str = "", source: str = "") -> frozenset[str] | None:
    """Ids of the wires of a signal, or of a feed by its source pin; None for the whole job."""
    if signal:
        if signal not in done.snapshot.signal:
            raise InputError("signal", signal, "choose a signal from the list")
        return frozenset(w.id for w in done.routing.wires if w.signal == signal)
    if source:
        for feed in feed_reports(done):
            if str(feed.source) == source:
                return frozenset((*feed.unguarded, *(w for fuse in feed.fuses for w in fuse.wires)))
        raise InputError("feed", source, "choose a feed from the list")
    return None


def propose(snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None = None) -> Optimum:
    """Sizes with the least copper, over all variants."""
    chosen = None if scope is None else tuple(sorted(scope))

    def make() -> Optimum:
        results = [(a.variant, a.routing, a.report) for a in (analyse(snapshot, v, words) for v in snapshot.variants)]
        return optimum(snapshot, words, scope=scope, results=results, time_s=_TIME_S)

    return _OPTIMA.get((snapshot.content_hash, own_entries(words), chosen), make)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """What applying a proposal brings with the routes that then follow: signals whose wires run or splice elsewhere,
    copper [kg], and limits broken there that were not beyond all sizes before."""

    moved: tuple[str, ...]
    mass_kg: float
    broken: tuple[Breach, ...]


def settle(snapshot: Snapshot, words: Dictionary, found: Optimum) -> Settled:
    """Routes the job with the proposed sizes and judges it anew. A proposal is the least for the routes as they are;
    thicker wires can pull a splice towards them, so this is looked at and not taken for granted."""
    after = Snapshot(apply_to(snapshot.job, found), snapshot.platforms, snapshot.housings)
    key = (after.content_hash, snapshot.content_hash, own_entries(words))
    return _SETTLED.get(key, lambda: _settle(snapshot, after, words, found))


def _settle(snapshot: Snapshot, after: Snapshot, words: Dictionary, found: Optimum) -> Settled:
    before = [analyse(snapshot, v, words) for v in snapshot.variants]
    now = [analyse(after, v, words) for v in after.variants]
    moved: dict[str, None] = {}
    for old, new in zip(before, now, strict=True):
        ways = {w.id: (w.segments, round(w.cut_length_m, 6)) for w in old.routing.wires}
        for wire in new.routing.wires:
            if ways.get(wire.id) != (wire.segments, round(wire.cut_length_m, 6)):
                moved[wire.signal] = None
    if not moved:
        return Settled(moved=(), mass_kg=found.mass_kg, broken=())
    variants, routings = [a.variant for a in now], [a.routing for a in now]
    chosen = knobs(after, routings, [a.report for a in now], words, _scope(found))
    judge = Judge(after, variants, routings, words, chosen)
    sizes = tuple(k.now_mm2 for k in chosen)
    beyond = {b.key for b in found.unmet}
    return Settled(
        moved=tuple(moved),
        mass_kg=sum(copper_kg(k, s) for k, s in zip(chosen, sizes, strict=True)),
        broken=tuple(b for b in judge.all_breaches(sizes) if b.key not in beyond),
    )


def _scope(found: Optimum) -> frozenset[str]:
    return frozenset(w for knob in found.knobs if not knob.kept for w in knob.wires)


def lines(found: Optimum) -> tuple[Line, ...]:
    """Every size that was to be chosen, those that change first."""
    left_out = {b.key for b in found.unmet}
    out = []
    for i, (knob, mm2) in enumerate(zip(found.knobs, found.sizes, strict=True)):
        if knob.kept:
            continue
        limit, down = _next_down(found, i, left_out)
        up = next((s for s in knob.sizes if s > mm2), None)
        more = copper_kg(knob, up) - copper_kg(knob, mm2) if up is not None else 0.0
        out.append(
            Line(
                index=i, knob=knob, mm2=mm2, limit=limit, down=down,
                up=f"{up:g} mm²: {1000 * more:.3g} g more copper; no limit asks for it" if up else knob.high_why,
                copper_g=1000 * (copper_kg(knob, mm2) - copper_kg(knob, knob.now_mm2)),
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda line: (not line.changes, line.index)))


def _next_down(found: Optimum, i: int, left_out: Collection[object]) -> tuple[str, str]:
    """What stops the next size down, judged on the true network of each variant that has the wire."""
    knob, mm2 = found.knobs[i], found.sizes[i]
    below = [s for s in knob.sizes if s < mm2]
    if not below:
        return "least size", knob.low_why
    trial = (*found.sizes[:i], below[-1], *found.sizes[i + 1 :])
    broken: list[Breach] = []
    for v in sorted({p.variant for p in knob.pieces}):
        broken = [b for b in found.judge.judge(v, trial)[1] if b.key not in left_out]
        if broken:
            break
    if not broken:
        return "splice", f"{below[-1]:g} mm² would break the ratio of sizes at a splice, or was not shown to do"
    worst = max(broken, key=lambda b: b.by)
    names = {"heat": "heat", "fuse": "fuse", "short": "short circuit", "drop": "drop", "starved": "drop", "fed": "drop"}
    return names[worst.kind], f"{below[-1]:g} mm²: {worst.why}"


def stamp(found: Optimum) -> str:
    """Names a proposal by its sizes, so that only what was shown is applied; a search that ran out of time may end
    elsewhere the next time."""
    chosen = [
        f"{knob.signal} {','.join(knob.wires)} {mm2:g}" for knob, mm2 in zip(found.knobs, found.sizes, strict=True)
    ]
    return hashlib.sha256("\n".join(chosen).encode()).hexdigest()[:24]


def apply_to(job: Job, found: Optimum) -> Job:
    """The job with every changed size set where it stands: with its members, or with the signal itself."""
    for knob, mm2 in zip(found.knobs, found.sizes, strict=True):
        if knob.kept or abs(mm2 - knob.now_mm2) < 1e-9:
            continue
        if knob.ends:
            for end in knob.ends:
                job = edits.update_member(job, knob.signal, end, mm2=mm2)
        else:
            job = edits.update_signal(job, knob.signal, mm2=mm2)
    return job
