"""Requests made up from the app's own OpenAPI document, as its owner: whatever is sent, the app answers and never
fails. ``PINMAP_TEST_REQUESTS`` says how many in all."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from itertools import count
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st
from schemathesis import Case

from pinmap.settings import Settings
from pinmap.web.app import create_app
from tests.factories_people import COOKIE, session_of

REQUESTS = int(os.environ.get("PINMAP_TEST_REQUESTS", "1000"))
# What there is, so that not every request ends at "there is no such job".
KEYS = {"/jobs/": ["bench", "bench-done"], "/platforms/": ["rig", "cart", "lone"], "/shelf/": ["iso-1724"]}
KNOWN = {
    "signal": ["s001", "s002"],
    "device": ["F1", "F2"],
    "node": ["xr", "xc", "box", "j9"],
    "segment": ["r1", "r2"],
    "zone": ["bay"],
    "letter": ["A"],
    "draft": [1],
    "person": [2, 3],
    "name": ["C1", "C2", "cut", "parts", "build-table.csv", "howto", "words"],
    "known": ["WINCH"],
    "table": ["kinds"],
}
PINS = ["p/rig/C1/1/", "p/rig/C1/3/", "p/cart/C1/4/", "d/F1/1"]
FIELDS: dict[str, list[Any]] = {
    "version": list(range(12)),
    "pin": PINS,
    "end": PINS,
    "add": PINS,
    "deed": ["save", "remove", "delete", "join", "settle", "clear", "add", "in", "split", "draw", "slide", "out:F1"],
    "variant": ["", "donor=rig,host=cart@late"],
    "seat": ["donor", "host"],
    "pick": ["lone|", "rig|", "cart|late"],
    "fate": ["parked", "capped", "deferred"],
    "length_mm": ["120", "12.5"],
    "rating_a": ["5"],
    "connector": ["cart|C2", "C1"],
    "cavity": ["1", "9"],
    "at": ["box"],
    "how": ["good", "all"],
    "choice": ["keep", "replace"],
}


@pytest.fixture(scope="module")
def app(bench_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[FastAPI]:
    with bench_copy() as url:
        found = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
        yield found
        found.state.shop.close()


def _with_known(draw: st.DrawFn, values: Any, known: dict[str, list[Any]]) -> Any:
    """The values made up, some of them put in place by what there is."""
    if not isinstance(values, dict):
        return values
    out = dict(values)
    for name, some in known.items():
        if name in out and draw(st.integers(0, 3)):
            out[name] = draw(st.sampled_from(some))
    return out


@st.composite
def _requests(draw: st.DrawFn, operation: Any) -> Case:
    case = draw(operation.as_strategy())
    keys = next((keys for start, keys in KEYS.items() if operation.path.startswith(start)), [])
    case.path_parameters = _with_known(draw, case.path_parameters, KNOWN | ({"key": keys} if keys else {}))
    case.query = _with_known(draw, case.query, FIELDS | {"pin": PINS})
    case.body = _with_known(draw, case.body, FIELDS)
    if operation.path == "/people/{person}/role" and isinstance(case.body, dict):
        case.body["role"] = "technician"  # a second owner could end the access of the one who asks here
    return case


@pytest.mark.filterwarnings("ignore")  # the library's own; what counts here are the app's answers
def test_no_request_makes_the_app_fail(app: FastAPI) -> None:
    schema = schemathesis.openapi.from_dict(app.openapi())
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) > 80
    each = -(-REQUESTS // len(operations))
    statuses: dict[int, int] = {}
    with TestClient(app, raise_server_exceptions=False, follow_redirects=False) as client:
        # Some operations take nothing to make up, so that others are asked again until there were enough.
        for round_number, operation in ((n, operation) for n in count(1) for operation in operations):
            if sum(statuses.values()) >= REQUESTS:
                break

            @seed(round_number)
            @settings(
                max_examples=each,
                deadline=None,
                database=None,
                phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )
            @given(_requests(operation))
            def sent(case: Case) -> None:
                client.cookies.clear()  # whatever was answered before: a session of an owner
                client.cookies.set(COOKIE, session_of(app.state.shop))
                wanted = case.as_transport_kwargs(base_url="http://testserver")
                wanted.pop("cookies", None)
                answer = client.request(**wanted)
                statuses[answer.status_code] = statuses.get(answer.status_code, 0) + 1
                assert answer.status_code < 500, f"{wanted}\n{answer.text[:2000]}"

            sent()
    print(f"{sum(statuses.values())} requests: {dict(sorted(statuses.items()))}")  # noqa: T201 - asked for by name
    assert sum(n for status, n in statuses.items() if status < 400) > REQUESTS / 20, statuses
