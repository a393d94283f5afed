"""Protection and sizing of a stored job: what is shown, and how proposed sizes come into the job."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from pinmap.core.electrics.optimum import Optimum, Result
from pinmap.core.electrics.protection import FeedReport, protection
from pinmap.core.electrics.size_choices import copper_kg
from pinmap.core.electrics.size_limits import Breach
from pinmap.core.electrics.size_rounds import Settled, settle, wire_copper_kg
from pinmap.core.electrics.size_rows import splice_breaches
from pinmap.core.electrics.size_watch import Progress
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Wire
from pinmap.core.model.jobs import Job, Signal, Snapshot
from pinmap.services.analysis import Analysis, analyse, own_entries
from pinmap.services.memory import Memory

TIME_S = 600.0  # a search's work is counted; this ends it on a machine that is too slow for that
_PROTECTIONS: Memory[tuple[FeedReport, ...]] = Memory(16)


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One proposed size on the routes that the proposal brings; now_mm2 is that of the job as it is. ``limit`` is what
    binds it; down and up say what the next size either way would do; copper_g is what the change adds, in all variants
    together [g]."""

    wires: tuple[str, ...]
    signal: str
    now_mm2: float
    mm2: float
    limit: str
    why: str
    down: str
    up: str
    copper_g: float

    @property
    def changes(self) -> bool:
        return abs(self.mm2 - self.now_mm2) > 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Broken:
    """A limit that is broken: at what, in which variant, and why."""

    what: str
    variant: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSize:
    """A size that changes [mm²]: of a signal's member by the name of its end, or with end "" of the signal itself."""

    signal: str
    end: str
    mm2: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """What a search found, in plain values that can be stored; see ``Settled``. ``mass_kg`` is the copper of the wires
    whose size was chosen, and no choice on these routes has less than ``bound_kg``; 0 where nothing was proven."""

    sizes: tuple[NewSize, ...]
    end: str
    rounds: int
    copper_before_kg: float
    copper_kg: float
    mass_kg: float
    bound_kg: float
    proven: bool
    solved: int
    ratio_unmet: bool
    broken: tuple[Broken, ...]
    unmet: tuple[Broken, ...]
    moved: tuple[str, ...]
    lines: tuple[Line, ...]

    @property
    def above_pct(self) -> float:
        """By how much the copper may at most exceed the least possible on these routes [%]; infinite: not known."""
        return 100 * (self.mass_kg / self.bound_kg - 1) if self.bound_kg > 0 else math.inf

    @property
    def stamp(self) -> str:
        """Names a proposal by its sizes, so that only what was shown is applied."""
        chosen = [f"{s.signal} {s.end} {s.mm2}" for s in self.sizes]
        return hashlib.sha256("\n".join(chosen).encode()).hexdigest()[:24]


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


def propose(
    snapshot: Snapshot,
    words: Dictionary,
    scope: Collection[str] | None = None,
    tell: Callable[[Progress], bool] | None = None,
) -> Proposal:
    """Sizes with the least copper, over all variants, on the routes that follow from them. ``tell`` is told now and
    then how far the search is, and answers whether to go on."""

    def solve(at: Snapshot) -> list[Result]:
        return [(a.variant, a.routing, a.report) for a in (analyse(at, v, words) for v in at.variants)]

    settled = settle(snapshot, words, scope=scope, solve=solve, time_s=TIME_S, tell=tell)
    labels = [snapshot.variant_label(v) for v in snapshot.variants]

    def said(breaches: Sequence[Breach]) -> tuple[Broken, ...]:
        return tuple(Broken(what=b.what, variant=labels[b.variant], why=b.why) for b in breaches)

    found = settled.found
    fixed_kg = sum(copper_kg(k, s) for k, s in zip(found.knobs, found.sizes, strict=True) if len(k.sizes) == 1)
    return Proposal(
        sizes=_new_sizes(snapshot.job, settled.job),
        end=settled.end, rounds=settled.rounds, copper_before_kg=settled.copper_before_kg, copper_kg=settled.copper_kg,
        mass_kg=found.mass_kg - fixed_kg, bound_kg=max(found.bound_kg - fixed_kg, 0.0), proven=found.proven,
        solved=found.solved, ratio_unmet=found.ratio_unmet, broken=said(settled.broken), unmet=said(settled.unmet),
        moved=settled.moved, lines=lines(snapshot, words, settled),
    )  # fmt: skip


