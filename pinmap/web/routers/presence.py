"""The live note on a job's pages: who else is in it, and whether it has changed since the page was opened."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse

from pinmap.core.model.people import Right
from pinmap.services import presence
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep
from pinmap.web.forms import MOST
from pinmap.web.render import page

router = APIRouter(prefix="/jobs/{key}")


@router.post("/here")
@needs(Right.READ)
def here(
    request: Request,
    shop: ShopDep,
    key: str,
    where: Annotated[str, Form()] = "",
    shown: Annotated[int, Form(ge=0, le=MOST)] = 0,
) -> HTMLResponse:
    """Asked for by every open page again and again; ``shown`` is the version that the page shows."""
    found = presence.here(shop, key, where)
    return page(request, "jobs/_here.html", others=found.others, changed=bool(shown) and shown != found.version)
