"""One table from error class to status; a refused form comes back with what was typed in it, everything else as one
page for all errors."""

from __future__ import annotations

import logging
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from urllib.parse import parse_qsl, unquote, urlencode, urlsplit

from fastapi import FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.types import Message

from pinmap.core.crossing.field_words import field_words
from pinmap.core.errors import (
    Conflict,
    DrawingFailed,
    FileProblem,
    FileRejected,
    InputError,
    NotAllowed,
    NotFound,
    PinmapError,
    StructureError,
    TableGap,
    TooOften,
)
from pinmap.web.access import SignInNeeded, sign_in_address
from pinmap.web.forms import attribute_of
from pinmap.web.logs import redacted
from pinmap.web.render import environment, page

log = logging.getLogger(__name__)

STATUS: dict[type[PinmapError], int] = {
    InputError: 422,
    TableGap: 422,
    StructureError: 422,
    FileRejected: 422,
    NotFound: 404,
    NotAllowed: 403,
    TooOften: 429,
    Conflict: 409,
    DrawingFailed: 503,
}
_TITLES = {
    400: "That request makes no sense here",
    401: "Sign in first",
    403: "Not allowed",
    404: "Nothing here",
    405: "That cannot be done here",
    409: "Somebody else saved first",
    413: "Too large",
    422: "That will not do yet",
    429: "Too often",
    500: "Pinmap failed",
    503: "The drawing could not be made",
}


