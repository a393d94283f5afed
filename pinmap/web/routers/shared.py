"""What a customer's link opens; for anybody who has it, as long as it stands."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from pinmap.core.build.cautions import PIN_TABLE_CAUTIONS
from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.people import Right
from pinmap.services import card, drawings, questions, sharing
from pinmap.services.sharing import HandOver, Part
from pinmap.web.access import address_of, needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import download
from pinmap.web.render import page

router = APIRouter(prefix="/s/{token}")

_COOKIE = "pinmap-link"
_HEADERS = {"x-robots-tag": "noindex, nofollow", "cache-control": "no-store"}


def _grant(request: Request) -> str:
    """That the passphrase was given in this browser."""
    return request.cookies.get(_COOKIE, "")


def _answer(request: Request, make: Callable[[], Response]) -> Response:
    """What is made; or the page that says that there is nothing, or asks for the passphrase."""
    try:
        answer = make()
    except NotFound as error:
        answer = page(request, "shared/gone.html", 404, message=str(error))
    except InputError as error:
        if error.field != "passphrase":
            raise
        answer = _ask_passphrase(request, "")
    answer.headers.update(_HEADERS)
    return answer


def _ask_passphrase(request: Request, problem: str) -> HTMLResponse:
    home = str(request.url_for("shared", token=request.path_params["token"]).path)
    return page(request, "shared/passphrase.html", 403, home=home, problem=problem)


@router.get("", name="shared")
@needs(Right.OPEN)
def shared(request: Request, shop: ShopDep, token: str, pin: str = "", asked: str = "") -> Response:
    """What the customer sees; choosing a pin to ask about, or having asked, is no other view."""
    return _answer(
        request,
        lambda: _page(
            request, sharing.open_link(shop, token, _grant(request), count=not pin and not asked), pin, asked
        ),
    )


@router.post("")
@needs(Right.OPEN)
def unlock(request: Request, shop: ShopDep, token: str, passphrase: Annotated[str, Form()] = "") -> Response:
    home = str(request.url_for("shared", token=token).path)

    def make() -> Response:
        try:
            grant = sharing.unlock(shop, token, passphrase, address=address_of(request))
        except InputError as error:
            return _ask_passphrase(request, error.remedy)
        answer = RedirectResponse(home, 303)
        if grant:
            # for this link only, as long as the browser stays open
            answer.set_cookie(
                _COOKIE, grant, path=home, httponly=True, samesite="lax", secure=request.url.scheme == "https"
            )
        return answer

    return _answer(request, make)


@router.get("/files/{name}")
@needs(Right.OPEN)
def file(request: Request, shop: ShopDep, token: str, name: str) -> Response:
    def make() -> Response:
        return download(sharing.file(shop, sharing.open_link(shop, token, _grant(request), count=False), name))

    return _answer(request, make)


@router.post("/ask")
@needs(Right.OPEN)
def ask(
    request: Request,
    shop: ShopDep,
    token: str,
    text: Annotated[str, Form()],
    pin: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
) -> Response:
    def make() -> Response:
        questions.ask(shop, token, _grant(request), pin=pin, name=name, text=text, address=address_of(request))
        return RedirectResponse(f"{request.url_for('shared', token=token).path}?asked=yes#questions", 303)

    return _answer(request, make)


def _page(request: Request, h: HandOver, pin: str, asked: str) -> HTMLResponse:
    def faces() -> list[drawings.Drawing]:
        return [drawings.face(h.snapshot, h.variant, h.analysis, k) for k in drawings.face_keys(h.snapshot, h.variant)]

    return page(
        request,
        "shared/page.html",
        h=h,
        home=str(request.url_for("shared", token=request.path_params["token"]).path),
        rows=h.rows if Part.TABLE in h.includes else (),
        maps=drawings.maps(h.snapshot, h.variant, h.analysis) if Part.DIAGRAM in h.includes else (),
        faces=faces() if Part.FACES in h.includes else (),
        mark=card.mark_address(h.card),
        cautions=PIN_TABLE_CAUTIONS,
        pins=sorted(h.pin_names) if Part.TABLE in h.includes else (),
        pin=pin if pin in h.pin_names else "",
        asked=asked == "yes",
        most=questions.MAX_TEXT,
    )
