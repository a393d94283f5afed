"""Connectors, branch points, runs and zones in tables."""

from __future__ import annotations

import pytest

from pinmap.core.model.jobs import Snapshot
from pinmap.services import jobs
from tests.factories_web import JOB, Visitor

PAGE = f"{JOB}/layout"


def _now(visitor: Visitor) -> Snapshot:
    return jobs.get(visitor.shop, "bench").snapshot


def test_a_connector_gets_its_place_at_the_end_of_a_run(bench: Visitor) -> None:
    bench.open(PAGE).sent(f"{PAGE}/place", {"connector": "cart|C2", "at": "box", "length_mm": "650", "zone": "bay"})
    assert bench.notice() == "C2 has a place"
    run = _now(bench).job.segments[-1]
    assert (run.a, run.length_m, run.zone) == ("box", 0.65, "bay")
    assert not bench.page.select(f'form[action="{PAGE}/place"]'), "no connector is left without a place"


def test_branch_points_and_runs(bench: Visitor) -> None:
    bench.open(PAGE).sent(f"{PAGE}/nodes", {"name": "T", "at": "box", "length_mm": "100"})
    new = _now(bench).job.nodes[-1].key
    bench.sent(f"{PAGE}/nodes/{new}", {"name": "Tee"})
    assert _now(bench).node[new].name == "Tee"
    bench.sent(f"{PAGE}/segments", {"a": new, "b": "j9", "length_mm": "55,5"})
    run = _now(bench).job.segments[-1]
    assert run.length_m == pytest.approx(0.0555)
    bench.sent(f"{PAGE}/segments/{run.key}", {"length_mm": "60", "covering": "braid-pet"})
    assert _now(bench).job.segments[-1].covering == "braid-pet"
    bench.sent(f"{PAGE}/segments/{run.key}", press="deed=remove")
    bench.sent(f"{PAGE}/nodes/j9", press="deed=remove")
    assert "j9" not in _now(bench).node


def test_zones(bench: Visitor) -> None:
    bench.open(PAGE).sent(f"{PAGE}/zones", {"name": "cabin", "ambient_c": "40"})
    new = _now(bench).job.zones[-1].key
    bench.sent(f"{PAGE}/zones/{new}", {"wet": "yes", "ambient_c": "45.5"})
    assert (_now(bench).zone[new].wet, _now(bench).zone[new].ambient_c) == (True, 45.5)
    bench.sent(f"{PAGE}/zones/{new}", press="deed=remove")
    assert new not in _now(bench).zone


@pytest.mark.parametrize(
    ("action", "typed", "remedy"),
    [
        ("place", {"connector": "cart|C2", "at": "box", "length_mm": ""}, "a number is needed here"),
        ("place", {"connector": "cart|C2", "at": "box", "length_mm": "long"}, "type a plain number"),
        ("nodes", {"name": "T", "at": "box", "length_mm": "-5"}, "above 0"),
        ("segments", {"a": "box", "b": "box", "length_mm": "5"}, "box"),
        ("segments", {"a": "box", "b": "j9", "length_mm": "0"}, "above 0"),
        ("segments/r1", {"length_mm": "x"}, "type a plain number"),
        ("zones", {"name": "", "ambient_c": "40"}, "name"),
        ("zones", {"name": "sun", "ambient_c": "hot"}, "type a plain number"),
        ("zones/bay", {"ambient_c": ""}, "say how hot the air gets"),
    ],
)
def test_what_cannot_be_says_why_and_stays_typed(
    bench: Visitor, action: str, typed: dict[str, str], remedy: str
) -> None:
    before = _now(bench).job
    bench.open(PAGE).send(f"{PAGE}/{action}", typed).refused(remedy)
    assert {k: bench.form(f"{PAGE}/{action}").values()[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert _now(bench).job == before


def test_what_is_in_use_is_not_removed(bench: Visitor) -> None:
    bench.open(PAGE).send(f"{PAGE}/nodes/box", press="deed=remove").refused("box")
    bench.send(f"{PAGE}/zones/bay", press="deed=remove").refused("bay")
    assert {"box", "xr"} <= _now(bench).node.keys()
