"""The shop's card: name, line, contact and mark, as customers see them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, File, Form, Request, UploadFile
from fastapi.responses import HTMLResponse, Response

from pinmap.core.errors import InputError
from pinmap.core.model.people import Right
from pinmap.exchange.mark_in import MAX_BYTES
from pinmap.services import card
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import Version, back_to
from pinmap.web.render import page

router = APIRouter(prefix="/shop")


@router.get("")
@needs(Right.SHOP)
def show(request: Request, shop: ShopDep) -> HTMLResponse:
    found = card.get(shop)
    return page(request, "shared/card.html", card=found, mark=card.mark_address(found))


@router.post("")
@needs(Right.SHOP)
def change(
    shop: ShopDep,
    version: Version,
    name: Annotated[str, Form()] = "",
    line: Annotated[str, Form()] = "",
    contact: Annotated[str, Form()] = "",
) -> Response:
    card.change(shop, version, name=name, line=line, contact=contact)
    return back_to("/shop", "Saved")


@router.post("/mark")
@needs(Right.SHOP)
def put_mark(shop: ShopDep, mark: Annotated[UploadFile, File()]) -> Response:
    picture = mark.file.read(MAX_BYTES + 1)
    if not picture:
        raise InputError("mark", mark.filename or "", "choose a picture, PNG or JPEG")
    card.change_mark(shop, picture)
    return back_to("/shop", "The mark is on the card")


@router.post("/mark/remove")
@needs(Right.SHOP)
def take_mark(shop: ShopDep) -> Response:
    card.change_mark(shop, None)
    return back_to("/shop", "The mark is off the card")
