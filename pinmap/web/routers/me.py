"""A person's own page: password, and the browsers they are signed in with."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.people import RIGHT_WORDS, RIGHTS, Right
from pinmap.services import sessions
from pinmap.services.passwords import MIN_LENGTH
from pinmap.services.sessions import SignedIn
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import MeDep, ShopDep
from pinmap.web.forms import MOST, back_to
from pinmap.web.render import page

router = APIRouter(prefix="/me")


@router.get("")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, me: MeDep) -> HTMLResponse:
    return _page(request, shop, me)


def _page(request: Request, shop: Shop, me: SignedIn, error: InputError | None = None) -> HTMLResponse:
    return page(
        request,
        "people/me.html",
        422 if error else 200,
        sessions=sessions.own(shop, me),
        rights=[words for right, words in RIGHT_WORDS.items() if right in RIGHTS[me.role]],
        least=MIN_LENGTH,
        problems={error.field: error.remedy} if error else {},
        idle_days=sessions.IDLE.days,
    )


@router.post("/password")
@needs(Right.READ)
def change_password(
    request: Request,
    shop: ShopDep,
    me: MeDep,
    old_password: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    password_again: Annotated[str, Form()] = "",
) -> Response:
    try:
        sessions.change_password(shop, me, old_password, password, password_again)
    except InputError as error:
        return _page(request, shop, me, error)
    return back_to("/me", "The password is changed; every other browser of yours is signed out")


@router.post("/sessions/end")
@needs(Right.READ)
def end(shop: ShopDep, me: MeDep, session: Annotated[int, Form(ge=0, le=MOST)]) -> Response:
    sessions.end_own(shop, me, session)
    return back_to("/me", "That browser is signed out")


@router.post("/sessions/end-others")
@needs(Right.READ)
def end_others(shop: ShopDep, me: MeDep) -> Response:
    ended = sessions.end_own(shop, me)
    return back_to("/me", f"Signed out elsewhere: {ended}")
