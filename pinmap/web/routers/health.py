"""Whether the app is well, for whatever watches over it."""

from __future__ import annotations

from fastapi import APIRouter

from pinmap.core.model.people import Right
from pinmap.web.access import needs
from pinmap.web.deps import ShopDep

router = APIRouter()


@router.get("/health")
@needs(Right.OPEN)
def health(shop: ShopDep) -> dict[str, str]:
    """Answers once the app and its database do."""
    shop.ping()
    return {"status": "well"}
