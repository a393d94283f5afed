"""Every route times every role: who may, who is refused, who is led to the sign-in page."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
from fastapi import FastAPI
from fastapi.routing import APIRoute, iter_route_contexts
from fastapi.testclient import TestClient
from starlette.routing import Mount

from pinmap.core.model.people import RIGHTS, PersonRole, Right
from pinmap.settings import Settings
from pinmap.web.access import declared
from pinmap.web.app import create_app
from tests.factories_people import COOKIE, session_of

ROLES = list(PersonRole)

# What is said here is said independently of the routers: reading is for everybody who is signed in, changing is for
# builders and owners. Every route that departs from that is named.
ANYBODY = {
    "GET /health",
    "GET /sign-in",
    "POST /sign-in",
    "POST /sign-out",
    "GET /welcome/{token}",
    "POST /welcome/{token}",
    "GET /s/{token}",
    "POST /s/{token}",
    "GET /s/{token}/files/{name}",
    "POST /s/{token}/ask",
}
ALL_SIGNED_IN = {
    "POST /jobs/{key}/here",
    "POST /jobs/{key}/check/sizing/stop",
    "POST /jobs/{key}/bench",
    "POST /jobs/{key}/revisions/{letter}/bench",
    "POST /me/password",
    "POST /me/sessions/end",
    "POST /me/sessions/end-others",
}
OWNERS_ONLY = {
    "GET /people",
    "POST /people/invite",
    "POST /people/{person}/link",
    "POST /people/{person}/role",
    "POST /people/{person}/disable",
    "POST /people/{person}/enable",
    "GET /shop",
    "POST /shop",
    "POST /shop/mark",
    "POST /shop/mark/remove",
    "GET /shop/keeping",
    "POST /shop/keeping/backup",
}

# Where these lead there is something; anything else is called 999 and is not there.
VALUES = {
    "key": "q24-brindle",
    "name": "cut",
    "token": "no-such-token",
    "signal": "s001",
    "table": "fuses",
}


@pytest.fixture(scope="module")
def app(demo_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[FastAPI]:
    with demo_copy() as url:
        made = create_app(Settings(database_url=url, demo=False, trusted_hosts="testserver"))
        for role in ROLES:
            session_of(made.state.shop, role)
        yield made
        made.state.shop.close()


def routes(app: FastAPI) -> list[tuple[str, str, object]]:
    """Method, path and handler of all that the app answers to, whatever router it stands on."""
    found = []
    for context in iter_route_contexts(app.routes):
        if isinstance(context.original_route, Mount):
            continue
        assert isinstance(context.original_route, APIRoute), f"{context.path} is no route that can declare a right"
        found += [(method, str(context.path), context.endpoint) for method in sorted(context.methods or ())]
    return found


def _every_route() -> list[str]:
    """Names of the routes; tests are made of them before there is an app with a database."""
    app = create_app(Settings(database_url="sqlite://", demo=False))
    app.state.shop.close()
    return [f"{method} {path}" for method, path, _ in routes(app)]


EVERY_ROUTE = _every_route()


def expected(route: str) -> frozenset[PersonRole] | None:
    """The roles that may; None when visitors may as well."""
    if route in ANYBODY:
        return None
    if route in OWNERS_ONLY:
        return frozenset({PersonRole.OWNER})
    if route.startswith("GET ") or route in ALL_SIGNED_IN:
        return frozenset(PersonRole)
    return frozenset({PersonRole.OWNER, PersonRole.BUILDER})


def ask(app: FastAPI, route: str, role: PersonRole | None, **headers: str) -> tuple[int, str]:
    """Status and where it leads to."""
    method, path = route.split(" ")
    address = re.sub(r"\{(\w+)(:path)?\}", lambda m: VALUES.get(m[1], "999"), path)
    with TestClient(app, raise_server_exceptions=False) as client:
        if role is not None:
            client.cookies.set(COOKIE, session_of(app.state.shop, role))
        answer = client.request(method, address, headers=headers, follow_redirects=False)
    return answer.status_code, answer.headers.get("location", answer.headers.get("hx-redirect", ""))


def test_only_static_files_stand_beside_the_routes(app: FastAPI) -> None:
    mounts = [r.path for r in app.routes if isinstance(r, Mount)]
    assert mounts == ["/static"]


def test_every_route_declares_a_right(app: FastAPI) -> None:
    missing = [f"{method} {path}" for method, path, handler in routes(app) if declared(handler) is None]
    assert not missing, f"put @needs(Right...) under the route decorator of {missing}"


def test_the_exceptions_are_routes_of_the_app() -> None:
    assert set(EVERY_ROUTE) >= (ANYBODY | ALL_SIGNED_IN | OWNERS_ONLY)
    assert len(EVERY_ROUTE) > 80


@pytest.mark.parametrize("route", EVERY_ROUTE)
def test_route_by_role(app: FastAPI, route: str) -> None:
    allowed = expected(route)
    for role in ROLES:
        status, leads_to = ask(app, route, role)
        assert status < 500, f"{route} as {role}: {status}"
        assert not leads_to.startswith("/sign-in") or route == "POST /sign-out", f"{route} as {role} must sign in"
        assert status != 401
        # the page of a share link answers 403 to a missing passphrase, but there is no such link here
        refused = status == 403
        assert refused is (allowed is not None and role not in allowed), f"{route} as {role}: {status}"
    status, leads_to = ask(app, route, None)
    if allowed is None:
        assert status in {200, 303, 404, 422}, f"{route} as a visitor: {status}"
        return
    if route.startswith("GET "):
        assert status == 303
        assert leads_to.startswith("/sign-in")
    else:
        assert status == 401
    for headers in ({"accept": "application/json"}, {"hx-request": "true"}):
        status, leads_to = ask(app, route, None, **headers)
        assert status == 401, f"{route} as a visitor with {headers}: {status}"
    assert leads_to.startswith("/sign-in")


def test_a_route_that_declares_nothing_is_closed(empty_url: str) -> None:
    app = create_app(Settings(database_url=empty_url, demo=False, trusted_hosts="testserver"))

    @app.get("/forgotten")
    def forgotten() -> str:
        return "open"

    assert ask(app, "GET /forgotten", PersonRole.OWNER)[0] == 403
    assert ask(app, "GET /forgotten", None)[0] == 303
    app.state.shop.close()


def test_roles_include_each_other() -> None:
    assert RIGHTS[PersonRole.TECHNICIAN] < RIGHTS[PersonRole.BUILDER] < RIGHTS[PersonRole.OWNER]
    assert Right.OPEN in RIGHTS[PersonRole.TECHNICIAN]


def test_static_files_are_for_anybody(app: FastAPI) -> None:
    assert ask(app, "GET /static/app.css", None)[0] == 200
