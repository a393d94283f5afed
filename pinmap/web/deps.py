"""What handlers ask for."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from pinmap.services.shop import Shop


def get_shop(request: Request) -> Shop:
    """The shop this app serves."""
    shop = request.app.state.shop
    assert isinstance(shop, Shop)
    return shop


ShopDep = Annotated[Shop, Depends(get_shop)]
