"""Protection and sizing of a stored job: what is shown, and how proposed sizes come into the job."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from dataclasses import dataclass, replace

from pinmap.core.electrics.optimum import Optimum, Result
from pinmap.core.electrics.protection import FeedReport, protection
from pinmap.core.electrics.size_choices import Knob, copper_kg
from pinmap.core.electrics.size_limits import Breach
from pinmap.core.electrics.size_rounds import Settled, settle, wire_copper_kg
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.services.analysis import Analysis, analyse, own_entries
from pinmap.services.memory import Memory

_TIME_S = 60.0
_PROTECTIONS: Memory[tuple[FeedReport, ...]] = Memory(16)
_SETTLED: Memory[Settled] = Memory(8)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One proposed size on the routes that the proposal brings; now_mm2 is that of the job as it is. ``limit`` is what
    binds it; down and up say what the next size either way would do; copper_g is what the change adds, in all variants
    together [g]."""

    index: int
    knob: Knob
    now_mm2: float
    mm2: float
    limit: str
    down: str
    up: str
    copper_g: float

    @property
    def changes(self) -> bool:
        return abs(self.mm2 - self.now_mm2) > 1e-9


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


def propose(snapshot: Snapshot, words: Dictionary, scope: Collection[str] | None = None) -> Settled:
    """Sizes with the least copper, over all variants, on the routes that follow from them."""
    chosen = None if scope is None else tuple(sorted(scope))

    def solve(at: Snapshot) -> list[Result]:
        return [(a.variant, a.routing, a.report) for a in (analyse(at, v, words) for v in at.variants)]

    return _SETTLED.get(
        (snapshot.content_hash, own_entries(words), chosen),
        lambda: settle(snapshot, words, scope=scope, solve=solve, time_s=_TIME_S),
    )


def lines(snapshot: Snapshot, words: Dictionary, proposal: Settled) -> tuple[Line, ...]:
    """Every size that was to be chosen, those that change first; ``snapshot`` is the job as it is."""
    before: dict[str, list[Wire]] = {}
    for variant in snapshot.variants:
        for wire in analyse(snapshot, variant, words).routing.wires:
            before.setdefault(wire.id, []).append(wire)
    found = proposal.found
    left_out = {b.key for b in found.unmet}
    out = []
    for i, (knob, mm2) in enumerate(zip(found.knobs, found.sizes, strict=True)):
        if knob.kept:
            continue
        old = [w for wire in knob.wires for w in before.get(wire, ())]
        limit, down = _next_down(found, i, left_out)
        up = next((s for s in knob.sizes if s > mm2), None)
        more = copper_kg(knob, up) - copper_kg(knob, mm2) if up is not None else 0.0
        out.append(
            Line(
                index=i, knob=knob, now_mm2=max((w.mm2 for w in old), default=knob.now_mm2), mm2=mm2, limit=limit,
                down=down, up=f"{up:g} mm²: {1000 * more:.3g} g more copper; no limit asks for it" if up
                else knob.high_why, copper_g=1000 * (copper_kg(knob, mm2) - sum(map(wire_copper_kg, old))),
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


def stamp(proposal: Settled) -> str:
    """Names a proposal by its sizes, so that only what was shown is applied; a search that ran out of time may end
    elsewhere the next time."""
    chosen = [f"{s.key} {s.mm2} {[m.mm2 for m in s.members]}" for s in proposal.job.signals]
    return hashlib.sha256("\n".join(chosen).encode()).hexdigest()[:24]


def apply_to(job: Job, proposal: Settled) -> Job:
    """The job with the sizes that a proposal of it ends with."""
    return replace(job, signals=proposal.job.signals)
