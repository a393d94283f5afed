"""Runs as a list on the page: looked at first, good lines taken, the others kept."""

from __future__ import annotations

from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from pinmap.services import jobs

JOB = "q24-brindle"
LIST = f"/jobs/{JOB}/layout/list"
TEXT = "run,from,to,length_mm\nJ6-J9,,,455\n,J9,Steering clip,120\n,J9,,80\n"


def _version(client: TestClient) -> int:
    return jobs.get(client.app.state.shop, JOB).version  # type: ignore[attr-defined]  # the app under test


def _names(client: TestClient) -> set[str]:
    return {n.name for n in jobs.get(client.app.state.shop, JOB).job.nodes}  # type: ignore[attr-defined]  # as above


def test_looking_stores_nothing_and_taking_takes_the_good_lines(client: TestClient) -> None:
    before = _version(client)
    page = client.post(f"{LIST}/read", data={"text": TEXT})
    assert page.status_code == 200
    assert "450 mm becomes 455 mm" in page.text
    assert "2 of 3 lines can be taken" in page.text
    assert _version(client) == before
    done = client.post(f"{LIST}/take", data={"text": TEXT, "version": before})
    assert "2 of 3 lines taken" in done.text
    assert "Steering clip" in _names(client)
    kept = BeautifulSoup(done.text, "html.parser").select("section textarea[name=text]")[-1].text
    assert [row for row in kept.split() if row] == ["run,from,to,length_mm", ",J9,,80"]
    stale = client.post(f"{LIST}/take", data={"text": "from,to,length\nJ9,Lost,90\n", "version": before})
    assert stale.status_code == 409
    assert "Lost" in stale.text


def test_the_list_that_comes_out_goes_in_as_a_file_without_a_change(client: TestClient) -> None:
    out = client.get(f"{LIST}/files/runs.csv")
    assert out.headers["content-type"].startswith("text/csv")
    page = client.post(f"{LIST}/read", files={"file": ("runs.csv", out.content, "text/csv")})
    total = len(jobs.get(client.app.state.shop, JOB).job.segments)  # type: ignore[attr-defined]  # as above
    assert f"{total} of {total} lines can be taken" in page.text
    assert page.text.count("as it is") == total


def test_what_is_no_list_is_refused_with_the_text_still_there(client: TestClient) -> None:
    for text in ("nothing;here\n1;2\n", "<script>alert(1)</script>"):
        page = client.post(f"{LIST}/read", data={"text": text})
        assert page.status_code == 422
        assert "no column from" in page.text
        assert BeautifulSoup(page.text, "html.parser").select_one("textarea").text.strip() == text.strip()  # type: ignore[union-attr]
