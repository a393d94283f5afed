"""Keeping the shop safe, for its owners: take a backup away, see whether the database is sound."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, StreamingResponse

from pinmap.core.model.people import Right
from pinmap.exchange.backup_file import SECRETS
from pinmap.services import keeping
from pinmap.services.outputs import MEDIA
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.downloads import attachment
from pinmap.web.render import page

router = APIRouter(prefix="/shop/keeping")


@router.get("")
@needs(Right.SHOP)
def show(request: Request, shop: ShopDep, look: str = "") -> HTMLResponse:
    """With ``look``, looks through the whole database first."""
    return page(
        request,
        "people/keeping.html",
        taken=keeping.taken(shop),
        secrets=SECRETS,
        found=keeping.soundness(shop) if look else None,
    )


@router.post("/backup")
@needs(Right.SHOP)
def backup(shop: ShopDep) -> StreamingResponse:
    made = keeping.take(shop)
    headers = attachment(made.filename) | {"content-length": str(made.size_bytes)}
    return StreamingResponse(made.chunks, media_type=MEDIA["zip"], headers=headers)
