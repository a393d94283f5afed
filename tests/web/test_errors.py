"""Errors are pages that say what to do, with the right status."""

from __future__ import annotations

from fastapi.testclient import TestClient


def test_nothing_there(client: TestClient) -> None:
    for address in ("/nowhere", "/jobs/nowhere", "/platforms/nowhere", "/guide/nowhere", "/shelf/nowhere"):
        answer = client.get(address)
        assert answer.status_code == 404, address
        assert "<h1>" in answer.text


def test_errors_as_json_where_asked(client: TestClient) -> None:
    answer = client.get("/jobs/nowhere", headers={"accept": "application/json"})
    assert answer.status_code == 404
    assert "nowhere" in answer.json()["error"]


def test_an_incomplete_form_names_the_field(client: TestClient) -> None:
    answer = client.post("/platforms/new", data={})
    assert answer.status_code == 422
    assert "name" in answer.text
