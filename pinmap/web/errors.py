"""One table from error class to status; one page for all of them."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

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
from pinmap.web.logs import redacted
from pinmap.web.render import page

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
    def long(self) -> bool:
        return any(len(v) > 80 or "\n" in v for v in self.values)


# What the page itself put into the form, and what must not be shown.
_NOT_SHOWN = {"version", "passphrase", "password", "password_again", "old_password"}


async def _typed(request: Request) -> tuple[Typed, ...]:
    """What a refused form had in it, so that nothing typed is lost with it. Reads only a form that the handler has
    read before: the body of a request can be read once."""
    form = getattr(request, "_form", None)
    if form is None:
        return ()
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        shown = f"the file {value.filename or 'without a name'}" if isinstance(value, UploadFile) else str(value)
        if name not in _NOT_SHOWN and shown.strip():
            found.setdefault(name, []).append(shown)
    return tuple(Typed(name, tuple(values)) for name, values in found.items())


def _back(request: Request) -> str:
    """The page of ours that the form stood on, "" when the browser does not say."""
    came = urlsplit(request.headers.get("referer", ""))
    if came.netloc != request.headers.get("host", "") or not came.path.startswith("/") or came.path.startswith("//"):
        return ""
    return came.path + (f"?{came.query}" if came.query else "")


async def _answer(
    request: Request, status: int, message: str, problems: tuple[FileProblem, ...] = (), field: str = ""
) -> Response:
    if "application/json" in request.headers.get("accept", ""):
        return JSONResponse({"error": message, "field": field, "problems": [p.reason for p in problems]}, status)
    title = _TITLES.get(status, "Something went wrong")
    return page(
        request,
        "errors/page.html",
        status,
        title=title,
        code=status,
        message=message,
        problems=problems,
        typed=await _typed(request),
        back=_back(request),
    )


def install(app: FastAPI) -> None:
    """Register the handlers."""

    @app.exception_handler(PinmapError)
    async def pinmap_error(request: Request, error: PinmapError) -> Response:
        status = next((s for cls, s in STATUS.items() if isinstance(error, cls)), 422)
        problems = error.problems if isinstance(error, FileRejected) else ()
        answer = await _answer(
            request, status, str(error), problems, error.field if isinstance(error, InputError) else ""
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
        return await _answer(
            request, 401, "You are not signed in, or no longer. Nothing was stored. Sign in, then send it again."
        )

    @app.exception_handler(RequestValidationError)
    async def bad_form(request: Request, error: RequestValidationError) -> Response:
        problems = tuple(
            FileProblem(0, ".".join(str(part) for part in e["loc"][1:]), str(e.get("input", ""))[:80], e["msg"])
            for e in error.errors()
        )
        named = ", ".join(p.column for p in problems if p.column)
        return await _answer(
            request, 422, f"The form is incomplete or has a bad value: {named or 'see below'}.", problems
        )

    @app.exception_handler(HTTPException)
    async def http_error(request: Request, error: HTTPException) -> Response:
        message = str(error.detail) if error.status_code != 404 else "There is no page at this address."
        return await _answer(request, error.status_code, message)

    @app.exception_handler(Exception)
    async def failed(request: Request, error: Exception) -> HTMLResponse | Response:
        log.error("request failed: %s %s", request.method, redacted(request.url.path), exc_info=error)
        return await _answer(
            request, 500, "Nothing was half-saved. The log on the server says what happened; please report it."
        )
