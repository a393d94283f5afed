"""The plan's page: colours, a segment's bundle, the files at full size."""

from __future__ import annotations

import io

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from pypdf import PdfReader

JOB = "/jobs/q24-brindle"
PLAN = f"{JOB}/build/plan"


def _page(client: TestClient, **query: str) -> BeautifulSoup:
    answer = client.get(PLAN, params=query)
    assert answer.status_code == 200, answer.text[:500]
    return BeautifulSoup(answer.text, "html.parser")


def test_every_run_leads_to_its_bundle(client: TestClient) -> None:
    page = _page(client)
    runs = page.select(".drawing a[href*='segment='] [data-segment]")
    assert len(runs) > 90
    link = page.select_one(".drawing a[href*='segment=']")
    assert link is not None
    shown = BeautifulSoup(client.get(str(link["href"]).split("#")[0]).text, "html.parser")
    assert shown.select_one("#bundle h2") is not None
    assert shown.select(".drawing .chosen")


def test_a_bundle_has_wires_section_rules_and_coverings(client: TestClient) -> None:
    page = _page(client, segment="JE-J2")
    bundle = page.select_one("#bundle")
    assert bundle is not None
    said = bundle.get_text(" ", strip=True)
    for words in ("packing of circles", "1.2 · √Σd²", "AC 43.13-1B", "Grommet", "Backshell", "corrugated conduit"):
        assert words in said
    wires = len(bundle.select("svg.section")[0].select("g.wire"))
    assert f"{wires} wires" in said
    assert len(bundle.select("details table")[0].select("tbody tr")) == wires


@pytest.mark.parametrize(("by", "title"), [("temperature", "Hottest wire"), ("zone", "Zone"), ("function", "Function")])
def test_colours_have_a_legend(client: TestClient, by: str, title: str) -> None:
    drawing = _page(client, by=by).select_one(".drawing")
    assert drawing is not None
    assert title in drawing.get_text(" ")
    assert drawing.select(".swatch")


def test_what_is_unknown_is_refused(client: TestClient) -> None:
    assert client.get(PLAN, params={"segment": "nowhere"}).status_code == 404
    refused = client.get(PLAN, params={"by": "taste"})
    assert refused.status_code == 422
    assert "temperature, zone, function" in refused.text
    assert client.get(f"{JOB}/build/files/board-plan-roll.pdf", params={"roll_mm": "5"}).status_code == 422


def test_files_at_full_size(client: TestClient) -> None:
    page = _page(client)
    names = {str(a["href"]).split("/files/")[1].split("?")[0] for a in page.select("a[href*='/files/board-plan']")}
    assert names == {f"board-plan-{p}.pdf" for p in ("a4", "a3", "letter")} | {"board-plan.svg", "board-plan.dxf"}
    assert b"<svg" in client.get(f"{JOB}/build/files/board-plan.svg").content[:200]
    assert client.get(f"{JOB}/build/files/board-plan.dxf").content.endswith(b"EOF\r\n")
    roll = client.get(f"{JOB}/build/files/board-plan-roll.pdf", params={"roll_mm": "610"})
    assert roll.headers["content-type"] == "application/pdf"
    sheet = PdfReader(io.BytesIO(roll.content)).pages[-1]
    assert float(sheet.mediabox.height) * 25.4 / 72 == pytest.approx(610, abs=0.1)


def test_a_run_with_a_splice_in_it_shows_its_stretches(client: TestClient) -> None:
    page = _page(client, segment="J0-JG")
    bundle = page.select_one("#bundle")
    assert bundle is not None
    links = [str(a["href"]) for a in bundle.select("table a[href*='stretch=']")]
    assert len(links) >= 3
    drawn = [str(a["href"]) for a in page.select(".drawing a[href*='stretch=']") if "segment=J0-JG" in str(a["href"])]
    assert {link.partition("stretch=")[2] for link in drawn} == {link.partition("stretch=")[2] for link in links}
    counts = []
    for link in links:
        shown = BeautifulSoup(client.get(PLAN + link.split("#")[0]).text, "html.parser").select_one("#bundle")
        assert shown is not None
        counts.append(len(shown.select("svg.section")[0].select("g.wire")))
    assert counts[0] != counts[-1]
    assert client.get(PLAN, params={"segment": "J0-JG", "stretch": "99"}).status_code == 404
