"""Clips, grommets and clamps: where they may sit, and that no edit of the topology loses or moves one unsaid."""

from __future__ import annotations

from dataclasses import replace

import pytest

from pinmap.core.crossing import edits
from pinmap.core.crossing import edits_topology as topology
from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Job
from pinmap.core.model.looms import Fixing, Node
from pinmap.core.model.words import FixingKind, NodeKind
from tests.core.crossing.test_edits_topology import job


def held(at_m: float = 0.3, segment: str = "r2", key: str = "c1") -> Fixing:
    return Fixing(key=key, segment=segment, kind=FixingKind.CLIP, at_m=at_m, inner_mm=14.0)


def places(of: Job) -> dict[str, tuple[str, float]]:
    return {f.key: (f.segment, f.at_m) for f in of.fixings}


def test_a_place_that_the_run_has_not_is_refused() -> None:
    for wrong, field in (
        (held(0.81), "at_m"), (held(-0.01), "at_m"), (held(float("nan")), "at_m"), (held(segment="r9"), "segment"),
        (replace(held(), inner_mm=0.0), "inner_mm"), (replace(held(), part="a; b"), "part"),
    ):  # fmt: skip
        with pytest.raises(InputError) as refused:
            edits.add_fixing(job(), wrong)
        assert refused.value.field == field
    there = edits.add_fixing(job(), held())
    with pytest.raises(InputError):
        edits.add_fixing(there, held())
    assert edits.update_fixing(there, "c1", at_m=0.8).fixings[0].at_m == 0.8
    assert edits.remove_fixing(there, "c1") == job()


def test_no_run_goes_from_under_a_fixing() -> None:
    there = edits.add_fixing(job(), held())
    for lost in (
        lambda: edits.remove_segment(there, "r2"),
        lambda: topology.draw_together(there, "r2", keep="j1"),
        lambda: edits.update_segment(there, "r2", length_m=0.29),
        lambda: topology.slide(there, "j1", out_of="r2", into="r1", by_m=0.6),
        lambda: topology.lengths_by_ratio(there, {"r2": 1.0}, reference="r2", true_m=0.1),
    ):
        with pytest.raises(InputError, match="c1"):
            lost()


def test_a_run_that_is_cut_and_made_one_again_keeps_its_fixings() -> None:
    there = edits.add_fixing(edits.add_fixing(job(), held(0.3)), held(0.5, key="c2"))
    cut = topology.split(there, "r2", at_m=0.4, node=Node(key="n", loom="", kind=NodeKind.JUNCTION), rest="r9")
    assert places(cut) == {"c1": ("r2", 0.3), "c2": ("r9", 0.1)}
    assert places(topology.make_one(cut, "n")) == places(there)


@pytest.mark.parametrize("turned", [(False, True), (True, False), (True, True)])
def test_two_runs_made_one_measure_from_the_new_end(turned: tuple[bool, bool]) -> None:
    """Whichever way the two runs were measured, each fixing stays where it was between x1 and the far end."""
    there = edits.add_fixing(edits.add_fixing(job(), held(0.3)), held(0.5, key="c2"))
    cut = topology.split(there, "r2", at_m=0.4, node=Node(key="n", loom="", kind=NodeKind.JUNCTION), rest="r9")
    for key, flip in zip(("r2", "r9"), turned, strict=True):
        if flip:
            run = next(s for s in cut.segments if s.key == key)
            cut = replace(
                cut,
                segments=tuple(replace(s, a=s.b, b=s.a) if s.key == key else s for s in cut.segments),
                fixings=tuple(
                    replace(f, at_m=round(run.length_m - f.at_m, 4)) if f.segment == key else f for f in cut.fixings
                ),
            )
    whole = topology.make_one(cut, "n")
    run = next(s for s in whole.segments if s.key == "r2")
    from_j1 = {f.key: f.at_m if run.a == "j1" else run.length_m - f.at_m for f in whole.fixings}
    assert from_j1 == pytest.approx({"c1": 0.3, "c2": 0.5})
