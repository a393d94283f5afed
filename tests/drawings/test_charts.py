"""Charts: marks lie on the sheet where their numbers say, texts are escaped, one input gives one drawing."""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import pytest

from pinmap.core.electrics.check import check
from pinmap.core.electrics.ladder import along, ladder
from pinmap.core.electrics.protection import FuseReport, protection
from pinmap.core.errors import InputError
from pinmap.core.facts.functions import dictionary
from pinmap.core.loom.route import route
from pinmap.demo import finished_snapshot
from pinmap.drawings.charts import along_chart, fuse_chart, ladder_chart

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def done() -> tuple:  # type: ignore[type-arg]  # one bundle of records, unpacked by each test
    snapshot = finished_snapshot()
    variant = snapshot.variants[0]
    routing = route(snapshot, variant, dictionary())
    report = check(snapshot, variant, routing, dictionary())
    feeds = protection(snapshot, variant, routing, report, dictionary())
    return snapshot, variant, routing, report, [f for feed in feeds for f in feed.fuses]


def words(svg: str) -> str:
    return " ".join("".join(t.itertext()) for t in ElementTree.fromstring(svg).iter(f"{SVG}text"))


def test_every_rated_fuse_has_a_chart_that_names_it_and_its_axes(done: tuple) -> None:  # type: ignore[type-arg]
    fuses: list[FuseReport] = done[4]
    rated = [f for f in fuses if f.curve is not None]
    assert len(rated) > 10
    for fuse in rated:
        svg = fuse_chart(fuse)
        assert svg == fuse_chart(fuse)
        said = words(svg)
        assert re.search(r"\bA\b", said)
        assert re.search(r"\bs\b", said)
        root = ElementTree.fromstring(svg)
        x, y, width, height = map(float, root.attrib["viewBox"].split())
        for text in root.iter(f"{SVG}text"):
            assert x <= float(text.attrib["x"]) <= x + width
            assert y <= float(text.attrib["y"]) <= y + height
        assert not [e for e in root.iter() if "style" in e.attrib or e.tag == f"{SVG}style"]
        assert "nan" not in svg.lower()


def test_a_fuse_without_rating_has_no_curve(done: tuple) -> None:  # type: ignore[type-arg]
    from dataclasses import replace

    with pytest.raises(InputError, match="rating"):
        fuse_chart(replace(done[4][0], curve=None))


def test_the_ladder_loses_what_the_network_loses(done: tuple) -> None:  # type: ignore[type-arg]
    snapshot, variant, routing, report, _ = done
    state = max((s for s in report.loads if s.case == "full-load"), key=lambda s: s.feed_drop_v + s.return_drop_v)
    found = ladder(snapshot, variant, routing, report, dictionary(), state.load, state.case)
    assert math.isclose(found.lost_v, state.feed_drop_v + state.return_drop_v, abs_tol=2e-3)
    assert state.load.rsplit(":", 1)[-1] in words(ladder_chart(found)) + ladder_chart(found)


def test_along_a_wire_the_hottest_stretch_is_its_temperature(done: tuple) -> None:  # type: ignore[type-arg]
    snapshot, _, routing, report, _ = done
    wire = next(w.id for w in routing.wires if len(w.segments) > 2)
    found = along(snapshot, routing, report, wire, "full-load")
    assert math.isclose(sum(s.length_m for s in found.stretches), routing.wire[wire].length_m, abs_tol=1e-9)
    assert wire in along_chart(found)
