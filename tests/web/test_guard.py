"""Requests that must be refused before any route runs, and the headers on every answer."""

from __future__ import annotations

import pytest
from fastapi import FastAPI, Request
from fastapi.testclient import TestClient
from starlette.datastructures import Headers

from pinmap.web.guard import Guard, same_origin


@pytest.fixture
def client() -> TestClient:
    app = FastAPI()

    @app.get("/")
    def read() -> dict[str, str]:
        return {"said": "yes"}

    @app.post("/")
    async def write(request: Request) -> dict[str, int]:
        return {"bytes": len(await request.body())}

    app.add_middleware(Guard, trusted_hosts=frozenset({"testserver"}), upload_limit_bytes=1000)
    return TestClient(app)


@pytest.mark.parametrize(
    ("headers", "allowed"),
    [
        ({}, True),  # no browser
        ({"sec-fetch-site": "same-origin"}, True),
        ({"sec-fetch-site": "none"}, True),
        ({"sec-fetch-site": "cross-site"}, False),
        ({"sec-fetch-site": "same-site"}, False),
        ({"origin": "http://testserver", "host": "testserver"}, True),
        ({"origin": "http://evil.example", "host": "testserver"}, False),
        ({"origin": "http://testserver:81", "host": "testserver"}, False),
        ({"origin": "null", "host": "testserver"}, False),
        ({"origin": "http://evil.example", "sec-fetch-site": "same-origin", "host": "testserver"}, True),
    ],
)
def test_same_origin(headers: dict[str, str], allowed: bool) -> None:
    assert same_origin(Headers(headers)) is allowed


def test_cross_site_write_is_refused_and_a_read_is_not(client: TestClient) -> None:
    foreign = {"origin": "http://evil.example"}
    assert client.post("/", headers=foreign, content=b"x").status_code == 403
    assert client.get("/", headers=foreign).status_code == 200
    assert client.post("/", content=b"xyz").json() == {"bytes": 3}


def test_another_host_name_is_refused(client: TestClient) -> None:
    assert client.get("/", headers={"host": "rebound.example"}).status_code == 400


def test_a_large_upload_is_refused_by_its_length_and_by_its_bytes(client: TestClient) -> None:
    assert client.post("/", content=b"x" * 1001).status_code == 413

    def chunks() -> object:
        for _ in range(20):
            yield b"x" * 100

    assert client.post("/", content=chunks()).status_code == 413


def test_every_answer_carries_the_policy(client: TestClient) -> None:
    for answer in (client.get("/"), client.get("/nowhere"), client.get("/", headers={"host": "rebound.example"})):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
