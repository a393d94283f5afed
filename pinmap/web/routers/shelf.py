"""Standard connectors from published standards."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response
from markupsafe import Markup

from pinmap.core.crossing.propose import cross as cross_platforms
from pinmap.core.errors import NotFound
from pinmap.core.facts.shelf import ShelfEntry, shelf
from pinmap.core.model.people import Right
from pinmap.drawings.faces import face_svg
from pinmap.services import dictionary, platforms
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import address, back_to
from pinmap.web.render import page

router = APIRouter(prefix="/shelf")


def _entry(key: str) -> ShelfEntry:
    for entry in shelf():
        if entry.key == key:
            return entry
    raise NotFound(f"no standard connector {key!r} is on the shelf")


@router.get("")
@needs(Right.READ)
def index(request: Request) -> HTMLResponse:
    return page(request, "shelf/index.html", entries=shelf())


@router.get("/cross")
@needs(Right.READ)
def cross(request: Request, shop: ShopDep, a: str, b: str) -> HTMLResponse:
    one, two = _entry(a), _entry(b)
    result = cross_platforms(one.platform, two.platform, dictionary.entries(shop))
    words = {p.key(side.platform.key): p.function for side in (one, two) for p in side.platform.pins}
    return page(
        request,
        "shelf/cross.html",
        a=one,
        b=two,
        pairs=result.pairs,
        left_a=result.left_a,
        left_b=result.left_b,
        words=words,
    )


@router.get("/{key}")
@needs(Right.READ)
def entry(request: Request, key: str) -> HTMLResponse:
    found = _entry(key)
    housings = {h.key: h for h in found.housings}
    faces = [
        (c.name, Markup(face_svg(housings[c.housing], None)))  # noqa: S704 - our own drawing, text in it is escaped
        for c in found.platform.connectors
        if c.housing in housings
    ]
    return page(request, "shelf/entry.html", e=found, faces=faces)


@router.post("/{key}/copy")
@needs(Right.BUILD)
def copy(shop: ShopDep, key: str) -> Response:
    made = platforms.from_shelf(shop, key)
    return back_to(address("platforms", made.platform.key), "Copied from the shelf")
