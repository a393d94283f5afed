"""Standard connectors."""

from __future__ import annotations

from pinmap.core.facts.shelf import shelf
from pinmap.services import platforms
from tests.factories_web import Visitor


def test_every_standard_is_on_the_shelf_with_its_source(bench: Visitor) -> None:
    rows = bench.open("/shelf").page.select("tbody tr")
    assert [r.th.get_text() for r in rows] == [e.title for e in shelf()]
    assert all(r.select("td")[-1].get_text().strip() for r in rows)


def test_two_are_crossed(bench: Visitor) -> None:
    bench.open("/shelf")
    form = bench.page.select_one('form[action="/shelf/cross"]')
    assert form is not None
    bench.open("/shelf/cross?a=iso-1724&b=iso-11446")
    assert "Left turn" in bench.text
    assert bench.client.get("/shelf/cross?a=iso-1724&b=none").status_code == 404


def test_one_is_copied_and_can_be_changed(bench: Visitor) -> None:
    bench.open("/shelf/iso-1724").sent("/shelf/iso-1724/copy")
    assert bench.notice() == "Copied from the shelf"
    key = bench.at.split("/")[2].split("?")[0]
    made = platforms.get(bench.shop, key).platform
    assert made.source
    assert len(made.pins) == 7
    bench.open("/shelf/iso-1724").sent("/shelf/iso-1724/copy")
    assert len(platforms.list_platforms(bench.shop)) == 5, "a second copy has a key of its own"
