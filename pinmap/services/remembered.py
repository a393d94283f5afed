"""What several services need of the library: housings and loaded platforms, remembered by version."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from sqlmodel import Session

from pinmap.core.facts import parts
from pinmap.core.facts.shelf import standard_housings
from pinmap.core.model.pinouts import Housing
from pinmap.services.shop import Shop
from pinmap.store import housings as stored_housings
from pinmap.store import platform_rows, versions
from pinmap.store.platform_rows import LoadedPlatform


@cache
def built_in_housings() -> Mapping[str, Housing]:
    """Housings that anybody can use: the generic ones and those of the standards on the shelf."""
    return {**standard_housings(), **parts.housings()}


def own_housings(shop: Shop, session: Session) -> dict[str, tuple[Housing, int]]:
    """The shop's own housings with their versions."""
    stamp = versions.stamp(session, "housings")
    return shop.recall(session, shop.housings, stamp, lambda: stored_housings.load_housings(session))


def all_housings(shop: Shop, session: Session) -> dict[str, Housing]:
    """Built-in and own housings by key."""
    return {**built_in_housings(), **{key: housing for key, (housing, _) in own_housings(shop, session).items()}}


def loaded(shop: Shop, session: Session, platform_id: int, version: int) -> LoadedPlatform:
    """A platform as of a version read in the same session."""
    return shop.recall(
        session, shop.platforms, (platform_id, version), lambda: platform_rows.load_platform(session, platform_id)
    )
