"""Sizes and routes agree when the rounds end, and another run has nothing to add."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import product

import pytest

from pinmap.core.electrics.size_choices import Knob, knobs
from pinmap.core.electrics.size_limits import Judge
from pinmap.core.electrics.size_rounds import CIRCLE, RESTS, loom_copper_kg, settle, solved, with_sizes
from pinmap.core.electrics.size_rows import splice_breaches
from pinmap.core.facts.functions import dictionary
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Severity
from pinmap.core.rules.registry import run_all
from pinmap.demo import finished_snapshot
from tests.factories_sizing import moving_job, sizing_job

JOBS = 6
DEMO_SIGNALS = {"s084", "s086"}  # both stages of the fan
OF_SIZES = {"R09", "R14", "R15", "R16", "R43", "R53", "R90", "R91"}  # heat, drops, splices, joints, fuses


def judged(snapshot: Snapshot) -> tuple[set[tuple[str, int, str, str]], float, list[Knob]]:
    """What a job breaks on its own routes, its copper [kg], and the places that set its sizes."""
    results = solved(snapshot, dictionary())
    routings = [r[1] for r in results]
    chosen = knobs(snapshot, routings, [r[2] for r in results], dictionary())
    judge = Judge(snapshot, [r[0] for r in results], routings, dictionary(), chosen)
    sizes = tuple(k.now_mm2 for k in chosen)
    broken = [*judge.all_breaches(sizes), *splice_breaches(judge, chosen, sizes)]
    return {b.key for b in broken}, loom_copper_kg(results), list(chosen)


def sized(snapshot: Snapshot, chosen: Sequence[Knob], sizes: Sequence[float]) -> Snapshot:
    return Snapshot(with_sizes(snapshot.job, chosen, sizes), snapshot.platforms, snapshot.housings)


def largest(snapshot: Snapshot) -> Snapshot:
    """With the largest sizes; a load that they feed frees wires that were kept, hence twice."""
    for _ in range(2):
        _, _, chosen = judged(snapshot)
        snapshot = sized(snapshot, chosen, [k.sizes[-1] for k in chosen])
    return snapshot


@pytest.mark.parametrize("make", [sizing_job, moving_job])
def test_what_is_set_holds_on_its_own_routes_and_a_second_run_adds_nothing(make: Callable[[int], Snapshot]) -> None:
    ends, moved = set(), 0
    for seed in range(JOBS):
        job = make(seed)
        beyond, _, _ = judged(largest(job))
        found = settle(job, dictionary(), time_s=600.0)
        after = Snapshot(found.job, job.platforms, job.housings)
        broken, copper_kg, _ = judged(after)
        assert broken <= beyond, seed
        assert copper_kg == pytest.approx(found.copper_kg, rel=1e-9)
        again = settle(after, dictionary(), time_s=600.0)
        assert again.job == found.job, seed
        assert not again.moved
        ends.add(found.end)
        moved += bool(found.moved)
    assert ends == {RESTS, CIRCLE}
    assert moved


def test_no_choice_on_the_routes_that_it_brings_is_lighter() -> None:
    """Against all choices, each on its own routes, on jobs whose splices move or go round."""
    for seed in range(10):
        job = sizing_job(seed)
        most = largest(job)
        beyond, _, chosen = judged(most)
        every = (judged(sized(most, chosen, sizes)) for sizes in product(*(k.sizes for k in chosen)))
        least_kg = min(kg for broken, kg, _ in every if broken <= beyond)
        assert settle(job, dictionary(), time_s=600.0).copper_kg == pytest.approx(least_kg, rel=1e-9), seed


def test_the_demo_with_its_proposed_sizes_has_no_finding_that_sizes_could_mend() -> None:
    demo = finished_snapshot()
    wires = {w.id for _, routing, _ in solved(demo, dictionary()) for w in routing.wires if w.signal in DEMO_SIGNALS}
    found = settle(demo, dictionary(), scope=wires, time_s=600.0)
    assert not found.broken
    assert not found.unmet
    assert found.copper_kg < found.copper_before_kg
    said = run_all(Snapshot(found.job, demo.platforms, demo.housings), dictionary())
    assert not [x for x in said if x.rule in OF_SIZES and x.severity is not Severity.NOTE]
