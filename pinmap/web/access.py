"""Who is asking, and whether they may: the session cookie, and the right that each route declares."""

from __future__ import annotations

from collections.abc import Callable
from ipaddress import ip_address, ip_network
from typing import Any, TypeVar
from urllib.parse import urlencode, urlsplit

from fastapi import Request
from starlette.concurrency import run_in_threadpool
from starlette.requests import HTTPConnection
from starlette.responses import Response
from starlette.types import ASGIApp, Receive, Scope, Send

from pinmap.core.errors import NotAllowed
from pinmap.core.model.people import RIGHTS, VISITOR, Actor, Right
from pinmap.services import sessions
from pinmap.services.sessions import SignedIn
from pinmap.web.guard import limited

VISITORS_LIMIT_BYTES = 64 << 10  # enough for a form; nobody uploads before signing in
_ASKED = "asked_right"

Handler = TypeVar("Handler", bound=Callable[..., Any])


def needs(right: Right) -> Callable[[Handler], Handler]:
    """Declares what a route asks for; stands under its route decorator. A route that declares nothing is closed."""

    def mark(handler: Handler) -> Handler:
        setattr(handler, _ASKED, right)
        return handler

    return mark


def declared(handler: object) -> Right | None:
    """What a handler declares, None when nothing."""
    right = getattr(handler, _ASKED, None)
    return right if isinstance(right, Right) else None


class SignInNeeded(Exception):
    """A visitor asks for what is there for the shop's people only."""


def admit(request: Request) -> None:
    """Runs before every route. Raises SignInNeeded or NotAllowed."""
    right = declared(getattr(request.scope.get("route"), "endpoint", None))
    actor = actor_of(request)
    if right is not None and actor.may(right):
        return
    if signed_in(request) is None:
        raise SignInNeeded
    who = " or ".join(f"an {r}" if r[0] in "aeiou" else f"a {r}" for r in RIGHTS if right in RIGHTS[r])
    raise NotAllowed(f"You are signed in as {signed_in_role(request)}. This is for {who or 'nobody'} only.")


def signed_in_role(request: Request) -> str:
    me = signed_in(request)
    return me.role.value if me else "visitor"


def signed_in(request: HTTPConnection) -> SignedIn | None:
    """Who is signed in in this browser."""
    found = getattr(request.state, "signed_in", None)
    return found if isinstance(found, SignedIn) else None


def actor_of(request: HTTPConnection) -> Actor:
    """In whose name a request is."""
    me = signed_in(request)
    return me.actor if me else VISITOR


class Sessions:
    """Pure-ASGI middleware that finds out who is asking, and takes no large body from strangers."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["path"].startswith("/static/"):
            await self.app(scope, receive, send)
            return
        connection = HTTPConnection(scope)
        token = session_token(connection)
        me = await run_in_threadpool(sessions.find, scope["app"].state.shop, token) if token else None
        connection.state.signed_in = me
        if me is None:
            receive = limited(receive, VISITORS_LIMIT_BYTES, "sign in before you send that much")
        await self.app(scope, receive, send)


def _cookie_name(connection: HTTPConnection) -> str:
    # The prefix binds the cookie to this host and to https; browsers take it with https only.
    return "__Host-pinmap" if connection.url.scheme == "https" else "pinmap"


def session_token(connection: HTTPConnection) -> str:
    """The token in the session cookie, "" without one."""
    return connection.cookies.get(_cookie_name(connection), "")


def give_session(request: Request, answer: Response, token: str) -> None:
    """Puts the session into the browser; no script can read it and no other site's form carries it along."""
    answer.set_cookie(
        _cookie_name(request), token, max_age=int(sessions.LONGEST.total_seconds()), path="/", httponly=True,
        samesite="lax", secure=request.url.scheme == "https",
    )  # fmt: skip


def take_session(request: Request, answer: Response) -> None:
    """Takes the session out of the browser."""
    answer.delete_cookie(
        _cookie_name(request), path="/", httponly=True, samesite="lax", secure=request.url.scheme == "https"
    )


def own_path(text: str) -> str:
    """An address of ours to go to after signing in; the start page for anything else."""
    parts = urlsplit(text)
    plain = text.isprintable() and "\\" not in text and text.startswith("/") and not text.startswith("//")
    return text if plain and not parts.netloc and not parts.scheme else "/"


def sign_in_address(request: Request) -> str:
    """The sign-in page that leads back to what was asked for."""
    if request.method != "GET":
        return "/sign-in"
    wanted = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return "/sign-in" if wanted == "/" else f"/sign-in?{urlencode({'next': wanted})}"


def device_of(request: Request) -> str:
    """In words, which browser on which system asks."""
    agent = request.headers.get("user-agent", "")
    browser = next((n for sign, n in _BROWSERS if sign in agent), "another program")
    system = next((n for sign, n in _SYSTEMS if sign in agent), "")
    return f"{browser} on {system}" if system else browser


# What stands in front is looked for first: nearly all of them also name the others.
_BROWSERS = (("Edg", "Edge"), ("Firefox", "Firefox"), ("Chrome", "Chrome"), ("Safari", "Safari"))
_SYSTEMS = (
    ("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"), ("Windows", "Windows"), ("Mac OS", "macOS"),
    ("Linux", "Linux"),
)  # fmt: skip


def address_of(request: Request) -> str:
    """From where a request comes; of IPv6 the network, since one subscriber has all addresses of it."""
    host = request.client.host if request.client else ""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    return str(address) if address.version == 4 else str(ip_network((address, 64), strict=False))
