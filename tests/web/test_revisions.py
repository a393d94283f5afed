"""Revisions on screen: open, compare, restore, branch."""

from __future__ import annotations

import re

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from pinmap.demo import finished_snapshot
from tests.factories_people import OWNER

KEY = finished_snapshot().job.key
HOME = f"/jobs/{KEY}"


def soup(client: TestClient, address: str) -> BeautifulSoup:
    answer = client.get(address)
    assert answer.status_code == 200, answer.text[:400]
    return BeautifulSoup(answer.text, "html.parser")


def version(client: TestClient, address: str = f"{HOME}/settings") -> str:
    found = soup(client, address).find("input", {"name": "version"})
    assert found is not None
    return str(found["value"])


def release(client: TestClient, note: str = "") -> None:
    answer = client.post(
        f"{HOME}/handover/release",
        data={"version": version(client, f"{HOME}/handover"), "note": note},
    )
    assert answer.status_code == 200


def recolour(client: TestClient) -> None:
    """Changes the draft by renaming it and by another practice, so that wires change."""
    page = soup(client, f"{HOME}/settings")
    form = page.find("form", action=f"{HOME}/settings")
    assert form is not None
    data = {i["name"]: i.get("value", "") for i in form.find_all("input")}
    for select in form.find_all("select"):
        chosen = select.find("option", selected=True) or select.find("option")
        data[select["name"]] = chosen["value"]
    data |= {"customer": "C. <b>Driver</b>", "service_loop_mm": "200"}
    assert client.post(f"{HOME}/settings", data=data).status_code == 200


@pytest.fixture
def released(client: TestClient) -> TestClient:
    release(client, "first")
    return client


def test_a_revision_opens_as_it_was(released: TestClient) -> None:
    before = soup(released, f"{HOME}/revisions/A/build").find(id="rows")
    recolour(released)
    page = soup(released, f"{HOME}/revisions/A")
    assert f"by {OWNER}" in page.text
    assert "rules had nothing to say" in page.text
    assert soup(released, f"{HOME}/revisions/A/build").find(id="rows") == before
    assert soup(released, f"{HOME}/build").find(id="rows") != before
    for below in ("build/faces", "build/plan", "build/map", "build/cut", "build/parts", "prove", "findings"):
        found = soup(released, f"{HOME}/revisions/A/{below}")
        assert "revision A" in found.h1.text
        assert not found.find("form", method="post"), f"{below} can change something"
    packet = released.get(f"{HOME}/revisions/A/build/files/build-table.csv")
    assert "rev-A" in packet.headers["content-disposition"]
    assert released.get(f"{HOME}/revisions/Z").status_code == 404


def test_compare_shows_both_sides_and_the_rework(released: TestClient) -> None:
    same = soup(released, f"{HOME}/compare?old=A&new=")
    assert "the same, to the last value" in same.text
    recolour(released)
    page = soup(released, f"{HOME}/compare?old=A&new=")
    assert "What to do to a loom built to revision A" in page.text
    assert re.search(r"longer, \d+ mm → \d+ mm", page.text)
    assert "C. <b>Driver</b>" in page.text, "a value typed by somebody is text"
    csv = released.get(f"{HOME}/compare/files/rework.csv?old=A&new=")
    assert csv.text.lstrip("\ufeff").startswith("do,to,how")
    assert "re-cut,wire " in csv.text
    release(released, "second")
    assert "revision B" in soup(released, f"{HOME}/compare?old=A&new=B").h2.text
    assert released.get(f"{HOME}/compare?old=A&new=X").status_code == 404


def test_restore_and_bring_back(released: TestClient) -> None:
    recolour(released)
    stale = released.post(f"{HOME}/revisions/A/restore", data={"version": "1"})
    assert stale.status_code == 409
    now = version(released, f"{HOME}/revisions/A")
    page = released.post(f"{HOME}/revisions/A/restore", data={"version": now})
    assert "Drafts put aside" in page.text
    assert "the same, to the last value" in soup(released, f"{HOME}/compare?old=A&new=").text
    kept = BeautifulSoup(page.text, "html.parser").find("form", action=re.compile("bring-back"))
    assert kept is not None
    data = {"version": kept.find("input", {"name": "version"})["value"]}
    assert released.post(str(kept["action"]), data=data).status_code == 200
    assert "C. <b>Driver</b>" in soup(released, f"{HOME}/compare?old=A&new=").text


def test_branch_for_a_customer(released: TestClient) -> None:
    page = released.post(
        f"{HOME}/revisions/A/branch",
        data={"name": "Second truck", "customer": "D. Driver", "note": "late body"},
    )
    assert page.url.path == "/jobs/second-truck"
    assert "late body" in page.text
    link = BeautifulSoup(page.text, "html.parser").find("a", href=f"{HOME}/revisions/A")
    assert link is not None
    assert "Second truck" in soup(released, f"{HOME}/handover").text
