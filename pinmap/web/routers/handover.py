"""Hand over: revisions, links for customers, and the page a link opens."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response

from pinmap.core.build.pin_table import pin_table
from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.people import Right
from pinmap.services import drawings, revisions, sharing
from pinmap.services.sharing import HandOver
from pinmap.services.shop import Shop
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST, Version, back_to
from pinmap.web.job_pages import job_page, open_job
from pinmap.web.render import page

router = APIRouter()


def _page(request: Request, shop: Shop, key: str, variant: str = "", new_link: str = "") -> HTMLResponse:
    opened = open_job(shop, key, variant)
    lines = revisions.list_revisions(shop, key)
    return job_page(
        request,
        "handover/job.html",
        opened,
        "handover",
        revisions=lines,
        kept=revisions.kept_drafts(shop, key),
        lineage=revisions.lineage(shop, key),
        links=sharing.list_links(shop, key),
        blocks=revisions.blocks(opened.view),
        next_letter=revisions.next_letter([r.letter for r in lines]),
        revision_options=[(r.letter, f"{r.letter}, {r.created:%Y-%m-%d}") for r in reversed(lines)],
        new_link=new_link,
    )


@router.get("/jobs/{key}/handover")
@needs(Right.READ)
def show(request: Request, shop: ShopDep, key: str, variant: str = "") -> HTMLResponse:
    return _page(request, shop, key, variant)


@router.post("/jobs/{key}/handover/release")
@needs(Right.BUILD)
def release(
    shop: ShopDep,
    key: str,
    version: Version,
    note: Annotated[str, Form()] = "",
) -> Response:
    line = revisions.release(shop, key, version, shop.actor.name, note)
    return back_to(f"/jobs/{key}/handover", f"Revision {line.letter} is released")


@router.post("/jobs/{key}/handover/share")
@needs(Right.BUILD)
def share(
    request: Request,
    shop: ShopDep,
    key: str,
    revision: Annotated[str, Form()],
    variant: Annotated[str, Form()],
    label: Annotated[str, Form()],
    days: Annotated[int, Form(ge=-MOST, le=MOST)] = 30,
    passphrase: Annotated[str, Form()] = "",
) -> HTMLResponse:
    """Answers with the page itself: an address with the token in it would end up in histories and logs."""
    token = sharing.create_link(shop, key, revision, variant, days=days, label=label, passphrase=passphrase)
    return _page(request, shop, key, new_link=str(request.url_for("shared", token=token)))


@router.post("/jobs/{key}/handover/revoke")
@needs(Right.BUILD)
def revoke(shop: ShopDep, key: str, link: Annotated[int, Form(ge=0, le=MOST)]) -> Response:
    sharing.revoke(shop, key, link)
    return back_to(f"/jobs/{key}/handover", "The link opens nothing any more")


@router.get("/s/{token}", name="shared")
@needs(Right.OPEN)
def shared(request: Request, shop: ShopDep, token: str) -> HTMLResponse:
    """What the customer sees."""
    return _opened(request, shop, token, "")


@router.post("/s/{token}")
@needs(Right.OPEN)
def shared_with_passphrase(
    request: Request, shop: ShopDep, token: str, passphrase: Annotated[str, Form()] = ""
) -> HTMLResponse:
    return _opened(request, shop, token, passphrase)


def _opened(request: Request, shop: Shop, token: str, passphrase: str) -> HTMLResponse:
    try:
        opened = sharing.open_link(shop, token, passphrase)
    except NotFound as error:
        answer = page(request, "handover/gone.html", 404, message=str(error))
    except InputError as error:
        answer = page(request, "handover/passphrase.html", 403, problem=str(error.remedy) if passphrase else "")
    else:
        answer = _shared_page(request, opened)
    answer.headers["x-robots-tag"] = "noindex, nofollow"
    return answer


def _shared_page(request: Request, h: HandOver) -> HTMLResponse:
    done = h.analysis
    keys = drawings.face_keys(h.snapshot, h.variant)
    return page(
        request,
        "handover/shared.html",
        h=h,
        rows=pin_table(h.snapshot, h.variant, h.rows),
        maps=drawings.maps(h.snapshot, h.variant, done),
        faces=[drawings.face(h.snapshot, h.variant, done, k) for k in keys],
    )
