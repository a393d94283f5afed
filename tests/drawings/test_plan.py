from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest

from pinmap.core.electrics.check import check
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Pick, Snapshot
from pinmap.core.model.words import NodeKind
from pinmap.demo import finished_snapshot
from pinmap.drawings.plan import plan_svg
from pinmap.drawings.plan_colours import by_function, by_temperature, by_zone
from pinmap.drawings.svg import Box
from tests.factories_drawings import hostile, random_loom, routed, small_job
from tests.factories_svg import NS, all_text, meets, overlapping, parse, path_lines, placed, strokes, view_box, words

HOSTILE = '<a href="javascript:x">"&\'</a>\u202e\U0001f600 مرحبا ' + "W" * 300


def _plan(snapshot: Snapshot, routing: Routing | None = None) -> ET.Element:
    return parse(plan_svg(snapshot, snapshot.variants[0], routing if routing is not None else routed(snapshot)))


def _runs(root: ET.Element) -> dict[str, float]:
    found = {}
    for e, _, _ in placed(root):
        if e.get("class") == "run":
            assert e.attrib["data-segment"] not in found, "every segment once"
            lines = path_lines(e.attrib["d"])
            found[e.attrib["data-segment"]] = sum(math.hypot(x2 - x1, y2 - y1) for x1, y1, x2, y2 in lines)
    return found


def _plates(root: ET.Element) -> list[tuple[str, Box]]:
    found = []
    for group, dx, dy in placed(root):
        rect = group.find(f"{NS}rect")
        if group.get("class") in {"plate", "note"} and rect is not None:
            x, y, w, h = (float(rect.attrib[k]) for k in ("x", "y", "width", "height"))
            found.append((group.attrib["data-key"], Box(x + dx, y + dy, x + dx + w, y + dy + h)))
    return found