def lines(snapshot: Snapshot, words: Dictionary, settled: Settled) -> tuple[Line, ...]:
    """Every size that was to be chosen, those that change first, then by copper; ``snapshot`` is the job as it is."""
    before: dict[str, list[Wire]] = {}
    for variant in snapshot.variants:
        for wire in analyse(snapshot, variant, words).routing.wires:
            before.setdefault(wire.id, []).append(wire)
    found = settled.found
    left_out = {b.key for b in found.unmet}
    out = []
    for i, (knob, mm2) in enumerate(zip(found.knobs, found.sizes, strict=True)):
        if knob.kept:
            continue
        old = [w for wire in knob.wires for w in before.get(wire, ())]
        limit, why, down = _next_down(found, i, left_out)
        up = next((s for s in knob.sizes if s > mm2), None)
        more = copper_kg(knob, up) - copper_kg(knob, mm2) if up is not None else 0.0
        out.append(
            Line(
                wires=knob.wires, signal=knob.signal, now_mm2=max((w.mm2 for w in old), default=knob.now_mm2), mm2=mm2,
                limit=limit, why=why, down=down,
                up=f"{up:g} mm²: {1000 * more:.3g} g more copper; no limit asks for it" if up else
                f"none: {knob.high_why}", copper_g=1000 * (copper_kg(knob, mm2) - sum(map(wire_copper_kg, old))),
            )
        )  # fmt: skip
    return tuple(sorted(out, key=lambda line: (not line.changes, -abs(line.copper_g) if line.changes else 0.0)))


_AT_LOADS = frozenset({"drop", "starved", "fed"})
_LIMITS = {"heat": "heat", "fuse": "fuse", "short": "short circuit", "drop": "drop", "starved": "drop", "fed": "drop"}


def _next_down(found: Optimum, i: int, left_out: Collection[object]) -> tuple[str, str, str]:
    """What binds a size, in a word and in words, and what the next size down would do, judged on the true network of
    each variant that has the wire."""
    knob, mm2 = found.knobs[i], found.sizes[i]
    below = [s for s in knob.sizes if s < mm2]
    if not below:
        return "least size", knob.low_why, f"none: {knob.low_why}"
    smaller = f"with {below[-1]:g} mm²"
    less = f"{below[-1]:g} mm²: {1000 * (copper_kg(knob, mm2) - copper_kg(knob, below[-1])):.3g} g less copper, but"
    trial = (*found.sizes[:i], below[-1], *found.sizes[i + 1 :])
    broken: list[Breach] = []
    for v in sorted({p.variant for p in knob.pieces}):
        broken = [b for b in found.judge.judge(v, trial)[1] if b.key not in left_out]
        if broken:
            break
    if not broken:
        ratio = [b for b in splice_breaches(found.judge, found.knobs, trial) if b.variant in {p.variant for p in
                 knob.pieces}]  # fmt: skip
        if ratio and not found.ratio_unmet:
            return "splice", f"{smaller} {ratio[0].why}", f"{less} {ratio[0].why}"
        return "routes", f"{smaller} other routes follow", f"{less} it brings other routes, on which it was not taken"
    own = [b for b in broken if b.what in knob.wires]
    worst = max(own or broken, key=lambda b: b.by)
    where = "" if worst.what in knob.wires or worst.kind in _AT_LOADS else f"wire {worst.what} beside it: "
    others = f" ({len(broken) - 1} more limits as well)" if len(broken) > 1 else ""
    return _LIMITS[worst.kind], f"{smaller} {where}{worst.why}", f"{less} {where}{worst.why}{others}"


def _new_sizes(before: Job, after: Job) -> tuple[NewSize, ...]:
    out = []
    for old, new in zip(before.signals, after.signals, strict=True):
        if old.mm2 != new.mm2:
            out.append(NewSize(signal=new.key, end="", mm2=new.mm2))
        pairs = zip(old.members, new.members, strict=True)
        out += [NewSize(signal=new.key, end=str(n.end), mm2=n.mm2) for o, n in pairs if o.mm2 != n.mm2]
    return tuple(out)


def apply_to(job: Job, proposal: Proposal) -> Job:
    """The job with the sizes that a proposal changes; what it has no more of them is left out."""
    chosen = {(s.signal, s.end): s.mm2 for s in proposal.sizes}

    def sized(signal: Signal) -> Signal:
        members = tuple(replace(m, mm2=chosen.get((signal.key, str(m.end)), m.mm2)) for m in signal.members)
        return replace(signal, mm2=chosen.get((signal.key, ""), signal.mm2), members=members)

    touched = {signal for signal, _ in chosen}
    return replace(job, signals=tuple(sized(s) if s.key in touched else s for s in job.signals))
