"""Good splices for a net of many ends: the best of several plans, each bettered by small changes until none helps.

One plan is the single splice, one joins the nearest two groups of ends again and again, others are given by the caller
(such as a Steiner tree of the whole net by another method), so that the outcome is never dearer than any of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from pinmap.core.loom.splice_task import HAIR, Joints, SplicePlan, SpliceTask, measured, obeys, star

_PARTINGS = 6  # tried in full at each splice


def large_splices(task: SpliceTask) -> SplicePlan:
    """The best plan found within the limits; proven only where it meets the bound that any plan must pay."""
    one = star(task)
    starts = [(one.places, one.joints), _gathered(task), *task.guesses()]
    found: list[SplicePlan] = []
    for places, joints in starts:
        kept = _within(task, places, joints)
        if kept is not None:
            found.append(_bettered(task, kept))
    best = min(found, key=lambda p: p.cost_g)
    least = task.least_copper_g() + task.limits.splice_cost_g
    return replace(best, proven=best.cost_g <= least + HAIR)


def _gathered(task: SpliceTask) -> tuple[tuple[int, ...], Joints]:
    """A plan that joins the two groups of ends that meet at the least cost, until three are left."""
    between = task.between
    # Of each group: its number, what its ends' wires add up to, what its wire has cost up to each place.
    groups = [(i, mm2, mm2 * task.to_place[i]) for i, mm2 in enumerate(task.mm2)]
    ends, places, joints = len(groups), list[int](), list[tuple[int, int]]()
    while len(groups) > 3:
        one, two = min(combinations(groups, 2), key=lambda pair: float((pair[0][2] + pair[1][2]).min()))
        groups = [g for g in groups if g is not one and g is not two]
        met, mm2 = one[2] + two[2], one[1] + two[1]
        ways = met[:, None] + task.trunk_mm2(mm2) * between
        rest = np.sum([g[2] for g in groups], axis=0)
        at = int(np.argmin(ways[:, int(np.argmin(ways.min(axis=0) + rest))]))
        me = ends + len(places)
        places.append(at)
        joints += [(one[0], me), (two[0], me)]
        groups.append((me, mm2, met[at] + task.trunk_mm2(mm2) * between[at]))
    me = ends + len(places)
    places.append(int(np.argmin(np.sum([g[2] for g in groups], axis=0))))
    return tuple(places), (*joints, *((g[0], me) for g in groups))


def _around(joints: Joints) -> dict[int, list[int]]:
    around: dict[int, list[int]] = {}
    for a, b in joints:
        around.setdefault(a, []).append(b)
        around.setdefault(b, []).append(a)
    return around


def tidy(ends: int, places: tuple[int, ...], joints: Joints) -> tuple[tuple[int, ...], Joints]:
    """The same tree without splices that join fewer than three wires, ends named before splices."""
    around = {k: set(v) for k, v in _around(joints).items()}
    again = True
    while again:
        again = False
        for s in [k for k in around if k >= ends]:
            near = around[s]
            if len(near) > 2:
                continue
            for n in near:
                around[n].discard(s)
            if len(near) == 2:
                a, b = near
                around[a].add(b)
                around[b].add(a)
            del around[s]
            again = True
    left = sorted(k for k in around if k >= ends)
    number = {old: ends + i for i, old in enumerate(left)} | {i: i for i in range(ends)}
    pairs = {(min(number[a], number[b]), max(number[a], number[b])) for a in around for b in around[a]}
    return tuple(places[s - ends] for s in left), tuple(sorted(pairs))


def _within(task: SpliceTask, places: tuple[int, ...], joints: Joints) -> SplicePlan | None:
    """A plan that obeys the limits, made from one that need not; None where dividing and joining splices does not
    lead to one."""
    ends, most = len(task.mm2), task.limits.max_wires
    where, pairs = list(places), [list(j) for j in joints]
    if most:
        s = ends
        while s < ends + len(where):
            mine = sorted((p for p in pairs if s in p), key=lambda p: (max(p), min(p)))
            if len(mine) > most:  # all but most - 1 of the wires go on to a second splice at the same place
                other = ends + len(where)
                where.append(where[s - ends])
                for p in mine[most - 1 :]:
                    p[p.index(s)] = other
                pairs.append([s, other])
            s += 1
    plan = _made(task, tuple(where), tuple((min(p), max(p)) for p in pairs))
    while task.limits.max_splices and len(plan.places) > task.limits.max_splices:
        joined = [p for p in _joined(task, plan) if _wires_obey(task, p)]
        if not joined:
            return None
        plan = min(joined, key=lambda p: p.cost_g)
    return plan


def _wires_obey(task: SpliceTask, plan: SplicePlan) -> bool:
    return obeys(replace(task.limits, max_splices=0), len(task.mm2), plan)


def _made(task: SpliceTask, places: tuple[int, ...], joints: Joints) -> SplicePlan:
    return measured(task, *tidy(len(task.mm2), places, joints))


def _bettered(task: SpliceTask, plan: SplicePlan) -> SplicePlan:
    for _ in range(100):  # each round betters the plan, so that this is a guard and no limit
        plan = _moved(task, plan)
        options = [p for p in _changes(task, plan) if obeys(task.limits, len(task.mm2), p)]
        best = min(options, key=lambda p: p.cost_g, default=plan)
        if best.cost_g >= plan.cost_g - HAIR:
            return plan
        plan = best
    return plan


def _moved(task: SpliceTask, plan: SplicePlan) -> SplicePlan:
    """Each splice at the best place for the wires that it has."""
    ends = len(task.mm2)
    places = list(plan.places)
    for _ in range(10):
        before = list(places)
        for s in range(len(places)):
            pull = np.zeros(task.to_place.shape[1])
            for (a, b), mm2 in zip(plan.joints, plan.mm2, strict=True):
                if ends + s not in (a, b):
                    continue
                other = a + b - ends - s
                if other < ends:
                    pull += mm2 * task.to_place[other]
                else:
                    pull += mm2 * task.between[places[other - ends]]
            if pull.min() < pull[places[s]] - HAIR:
                places[s] = int(np.argmin(pull))
        if places == before:
            break
    return measured(task, tuple(places), plan.joints)


def _changes(task: SpliceTask, plan: SplicePlan) -> Iterator[SplicePlan]:
    yield from _joined(task, plan)
    ends = len(task.mm2)
    splices = range(ends, ends + len(plan.places))
    if len(splices) > 1:
        for end in range(ends):  # to another splice
            now = next(b for a, b in plan.joints if a == end)
            for s in splices:
                if s != now:
                    yield _made(task, plan.places, tuple((a, s) if a == end else (a, b) for a, b in plan.joints))
    new = ends + len(plan.places)
    for s in splices:
        for one, two in _partings(task, plan, s):
            kept = [j for j in plan.joints if set(j) not in ({s, one}, {s, two})]
            joints = (*kept, (one, new), (two, new), (s, new))
            yield _moved(task, _made(task, (*plan.places, plan.places[s - ends]), joints))


def _partings(task: SpliceTask, plan: SplicePlan, s: int) -> list[tuple[int, int]]:
    """Pairs of this splice's wires, by their other ends, that would best leave for a splice of their own, while all
    else stays where it is: the few that save the most."""
    ends, here = len(task.mm2), plan.places[s - len(task.mm2)]
    wires = [(a + b - s, mm2) for (a, b), mm2 in zip(plan.joints, plan.mm2, strict=True) if s in (a, b)]
    full = task.limits.max_splices and len(plan.places) >= task.limits.max_splices
    if len(wires) < 4 or full:
        return []
    metres = [task.to_place[p] if p < ends else task.between[plan.places[p - ends]] for p, _ in wires]
    cost = np.array([mm2 for _, mm2 in wires])[:, None] * np.array(metres)
    saved: list[tuple[float, int, int]] = []
    for i, (one, one_mm2) in enumerate(wires[:-1]):
        trunks = np.array([task.trunk_mm2(one_mm2 + two_mm2) for _, two_mm2 in wires[i + 1 :]])
        apart = cost[i] + cost[i + 1 :] + trunks[:, None] * task.between[here]
        gains = cost[i, here] + cost[i + 1 :, here] - apart.min(axis=1)
        saved += [(-gain, one, two) for gain, (two, _) in zip(gains.tolist(), wires[i + 1 :], strict=True)]
    return [(one, two) for _, one, two in sorted(saved)[:_PARTINGS]]


def _joined(task: SpliceTask, plan: SplicePlan) -> Iterator[SplicePlan]:
    """Two splices become one."""
    ends = len(task.mm2)
    for a, b in plan.joints:
        if a < ends:
            continue
        for gone, kept in ((a, b), (b, a)):
            moved = ((kept if x == gone else x, kept if y == gone else y) for x, y in plan.joints if {x, y} != {a, b})
            yield _made(task, plan.places, tuple((min(pair), max(pair)) for pair in moved))
