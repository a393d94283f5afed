"""The least copper that meets every limit in every case and variant.

A mixed-integer master (HiGHS) chooses sizes by linear rows that no good choice breaks (``size_rows``), so its optimum
is a bound from below. The choice is then judged on the true network with heat. Where a limit is broken, a cut is added:
at least one of the wires that bear on the limit must be thicker than here. Wires that cannot help are left out of the
cut, and the others are raised as far as the limit stays broken, which makes the cut strong. For voltages this takes it
that thinner never helps; for heat it need not be so, and ``size_bounds`` proves the cut or only these sizes are barred.
The first choice that breaks nothing has the least copper of all. Couplings that no row shows (a bundle's heat, a
conductor's temperature, currents that move with the voltage, loops) are thus met by the network itself.
"""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.electrics.size_choices import Knob, knobs
from pinmap.core.electrics.size_limits import Breach, Judge, Sizes
from pinmap.core.electrics.size_rows import Row, Rows, splice_rows
from pinmap.core.facts.fault import COPPER_KG_PER_M3
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant

Result = tuple[Variant, Routing, ElectricalReport]
_TIME_S = 60.0
_VOLTAGES = frozenset({"drop", "starved", "fed"})  # kinds of breach
_CUTS_A_ROUND = 12
_SEED = 8820
_GUESSES = 14
_DESCENT_SHARE = 0.6  # of the time left, where a proof is to follow


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


def copper_kg(knob: Knob, mm2: float) -> float:
    """Copper of all pieces of wire that one knob sets [kg], by nominal area."""
    return knob.length_m * mm2 * 1e-6 * COPPER_KG_PER_M3.value


def optimum(
    snapshot: Snapshot,
    dictionary: Dictionary,
    *,
    scope: Collection[str] | None = None,
    results: Sequence[Result],
    time_s: float = _TIME_S,
    prove: bool = True,
) -> Optimum:
    """Sizes with the least copper for the wires of ``scope`` (ids, None for all), over all variants, on the routes of
    ``results`` as they are. After ``time_s``, or without ``prove``, the best choice found so far is given, with
    ``proven`` false. Of equals the sizes that stand win."""
    variants, routings = [r[0] for r in results], [r[1] for r in results]
    chosen = knobs(snapshot, routings, [r[2] for r in results], dictionary, scope)
    judge = Judge(snapshot, variants, routings, dictionary, chosen)
    return _Search(judge, chosen, time_s).run(prove)


