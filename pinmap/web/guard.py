"""Pure-ASGI middleware: host check, same-origin writes, upload limit, security headers."""

from __future__ import annotations

from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_CSP = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; manifest-src 'self'"
)
_HEADERS = {
    "content-security-policy": _CSP,
    "x-content-type-options": "nosniff",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    # Not "no-referrer": browsers would then send Origin "null" with forms, and the same-origin check below needs it.
    "referrer-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
_SAFE = {"GET", "HEAD", "OPTIONS"}


def same_origin(headers: Headers) -> bool:
    """Whether a write comes from our own pages, or from no browser at all.

    Sec-Fetch-Site where the browser sends it; over plain http on another host name it does not, but it always sends
    Origin with a form.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in {"same-origin", "none"}
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc == headers.get("host", "")


def _host_name(host: str) -> str:
    return host.rsplit(":", 1)[0] if not host.endswith("]") else host


def limited(receive: Receive, limit_bytes: int, refusal: str) -> Receive:
    """The same body, given up when it goes beyond the limit."""
    seen = 0

    async def counted() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > limit_bytes:
            raise HTTPException(413, f"{refusal}: {limit_bytes >> 10} kB at most")
        return message

    return counted


class Guard:
    """Wraps the app; refuses before any route runs."""

    def __init__(self, app: ASGIApp, *, trusted_hosts: frozenset[str], upload_limit_bytes: int) -> None:
        self.app, self.trusted_hosts, self.limit = app, trusted_hosts, upload_limit_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    out.setdefault(name, value)
                if scope["scheme"] == "https":
                    out["strict-transport-security"] = "max-age=31536000"
            await send(message)

        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            await refusal(scope, receive, send_with_headers)
            return
        await self.app(scope, limited(receive, self.limit, "the upload is too large"), send_with_headers)

    def _refusal(self, method: str, headers: Headers) -> PlainTextResponse | None:
        if "*" not in self.trusted_hosts and _host_name(headers.get("host", "")) not in self.trusted_hosts:
            return PlainTextResponse("This host name is not served here; see PINMAP_TRUSTED_HOSTS.", 400)
        if method not in _SAFE and not same_origin(headers):
            return PlainTextResponse("Refused: this form was sent from another site.", 403)
        length = headers.get("content-length", "0")
        if length.isdecimal() and int(length) > self.limit:
            return PlainTextResponse(f"The upload is larger than {self.limit >> 20} MB.", 413)
        return None
