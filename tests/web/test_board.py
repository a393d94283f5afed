"""The board: each deed changes the job, says so, and can be undone."""

from __future__ import annotations

import re

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from httpx import Response

from pinmap.core.model.jobs import Snapshot
from pinmap.services import jobs

JOB = "q24-brindle"
BOARD = f"/jobs/{JOB}/layout/board"


def snapshot(client: TestClient) -> Snapshot:
    return jobs.get(client.app.state.shop, JOB).snapshot  # type: ignore[attr-defined]  # the app under test


def length_mm(client: TestClient, run: str) -> float:
    return next(s.length_m for s in snapshot(client).job.segments if s.key == run) * 1000


def post(client: TestClient, address: str, **fields: object) -> Response:
    version = jobs.get(client.app.state.shop, JOB).version  # type: ignore[attr-defined]  # as above
    return client.post(address, data={"version": version} | fields)


def test_a_branch_point_moves_and_undo_brings_back_the_same_content(client: TestClient) -> None:
    before = snapshot(client).content_hash
    page = post(client, f"{BOARD}/nodes/J9", deed="slide", out_of="J6-J9", into="J9-B1", by_mm="120", variant="")
    assert page.status_code == 200
    assert (length_mm(client, "J6-J9"), length_mm(client, "J9-B1")) == (330, 420)
    assert "330 mm" in page.text  # the picture follows in the same step
    moved = snapshot(client).content_hash
    page = post(client, f"/jobs/{JOB}/undo", page=f"{BOARD}?node=J9")
    assert "Taken back: J9: moved along" in page.text
    assert page.url.path == BOARD
    assert snapshot(client).content_hash == before
    page = post(client, f"/jobs/{JOB}/redo")
    assert page.url.path == f"/jobs/{JOB}"
    assert snapshot(client).content_hash == moved


def test_a_run_is_cut_in_two_made_one_again_and_hung_elsewhere(client: TestClient) -> None:
    page = post(client, f"{BOARD}/runs/J6-J9", deed="split", at_mm="150", name="Clip by the starter")
    assert "Clip by the starter" in page.text
    made = next(n.key for n in snapshot(client).job.nodes if n.name == "Clip by the starter")
    assert length_mm(client, "J6-J9") == 150
    post(client, f"{BOARD}/nodes/{made}", deed="one")
    assert length_mm(client, "J6-J9") == 450
    post(client, f"{BOARD}/runs/J9-B1", deed="rehang", end="J9", to="J6")
    run = next(s for s in snapshot(client).job.segments if s.key == "J9-B1")
    assert {run.a, run.b} == {"J6", "B1"}


def test_ends_are_drawn_together_runs_saved_and_removed(client: TestClient) -> None:
    post(client, f"{BOARD}/runs/J6-J9", deed="draw", keep="J6")
    assert "J9" not in snapshot(client).node
    post(client, f"{BOARD}/runs/J9-B1", deed="save", length_mm="310", zone="", covering="")
    assert length_mm(client, "J9-B1") == 310
    post(client, f"{BOARD}/runs/J9-B1", deed="remove")
    assert all(s.key != "J9-B1" for s in snapshot(client).job.segments)
    post(client, f"{BOARD}/nodes/B1", deed="take out")
    assert "B1" not in snapshot(client).node
    # now the connector has no place, and the board offers it
    options = BeautifulSoup(client.get(BOARD).text, "html.parser").select("select[name=what] option")
    free = next(str(o["value"]) for o in options if str(o["value"]).endswith("|B1"))
    post(client, f"{BOARD}/grow", at="J6", what=free, length_mm="290")
    grown = next(n for n in snapshot(client).job.nodes if n.name == "B1")
    assert grown.mates is not None
    post(client, f"{BOARD}/nodes/{grown.key}", deed="save", name="B1 renamed")
    assert snapshot(client).node[grown.key].name == "B1 renamed"


