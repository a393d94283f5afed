"""What is computed from a job, remembered by its content; and how far the job is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from pinmap.core.build.table import BuildRow, build_table
from pinmap.core.crossing.ledger import Ledger, ledger
from pinmap.core.electrics.check import Checked, recheck
from pinmap.core.electrics.heat_rules import MayCarry, may_carry
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary, FunctionEntry, dictionary
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.results import Routing
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.pinouts import PinKey
from pinmap.core.model.words import Evidence, Severity
from pinmap.core.rules import registry
from pinmap.core.rules.finding import Finding
from pinmap.services.memory import Memory


@dataclass(frozen=True)
class Analysis:
    """All that follows from one variant of a snapshot."""

    snapshot: Snapshot
    variant: Variant
    dictionary: Dictionary
    routing: Routing
    report: ElectricalReport

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        return registry.run(self.snapshot, self.variant, self.routing, self.report, self.dictionary)

    @cached_property
    def bundles(self) -> Bundles:
        return Bundles.of(self.snapshot, self.routing)

    @cached_property
    def ledger(self) -> Ledger:
        return ledger(self.snapshot)

    @cached_property
    def build_rows(self) -> tuple[BuildRow, ...]:
        return build_table(self.snapshot, self.variant, self.routing, self.report)


_ANALYSES: Memory[Analysis] = Memory(24)
_CHECKED: Memory[Checked | None] = Memory(12)  # by job and variant: what the check after an edit starts from
_FINDINGS: Memory[tuple[Finding, ...]] = Memory(24)
_MAY_CARRY: Memory[Mapping[str, MayCarry]] = Memory(24)


def analyse(snapshot: Snapshot, variant: Variant, words: Dictionary | None = None) -> Analysis:
    """Routes and checks one variant; ``words`` is the dictionary with the shop's own functions in it."""
    known = words or dictionary()

    def make() -> Analysis:
        routing = route(snapshot, variant, known)
        place = (snapshot.job.key, variant.key)
        done = recheck(_CHECKED.get(place, lambda: None, keep=False), snapshot, variant, routing, known)
        _CHECKED.put(place, done)
        return Analysis(snapshot, variant, known, routing, done.report)

    return _ANALYSES.get((snapshot.content_hash, variant.key, own_entries(known)), make)


def findings(
    snapshot: Snapshot, variants: Sequence[Variant] | None = None, words: Dictionary | None = None
) -> tuple[Finding, ...]:
    """What the rules find in these variants (all by default), the same finding once; it names the variants in words."""
    chosen = tuple(snapshot.variants if variants is None else variants)
    known = words or dictionary()

    def make() -> tuple[Finding, ...]:
        done = [analyse(snapshot, variant, known) for variant in chosen]
        return registry.run_all(snapshot, known, [(a.variant, a.routing, a.report) for a in done])

    return _FINDINGS.get((snapshot.content_hash, tuple(v.key for v in chosen), own_entries(known)), make)


def may_carry_of(done: Analysis, case: str) -> Mapping[str, MayCarry]:
    """By wire, what it may carry in a load case by the heat balance and by a standard's table."""
    key = (done.snapshot.content_hash, done.variant.key, own_entries(done.dictionary), case)
    return _MAY_CARRY.get(key, lambda: may_carry(done.snapshot, done.routing, done.report, case))


