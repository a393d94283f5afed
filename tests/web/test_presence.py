"""The live note on a job's pages."""

from __future__ import annotations

import json

from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from pinmap.core.crossing import edits
from pinmap.core.model.people import PersonRole
from pinmap.services import jobs
from tests.factories_people import sign_in
from tests.factories_web import DONE, JOB, Visitor


def _asked(visitor: Visitor, page: str) -> str:
    """What the note of an open page says, asked for as the page's own attributes say."""
    visitor.open(page)
    note = visitor.page.select_one(".here-now")
    assert note is not None
    assert note["hx-trigger"] == "load, every 15s"
    answer = visitor.client.post(str(note["hx-post"]), data=json.loads(str(note["hx-vals"])))
    assert answer.status_code == 200
    return " ".join(BeautifulSoup(answer.text, "html.parser").get_text(" ").split())


def test_two_people_see_each_other(bench: Visitor) -> None:
    other = Visitor(TestClient(bench.client.app, follow_redirects=True))
    sign_in(other.client, bench.shop, PersonRole.BUILDER)
    assert _asked(bench, f"{JOB}/decide/ledger") == ""
    assert _asked(other, f"{JOB}/layout") == "Also here: A. Fitter in Ledger"
    assert _asked(bench, f"{JOB}/decide/signals/s001") == "Also here: Bert Builder in Layout"
    assert _asked(other, f"{DONE}/layout") == "", "that is another job"


def test_it_says_that_the_job_has_changed(bench: Visitor) -> None:
    bench.open(f"{JOB}/settings")
    note = bench.page.select_one(".here-now")
    assert note is not None
    version = jobs.get(bench.shop, "bench").version
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_job(j, note="theirs"))
    answer = bench.client.post(str(note["hx-post"]), data=json.loads(str(note["hx-vals"])))
    assert "has been changed since this page was opened" in answer.text


def test_names_of_pages_and_people_are_no_markup(bench: Visitor) -> None:
    version = jobs.get(bench.shop, "bench").version
    evil = "<img src=x onerror=alert(1)>'\"&"
    jobs.edit(bench.shop, "bench", version, lambda j, _: edits.update_signal(j, "s001", name=evil))
    other = Visitor(TestClient(bench.client.app))
    sign_in(other.client, bench.shop, PersonRole.BUILDER)
    _asked(other, f"{JOB}/decide/signals/s001")
    bench.open(JOB)
    answer = bench.client.post(f"{JOB}/here", data={"where": "Overview"})
    soup = BeautifulSoup(answer.text, "html.parser")
    assert not soup.find("img")
    assert evil in soup.get_text()


def test_revisions_have_no_note(bench: Visitor) -> None:
    assert bench.open(f"{DONE}/revisions/A").page.select_one(".here-now") is None
    assert bench.client.post("/jobs/nowhere/here").status_code == 404
