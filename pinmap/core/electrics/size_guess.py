"""A good choice of sizes, without proof.

Near rows tell what the limits are like about a choice that breaks none; the master's answer to them, no size more than
a step away, is most often too bold somewhere. So it is taken over in parts: all of it if that holds on the true
network, else its halves, their halves, and so on. From what was taken over the rows are made anew, while that makes the
copper less. At the end single sizes go down where nothing forbids it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from pinmap.core.electrics.size_choices import Knob, Row, Sizes, copper_kg, mass_kg
from pinmap.core.electrics.size_heat import BundleCuts
from pinmap.core.electrics.size_limits import Breach, Judge, Key
from pinmap.core.electrics.size_master import Master
from pinmap.core.electrics.size_rows import Rows
from pinmap.core.electrics.size_watch import Watch

_WITHIN_K = 20.0  # of its limit, a place whose heat is a near row
_LEAST_GAIN = 1e-3  # share of the copper by which a round must better it
_GAP = 5e-3  # share to which the master's answer is sought: near rows are no truer
_MENDINGS, _MENDING_STEPS = 12, 2  # tries, and how many sizes each may go up
_CHOOSING = 0.02  # work of the master for a row and a size, by that of judging one wire


@dataclass
class Task:
    """What is asked: limits that no sizes meet are left out; ``ratios`` are the rows of the splices."""

    judge: Judge
    knobs: Sequence[Knob]
    master: Master
    left_out: frozenset[Key]
    ratios: Sequence[Row]
    watch: Watch
    strictest: int = 0  # the variant that broke a limit last
    wires: float = field(init=False)

    def __post_init__(self) -> None:
        routings = self.judge.routings
        self.wires = sum(len(r.wires) for r in routings) / max(len(routings), 1)

    def place(self, sizes: Sizes) -> list[int]:
        return [k.sizes.index(s) for k, s in zip(self.knobs, sizes, strict=True)]

    def mass(self, sizes: Sizes) -> float:
        return mass_kg(self.knobs, sizes)

    def note(self, best: Sizes) -> None:
        """Tells how light the loom would be with these sizes on the routes at hand."""
        now_kg = sum(copper_kg(k, k.now_mm2) for k in self.knobs)
        self.watch.progress = replace(self.watch.progress, trial_kg=self.watch.loom_kg - now_kg + self.mass(best))

    def broken(self, sizes: Sizes) -> list[Breach]:
        self.watch.spend(self.wires * len(self.judge.variants))
        return [b for b in self.judge.all_breaches(sizes) if b.key not in self.left_out]

    def fits(self, sizes: Sizes) -> bool:
        """Breaks nothing that could be met; looked at variant by variant, to the first breach."""
        at = self.place(sizes)
        for row in self.ratios:
            if sum(cost[at[i]] for i, cost in row.cost.items()) > row.most + 1e-9:
                return False
        for v in sorted(range(len(self.judge.variants)), key=lambda v: v != self.strictest):
            before = self.judge.solved
            good = self.judge.fits(v, sizes, self.left_out)
            self.watch.spend(self.wires * (self.judge.solved - before))
            if not good:
                self.strictest = v
                return False
        return True

    def choose(
        self, first: Sequence[int], rows: Sequence[Row], *, last: Sequence[int] | None = None, gap: float = 0.0
    ) -> tuple[Sizes, float] | None:
        self.watch.spend(_CHOOSING * (len(rows) + 1) * len(self.knobs))
        return self.master.choose(first, rows, last=last, gap=gap)

    def heaviest(self) -> Sizes:
        """The most copper that keeps the ratio at every splice, which the largest sizes need not do."""
        found = self.master.choose([0] * len(self.knobs), self.ratios, heaviest=True)
        return tuple(k.sizes[-1] for k in self.knobs) if found is None else found[0]


def guess(task: Task) -> Sizes:
    """A good choice that breaks nothing; as far as it comes before the watch ends it."""
    sizes = tuple(k.now_mm2 if k.now_mm2 in k.sizes else _up(k, k.now_mm2) for k in task.knobs)
    mended = sizes if task.fits(sizes) else _mended(task, sizes)
    best = task.heaviest() if mended is None else mended
    steps = max((len(k.sizes) for k in task.knobs), default=1) if mended is None else 2
    while not task.watch.over():
        trial = _by_near_rows(task, best, steps)
        gain = 0.0 if trial is None else task.mass(best) - task.mass(trial)
        better = gain > _LEAST_GAIN * task.mass(best)
        if trial is not None:
            best = trial
        if not better and steps == 1:
            break
        steps = steps if better and steps <= 2 else max(steps // 2, 1)
    return best


def _near(task: Task, sizes: Sizes) -> tuple[list[int], list[Row]]:
    """The smallest size of each wire and the rows, as limits are about a choice."""
    near = Rows(task.judge, task.knobs, sizes, task.left_out)
    top = [len(k.sizes) - 1 for k in task.knobs]
    bundles = BundleCuts(task.judge, task.knobs, near, [0] * len(top), top)
    return near.first, [*near.rows, *bundles.near(sizes, _WITHIN_K), *task.ratios]


def _by_near_rows(task: Task, best: Sizes, steps: int) -> Sizes | None:
    least, rows = _near(task, best)
    at = task.place(best)
    last = [min(i + steps, len(k.sizes) - 1) for i, k in zip(at, task.knobs, strict=True)]
    first = [min(max(f, i - steps), t) for f, i, t in zip(least, at, last, strict=True)]
    found = task.choose(first, rows, last=last, gap=_GAP)
    return None if found is None else _taken_over(task, best, found[0])


def _mended(task: Task, sizes: Sizes) -> Sizes | None:
    """Larger sizes that mend what these break, as few as the near rows ask for, and a little more where they ask for
    too little; None where that does not help."""
    least, rows = _near(task, sizes)
    at = task.place(sizes)
    first = [max(i, min(f, len(k.sizes) - 1)) for i, f, k in zip(at, least, task.knobs, strict=True)]
    for _ in range(_MENDINGS):
        last = [min(i + _MENDING_STEPS, len(k.sizes) - 1) for i, k in zip(first, task.knobs, strict=True)]
        found = task.choose(first, rows, last=last, gap=_GAP)
        if found is None or task.watch.over():
            return None
        if task.fits(found[0]):
            return found[0]
        for b in task.broken(found[0]):
            own = task.judge.knob_of[b.variant].get(b.what)
            if own is not None and b.kind != "short":
                first[own] = max(first[own], min(task.knobs[own].sizes.index(found[0][own]) + 1, last[own]))
            names = (f"{b.what} in {b.case}", f"short at {b.what}")
            rows = [replace(r, most=r.most - 0.01 * abs(r.most)) if r.what in names else r for r in rows]
    return None


def _taken_over(task: Task, best: Sizes, bold: Sizes) -> Sizes:
    """What of a bold choice holds, and makes the copper less."""
    todo = [[i for i in range(len(best)) if bold[i] != best[i]]]
    while todo and not task.watch.over():
        part = todo.pop()
        trial = list(best)
        for i in part:
            trial[i] = bold[i]
        lighter = task.mass(tuple(trial)) < task.mass(best) - 1e-12
        if lighter and task.fits(tuple(trial)):
            best = tuple(trial)
            task.note(best)
        elif len(part) > 1:
            middle = len(part) // 2
            todo += [part[middle:], part[:middle]]
    return best


def descend(task: Task, best: Sizes) -> Sizes:
    """Makes wires thinner step by step while nothing breaks: many at once, in halves where they break something."""
    open_knobs = [i for i, k in enumerate(task.knobs) if len(k.sizes) > 1]
    while open_knobs:
        open_knobs = [i for i in open_knobs if best[i] > task.knobs[i].sizes[0]]
        open_knobs.sort(key=lambda i: -_saving(task.knobs[i], best[i]))
        thinner: list[int] = []
        todo = [open_knobs] if open_knobs else []
        while todo:
            if task.watch.over():
                return best
            part = todo.pop()
            trial = list(best)
            for i in part:
                trial[i] = task.knobs[i].sizes[task.knobs[i].sizes.index(best[i]) - 1]
            if task.fits(tuple(trial)):
                best = tuple(trial)
                task.note(best)
                thinner += part
            elif len(part) > 1:
                middle = len(part) // 2
                todo += [part[middle:], part[:middle]]
        open_knobs = thinner
    return best


def _saving(knob: Knob, mm2: float) -> float:
    """Copper of one step down [kg]."""
    below = knob.sizes[max(knob.sizes.index(mm2) - 1, 0)]
    return copper_kg(knob, mm2) - copper_kg(knob, below)


def _up(knob: Knob, mm2: float) -> float:
    return next((s for s in knob.sizes if s >= mm2), knob.sizes[-1])