def own_entries(words: Dictionary) -> tuple[FunctionEntry, ...]:
    """What of a dictionary differs from the built-in one."""
    built_in = dictionary()
    if words is built_in:
        return ()
    return tuple(e for e in words.entries if built_in.get(e.code) != e)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the journey. ``state``: "done", "open", "wrong", or "later" while nothing is there to work on.
    ``page`` is the address below the job's; ``summary`` two or three words, ``detail`` the numbers in a sentence,
    ``say`` what to do next."""

    key: str
    page: str
    title: str
    state: str
    summary: str
    detail: str
    say: str = ""
    done: int = 0
    total: int = 0


@dataclass(frozen=True, slots=True)
class Overview:
    """How far a job is. ``next`` is the next sensible step, None when all is done."""

    steps: tuple[Step, ...]
    next: Step | None
    stops: int
    fixes: int
    notes: int
    undecided: int


_OVERVIEWS: Memory[Overview] = Memory(64)


def overview(snapshot: Snapshot, words: Dictionary | None = None, released: str = "") -> Overview:
    """What is done, what is open, what is wrong, over all variants. ``released``: the revision that holds the same."""
    known = words or dictionary()
    key = (snapshot.content_hash, own_entries(known), released)
    return _OVERVIEWS.get(key, lambda: _overview(snapshot, known, released))


def _overview(snapshot: Snapshot, words: Dictionary, released: str) -> Overview:
    book = ledger(snapshot)
    analyses = [analyse(snapshot, v, words) for v in snapshot.variants]
    found = findings(snapshot, None, words)
    accepted = {a.finding for a in snapshot.job.acceptances}
    standing = {s: sum(f.severity == s and f.key not in accepted for f in found) for s in Severity}
    wires = sum(len(a.routing.wires) for a in analyses)
    steps = (
        _gather(snapshot, book),
        _decide(book),
        _lay_out(snapshot),
        _route(snapshot, analyses, wires),
        _size(analyses, wires),
        _check(standing, wires),
        _build(standing, book, analyses, wires),
        _hand_over(standing, book, wires, released),
    )
    next_step = next((s for s in steps if s.state in ("open", "wrong") and s.say), None)
    return Overview(
        steps, next_step, standing[Severity.STOP], standing[Severity.FIX], standing[Severity.NOTE], book.undecided
    )


def _gather(snapshot: Snapshot, book: Ledger) -> Step:
    total = len(book.rows)
    measured = sum(row.entry.evidence == Evidence.MEASURED for row in book.rows)
    assumed = sum(row.entry.evidence == Evidence.ASSUMED for row in book.rows)
    empty = [p.name for p in snapshot.platforms if not p.pins]
    if not snapshot.job.seats:
        state, say = "open", "Pick the platforms that take part."
    elif empty:
        state, say = "open", f"Bring in the pinout of {empty[0]}."
    else:
        state, say = "done", ""
    return Step(
        key="gather", page="gather", title="Gather", state=state, summary=f"{total} pins",
        detail=f"{total} pins: {measured} measured, {total - measured - assumed} from a manual, {assumed} assumed",
        say=say, done=total - assumed, total=total,
    )  # fmt: skip


def _decide(book: Ledger) -> Step:
    total = len(book.rows)
    state = "later" if not total else "open" if book.undecided else "done"
    return Step(
        key="decide", page="decide", title="Decide", state=state,
        summary=f"{book.undecided} undecided" if book.undecided else "all decided",
        detail=f"{total - book.undecided} of {total} pins have a fate, {book.undecided} are undecided",
        say=f"Decide the fate of {book.undecided} pins." if book.undecided else "",
        done=total - book.undecided, total=total,
    )  # fmt: skip


def _lay_out(snapshot: Snapshot) -> Step:
    needed = {
        (m.end.platform, m.end.connector) for s in snapshot.job.signals for m in s.members if isinstance(m.end, PinKey)
    }
    placed = {tuple(k) for k in snapshot.node_of_connector}
    missing = len(needed - placed)
    homeless = sum(not d.place for d in snapshot.job.devices)
    state = "later" if not needed else "open" if missing or homeless or not snapshot.job.segments else "done"
    length_m = sum(s.length_m for s in snapshot.job.segments)
    return Step(
        key="layout", page="layout", title="Lay out", state=state,
        summary=f"{missing + homeless} to place" if missing or homeless else f"{len(snapshot.job.segments)} runs",
        detail=f"{len(needed) - missing} of {len(needed)} connectors placed, {homeless} devices without a place, "
        f"{len(snapshot.job.segments)} runs of {length_m:.2f} m in all",
        say=f"Place {missing} connectors and {homeless} devices in the loom, and measure the runs between them.",
        done=len(needed) - missing, total=len(needed),
    )  # fmt: skip


def _route(snapshot: Snapshot, analyses: Sequence[Analysis], wires: int) -> Step:
    gaps = {(g.signal, g.section, g.reason) for a in analyses for g in a.routing.gaps}
    signals = len(snapshot.job.signals)
    blocked = len({g[0] for g in gaps})
    state = "later" if not signals else "open" if gaps else "done" if wires else "open"
    return Step(
        key="route", page="layout", title="Route", state=state,
        summary=f"{blocked} without route" if gaps else f"{signals} signals",
        detail=f"{signals - blocked} of {signals} signals have a route, {blocked} are stopped by a gap",
        say=f"Close the gaps that stop {blocked} signals." if gaps else "Join pins to signals and lay out the loom.",
        done=signals - blocked, total=signals,
    )  # fmt: skip


def _size(analyses: Sequence[Analysis], wires: int) -> Step:
    thin = {
        w.id: advice.limit
        for a in analyses
        for w in a.routing.wires
        if (advice := a.report.advice.get(w.id)) is not None and advice.mm2 > w.mm2
    }
    burning = [wire for wire, limit in thin.items() if limit in ("heat", "fuse")]
    unfed = {u.load for a in analyses for u in a.report.unfed}
    state = "later" if not wires else "wrong" if burning else "open" if thin or unfed else "done"
    return Step(
        key="size", page="check/wires", title="Size", state=state,
        summary=f"{len(thin)} too thin" if thin else f"{len(unfed)} unfed" if unfed else "sizes hold",
        detail=f"{len(thin)} wires are thinner than advised, {len(unfed)} loads cannot be fed",
        say=f"Enlarge {len(thin)} wires." if thin else f"Find out why {len(unfed)} loads are not fed.",
        done=wires - len(thin), total=wires,
    )  # fmt: skip


def _check(standing: dict[Severity, int], wires: int) -> Step:
    stops, fixes, notes = standing[Severity.STOP], standing[Severity.FIX], standing[Severity.NOTE]
    state = "wrong" if stops else "open" if fixes else "done" if wires else "later"
    return Step(
        key="check", page="check", title="Check", state=state,
        summary=f"{stops} stop" if stops else f"{fixes} to fix" if fixes else f"{notes} notes",
        detail=f"{stops} findings say stop, {fixes} say fix, {notes} are notes; accepted ones are not counted",
        say=f"Look at {stops} findings that say stop and {fixes} that say fix.",
    )  # fmt: skip


def _build(standing: dict[Severity, int], book: Ledger, analyses: Sequence[Analysis], wires: int) -> Step:
    ready = wires and not standing[Severity.STOP] and not book.undecided
    gaps = any(a.routing.gaps for a in analyses)
    state = "later" if not wires else "done" if ready and not gaps else "wrong" if standing[Severity.STOP] else "open"
    per_variant = max((len(a.routing.wires) for a in analyses), default=0)
    return Step(
        key="build", page="build", title="Build", state=state, summary=f"{per_variant} wires",
        detail=f"up to {per_variant} wires in each of {len(analyses)} variants"
        + ("" if ready else "; a draft, not yet to be cut"),
        done=per_variant if ready else 0, total=per_variant,
    )  # fmt: skip


def _hand_over(standing: dict[Severity, int], book: Ledger, wires: int, released: str) -> Step:
    if released:
        return Step(
            key="handover", page="handover", title="Hand over", state="done", summary=f"revision {released}",
            detail=f"revision {released} holds the job as it stands",
        )  # fmt: skip
    blocked = book.undecided + standing[Severity.STOP]
    state = "later" if not wires or blocked else "open"
    return Step(
        key="handover", page="handover", title="Hand over", state=state,
        summary="ready" if state == "open" else "not yet",
        detail="a revision can be released" if state == "open" else f"{blocked} things stand against a release",
        say="Release a revision and hand it over." if state == "open" else "",
    )  # fmt: skip
