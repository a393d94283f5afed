"""The least copper that meets every limit in every case and variant.

A mixed-integer master (HiGHS) chooses sizes by linear rows that no good choice breaks (``size_rows``, for the heat of
bundles ``size_heat``), so its optimum is a bound from below. The choice is then judged on the true network with heat.
Where a limit is broken, a cut is added: at least one of the wires that bear on the limit must be thicker than here.
Wires that cannot help are left out of the cut, and the others are raised as far as the limit stays broken, which makes
the cut strong. For voltages this takes it that thinner never helps; for heat it need not be so, and ``size_bounds``
proves the cut or only these sizes are barred. The first choice that breaks nothing has the least copper of all.
Couplings that no row shows (a conductor's temperature, currents that move with the voltage, loops) are thus met by the
network itself. Where the work would be too much, what was found without proof (``size_guess``) stands beside the bound.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.size_choices import Knob, Row, Sizes, copper_kg, knobs
from pinmap.core.electrics.size_guess import Task, descend, guess
from pinmap.core.electrics.size_heat import BundleCuts
from pinmap.core.electrics.size_limits import Breach, Judge
from pinmap.core.electrics.size_master import Master
from pinmap.core.electrics.size_rows import Rows, splice_rows
from pinmap.core.electrics.size_watch import Watch
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant

Result = tuple[Variant, Routing, ElectricalReport]
_VOLTAGES = frozenset({"drop", "starved", "fed"})  # kinds of breach
_CUTS_A_ROUND = 12
_LARGE = 60  # sizes to be chosen from which on a proof is begun with a gap
_GAP = 3e-3
_QUICK_WORK, _GUESS_WORK, _PROOF_WORK = 40_000.0, 120_000.0, 60_000.0  # in wires judged


@dataclass(frozen=True, slots=True, kw_only=True)
class Optimum:
    """A choice of sizes. ``sizes`` stand in the order of ``knobs``; masses are copper of all variants together [kg];
    ``bound_kg`` is a proven lower bound, reached where ``proven``; ``cut_short``: even the search without proof had not
    the time to end. ``unmet`` are limits that even the largest sizes
    break; ``rounds`` and ``solved`` tell the work: masters, and networks solved."""

    knobs: tuple[Knob, ...]
    sizes: Sizes
    now_kg: float
    mass_kg: float
    bound_kg: float
    proven: bool
    cut_short: bool
    unmet: tuple[Breach, ...]
    ratio_unmet: bool
    rounds: int
    solved: int
    judge: Judge
    largest: Sizes


def optimum(
    snapshot: Snapshot,
    dictionary: Dictionary,
    *,
    scope: Collection[str] | None = None,
    results: Sequence[Result],
    watch: Watch,
    prove: bool = True,
) -> Optimum:
    """Sizes with the least copper for the wires of ``scope`` (ids, None for all), over all variants, on the routes of
    ``results`` as they are. When the ``watch`` ends it, or without ``prove``, the best choice found so far is given,
    with ``proven`` false. Of equals the sizes that stand win."""
    variants, routings = [r[0] for r in results], [r[1] for r in results]
    chosen = knobs(snapshot, routings, [r[2] for r in results], dictionary, scope)
    judge = Judge(snapshot, variants, routings, dictionary, chosen)
    return _Search(judge, chosen, watch).run(prove)


class _Search:
    def __init__(self, judge: Judge, chosen: Sequence[Knob], watch: Watch) -> None:
        self.judge, self.knobs, self.watch = judge, chosen, watch
        self.largest: Sizes = tuple(k.sizes[-1] for k in chosen)
        self.unmet = judge.all_breaches(self.largest)
        master, ratios = Master(chosen), splice_rows(judge, chosen)
        self.ratio_unmet = master.choose([0] * len(chosen), ratios) is None
        left_out = frozenset(b.key for b in self.unmet)
        self.task = Task(judge, chosen, master, left_out, [] if self.ratio_unmet else ratios, watch)
        self.rounds = 0
        self.cut_short = False
        self.first: list[int] = []
        self.rows: list[Row] = []
        self.on_way: dict[tuple[int, str, str], tuple[int, ...]] = {}

    def run(self, prove: bool) -> Optimum:
        sizes, bound, proven = self.largest, 0.0, not self.knobs
        if self.knobs:
            self.watch.stage(_GUESS_WORK if prove else _QUICK_WORK)
            sizes = guess(self.task)
            if prove:
                sizes = descend(self.task, sizes)
            self.cut_short = self.watch.over()
            # Sizes that change bring other routes, for which a long proof would have to be made again.
            large = self._is_large
            stays = all(abs(k.now_mm2 - s) < 1e-9 for k, s in zip(self.knobs, sizes, strict=True))
            if prove and not self.watch.ended() and (stays or not large):
                self.watch.stage(_PROOF_WORK)
                sizes, bound, proven = self._prove(sizes)
        mass = self.task.mass(sizes)
        return Optimum(
            knobs=tuple(self.knobs),
            sizes=sizes,
            now_kg=sum(copper_kg(k, k.now_mm2) for k in self.knobs),
            mass_kg=mass,
            bound_kg=mass if proven else min(bound, mass),
            proven=proven,
            cut_short=self.cut_short,
            unmet=tuple(self.unmet),
            ratio_unmet=self.ratio_unmet,
            rounds=self.rounds,
            solved=self.judge.solved,
            judge=self.judge,
            largest=self.largest,
        )

    @property
    def _is_large(self) -> bool:
        return sum(len(k.sizes) > 1 for k in self.knobs) >= _LARGE

    def _prove(self, best: Sizes) -> tuple[Sizes, float, bool]:
        """From below: the master's choice is judged, and a cut is learned from what it breaks, until it breaks nothing
        or nothing cheaper than the best known choice is left. Gives sizes, bound, proven."""
        best_kg = self.task.mass(best) if self.task.fits(best) else math.inf
        cap = self._cap(best_kg)
        safe = Rows(self.judge, self.knobs, cap, self.task.left_out, safe=True)
        self.first, self.rows, self.on_way, self.largest = safe.first, safe.rows, safe.on_way, cap
        bundles = BundleCuts(self.judge, self.knobs, safe, safe.first, self.task.place(cap))
        bound, gap = 0.0, _GAP if self._is_large else 0.0
        while True:
            self.rounds += 1
            found = self.task.choose(self.first, [*self.rows, *self.task.ratios], gap=gap)
            if found is None or found[1] >= best_kg * (1 - 1e-9):
                return best, min(best_kg, self.task.mass(best)), best_kg < math.inf
            sizes, bound = found[0], max(bound, found[1])
            self.watch.progress = replace(self.watch.progress, proving=True, bound_kg=bound)
            heat = bundles.broken(sizes)
            broken = [] if heat else self.task.broken(sizes)
            if not heat and not broken:
                mass = self.task.mass(sizes)
                if mass <= bound * (1 + 1e-9):
                    return sizes, bound, True
                if mass < best_kg:
                    best, best_kg = sizes, mass
                gap = 0.0
                continue
            if self.watch.over():
                return best, bound, False
            self.rows += heat
            self._learn(sizes, broken)

    def _cap(self, best_kg: float) -> Sizes:
        """By knob: the largest size of any choice that is no heavier than the best one known."""
        found = self.task.choose([0] * len(self.knobs), self.task.ratios)
        slack = best_kg - (found[1] if found is not None else 0.0) + 1e-9
        return tuple(
            max(s for s in k.sizes if s == k.sizes[0] or copper_kg(k, s) - copper_kg(k, k.sizes[0]) <= slack)
            for k in self.knobs
        )

    # Cuts

    def _learn(self, sizes: Sizes, broken: Sequence[Breach]) -> None:
        """Adds a cut for the worst breaches; those of one wire or load are one."""
        seen: set[tuple[str, str]] = set()
        for breach in sorted(broken, key=lambda b: -b.by):
            if (breach.kind, breach.what) in seen or len(seen) >= _CUTS_A_ROUND:
                continue
            seen.add((breach.kind, breach.what))
            before = self.judge.solved
            self._cut(sizes, breach)
            self.watch.spend(self.task.wires * (self.judge.solved - before))
            if self.watch.over():
                break

    def _cut(self, sizes: Sizes, breach: Breach) -> None:
        v = breach.variant
        used = self.judge.used[v]
        free = [i for i in used if sizes[i] < self.largest[i]]

        by_heat = breach.kind in {"heat", "fuse"} and not self._by_table(breach)

        def still(trial: Sizes) -> bool:
            if by_heat:
                best = self.judge.bounds[v].best(self.judge.sized(v, trial))
                return self.judge.heat_cannot_hold(breach, best, trial)
            return any(b.key == breach.key for b in self.judge.judge(v, trial)[1])

        def raised(keep: Collection[int]) -> Sizes:
            return tuple(s if i in keep else self.largest[i] for i, s in enumerate(sizes))

        own = self.judge.knob_of[v].get(breach.what)
        near = [i for i in self.on_way.get((v, breach.what, breach.case), ()) if i in free]
        beside = self._beside(v, breach.what) if by_heat else []
        if breach.kind in {"heat", "fuse"} and own is not None and own in free and still(raised({own})):
            keep, trial = [own], raised({own})
        elif by_heat and not still(raised(beside)):
            self._forbid(sizes, breach, beside)
            return
        elif by_heat:
            keep = self._needed([i for i in beside if i in free], lambda chosen: still(raised(chosen)))
            trial = raised(keep)
        elif breach.kind in _VOLTAGES and near and still(raised(near)):
            keep, trial = near, raised(near)
        else:
            keep = self._needed(free, lambda chosen: still(raised(chosen)))
            trial = raised(keep)
        # Raise what is left, each as far as the limit stays broken.
        at = {i: self.knobs[i].sizes.index(sizes[i]) for i in keep}
        for i in keep:
            low, high = at[i], len(self.knobs[i].sizes) - 1
            while low < high:
                middle = (low + high + 1) // 2
                if still(self._with(trial, i, self.knobs[i].sizes[middle])):
                    low = middle
                else:
                    high = middle - 1
            at[i] = low
            trial = self._with(trial, i, self.knobs[i].sizes[low])
        if breach.kind in _VOLTAGES and not still(self._less_beside(trial, breach)):
            self._weigh(sizes, breach, still)
            return
        if len(keep) == 1:
            self.first[keep[0]] = max(self.first[keep[0]], at[keep[0]] + 1)
            return
        cost = {
            i: tuple(-1.0 if j > at[i] else 0.0 for j in range(len(self.knobs[i].sizes))) for i in keep
        }  # fmt: skip
        self.rows.append(Row(f"cut for {breach.what}", cost, -1.0))

    def _off_way(self, breach: Breach) -> list[int]:
        on = self.on_way.get((breach.variant, breach.what, breach.case), ())
        return [i for i in self.judge.used[breach.variant] if i not in on]

    def _less_beside(self, sizes: Sizes, breach: Breach) -> Sizes:
        """With the least sizes of wires that do not lie on the load's way: other loads then draw less, and the voltage
        on the way that they share may rise."""
        off = set(self._off_way(breach))
        return tuple(k.sizes[0] if i in off else s for i, (k, s) in enumerate(zip(self.knobs, sizes, strict=True)))

    def _weigh(self, sizes: Sizes, breach: Breach, still: Callable[[Sizes], bool]) -> None:
        """A cut where smaller wires beside a load's way may help it: one on the way is larger than now, or one beside
        it smaller; only these very sizes are excluded where larger ones beside it may help as well."""
        off = set(self._off_way(breach))
        if not still(tuple(self.largest[i] if i in off else s for i, s in enumerate(sizes))):
            self._exclude(sizes, breach, self.judge.used[breach.variant])
            return
        cost = {}
        for i in self.judge.used[breach.variant]:
            now, knob = self.knobs[i].sizes.index(sizes[i]), self.knobs[i].sizes
            cost[i] = tuple(-1.0 if (j < now if i in off else j > now) else 0.0 for j in range(len(knob)))
        self.rows.append(Row(f"way and wires beside it for {breach.what}", cost, -1.0))

    def _by_table(self, breach: Breach) -> bool:
        """A standard's table judges this wire, not the heat balance."""
        report = self.judge.judge(breach.variant, self.largest)[0]
        state = report.worst(breach.what)
        return breach.kind == "heat" and not breach.case and state is not None and state.table_a is not None

    def _beside(self, v: int, wire: str) -> list[int]:
        """Knobs of the wires that share a segment with this one, its own among them."""
        of, routing = self.judge.knob_of[v], self.judge.routings[v]
        ids = [wire, *(other for segment in routing.wire[wire].segments for other in routing.bundle[segment])]
        return list(dict.fromkeys(of[w] for w in ids if w in of))

    def _forbid(self, sizes: Sizes, breach: Breach, beside: Sequence[int]) -> None:
        """A cut that excludes only these very sizes: those of the wires beside it where their least currents are
        enough to break the limit, else those of the whole variant."""
        v = breach.variant
        best = self.judge.bounds[v].exact(self.judge.routing(v, sizes))
        local = self.judge.heat_cannot_hold(breach, best, sizes)
        self._exclude(sizes, breach, beside if local else self.judge.used[v])

    def _exclude(self, sizes: Sizes, breach: Breach, which: Sequence[int]) -> None:
        """These knobs are not all at these sizes."""
        cost = {i: tuple(1.0 if s == sizes[i] else 0.0 for s in self.knobs[i].sizes) for i in which}
        self.rows.append(Row(f"not these at {breach.what}", cost, len(which) - 1.0))

    def _with(self, sizes: Sizes, i: int, mm2: float) -> Sizes:
        return (*sizes[:i], mm2, *sizes[i + 1 :])

    def _needed(self, free: list[int], still: Callable[[Collection[int]], bool]) -> list[int]:
        """Knobs that must stay as they are for the limit to stay broken: halves are dropped while that holds."""
        keep = list(free)
        size = max(len(keep) // 2, 1)
        while True:
            dropped = False
            begin = 0
            while begin < len(keep):
                trial = keep[:begin] + keep[begin + size :]
                if trial and still(trial):
                    keep, dropped = trial, True
                else:
                    begin += size
            if size == 1 and not dropped:
                return keep
            size = max(size // 2, 1)
