"""The check after an edit against the check from scratch."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import fields, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.core.electrics.check import check, recheck
from pinmap.core.electrics.results import ElectricalReport
from pinmap.core.facts.functions import Dictionary
from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.core.model.looms import Node
from pinmap.core.model.words import DeviceKind, Joint, NodeKind
from tests.factories_electrics import random_job

NONE = Dictionary()


RING = (("north-a", "north-b"), ("south-a", "south-b"))  # two ways between the loom's junction and the engine


def ringed(snapshot: Snapshot) -> Snapshot:
    """A job of ``bench_loom`` with two ways from its junction to the engine's branch."""
    job = snapshot.job
    run = next(s for s in job.segments if s.a == "xd")
    places = [Node(key=key, loom=run.loom, kind=NodeKind.JUNCTION, name=key) for key in ("far", "north", "south")]
    sides = [
        replace(run, key=key, a=a, b=b, length_m=length_m)
        for side, length_m in (("north", 0.5), ("south", 0.6))
        for key, a, b in ((f"{side}-a", "j", side), (f"{side}-b", side, "far"))
    ]
    segments = (*(replace(s, b="far") if s is run else s for s in job.segments), *sides)
    return replace(snapshot, job=replace(job, nodes=(*job.nodes, *places), segments=segments))


def _one_signal(job: Job, r: random.Random, **values: object) -> Job:
    i = r.randrange(len(job.signals))
    changed = replace(job.signals[i], **values)  # type: ignore[arg-type]  # fields of a signal
    return replace(job, signals=(*job.signals[:i], changed, *job.signals[i + 1 :]))


def _end_size(job: Job, r: random.Random) -> Job:
    i = r.randrange(len(job.signals))
    signal = job.signals[i]
    members = list(signal.members)
    at = r.randrange(len(members))
    members[at] = replace(members[at], mm2=r.choice([0.5, 1.5, 6.0]))
    return replace(job, signals=(*job.signals[:i], replace(signal, members=tuple(members)), *job.signals[i + 1 :]))


def _run(job: Job, r: random.Random) -> Job:
    i = r.randrange(len(job.segments))
    longer = replace(job.segments[i], length_m=r.uniform(0.1, 5.0))
    return replace(job, segments=(*job.segments[:i], longer, *job.segments[i + 1 :]))


def _fuse(job: Job, r: random.Random) -> Job:
    return replace(
        job, devices=tuple(replace(d, rating_a=r.choice([5.0, 30.0])) if d.kind is DeviceKind.FUSE else d
                           for d in job.devices)
    )  # fmt: skip


def _way(job: Job, r: random.Random) -> Job:
    """A signal's wires led through one side of the ring by hand, or as they come."""
    return _one_signal(job, r, via=r.choice([(), *(tuple(side) for side in RING)]))


def _splices(job: Job, r: random.Random) -> Job:
    cost = replace(job.practice, splice_cost_g=r.choice([0.0, 5.0, 400.0]), max_splices=r.choice([1, 2, 4]))
    return replace(job, practice=cost)


def _leave_out(job: Job, r: random.Random) -> Job:
    i = r.randrange(len(job.signals))
    return replace(job, signals=(*job.signals[:i], *job.signals[i + 1 :]))


ONLY_WIRES: dict[str, Callable[[Job, random.Random], Job]] = {
    "signal's size": lambda job, r: _one_signal(job, r, mm2=r.choice([0.35, 1.0, 2.5, 10.0])),
    "end's size": _end_size,
    "insulation": lambda job, r: _one_signal(job, r, insulation="thin-wall-B"),
    "air": lambda job, r: replace(job, zones=tuple(replace(z, ambient_c=r.uniform(0, 90)) for z in job.zones)),
    "supply": lambda job, r: replace(
        job, load_cases=tuple(replace(c, supply_v=c.supply_v - r.random()) for c in job.load_cases)
    ),
}  # fmt: skip
EITHER: dict[str, Callable[[Job, random.Random], Job]] = {  # other splices may make other wires
    "length of a run": _run,
    "way": _way,
    "joint": lambda job, r: _one_signal(job, r, joint=r.choice(list(Joint))),
}
MORE: dict[str, Callable[[Job, random.Random], Job]] = {
    "fuses": _fuse,
    "signal left out": _leave_out,
    "splices": _splices,
    "limits": lambda job, r: replace(job, practice=replace(job.practice, drop_other_pct=r.uniform(1, 9))),
}


def same(a: object, b: object) -> None:
    """Records and mappings with the same numbers, up to rounding."""
    if isinstance(a, float):
        assert b == pytest.approx(a, rel=1e-9, abs=1e-9)
    elif isinstance(a, Sequence) and not isinstance(a, str):
        assert isinstance(b, type(a))
        assert len(a) == len(b)
        for x, y in zip(a, b, strict=True):
            same(x, y)
    elif hasattr(a, "keys"):
        assert list(a) == list(b)  # type: ignore[call-overload]  # both are mappings
        for key in a:  # type: ignore[attr-defined]
            same(a[key], b[key])  # type: ignore[index]
    elif hasattr(a, "__dataclass_fields__"):
        for f in fields(a):  # type: ignore[arg-type]
            same(getattr(a, f.name), getattr(b, f.name))
    else:
        assert a == b


def both(snapshot: Snapshot, edits: list[str], seed: int) -> tuple[ElectricalReport, ElectricalReport, bool]:
    """The report after these edits, made step by step and from scratch; and whether the last step kept the network."""
    r = random.Random(seed)
    variant = snapshot.variants[0]
    done = recheck(None, snapshot, variant, route(snapshot, variant, NONE), NONE)
    kept = False
    for edit in edits:
        snapshot = Snapshot((ONLY_WIRES | EITHER | MORE)[edit](snapshot.job, r), snapshot.platforms, snapshot.housings)
        routing = route(snapshot, variant, NONE)
        before, done = done, recheck(done, snapshot, variant, routing, NONE)
        kept = done.network.frames is before.network.frames
    return done.report, check(snapshot, variant, route(snapshot, variant, NONE), NONE), kept


@settings(max_examples=100, deadline=None)
@given(
    st.integers(0, 400),
    st.lists(st.sampled_from([*ONLY_WIRES, *EITHER, *MORE]), min_size=1, max_size=3),
    st.integers(0, 99),
)
def test_equals_the_check_from_scratch(job: int, edits: list[str], seed: int) -> None:
    step_by_step, from_scratch, _ = both(ringed(random_job(job)), edits, seed)
    same(from_scratch, step_by_step)


@pytest.mark.parametrize("edit", ONLY_WIRES)
def test_network_is_taken_over(edit: str) -> None:
    assert both(random_job(7), [edit], 1)[2]


@pytest.mark.parametrize("edit", MORE)
def test_network_is_built_anew_for_any_other_edit(edit: str) -> None:
    assert not both(random_job(7), [edit], 1)[2]