class _Search:
    def __init__(self, judge: Judge, chosen: Sequence[Knob], time_s: float) -> None:
        self.judge, self.knobs = judge, chosen
        self.until = time.monotonic() + time_s
        self.largest: Sizes = tuple(k.sizes[-1] for k in chosen)
        self.unmet = judge.all_breaches(self.largest)
        self.left_out = {b.key for b in self.unmet}
        self.start = np.cumsum([0, *(len(k.sizes) for k in chosen)])
        self.ratios = splice_rows(judge, chosen)
        self.ratio_unmet = self._master([0] * len(chosen), self.ratios) is None
        if self.ratio_unmet:
            self.ratios = []
        self.rounds = 0
        self.cut_short = False
        self.first: list[int] = []
        self.rows: list[Row] = []
        self.on_way: dict[tuple[int, str, str], tuple[int, ...]] = {}

    def run(self, prove: bool) -> Optimum:
        best = self._descend(self._guess(), _DESCENT_SHARE if prove else 1.0) if self.knobs else self.largest
        if not self.knobs:
            sizes, bound, proven = best, 0.0, True
        else:
            sizes, bound, proven = self._prove(best) if prove else (best, 0.0, False)
        mass = self._mass(sizes)
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

    def _mass(self, sizes: Sizes) -> float:
        return sum(copper_kg(k, s) for k, s in zip(self.knobs, sizes, strict=True))

    def _guess(self) -> Sizes:
        """A good choice by near rows, built again around each choice until it breaks nothing."""
        sizes = tuple(k.now_mm2 if k.now_mm2 in k.sizes else _up(k, k.now_mm2) for k in self.knobs)
        best = sizes if self._fits(sizes) else self._heaviest()
        best_kg = self._mass(best)
        floor = [0] * len(self.knobs)
        tight: dict[str, float] = {}
        for _ in range(_GUESSES):
            if time.monotonic() > self.until:
                self.cut_short = True
                break
            near = Rows(self.judge, self.knobs, sizes, self.left_out)
            first = [max(f, g) for f, g in zip(near.first, floor, strict=True)]
            rows = [replace(r, most=r.most - tight.get(r.what, 0.0)) for r in near.rows]
            found = self._master(first, rows + self.ratios) or self._master(first, self.ratios)
            if found is None:
                break
            before, (sizes, _) = sizes, found
            broken = self._broken(sizes)
            if not broken and self._mass(sizes) < best_kg * (1 - 1e-9):
                best, best_kg = sizes, self._mass(sizes)
            if sizes == before and not broken:
                break
            if sizes == before:  # the rows guess too well of it: ask for a little more there
                for b in broken:
                    i = self.judge.knob_of[b.variant].get(b.what)
                    if i is not None and b.kind != "short":
                        up = min(self.knobs[i].sizes.index(sizes[i]) + 1, len(self.knobs[i].sizes) - 1)
                        floor[i] = max(floor[i], up)
                    for r in near.rows:
                        if r.what == f"{b.what} in {b.case}" or (b.kind == "short" and r.what == f"short at {b.what}"):
                            tight[r.what] = tight.get(r.what, 0.0) + max(0.002 * abs(r.most), 1e-4)
        return best

    def _heaviest(self) -> Sizes:
        """The most copper that keeps the ratio at every splice, which the largest sizes need not do."""
        found = self._master([0] * len(self.knobs), self.ratios, heaviest=True)
        return self.largest if found is None else found[0]

    def _fits(self, sizes: Sizes) -> bool:
        """Breaks nothing that could be met; looked at variant by variant, to the first breach."""
        at = [k.sizes.index(s) for k, s in zip(self.knobs, sizes, strict=True)]
        for row in self.ratios:
            if sum(cost[at[i]] for i, cost in row.cost.items()) > row.most + 1e-9:
                return False
        return not any(
            b.key not in self.left_out for v in range(len(self.judge.variants)) for b in self.judge.judge(v, sizes)[1]
        )

    def _descend(self, best: Sizes, share: float) -> Sizes:
        """Makes wires thinner step by step while nothing breaks: many at once, in halves where they break something.
        Takes at most this share of the time left."""
        until = time.monotonic() + share * max(self.until - time.monotonic(), 0.0)
        open_knobs = [i for i, k in enumerate(self.knobs) if len(k.sizes) > 1]
        while open_knobs:
            open_knobs = [i for i in open_knobs if best[i] > self.knobs[i].sizes[0]]
            open_knobs.sort(key=lambda i: -self._saving(best, i))
            thinner: list[int] = []
            todo = [open_knobs] if open_knobs else []
            while todo:
                if time.monotonic() > until:
                    self.cut_short = True
                    return best
                part = todo.pop()
                trial = list(best)
                for i in part:
                    trial[i] = self.knobs[i].sizes[self.knobs[i].sizes.index(best[i]) - 1]
                if self._fits(tuple(trial)):
                    best = tuple(trial)
                    thinner += part
                elif len(part) > 1:
                    middle = len(part) // 2
                    todo += [part[middle:], part[:middle]]
            open_knobs = thinner
        return best

    def _saving(self, sizes: Sizes, i: int) -> float:
        """Copper of one step down [kg]."""
        knob = self.knobs[i]
        below = knob.sizes[max(knob.sizes.index(sizes[i]) - 1, 0)]
        return copper_kg(knob, sizes[i]) - copper_kg(knob, below)

    def _prove(self, best: Sizes) -> tuple[Sizes, float, bool]:
        """From below: the master's choice is judged, and a cut is learned from what it breaks, until it breaks nothing
        or nothing cheaper than the best known choice is left. Gives sizes, bound, proven."""
        best_kg = self._mass(best) if self._fits(best) else math.inf
        cap = self._cap(best_kg)
        pick = random.Random(_SEED)  # noqa: S311  # any choice that is not the largest will do
        other: Sizes = tuple(pick.choice([s for s in k.sizes if s <= c]) for k, c in zip(self.knobs, cap, strict=True))
        if time.monotonic() > self.until:
            return best, 0.0, False
        safe = Rows(self.judge, self.knobs, cap, self.left_out, other)
        self.first, self.rows, self.on_way, self.largest = safe.first, safe.rows, safe.on_way, cap
        bound = 0.0
        while True:
            self.rounds += 1
            found = self._master(self.first, self.rows + self.ratios)
            if found is None or found[1] >= best_kg * (1 - 1e-9):
                return best, min(best_kg, self._mass(best)), best_kg < math.inf
            sizes, bound = found
            broken = self._broken(sizes)
            if not broken:
                return sizes, bound, True
            if time.monotonic() > self.until:
                return best, bound, False
            self._learn(sizes, broken)

    def _cap(self, best_kg: float) -> Sizes:
        """By knob: the largest size of any choice that is no heavier than the best one known."""
        found = self._master([0] * len(self.knobs), self.ratios)
        slack = best_kg - (found[1] if found is not None else 0.0) + 1e-9
        return tuple(
            max(s for s in k.sizes if s == k.sizes[0] or copper_kg(k, s) - copper_kg(k, k.sizes[0]) <= slack)
            for k in self.knobs
        )

    def _broken(self, sizes: Sizes) -> list[Breach]:
        return [b for b in self.judge.all_breaches(sizes) if b.key not in self.left_out]

    def _master(
        self, first: Sequence[int], rows: Sequence[Row], *, heaviest: bool = False
    ) -> tuple[Sizes, float] | None:
        """The choice of least copper under the rows, or of most, checked against them exactly; None where there is
        none."""
        if not self.knobs:
            return (), 0.0
        # imported where it is used: it loads for long, and the app can start without
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import coo_array

        n = int(self.start[-1])
        cost = np.array([copper_kg(k, s) for k in self.knobs for s in k.sizes])
        high = np.ones(n)
        for i, least in enumerate(first):
            high[self.start[i] : self.start[i] + least] = 0.0
        one = LinearConstraint(
            coo_array(
                (np.ones(n), (np.repeat(np.arange(len(self.knobs)), np.diff(self.start)), np.arange(n))),
                shape=(len(self.knobs), n),
            ).tocsr(), 1, 1,
        )  # fmt: skip
        limits = [one]
        if rows:
            data, at, column, most = [], [], [], []
            for r, row in enumerate(rows):
                scale = max((abs(x) for c in row.cost.values() for x in c), default=1.0) or 1.0
                for i, each in row.cost.items():
                    for j, value in enumerate(each):
                        data.append(value / scale)
                        at.append(r)
                        column.append(int(self.start[i]) + j)
                most.append(row.most / scale)
            matrix = coo_array((data, (at, column)), shape=(len(rows), n)).tocsr()
            limits.append(LinearConstraint(matrix, -np.inf, np.array(most)))
        found = milp(
            -cost if heaviest else cost, constraints=limits, integrality=np.ones(n, dtype=np.int64),
            bounds=Bounds(0, high), options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        if found.x is None:
            return None
        sizes = tuple(
            k.sizes[int(np.argmax(found.x[self.start[i] : self.start[i + 1]]))] for i, k in enumerate(self.knobs)
        )
        return sizes, float(found.fun)

    # Cuts

    def _learn(self, sizes: Sizes, broken: Sequence[Breach]) -> None:
        """Adds a cut for the worst breaches; those of one wire or load are one."""
        seen: set[tuple[str, str]] = set()
        for breach in sorted(broken, key=lambda b: -b.by):
            if (breach.kind, breach.what) in seen or len(seen) >= _CUTS_A_ROUND:
                continue
            seen.add((breach.kind, breach.what))
            self._cut(sizes, breach)
            if time.monotonic() > self.until:
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


def _up(knob: Knob, mm2: float) -> float:
    return next((s for s in knob.sizes if s >= mm2), knob.sizes[-1])
