"""Every part of the look on one page."""

from __future__ import annotations

import re

from pinmap.resources import resource_dir
from tests.factories_web import Visitor

# Parts that only another page can show: frames of print, scripts and one-off pictures.
ELSEWHERE_AT_MOST = 0.6


def test_the_gallery_shows_the_parts_that_pages_are_made_of(bench: Visitor) -> None:
    page = bench.open("/gallery").page
    for part in (".card", ".notice.bad", ".finding.stop", "table", "form", "ol.journey", ".drawing svg", ".empty"):
        assert page.select(part), part
    used = {c for t in page.find_all(class_=True) for c in t["class"]}
    css = (resource_dir("static") / "app.css").read_text()
    known = set(re.findall(r"\.([a-z][a-z-]+)", css))
    assert len(known - used) < ELSEWHERE_AT_MOST * len(known)
