"""What handlers ask for."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request

from pinmap.services.sessions import SignedIn
from pinmap.services.shop import Shop
from pinmap.web.access import SignInNeeded, actor_of, signed_in


def get_shop(request: Request) -> Shop:
    """The shop this app serves, in the hands of whoever asks."""
    shop = request.app.state.shop
    assert isinstance(shop, Shop)
    return shop.acting_as(actor_of(request))


def get_me(request: Request) -> SignedIn:
    """Who is signed in. Raises SignInNeeded."""
    me = signed_in(request)
    if me is None:
        raise SignInNeeded
    return me


ShopDep = Annotated[Shop, Depends(get_shop)]
MeDep = Annotated[SignedIn, Depends(get_me)]
