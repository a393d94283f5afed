"""Sizes and routes that agree: size, route, check, again, until nothing is left to propose.

The least sizes are found for routes as they are, but routes depend on sizes: a thicker wire pulls a splice towards it,
and trunks between splices take the size that their ends ask for. So the sizes found are set, the job is routed and
checked anew, and sized again. First come quick rounds, which look for good sizes; the proof that nothing is lighter is
made where they rest, and what it finds begins new rounds.

Where splices may sit close to where they sit, the rounds often come back to where they have been: the least sizes on
one set of routes bring another, on which a limit is broken, and the sizes that mend it bring back the first. Then the
lightest state that holds every limit is taken (where none does, the sizes that go round are raised until one does), and
from there one or two of the sizes that go round are changed at a time, each time on the routes that follow, while that
makes the loom lighter and every limit holds; all others are sized on the routes so found. That is repeated from its own
result until it stays. It is a state that agrees, which no such step makes lighter; it is not proven to be the lightest,
but where there are few choices in all, all of them are tried.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise, product

from pinmap.core.electrics.check import check
from pinmap.core.electrics.optimum import Optimum, Result, optimum
from pinmap.core.electrics.size_choices import Knob, copper_kg, knobs
from pinmap.core.electrics.size_limits import Breach, Judge
from pinmap.core.electrics.size_rows import SPLICE, splice_breaches
from pinmap.core.electrics.size_watch import Progress, Watch
from pinmap.core.facts.fault import COPPER_KG_PER_M3
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Wire
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Snapshot

Solve = Callable[[Snapshot], Sequence[Result]]
_ROUNDS = 16
_TIME_S = 60.0
_FEW = 1000  # choices that are all tried

RESTS = "rests"
CIRCLE = "circle"
CUT_OFF = "cut off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """Where the rounds end. ``job`` carries the sizes that ``found`` shows, which stand on the routes that follow from
    them; ``end`` is RESTS where ``found`` was looked for there and proposed nothing else, CIRCLE where the rounds came
    back to where they had been, CUT_OFF by time or number. ``broken`` are limits broken there that some sizes meet,
    ``unmet`` those that the largest sizes break as well, on their own routes. ``moved`` are signals whose wires run or
    splice elsewhere than at first; copper is that of all wires of all variants with their trunks [kg]."""

    job: Job
    found: Optimum
    results: tuple[Result, ...]
    rounds: int
    end: str
    broken: tuple[Breach, ...]
    unmet: tuple[Breach, ...]
    moved: tuple[str, ...]
    copper_before_kg: float
    copper_kg: float


@dataclass(frozen=True, slots=True)
class _State:
    """A job with its routes, the places that set its sizes, and the limits that its own sizes break there: those that
    others would meet, and those that none does. ``found`` are the sizes found on these routes, None where none were
    looked for."""

    snapshot: Snapshot
    results: tuple[Result, ...]
    knobs: tuple[Knob, ...]
    broken: tuple[Breach, ...]
    unmet: tuple[Breach, ...]
    found: Optimum | None = None

    @property
    def kg(self) -> float:
        return loom_copper_kg(self.results)

    @property
    def rank(self) -> tuple[int, float]:
        return len(self.broken), self.kg


def _differs(knob: Knob, mm2: float) -> bool:
    return not knob.kept and abs(mm2 - knob.now_mm2) > 1e-9


def solved(snapshot: Snapshot, dictionary: Dictionary) -> tuple[Result, ...]:
    """Every variant routed and checked."""
    out = []
    for variant in snapshot.variants:
        routing = route(snapshot, variant, dictionary)
        out.append((variant, routing, check(snapshot, variant, routing, dictionary)))
    return tuple(out)


def loom_copper_kg(results: Sequence[Result]) -> float:
    """Copper of all wires of all variants [kg], by nominal area."""
    return sum(wire_copper_kg(w) for _, routing, _ in results for w in routing.wires)


def wire_copper_kg(wire: Wire) -> float:
    """Copper of one wire [kg], by nominal area."""
    return wire.cut_length_m * wire.mm2 * 1e-6 * COPPER_KG_PER_M3.value


def with_sizes(job: Job, chosen: Sequence[Knob], sizes: Sequence[float]) -> Job:
    """The job with every changed size set where it stands: with its members, or with the signal itself."""
    members: dict[tuple[str, object], float] = {}
    own: dict[str, float] = {}
    for knob, mm2 in zip(chosen, sizes, strict=True):
        if not _differs(knob, mm2):
            continue
        members.update({(knob.signal, end): mm2 for end in knob.ends})
        if not knob.ends:
            own[knob.signal] = mm2
    touched = {key for key, _ in members} | own.keys()
    signals = tuple(
        replace(
            s,
            mm2=own.get(s.key, s.mm2),
            members=tuple(replace(m, mm2=members.get((s.key, m.end), m.mm2)) for m in s.members),
        )
        if s.key in touched else s
        for s in job.signals
    )  # fmt: skip
    return replace(job, signals=signals)


def settle(
    snapshot: Snapshot,
    dictionary: Dictionary,
    *,
    scope: Collection[str] | None = None,
    solve: Solve | None = None,
    time_s: float = _TIME_S,
    tell: Callable[[Progress], bool] | None = None,
) -> Settled:
    """Sizes with the least copper for the wires of ``scope`` (ids, None for all) on the routes that follow from them.
    ``solve`` routes and checks every variant of a job, where that is remembered. ``tell`` is told now and then where
    the search stands, and answers whether to go on. Raises StructureError as ``route`` does."""
    done = solve or (lambda at: solved(at, dictionary))
    return _Rounds(snapshot, dictionary, scope, done, Watch(time_s, tell)).run()


class _Rounds:
    def __init__(
        self, snapshot: Snapshot, dictionary: Dictionary, scope: Collection[str] | None, solve: Solve, watch: Watch
    ) -> None:
        self.first, self.dictionary, self.scope, self.solve = snapshot, dictionary, scope, solve
        self.watch = watch
        self.rounds = 0
        self.beyond: frozenset[tuple[str, int, str, str]] = frozenset()  # limits that the largest sizes break
        self.ratio_unmet = False  # no choice of sizes keeps the ratio at every splice

    def run(self) -> Settled:
        self.before = tuple(self.solve(self.first))
        state = self._at(self.first, self.before)
        most = self._largest(state)
        # The ratio at a splice is no limit from below: the largest sizes may break what others keep.
        self.beyond = frozenset(b.key for b in most.broken if b.kind != SPLICE)
        state = self._at(self.first, self.before)
        while True:
            start, (state, end) = state, self._pass(state)
            if end == CIRCLE and state.rank >= start.rank:
                return self._settled(start, CIRCLE)
            if end != CIRCLE or self.watch.ended():
                return self._settled(state, end)

    def _pass(self, state: _State) -> tuple[_State, str]:
        """Rounds from a state until they rest, are cut off, or come back to where they have been."""
        seen: list[_State] = []
        prove = False
        while True:
            if state.found is None or prove:
                state = self._sized(state, prove)
            found = state.found
            assert found is not None
            seen.append(state)
            self.watch.progress = replace(self.watch.progress, best_kg=min(seen, key=lambda s: s.rank).kg)
            if not any(map(_differs, found.knobs, found.sizes)):
                if state.broken:  # other routes would let sizes meet them
                    return self._out_of_circle(seen, len(seen) - 1), CIRCLE
                if found.proven or prove:
                    lightest = min(seen, key=lambda s: s.rank)
                    # The search for these routes may have led away from better ones.
                    if lightest.rank < (len(state.broken), state.kg * (1 - 1e-9)):
                        return lightest, CUT_OFF
                    return state, CUT_OFF if found.cut_short and not found.proven else RESTS
                prove = True
                continue
            prove = False
            state = self._with(state, found.knobs, found.sizes)
            again = next((i for i, s in enumerate(seen) if s.snapshot.job.signals == state.snapshot.job.signals), None)
            if again is not None:
                return self._out_of_circle(seen, again), CIRCLE
            if len(seen) >= _ROUNDS or self.watch.ended():
                return min((*seen, state), key=lambda s: s.rank), CUT_OFF

    def _largest(self, state: _State) -> _State:
        """The largest sizes on the routes that follow from them. A load that so comes to be fed frees its wires, of
        which nothing was known, so this is done until no size grows."""
        while True:
            sizes = [k.sizes[-1] for k in state.knobs]
            if not any(map(_differs, state.knobs, sizes)):
                return state
            state = self._with(state, state.knobs, sizes)

    def _at(self, snapshot: Snapshot, results: tuple[Result, ...]) -> _State:
        """A job on its own routes, judged as it is."""
        routings = [r[1] for r in results]
        chosen = knobs(snapshot, routings, [r[2] for r in results], self.dictionary, self.scope)
        judge = Judge(snapshot, [r[0] for r in results], routings, self.dictionary, chosen)
        sizes = tuple(k.now_mm2 for k in chosen)
        broken = [*judge.all_breaches(sizes), *splice_breaches(judge, chosen, sizes)]
        return self._sorted(_State(snapshot, results, chosen, tuple(broken), ()))

    def _sorted(self, state: _State) -> _State:
        """Its breaches as those that other sizes would meet, and those that none does."""
        every = (*state.broken, *state.unmet)
        none = {b.key for b in every if b.key in self.beyond or (self.ratio_unmet and b.kind == SPLICE)}
        return replace(
            state, broken=tuple(b for b in every if b.key not in none), unmet=tuple(b for b in every if b.key in none)
        )

    def _with(self, state: _State, chosen: Sequence[Knob], sizes: Sequence[float]) -> _State:
        """The job of a state with other sizes, on the routes that follow from them."""
        job = with_sizes(state.snapshot.job, chosen, sizes)
        snapshot = Snapshot(job, state.snapshot.platforms, state.snapshot.housings)
        return self._at(snapshot, tuple(self.solve(snapshot)))

    def _sized(self, state: _State, prove: bool, scope: Collection[str] | None = None) -> _State:
        self.rounds += 1
        self.watch.loom_kg = state.kg
        progress = self.watch.progress
        self.watch.progress = replace(progress, rounds=self.rounds, proving=False, bound_kg=0.0, trial_kg=0.0)
        found = optimum(
            state.snapshot, self.dictionary, scope=self.scope if scope is None else scope, results=state.results,
            watch=self.watch, prove=prove,
        )  # fmt: skip
        self.ratio_unmet = self.ratio_unmet or found.ratio_unmet
        return self._sorted(replace(state, found=found))

    def _out_of_circle(self, seen: Sequence[_State], again: int) -> _State:
        return self._lightest_of_few(self._led_out(seen, again))

    def _lightest_of_few(self, state: _State) -> _State:
        """Where there are few choices in all, the lightest of them, each on its own routes: sizes of one signal may
        only be worth their copper together with those of another."""
        free = [i for i, k in enumerate(state.knobs) if not k.kept]
        if math.prod(len(state.knobs[i].sizes) for i in free) > _FEW:
            return state
        lighter: list[tuple[float, int, Snapshot]] = []
        for n, chosen in enumerate(product(*(state.knobs[i].sizes for i in free))):
            if self.watch.ended():
                return state
            job = with_sizes(state.snapshot.job, [state.knobs[i] for i in free], chosen)
            snapshot = Snapshot(job, state.snapshot.platforms, state.snapshot.housings)
            wires = [w for v in snapshot.variants for w in route(snapshot, v, self.dictionary).wires]
            lighter.append((sum(map(wire_copper_kg, wires)), n, snapshot))
        for kg, _, snapshot in sorted(lighter, key=lambda found: found[:2]):
            if (kg >= state.kg * (1 - 1e-9) and not state.broken) or self.watch.ended():
                return state
            trial = self._at(snapshot, tuple(self.solve(snapshot)))
            if trial.rank < state.rank:
                return trial
        return state

    def _led_out(self, seen: Sequence[_State], again: int) -> _State:
        round_them = _going_round(seen[again:])
        state = min(seen, key=lambda s: s.rank)
        if state.broken:
            state = self._raised(seen[again:], round_them)
        while True:
            state = self._thinner(state, round_them)
            others = [w for k in state.knobs if not k.kept and k.signal not in round_them for w in k.wires]
            found = self._sized(state, prove=True, scope=others).found if others else None
            if found is None or not any(map(_differs, found.knobs, found.sizes)) or self.watch.ended():
                return state
            trial = self._with(state, found.knobs, found.sizes)
            if trial.rank >= state.rank:
                return state
            state = trial

    def _raised(self, circle: Sequence[_State], round_them: Collection[str]) -> _State:
        """The sizes that go round, each at its largest in the circle, and larger until every limit holds."""
        largest: dict[tuple[str, tuple[str, ...]], float] = {}
        for state in circle:
            for knob in state.knobs:
                name = (knob.signal, knob.wires)
                largest[name] = max(largest.get(name, 0.0), knob.now_mm2)
        state = circle[0]
        sizes = [largest.get((k.signal, k.wires), k.now_mm2) for k in state.knobs]
        while True:
            state = self._with(state, state.knobs, sizes)
            sizes = [
                next((s for s in k.sizes if s > k.now_mm2), k.now_mm2) if k.signal in round_them else k.now_mm2
                for k in state.knobs
            ]
            if not state.broken or not any(map(_differs, state.knobs, sizes)) or self.watch.ended():
                return state

    def _thinner(self, state: _State, round_them: Collection[str]) -> _State:
        """Changes one or two sizes at a time while that breaks no more limits and makes the loom lighter."""
        better: _State | None = state
        while better is not None:
            state = better
            steps = [
                (copper_kg(k, s) - copper_kg(k, k.now_mm2), i, s)
                for i, k in enumerate(state.knobs) if not k.kept and k.signal in round_them
                for s in _near(k) if s != k.now_mm2
            ]  # fmt: skip
            ways = [(kg, {i: s}) for kg, i, s in steps]
            ways += [
                (one + two, {i: s, j: t})
                for (one, i, s), (two, j, t) in combinations(steps, 2)
                if i != j and one * two < 0
            ]
            ways.sort(key=lambda way: way[0])
            better = next(self._lighter(state, [change for kg, change in ways if kg < 0]), None)
        return state

    def _lighter(self, state: _State, changes: Sequence[Mapping[int, float]]) -> Iterator[_State]:
        """Those of some changes that are better than a state, on the routes that follow from them."""
        for change in changes:
            if self.watch.ended():
                return
            sizes = [change.get(i, k.now_mm2) for i, k in enumerate(state.knobs)]
            trial = self._with(state, state.knobs, sizes)
            if trial.rank < state.rank:
                yield trial

    def _settled(self, state: _State, end: str) -> Settled:
        found = state.found or self._sized(state, prove=False).found
        assert found is not None
        if end != RESTS:  # the state's own sizes stand, not what was found on its routes and led on from it
            found = replace(found, sizes=tuple(k.now_mm2 for k in found.knobs), mass_kg=found.now_kg, proven=False)
        return Settled(
            job=state.snapshot.job, found=found, results=state.results, rounds=self.rounds, end=end,
            broken=state.broken, unmet=state.unmet, moved=_moved(self.before, state.results),
            copper_before_kg=loom_copper_kg(self.before), copper_kg=state.kg,
        )  # fmt: skip


def _near(knob: Knob) -> tuple[float, ...]:
    """Sizes up to two steps from the present one."""
    at = bisect_left(knob.sizes, knob.now_mm2 - 1e-9)
    return knob.sizes[max(at - 2, 0) : at + 3]


def _going_round(circle: Sequence[_State]) -> frozenset[str]:
    """Signals whose sizes or ways differ among the states of a circle."""
    out: set[str] = set()
    for one, other in pairwise([*circle, circle[0]]):
        out.update(_moved(one.results, other.results))
        old = {s.key: s for s in one.snapshot.job.signals}
        out.update(s.key for s in other.snapshot.job.signals if old[s.key] != s)
    return frozenset(out)


def _moved(before: Sequence[Result], after: Sequence[Result]) -> tuple[str, ...]:
    moved: dict[str, None] = {}
    for (_, old, _), (_, new, _) in zip(before, after, strict=True):
        ways = {w.id: (w.segments, round(w.cut_length_m, 6)) for w in old.wires}
        for wire in new.wires:
            if ways.get(wire.id) != (wire.segments, round(wire.cut_length_m, 6)):
                moved[wire.signal] = None
    return tuple(moved)