def test_a_loom_begins_on_an_empty_board(client: TestClient) -> None:
    shop = client.app.state.shop  # type: ignore[attr-defined]  # the app under test
    view = jobs.create_job(shop, "bare", "Bare", jobs.get(shop, JOB).job.seats)
    assert "Begin the loom" in client.get("/jobs/bare/layout/board").text
    page = client.post(
        "/jobs/bare/layout/board/grow", data={"version": view.version, "what": "place", "name": "Fuse box"}
    )
    assert "Fuse box" in page.text
    job = jobs.get(shop, "bare").job
    assert [n.name for n in job.nodes] == ["Fuse box"]
    assert len(job.looms) == 1


def test_lengths_are_taken_from_a_picture(client: TestClient) -> None:
    fields = {"on-J6-J9": "45", "on-J9-B1": "33,5", "reference": "J6-J9", "true_mm": "450"}
    page = post(client, f"{BOARD}/picture", **fields)
    assert "2 lengths taken" in page.text
    assert length_mm(client, "J9-B1") == 335


@pytest.mark.parametrize(
    ("address", "fields", "words"),
    [
        ("nodes/J9", {"deed": "slide", "out_of": "J6-J9", "into": "J9-B1", "by_mm": "900"}, "450 mm long"),
        ("nodes/J9", {"deed": "slide", "out_of": "J6-J9", "into": "J9-B1", "by_mm": "wide"}, "plain number"),
        ("nodes/J9", {"deed": "dance"}, "choose save"),
        ("runs/J6-J9", {"deed": "split", "at_mm": "450"}, "nearer to its start"),
        ("runs/nowhere", {"deed": "remove"}, "choose one of"),
        ("grow", {"at": "J9", "what": "junction", "name": "Here"}, "a number is needed"),
        ("grow", {"at": "J9", "what": "quern-q24|none", "length_mm": "5"}, "from the list"),
        ("picture", {"on-J6-J9": "45", "reference": "J9-B1", "true_mm": "450"}, "measure this run"),
    ],
)
def test_a_deed_that_cannot_be_says_why_and_changes_nothing(
    client: TestClient, address: str, fields: dict[str, str], words: str
) -> None:
    before = snapshot(client).content_hash
    page = post(client, f"{BOARD}/{address}", **fields)
    assert page.status_code == 422
    assert words in page.text
    assert all(re.sub(r"\s", " ", v) in page.text for v in fields.values())  # nothing typed is lost
    assert snapshot(client).content_hash == before


def test_a_stale_deed_is_refused(client: TestClient) -> None:
    version = jobs.get(client.app.state.shop, JOB).version  # type: ignore[attr-defined]  # as above
    slide = {"deed": "slide", "out_of": "J6-J9", "into": "J9-B1", "by_mm": "10", "version": version}
    assert client.post(f"{BOARD}/nodes/J9", data=slide).status_code == 200
    for address in (f"{BOARD}/nodes/J9", f"/jobs/{JOB}/undo", f"/jobs/{JOB}/redo"):
        assert client.post(address, data=slide).status_code in {409, 422}
    assert length_mm(client, "J6-J9") == 440


def test_a_clip_is_fixed_changed_judged_and_removed(client: TestClient) -> None:
    run = "J6-J9"
    added = {"kind": "clip", "at_mm": "120", "inner_mm": "4", "part": "P 7"}
    page = post(client, f"{BOARD}/runs/{run}/fixings", **added)
    assert "too thick for" in page.text
    (made,) = snapshot(client).job.fixings
    assert (made.key, made.segment, made.at_m, made.inner_mm, made.part) == ("c1", run, 0.12, 4.0, "P 7")
    assert "clip c1" in client.get(f"/jobs/{JOB}/check").text
    page = post(client, f"{BOARD}/fixings/c1", deed="save", run=run, **(added | {"kind": "grommet", "inner_mm": "60"}))
    assert "fits into" in page.text
    assert "nine tenths" in page.text
    refused = post(client, f"{BOARD}/fixings/c1", deed="save", run=run, **(added | {"at_mm": "9000"}))
    assert refused.status_code == 422
    assert "450 mm long" in refused.text
    assert post(client, f"{BOARD}/runs/{run}/fixings", **(added | {"kind": "rope"})).status_code == 422
    assert post(client, f"{BOARD}/runs/{run}", deed="remove").status_code == 422
    post(client, f"{BOARD}/fixings/c1", deed="remove", run=run)
    assert snapshot(client).job.fixings == ()
