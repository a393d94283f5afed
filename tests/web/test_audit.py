"""The record of changes on screen and as a file."""

from __future__ import annotations

import csv
import io

from bs4 import BeautifulSoup
from fastapi.testclient import TestClient


def _page(client: TestClient, query: str = "") -> BeautifulSoup:
    answer = client.get(f"/audit{query}")
    assert answer.status_code == 200, answer.text[:300]
    return BeautifulSoup(answer.text, "html.parser")


def test_filters_by_thing_person_pin_and_day(client: TestClient) -> None:
    everything = _page(client)
    assert "demo loaded" in everything.text
    link = everything.find("a", title="All changes at this pin")
    assert link is not None
    at_pin = _page(client, str(link["href"]).removeprefix("/audit"))
    assert at_pin.find("tbody").find_all("tr")
    assert "Nothing was changed that this asks for" in _page(client, "?who=nobody").text
    assert "Nothing was changed that this asks for" in _page(client, "?until=2001-01-01").text
    assert "demo loaded" in _page(client, "?kind=job&of=q24-brindle&since=2001-01-01").text
    bad = client.get("/audit?since=yesterday&connector=C7")
    assert bad.status_code == 422
    assert "year-month-day" in bad.text
    form = BeautifulSoup(bad.text, "html.parser").find("form", action="/audit")
    assert [form.find("input", {"name": n})["value"] for n in ("since", "connector")] == ["yesterday", "C7"]
    assert client.get("/audit/files/audit.csv?since=yesterday").status_code == 422
    assert client.get("/audit?of=%00").status_code == 422


def test_a_change_stands_there_with_the_name_of_who_made_it(client: TestClient) -> None:
    answer = client.post("/jobs/q24-brindle/copy", data={"name": "<b>Copy</b>"})
    assert answer.status_code == 200
    first = _page(client).find("tbody").find("tr")
    assert "copied from the job q24-brindle" in first.text
    assert "<b>Copy</b>" in first.text
    assert "visitor" not in first.text
    assert "command line" not in first.text


def test_the_file_has_a_row_for_every_change(client: TestClient) -> None:
    client.post("/jobs/q24-brindle/copy", data={"name": "=cmd()"})
    answer = client.get("/audit/files/audit.csv?kind=job")
    assert "attachment" in answer.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(answer.text.lstrip("\ufeff"))))
    assert [r["kind"] for r in rows] == ["job"] * len(rows)
    assert rows[0]["what"] == "copied from the job q24-brindle"
    assert not any(value.startswith("=") for row in rows for value in row.values())
