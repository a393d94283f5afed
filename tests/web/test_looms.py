"""The page of looms: a loom parted, joined, its cavities kept, and all of it taken back."""

from __future__ import annotations

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from httpx import Response

from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.core.model.words import Gender
from pinmap.services import jobs

JOB = "q24-brindle"
LOOMS = f"/jobs/{JOB}/layout/looms"


def snapshot(client: TestClient) -> Snapshot:
    return jobs.get(client.app.state.shop, JOB).snapshot  # type: ignore[attr-defined]  # the app under test


def post(client: TestClient, address: str, **fields: object) -> Response:
    version = jobs.get(client.app.state.shop, JOB).version  # type: ignore[attr-defined]  # as above
    return client.post(address, data={"version": version} | fields)


@pytest.fixture
def parted(client: TestClient) -> TestClient:
    page = post(client, f"{LOOMS}/part", segment="J6-J9", at_mm="200", name="X90", loom="Starter loom")
    assert "Starter loom is a loom of its own" in page.text
    return client


def test_a_loom_is_parted_and_undo_brings_back_the_same_content(client: TestClient) -> None:
    before = snapshot(client)
    wires = {w.id for w in route(before, before.variants[0]).wires}
    page = post(client, f"{LOOMS}/part", segment="J6-J9", at_mm="200", name="X90", loom="Starter loom")
    after = snapshot(client)
    assert [x.name for x in after.job.looms][-1] == "Starter loom"
    (mating,) = after.job.matings
    assert [(after.node[n].name, after.node[n].gender) for n in (mating.a, mating.b)] == [
        ("X90S", Gender.SOCKET),
        ("X90P", Gender.PIN),
    ]
    assert sum(s.length_m for s in after.job.segments) == pytest.approx(sum(s.length_m for s in before.job.segments))
    assert wires < {w.id for w in route(after, after.variants[0]).wires}
    assert "X90S and X90P" in page.text
    post(client, f"/jobs/{JOB}/undo", page=LOOMS)
    assert snapshot(client).content_hash == before.content_hash


def test_cavities_are_shown_kept_and_left_again(parted: TestClient) -> None:
    page = BeautifulSoup(parted.get(LOOMS).text, "html.parser")
    rows = page.select("#m1 tbody tr")
    assert rows
    assert all("proposed" in row.get_text() for row in rows)
    page = BeautifulSoup(post(parted, f"{LOOMS}/matings/m1", deed="keep").text, "html.parser")
    assert all("kept" in row.get_text() for row in page.select("#m1 tbody tr"))
    kept = snapshot(parted).job.matings[0].cavities
    assert len(kept) == len(rows)
    assert len({c.cavity for c in kept}) == len(kept)
    first = kept[0]
    post(parted, f"{LOOMS}/matings/m1/cavity", signal=first.signal, section=first.section, cavity="40")
    assert snapshot(parted).job.matings[0].cavities[0].cavity == "40"
    post(parted, f"{LOOMS}/matings/m1/cavity", signal=first.signal, section=first.section, cavity="")
    assert len(snapshot(parted).job.matings[0].cavities) == len(kept) - 1


def test_a_half_gets_its_housing_and_too_few_cavities_are_said(parted: TestClient) -> None:
    housing = next(h for h in snapshot(parted).housings if len(h.cavities) <= 3)
    page = post(parted, f"{LOOMS}/halves/X90S", name="X90S", housing=housing.key, gender="socket", terminal="")
    assert snapshot(parted).node["X90S"].housing == housing.key
    assert "none free" in page.text
    assert post(parted, f"{LOOMS}/halves/X90S", housing="nothing", gender="socket").status_code == 422
    assert post(parted, f"{LOOMS}/halves/X90S", gender="both").status_code == 422


def test_looms_are_added_renamed_grown_plugged_and_removed(client: TestClient) -> None:
    board = f"/jobs/{JOB}/layout/board"
    post(client, LOOMS, name="Cab loom")
    loom = snapshot(client).job.looms[-1].key
    post(client, f"{board}/grow", what="junction", name="Behind the seat", loom=loom)
    point = snapshot(client).job.nodes[-1]
    assert point.loom == loom
    page = post(client, f"{board}/grow", what="in-line", name="X70", at=point.key, length_mm="300")
    half = snapshot(client).job.nodes[-1].key
    assert "Cab loom" in page.text
    page = post(client, f"{board}/grow", what="in-line", name="X71", at="J6", length_mm="150")
    other = snapshot(client).job.nodes[-1].key
    page = post(client, f"{LOOMS}/plug", a=half, b=other)
    assert "Plugged together" in page.text
    assert "plugs into" in client.get(f"{board}?node={half}").text
    refused = post(client, f"{LOOMS}/looms/{loom}", deed="remove")
    assert refused.status_code == 422
    assert "remove its nodes first" in refused.text
    post(client, f"{LOOMS}/looms/{loom}", name="Cab and roof loom")
    assert snapshot(client).job.looms[-1].name == "Cab and roof loom"
    post(client, f"{LOOMS}/matings/m1", deed="unplug")
    for node in (half, point.key):
        assert post(client, f"{board}/nodes/{node}", deed="take out").status_code == 200
    post(client, f"{LOOMS}/looms/{loom}", deed="remove")
    assert len(snapshot(client).job.looms) == 1


