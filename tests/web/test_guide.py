"""The guide: every page, every table of facts."""

from __future__ import annotations

from pinmap.core.facts import sources
from pinmap.web.routers.guide import PAGES
from tests.factories_web import Visitor


def test_every_page_of_the_guide_is_listed_and_opens(bench: Visitor) -> None:
    listed = {str(a["href"]) for a in bench.open("/guide").page.select("a[href^='/guide/']")}
    for name in PAGES:
        assert f"/guide/{name}" in listed
        assert bench.open(f"/guide/{name}").page.select("h1"), name


def test_every_table_of_facts_is_shown_with_its_source(bench: Visitor) -> None:
    for name in sources.table_names():
        rows = bench.open(f"/guide/tables/{name}").page.select("tbody tr")
        assert len(rows) == len(sources.rows(name)), name
    assert bench.client.get("/guide/tables/nothing").status_code in (404, 422)
    assert bench.client.get("/guide/nothing").status_code == 404
