"""Sizes are the least that meet every limit: against exhaustive search."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from pinmap.core.electrics.optimum import Optimum, _Search, optimum
from pinmap.core.electrics.size_choices import Sizes, copper_kg
from pinmap.core.electrics.size_limits import Judge
from pinmap.core.electrics.size_rounds import solved
from pinmap.core.electrics.size_rows import SPLICE_RATIO, splice_breaches
from pinmap.core.electrics.size_watch import Watch
from pinmap.core.facts.functions import dictionary
from pinmap.demo import finished_snapshot
from tests.factories_sizing import sizing_job

JOBS = 240


def exhaustive(found: Optimum) -> tuple[float, Sizes]:
    """The lightest of all choices that breaks no limit but those which no choice meets, tried one by one."""
    judge: Judge = found.judge
    left_out = {b.key for b in found.unmet}

    def kg(sizes: Sizes) -> float:
        return sum(copper_kg(k, s) for k, s in zip(found.knobs, sizes, strict=True))

    for sizes in sorted(product(*(k.sizes for k in found.knobs)), key=kg):
        if not found.ratio_unmet and not splices_fit(judge, sizes):
            continue
        if all(b.key in left_out for b in judge.all_breaches(sizes)):
            return kg(sizes), sizes
    raise AssertionError("not even the largest sizes meet what they can meet")


def splices_fit(judge: Judge, sizes: Sizes) -> bool:
    for v in range(len(judge.variants)):
        routing = judge.routing(v, sizes)
        for splice in routing.splices:
            areas = [routing.wire[w].mm2 for w in splice.wires]
            if any(a > SPLICE_RATIO * (sum(areas) - a) + 1e-6 for a in areas):
                return False
    return True


def test_sizes_that_break_a_splices_ratio_are_mended_where_the_largest_break_it_too() -> None:
    """Not by the largest sizes of all, which no step down would ever make fit."""
    demo = finished_snapshot()
    results = solved(demo, dictionary())
    found = optimum(demo, dictionary(), results=results, watch=Watch(0.0), prove=False)
    largest = [k.sizes[-1] for k in found.knobs]
    worst = next(b for b in splice_breaches(found.judge, found.knobs, largest) if b.variant == 0)
    splice = next(s for s in results[0][1].splices if s.id == worst.what)
    thick = {found.judge.knob_of[0][w] for w in splice.wires[:1] if w in found.judge.knob_of[0]}
    sizes = tuple(k.sizes[-1] if i in thick else k.now_mm2 for i, k in enumerate(found.knobs))
    mended = _Search(found.judge, [replace(k, now_mm2=s) for k, s in zip(found.knobs, sizes, strict=True)], Watch(60.0))
    assert splice_breaches(found.judge, found.knobs, sizes), "nothing is broken"
    assert not splice_breaches(found.judge, found.knobs, mended.run(prove=False).sizes)


@pytest.mark.parametrize("part", range(8))
def test_no_choice_has_less_copper(part: int) -> None:
    binding = 0
    for seed in range(part, JOBS, 8):
        job = sizing_job(seed)
        found = optimum(job, dictionary(), results=solved(job, dictionary()), watch=Watch(600.0))
        least_kg, sizes = exhaustive(found)
        assert found.proven, seed
        assert found.mass_kg == pytest.approx(least_kg, rel=1e-9), (seed, found.sizes, sizes)
        assert not [b for b in found.judge.all_breaches(found.sizes) if b.key not in {u.key for u in found.unmet}]
        binding += any(s > k.sizes[0] for k, s in zip(found.knobs, found.sizes, strict=True))
    assert binding > JOBS / 8 / 2, "these jobs ask nothing of the sizes"
