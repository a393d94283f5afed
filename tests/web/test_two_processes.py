"""Two real app processes on one database: what one ends, the other refuses within a second."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator

import httpx
import pytest

from pinmap.core.model.people import PersonRole
from pinmap.demo import finished_snapshot
from pinmap.services import demo, jobs, people, revisions, sharing
from pinmap.services.shop import Shop
from tests.factories_people import COOKIE, session_of

JOB = finished_snapshot().job.key


def _serve(db_url: str) -> tuple[subprocess.Popen[str], str]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    environment = {**os.environ, "PINMAP_DATABASE_URL": db_url, "PINMAP_DEMO": "false"}
    command = [sys.executable, "-m", "pinmap", "serve", "--port", str(port), "--json"]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    return process, str(json.loads(process.stdout.readline())["address"])


@pytest.fixture
def sites(shop: Shop, db_url: str) -> Iterator[tuple[httpx.Client, httpx.Client]]:
    """Clients of two processes, both signed in as the same owner; the demo's finished job is released."""
    demo.load(shop)
    revisions.release(shop, JOB, jobs.get(shop, JOB).version, "A. Fitter")
    started = [_serve(db_url) for _ in range(2)]
    clients = [httpx.Client(base_url=address, timeout=60) for _, address in started]
    try:
        for client in clients:
            client.cookies.set(COOKIE, session_of(shop))
            deadline = time.monotonic() + 60
            while True:
                try:
                    client.get("/health")
                    break
                except httpx.TransportError:
                    assert time.monotonic() < deadline, "the app did not answer within a minute"
                    time.sleep(0.05)
        yield clients[0], clients[1]
    finally:
        for client in clients:
            client.close()
        for process, _ in started:
            process.terminate()
            process.wait(20)


def test_what_one_process_ends_the_other_refuses(sites: tuple[httpx.Client, httpx.Client], shop: Shop) -> None:
    one, two = sites
    for _ in range(3):
        path = f"/s/{sharing.create_link(shop, JOB, 'A', days=7)}"
        link = sharing.list_links(shop, JOB)[0].id
        with httpx.Client(base_url=two.base_url, timeout=60) as customer:
            assert customer.get(path).status_code == 200
            assert one.post(f"/jobs/{JOB}/handover/revoke", data={"link": link}).status_code == 303
            # on a busy machine the asking itself may take a second; what counts is that the very next one is refused
            assert customer.get(path).status_code == 404
            assert one.get(path).status_code == 404

    person, _ = people.invite(shop, "Bert", "bert", PersonRole.BUILDER)
    assert two.get("/me").status_code == 200
    assert one.post(f"/people/{person.id}/disable", data={"version": person.version}).status_code == 303
    assert "disabled" in two.get("/people").text
    assert one.post("/sign-out").status_code == 303
    assert two.get("/me").status_code == 303