@dataclass(frozen=True, slots=True)
class Typed:
    """One field of a refused form and what was in it, one value a tick or line."""

    field: str
    values: tuple[str, ...]

    @property
    def words(self) -> str:
        return field_words(self.field)

    @property
    def long(self) -> bool:
        return any(len(v) > 80 or "\n" in v for v in self.values)


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a request was refused; ``field`` and ``remedy`` where one field is to blame, ``conflict`` for a late save."""

    status: int
    message: str
    field: str = ""
    remedy: str = ""
    problems: tuple[FileProblem, ...] = ()
    conflict: Conflict | None = None

    @property
    def title(self) -> str:
        return _TITLES.get(self.status, "Something went wrong")


# What the page itself put into the form, and what must not be shown.
_NOT_SHOWN = {"version", "as_shown", "untouched", "passphrase", "password", "password_again", "old_password"}


def _field(attribute: str, sent: Collection[str]) -> str:
    """The field of the form that an attribute of a record was typed into."""
    return next((name for name in sent if attribute_of(name) == attribute), attribute)


async def _sent(request: Request) -> dict[str, tuple[str, ...]]:
    """All that a refused form had in it, files by name. Reads only a form that the handler has read before: the body
    of a request can be read once."""
    form = getattr(request, "_form", None)
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items() if form is not None else ():
        text = f"the file {value.filename or 'without a name'}" if isinstance(value, UploadFile) else str(value)
        found.setdefault(name, []).append(text)
    return {name: tuple(values) for name, values in found.items()}


def _typed(sent: dict[str, tuple[str, ...]]) -> tuple[Typed, ...]:
    """What a person put into a form, as it is shown again."""
    return tuple(
        Typed(name, tuple(_readable(v) for v in values))
        for name, values in sent.items()
        if name not in _NOT_SHOWN and any(v.strip() for v in values)
    )


def _readable(value: str) -> str:
    """Names of pins and device terminals as they are read; other text as it is."""
    head, *parts = value.split("/")
    if head in ("p", "d") and len(parts) == {"p": 4, "d": 2}[head]:
        names = [unquote(part) for part in parts]
        return f"{names[0]} {names[1]}-{names[2]}".strip() if head == "p" else " ".join(names)
    return value


def _back(request: Request) -> str:
    """The page of ours that the form stood on, "" when the browser does not say."""
    came = urlsplit(request.headers.get("referer", ""))
    if came.netloc != request.headers.get("host", "") or not came.path.startswith("/") or came.path.startswith("//"):
        return ""
    query = urlencode([(k, v) for k, v in parse_qsl(came.query, keep_blank_values=True) if k != "done"])
    return came.path + (f"?{query}" if query else "")


async def _fetched(request: Request, address: str) -> str:
    """A page of ours as whoever asked would see it now; "" when there is none."""
    to = urlsplit(address)
    kept = {"type", "asgi", "http_version", "scheme", "server", "client", "root_path", "state"}
    dropped = {b"content-length", b"content-type", b"transfer-encoding", b"accept", b"referer"}
    scope: dict[str, Any] = {k: v for k, v in request.scope.items() if k in kept} | {
        "method": "GET",
        "path": unquote(to.path),
        "raw_path": to.path.encode(),
        "query_string": to.query.encode(),
        "headers": [(k, v) for k, v in request.scope["headers"] if k not in dropped],
    }
    status, html, body = 0, False, bytearray()

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        nonlocal status, html
        if message["type"] == "http.response.start":
            status = message["status"]
            html = any(k == b"content-type" and v.startswith(b"text/html") for k, v in message["headers"])
        else:
            body.extend(message.get("body", b""))

    await request.app(scope, receive, send)
    return body.decode() if status == 200 and html else ""


async def _answer(request: Request, refusal: Refusal) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse(_plain(refusal), refusal.status)
    sent, back = await _sent(request), _back(request)
    if request.method == "POST" and sent and back and refusal.status in (409, 422):
        again = await _form_again(request, refusal, sent, back)
        if again is not None:
            return again
    return page(
        request,
        "errors/page.html",
        refusal.status,
        r=refusal,
        typed=_typed(sent),
        sent={k: v for k, v in sent.items() if k not in _NOT_SHOWN},
        action=_address(request),
        back=back,
    )


def _plain(refusal: Refusal) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "error": refusal.message,
        "field": refusal.field,
        "problems": [p.reason for p in refusal.problems],
    }
    if refusal.conflict is not None:
        stale = refusal.conflict
        plain |= {
            "expected": stale.expected,
            "found": stale.found,
            "refusal": stale.refusal,
            "changes": [
                {"where": c.where, "what": c.what, "stored": c.before, "typed": c.after} for c in stale.changes
            ],
        }
    return plain


def _address(request: Request) -> str:
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


async def _form_again(
    request: Request, refusal: Refusal, sent: dict[str, tuple[str, ...]], back: str
) -> HTMLResponse | None:
    """The page that the form stood on as it is now, with what was typed in the form again, and at the top why it was
    refused; None when the page or the form is not there any more."""
    from pinmap.web.refill import refill  # its parser takes a noticeable part of a start, which needs none

    html = await _fetched(request, back)
    filled = await run_in_threadpool(
        refill,
        html,
        _address(request),
        {name: values for name, values in sent.items() if name not in _NOT_SHOWN},
        here=urlsplit(back).path,
        untouched=" ".join(sent.get("untouched", ())).split(),
        problem=(_field(refusal.field, sent), refusal.remedy),
    )
    if filled is None:
        return None
    kept = {attribute_of(name) for name in filled.kept}
    block = (
        environment()
        .get_template("errors/_refused.html")
        .render(
            r=refusal,
            back=back,
            changes=[c for c in refusal.conflict.changes if c.field not in kept] if refusal.conflict else [],
            kept=[field_words(name) for name in sorted(kept)],
            unplaced=_typed(dict(filled.unplaced)),
        )
    )
    return HTMLResponse(
        await run_in_threadpool(filled.html, block), refusal.status, headers={"cache-control": "no-store"}
    )


def install(app: FastAPI) -> None:
    """Register the handlers."""

    @app.exception_handler(PinmapError)
    async def pinmap_error(request: Request, error: PinmapError) -> Response:
        status = next((s for cls, s in STATUS.items() if isinstance(error, cls)), 422)
        blamed = (error.field, error.remedy) if isinstance(error, InputError) else ("", "")
        answer = await _answer(
            request,
            Refusal(
                status,
                str(error),
                *blamed,
                problems=error.problems if isinstance(error, FileRejected) else (),
                conflict=error if isinstance(error, Conflict) else None,
            ),
        )
        if isinstance(error, TooOften):
            answer.headers["retry-after"] = str(error.wait_s)
        return answer

    @app.exception_handler(SignInNeeded)
    async def sign_in_needed(request: Request, _: SignInNeeded) -> Response:
        """Leads to the sign-in page; but a form that was sent is shown with what was typed, since a redirect would
        lose it."""
        if request.headers.get("hx-request"):
            return Response(status_code=401, headers={"hx-redirect": "/sign-in"})
        if request.method == "GET" and "application/json" not in request.headers.get("accept", ""):
            return RedirectResponse(sign_in_address(request), 303, headers={"cache-control": "no-store"})
        message = "You are not signed in, or no longer. Nothing was stored. Sign in, then send it again."
        return await _answer(request, Refusal(401, message))

    @app.exception_handler(RequestValidationError)
    async def bad_form(request: Request, error: RequestValidationError) -> Response:
        problems = tuple(
            FileProblem(0, ".".join(str(part) for part in e["loc"][1:]), str(e.get("input", ""))[:80], e["msg"])
            for e in error.errors()
        )
        named = ", ".join(p.column for p in problems if p.column)
        message = f"The form is incomplete or has a bad value: {named or 'see below'}."
        return await _answer(request, Refusal(422, message, problems[0].column, problems[0].reason, problems))

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        message = str(error.detail) if error.status_code != 404 else "There is no page at this address."
        return await _answer(request, Refusal(error.status_code, message))

    @app.exception_handler(Exception)
    async def failed(request: Request, error: Exception) -> Response:
        log.error("request failed: %s %s", request.method, redacted(request.url.path), exc_info=error)
        message = "Nothing was half-saved. The log on the server says what happened; please report it."
        return await _answer(request, Refusal(500, message))
