"""Rows that bound the copper from below cut off no choice of sizes that breaks nothing."""

from __future__ import annotations

from itertools import product

import numpy as np

from pinmap.core.electrics.size_choices import Row, Sizes, knobs
from pinmap.core.electrics.size_heat import BundleCuts
from pinmap.core.electrics.size_limits import Judge
from pinmap.core.electrics.size_rounds import solved
from pinmap.core.electrics.size_rows import Rows
from pinmap.core.facts.functions import dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.demo import finished_snapshot
from tests.factories_sizing import sizing_job

JOBS = 24


def safe_rows(snapshot: Snapshot) -> tuple[Judge, Rows, BundleCuts]:
    results = solved(snapshot, dictionary())
    routings = [r[1] for r in results]
    chosen = knobs(snapshot, routings, [r[2] for r in results], dictionary())
    judge = Judge(snapshot, [r[0] for r in results], routings, dictionary(), chosen)
    largest = tuple(k.sizes[-1] for k in chosen)
    left_out = frozenset(b.key for b in judge.all_breaches(largest))
    safe = Rows(judge, chosen, largest, left_out, safe=True)
    top = [len(k.sizes) - 1 for k in chosen]
    return judge, safe, BundleCuts(judge, chosen, safe, [0] * len(top), top)


def left_w_per_m(judge: Judge, row: Row, sizes: Sizes) -> float:
    """How far below its most a choice keeps a row, as a share of it."""
    total = sum(cost[judge.knobs[i].sizes.index(sizes[i])] for i, cost in row.cost.items())
    return (row.most - total) / max(abs(row.most), 1.0)


def test_no_row_of_a_bundles_heat_cuts_off_a_choice_that_holds_and_no_current_is_below_the_least() -> None:
    cut, held, looped = 0, 0, 0
    for seed in range(JOBS):
        judge, safe, bundles = safe_rows(sizing_job(seed))
        every = list(product(*(k.sizes for k in judge.knobs)))
        good = [s for s in every if all(b.key in safe.left_out for b in judge.all_breaches(s))]
        rows = [row for s in every if s not in good for row in bundles.broken(s)]
        for sizes in good:
            assert all(left_w_per_m(judge, row, sizes) > -1e-9 for row in rows), (seed, sizes)
            for v, cuts in enumerate(safe.cuts):
                report = judge.judge(v, sizes)[0]
                for number, case in enumerate(c for c in judge.cases if report.wires.get(c)):
                    states = [report.wires[case][w.id] for w in judge.routings[v].wires]
                    heats = np.array([s.heating_a for s in states])
                    assert np.all(heats >= safe.heating_a[v][number] - 1e-6), (seed, sizes, case)
                    for wires, amps in cuts[number].together(cuts[number].looped):
                        assert abs(sum(heats[sorted(wires)])) >= amps - 1e-6, (seed, sizes, case)
                        looped += 1
        cut, held = cut + len(rows), held + len(good)
    assert cut > JOBS
    assert held > JOBS
    assert looped


def test_the_demos_own_sizes_keep_every_row_that_its_least_sizes_break() -> None:
    judge, safe, bundles = safe_rows(finished_snapshot())
    now = tuple(k.now_mm2 for k in judge.knobs)
    assert all(b.key in safe.left_out for b in judge.all_breaches(now))
    rows = bundles.broken(tuple(k.sizes[0] for k in judge.knobs))
    assert len(rows) > 50
    assert min(left_w_per_m(judge, row, now) for row in rows) > 0
