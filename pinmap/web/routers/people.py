"""People of the shop, for its owners: invite, give roles, end access, help back in."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Path, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.people import PersonRole, Right, rights_by_role
from pinmap.services import people
from pinmap.services.people import LINK_DAYS
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST, Version, back_to
from pinmap.web.render import page

router = APIRouter(prefix="/people")

PersonId = Annotated[int, Path(ge=0, le=MOST)]


@router.get("")
@needs(Right.SHOP)
def index(request: Request, shop: ShopDep) -> HTMLResponse:
    return _page(request, shop)


def _page(
    request: Request,
    shop: Shop,
    status: int = 200,
    *,
    new_link: str = "",
    link_for: str = "",
    typed: dict[str, str] | None = None,
    error: InputError | None = None,
) -> HTMLResponse:
    return page(
        request,
        "people/index.html",
        status,
        lines=people.list_people(shop),
        roles=[(r.value, r.value) for r in PersonRole],
        rights=rights_by_role(),
        new_link=new_link,
        link_for=link_for,
        link_days=LINK_DAYS,
        typed=typed or {"name": "", "sign_in": "", "role": PersonRole.TECHNICIAN.value},
        problems={error.field: error.remedy} if error else {},
    )


def _with_link(request: Request, shop: Shop, name: str, token: str) -> HTMLResponse:
    """Answers with the page itself: an address with the token in it would end up in histories and logs."""
    return _page(request, shop, new_link=str(request.url_for("welcome", token=token)), link_for=name)


@router.post("/invite")
@needs(Right.SHOP)
def invite(
    request: Request,
    shop: ShopDep,
    role: Annotated[PersonRole, Form()],
    name: Annotated[str, Form()] = "",
    sign_in: Annotated[str, Form()] = "",
) -> Response:
    try:
        person, token = people.invite(shop, name, sign_in, role)
    except InputError as error:
        typed = {"name": name, "sign_in": sign_in, "role": role.value}
        return _page(request, shop, 422, typed=typed, error=error)
    return _with_link(request, shop, person.name, token)


@router.post("/{person}/link")
@needs(Right.SHOP)
def link(request: Request, shop: ShopDep, person: PersonId) -> HTMLResponse:
    found, token = people.new_link(shop, person)
    return _with_link(request, shop, found.name, token)


@router.post("/{person}/role")
@needs(Right.SHOP)
def role(shop: ShopDep, person: PersonId, version: Version, role: Annotated[PersonRole, Form()]) -> Response:
    people.change_role(shop, person, version, role)
    return back_to("/people", "The role is changed; it counts from the person's next click on")


@router.post("/{person}/disable")
@needs(Right.SHOP)
def disable(shop: ShopDep, person: PersonId, version: Version) -> Response:
    people.disable(shop, person, version)
    return back_to("/people", "That person is signed out everywhere and cannot sign in")


@router.post("/{person}/enable")
@needs(Right.SHOP)
def enable(shop: ShopDep, person: PersonId, version: Version) -> Response:
    people.enable(shop, person, version)
    return back_to("/people", "That person may sign in again")