def _check(root: ET.Element, snapshot: Snapshot) -> None:
    lengths = {s.key: s.length_m for s in snapshot.job.segments}
    drawn = _runs(root)
    assert set(drawn) == set(lengths)
    ratios = {key: drawn[key] / lengths[key] for key in drawn}
    middle = sorted(ratios.values())[len(ratios) // 2]
    # Coordinates are written to a hundredth of a pixel.
    assert all(abs(drawn[key] - lengths[key] * middle) < 0.03 for key in drawn), "true to scale"
    plates = _plates(root)
    connectors = {f"node:{n.key}" for n in snapshot.job.nodes if n.kind is NodeKind.CONNECTOR}
    assert connectors <= {key for key, _ in plates}
    assert not [(a, b) for (a, one), (b, two) in combinations(plates, 2) if one.hits(two)]
    runs = strokes(root, "run", "casing")
    assert not [key for key, box in plates if any(meets(box, line, half) for line, half in runs)]
    assert overlapping(words(root)) == []
    assert not [t for t, box in words(root) if any(meets(box, line, half - 0.6) for line, half in runs)]
    sheet = view_box(root)
    assert all(b.x0 >= 0 and b.y0 >= 0 and b.x1 <= sheet.x1 and b.y1 <= sheet.y1 for _, b in [*plates, *words(root)])


def test_the_small_loom_is_true_to_scale_with_nothing_on_anything() -> None:
    snapshot = small_job()
    root = _plan(snapshot)
    _check(root, snapshot)
    said = all_text(root)
    assert {"X-C101", "J1", "Fuse box", "450 mm ø 5–11"} <= set(said.split("\n"))
    assert "5 wires · Brindle 6" in said
    assert "Beside the turbine, hot, 120 °C" in said
    assert "F1 fuse 20 A" in said
    assert "S1.2" in said
    assert any(e.get("class") == "hot" for e in root.iter())


@pytest.mark.parametrize(("connectors", "seed"), [(2, 1), (12, 2), (25, 3), (40, 5), (60, 4)])
def test_random_looms_too(connectors: int, seed: int) -> None:
    snapshot = random_loom(connectors, seed, loops=seed % 3)
    _check(_plan(snapshot, Routing()), snapshot)


def test_the_demos_loom_too() -> None:
    snapshot = finished_snapshot()
    root = _plan(snapshot)
    shown = {s.key for s in snapshot.job.segments} & set(_runs(root))
    nodes = {n for s in snapshot.job.segments if s.key in shown for n in (s.a, s.b)}
    job = replace(
        snapshot.job,
        nodes=tuple(n for n in snapshot.job.nodes if n.key in nodes),
        segments=tuple(s for s in snapshot.job.segments if s.key in shown),
    )
    assert len(_plates(root)) >= 25
    _check(root, replace(snapshot, job=job))


def test_leaders_pass_behind_words() -> None:
    """Every label has a ground of its own, painted after every leader."""
    root = _plan(finished_snapshot())
    order = {id(e): i for i, (e, _, _) in enumerate(placed(root))}
    leaders = [order[id(e)] for e in root.iter() if e.get("class") == "leader"]
    labels = [g for g in root.iter(f"{NS}g") if g.get("class") in {"plate", "note", "words"}]
    assert leaders
    for label in labels:
        shapes = [e for e in label.iter() if e.tag in {f"{NS}rect", f"{NS}text"}]
        assert shapes[0].tag == f"{NS}rect"
        assert shapes[0].get("fill") == "#ffffff"
        assert order[id(shapes[0])] > max(leaders)
        ground = Box(*(float(shapes[0].attrib[k]) for k in ("x", "y")), *(0.0, 0.0))
        width, height = float(shapes[0].attrib["width"]), float(shapes[0].attrib["height"])
        inside = Box(ground.x0 - 0.1, ground.y0 - 0.1, ground.x0 + width + 0.1, ground.y0 + height + 0.1)
        for text, box in words(label):
            assert inside.x0 <= box.x0, text
            assert box.x1 <= inside.x1, text


def test_thicker_bundles_are_wider() -> None:
    snapshot = small_job()
    root = _plan(snapshot)
    width = {e.attrib["data-segment"]: float(e.attrib["stroke-width"]) for e in root.iter() if e.get("class") == "run"}
    assert width["g2"] > width["g6"] > width["g4"]


def test_a_run_that_closes_a_loop_is_bent_and_said_to_be() -> None:
    snapshot = small_job()
    twice = replace(snapshot.job.segments[1], key="again", length_m=snapshot.job.segments[1].length_m + 0.4)
    looped = replace(snapshot, job=replace(snapshot.job, segments=(*snapshot.job.segments, twice)))
    root = _plan(looped, Routing())
    assert "1 bent to close a loop" in all_text(root)
    _check(root, looped)


@pytest.mark.parametrize("by", ["temperature", "zone", "function"])
def test_colours_have_a_legend_and_a_pattern_each(by: str) -> None:
    snapshot = small_job()
    routing = routed(snapshot)
    report = check(snapshot, snapshot.variants[0], routing, dictionary())
    colouring = {
        "temperature": lambda: by_temperature(routing, report),
        "zone": lambda: by_zone(snapshot),
        "function": lambda: by_function(snapshot, routing, dictionary()),
    }[by]()
    root = parse(plan_svg(snapshot, snapshot.variants[0], routing, colouring=colouring))
    assert colouring.title in all_text(root)
    looks = [(fill, dashes) for fill, dashes, _ in colouring.legend]
    assert len({dashes for _, dashes in looks}) == len(looks), "told apart without colour"
    fills = {e.attrib["data-segment"]: e.get("stroke") for e in root.iter() if e.get("class") == "run"}
    for key, index in colouring.of.items():
        assert fills[key] == colouring.legend[index][0]
    for _, _, words_ in colouring.legend:
        assert words_ in all_text(root)
    assert set(colouring.of) <= set(fills)
    assert colouring.of


def test_the_chosen_run_is_marked() -> None:
    snapshot = small_job()
    svg = plan_svg(snapshot, snapshot.variants[0], routed(snapshot), chosen="g2")
    assert svg.count('class="chosen"') == 3


def test_connectors_of_other_variants_are_left_out() -> None:
    snapshot = small_job()
    seats = tuple(s for s in snapshot.job.seats if s.key != "unit")
    less = replace(snapshot, job=replace(snapshot.job, seats=seats))
    keys = {key for key, _ in _plates(_plan(less))}
    assert "node:n-k1" not in keys
    assert "node:n-e1" in keys
    assert Pick("qf2") not in [p for s in seats for p in s.picks]


def test_links_come_from_the_caller_alone() -> None:
    snapshot = hostile(small_job(), HOSTILE)
    plain = _plan(snapshot)
    assert list(plain.iter(f"{NS}a")) == []
    root = parse(plan_svg(snapshot, snapshot.variants[0], routed(snapshot), link=lambda key: f"/at?key={key}"))
    links = {e.attrib["href"] for e in root.iter(f"{NS}a")}
    assert "/at?key=node:n-c101" in links
    assert all(link.startswith("/at?key=") for link in links)
    with pytest.raises(InputError):
        plan_svg(snapshot, snapshot.variants[0], routed(snapshot), link=lambda key: "javascript:alert(1)")


def test_hostile_names_do_no_harm() -> None:
    snapshot = hostile(small_job(), HOSTILE)
    _check(_plan(snapshot), snapshot)


def test_drawings_repeat_and_an_unknown_loom_is_refused() -> None:
    snapshot = small_job()
    variant, routing = snapshot.variants[0], routed(snapshot)
    assert plan_svg(snapshot, variant, routing) == plan_svg(snapshot, variant, routing)
    assert parse(plan_svg(snapshot, variant, routing, loom="main"))
    with pytest.raises(InputError):
        plan_svg(snapshot, variant, routing, loom="other")


def test_a_job_without_a_loom_gives_an_empty_plan() -> None:
    snapshot = small_job()
    bare = replace(snapshot, job=replace(snapshot.job, nodes=(), segments=(), devices=(), signals=()))
    assert "0 connectors" in all_text(_plan(bare, Routing()))


def test_runs_that_cross_are_bridged_and_said_to_be() -> None:
    """Five loops of these lengths were not laid out flat; a loom without loops never crosses."""
    snapshot = random_loom(30, 1, loops=5)
    root = _plan(snapshot, Routing())
    bridges = [e for e in root.iter() if e.get("class") == "bridge"]
    count = len(bridges) // 2
    assert count > 0
    assert f"{count} crossing" in all_text(root)
    plain = _plan(random_loom(30, 1), Routing())
    assert "crossing" not in all_text(plain)
    assert not [e for e in plain.iter() if e.get("class") == "bridge"]