def test_pages_of_a_parted_job(parted: TestClient) -> None:
    page = BeautifulSoup(parted.get(f"/jobs/{JOB}/build").text, "html.parser")
    looms = [row.get_text(strip=True) for row in page.select("tr.group")]
    assert looms == [x.name for x in snapshot(parted).job.looms]
    faces = BeautifulSoup(parted.get(f"/jobs/{JOB}/build/faces").text, "html.parser")
    titles = [h.get_text() for h in faces.select("h2")]
    assert titles[:2] == [
        "X90S, plugs into X90P of the other loom",
        "X90P, plugs into X90S of the other loom",
    ]
    made = route(snapshot(parted), snapshot(parted).variants[0]).wires
    ends = {e.label: w.id for w in made for e in (w.a, w.b) if e.mated is not None}
    assert ends["X90P-2"] in faces.select_one("section").find_next_sibling("section").get_text()
    assert "The looms weigh" in parted.get(f"/jobs/{JOB}/build/plan").text
    for what in ("layout", "layout/board", "layout/looms", "build/parts", "build/cut", "build/map", "check"):
        assert parted.get(f"/jobs/{JOB}/{what}").status_code == 200


def test_the_plan_of_one_loom_is_chosen_and_taken_away(parted: TestClient) -> None:
    """Runs and connectors of the chosen loom alone, on the page and in every file; both parts make up the whole."""
    job, plan = snapshot(parted).job, f"/jobs/{JOB}/build/plan"

    def drawn(loom: str) -> set[str]:
        page = BeautifulSoup(parted.get(plan, params={"loom": loom}).text, "html.parser")
        return {str(x["data-segment"]) for x in page.select(".drawing [data-segment]")}

    whole, one, other = drawn(""), *(drawn(x.key) for x in job.looms)
    starter = job.looms[-1].key
    assert other == {s.key for s in job.segments if s.loom == starter} & whole
    assert one | other == whole
    assert not one & other

    page = BeautifulSoup(parted.get(plan, params={"loom": starter}).text, "html.parser")
    chooser = page.select_one("select[name=loom] option[selected]")
    assert chooser is not None
    assert chooser.get_text() == "Starter loom"
    assert {o["value"] for o in page.select("select[name=segment] option")} == {"", *other}
    files = [str(a["href"]) for a in page.select("a[href*='/files/']")]
    assert len(files) == 6
    assert all(f"loom={starter}" in address for address in files)
    roll = page.select_one("form[action$='board-plan-roll.pdf'] input[name=loom]")
    assert roll is not None
    assert roll["value"] == starter
    looms = BeautifulSoup(parted.get(LOOMS).text, "html.parser")
    assert parted.get(str(looms.select(f"a[href*='loom={starter}']")[0]["href"])).status_code == 200
    kept = page.select_one(".drawing a[href*='segment=']")
    assert kept is not None
    assert f"loom={starter}" in str(kept["href"])

    name = f"/jobs/{JOB}/build/files/board-plan.svg"
    svg = BeautifulSoup(parted.get(name, params={"loom": starter}).text, "html.parser")
    assert {str(x["data-key"]) for x in svg.select(".runs")} == {f"segment:{s}" for s in other}
    routing = route(snapshot(parted), snapshot(parted).variants[0])
    mine = sum(snapshot(parted).node[w.a.node].loom == starter for w in routing.wires)
    assert 0 < mine < len(routing.wires)
    assert f"{mine} wires" in svg.get_text(" ")
    answer = parted.get(f"/jobs/{JOB}/build/files/board-plan.dxf", params={"loom": starter})
    assert f"_{starter}_board-plan.dxf" in answer.headers["content-disposition"]
    assert parted.get(plan, params={"loom": "roof"}).status_code == 422
    assert parted.get(name, params={"loom": "roof"}).status_code == 422
    assert parted.get(f"/jobs/{JOB}/build/files/cut-list.csv", params={"loom": starter}).status_code == 422


def test_a_run_chosen_in_another_loom_is_let_go(parted: TestClient) -> None:
    plan, starter = f"/jobs/{JOB}/build/plan", snapshot(parted).job.looms[-1].key
    shown = BeautifulSoup(parted.get(plan, params={"loom": starter, "segment": "JE-J2"}).text, "html.parser")
    assert shown.select_one("#bundle h2") is None
    shown = BeautifulSoup(parted.get(plan, params={"segment": "JE-J2"}).text, "html.parser")
    assert shown.select_one("#bundle h2") is not None


def test_a_job_of_one_loom_has_nothing_to_choose(client: TestClient) -> None:
    assert 'select name="loom"' not in client.get(f"/jobs/{JOB}/build/plan").text
