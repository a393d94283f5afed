"""Signing in and out, and the page that a one-time link opens."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from pinmap.core.errors import InputError, NotFound, TooOften
from pinmap.core.model.people import Right
from pinmap.services import people, sessions
from pinmap.services.passwords import MIN_LENGTH
from pinmap.services.shop import Shop
from pinmap.web import access
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import back_to
from pinmap.web.render import page

router = APIRouter()


@router.get("/sign-in")
@needs(Right.OPEN)
def form(request: Request, shop: ShopDep, next: str = "/") -> Response:
    if access.signed_in(request) is not None:
        return RedirectResponse(access.own_path(next), 303)
    return _form(request, shop, next)


def _form(
    request: Request, shop: Shop, next_: str, status: int = 200, name: str = "", problem: str = ""
) -> HTMLResponse:
    return page(
        request,
        "people/sign_in.html",
        status,
        next=access.own_path(next_),
        name=name,
        problem=problem,
        no_owner=not people.has_owner(shop),
    )


@router.post("/sign-in")
@needs(Right.OPEN)
def sign_in(
    request: Request,
    shop: ShopDep,
    name: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    next: Annotated[str, Form()] = "/",
) -> Response:
    try:
        token = sessions.sign_in(
            shop, name, password, address=access.address_of(request), device=access.device_of(request),
            replaces=access.session_token(request),
        )  # fmt: skip
    except InputError as error:
        said = f"{error.remedy[0].upper()}{error.remedy[1:]}."
        return _form(request, shop, next, 422, name, said)
    except TooOften as error:
        said = f"Too many tries in vain. Wait {error.wait_s} s and try again."
        refused = _form(request, shop, next, 429, name, said)
        refused.headers["retry-after"] = str(error.wait_s)
        return refused
    answer = RedirectResponse(access.own_path(next), 303)
    access.give_session(request, answer, token)
    return answer


@router.post("/sign-out")
@needs(Right.OPEN)
def sign_out(request: Request, shop: ShopDep) -> Response:
    sessions.sign_out(shop, access.session_token(request))
    answer = back_to("/sign-in", "Signed out")
    access.take_session(request, answer)
    return answer


@router.get("/welcome/{token}")
@needs(Right.OPEN)
def welcome(request: Request, shop: ShopDep, token: str) -> HTMLResponse:
    """Looking uses nothing up, since programs that preview links look too."""
    return _welcome(request, shop, token)


def _welcome(
    request: Request, shop: Shop, token: str, name: str = "", sign_in: str = "", error: InputError | None = None
) -> HTMLResponse:
    try:
        person = people.look_at(shop, token)
    except NotFound as gone:
        answer = page(request, "people/gone.html", 404, message=str(gone))
    else:
        answer = page(
            request,
            "people/welcome.html",
            422 if error else 200,
            person=person,
            name=name,
            sign_in=sign_in,
            least=MIN_LENGTH,
            problems={error.field: error.remedy} if error else {},
        )
    answer.headers["x-robots-tag"] = "noindex, nofollow"
    return answer


@router.post("/welcome/{token}")
@needs(Right.OPEN)
def come_in(
    request: Request,
    shop: ShopDep,
    token: str,
    password: Annotated[str, Form()] = "",
    password_again: Annotated[str, Form()] = "",
    name: Annotated[str, Form()] = "",
    sign_in: Annotated[str, Form()] = "",
) -> Response:
    try:
        person = people.come_in(shop, token, password, password_again, name, sign_in)
    except (InputError, NotFound) as error:
        return _welcome(request, shop, token, name, sign_in, error if isinstance(error, InputError) else None)
    sessions.sign_out(shop, access.session_token(request))
    answer = back_to("/", f"Welcome, {person.name}")
    access.give_session(request, answer, sessions.begin(shop, person, access.device_of(request)))
    return answer
