"""Requests made up from the app's own OpenAPI document, as its owner: whatever is sent, the app answers and never
fails. ``PINMAP_TEST_REQUESTS`` says how many in all."""

from __future__ import annotations

import os
from collections import Counter
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

from pinmap.core.model.people import PersonRole
from pinmap.services.shop import Shop
from pinmap.settings import Settings
from pinmap.store import people as rows
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
    "stage": ["cut", "ends", "continuity", "isolation"],
    "verdict": ["done", "passed", "failed", "taken back"],
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


def _sign_in_again(client: TestClient, shop: Shop) -> bool:
    """Whatever was answered before, the one who asks is an owner with a session; whether that had to be mended. An
    owner who has invited another one may end the own access, or take a lesser role."""
    client.cookies.clear()
    client.cookies.set(COOKIE, session_of(shop))
    with shop.write() as session:
        person = rows.find_person(session, PersonRole.OWNER)
        assert person is not None
        if person.disabled is None and person.role is PersonRole.OWNER:
            return False
        rows.change_person(session, person.id, disabled=None, role=PersonRole.OWNER)
        return True


@pytest.mark.filterwarnings("ignore")  # the library's own; what counts here are the app's answers
def test_no_request_makes_the_app_fail(app: FastAPI) -> None:
    schema = schemathesis.openapi.from_dict(app.openapi())
    operations = [found.ok() for found in schema.get_all_operations()]
    assert len(operations) > 80
    each = -(-REQUESTS // len(operations))
    statuses: Counter[int] = Counter()
    signed_out: Counter[str] = Counter()  # by what was asked before
    last = ""
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
                nonlocal last
                wanted = case.as_transport_kwargs(base_url="http://testserver")
                wanted.pop("cookies", None)
                if _sign_in_again(client, app.state.shop):
                    signed_out[last] += 1
                answer = client.request(**wanted)
                assert answer.status_code != 401, wanted
                assert answer.status_code < 500, f"{wanted}\n{answer.text[:2000]}"
                statuses[answer.status_code] += 1
                last = f"{case.method} {case.operation.path}"

            sent()
    print(  # noqa: T201 - asked for by name
        f"{sum(statuses.values())} requests: {dict(sorted(statuses.items()))}; the owner was let in again "
        f"{sum(signed_out.values())} times, after {dict(signed_out)}"
    )
    assert sum(n for status, n in statuses.items() if status < 400) > REQUESTS / 20, statuses
