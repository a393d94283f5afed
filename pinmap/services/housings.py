"""Housings: the built-in ones, and the shop's own."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.crossing.changes import housing_changes
from pinmap.core.errors import InputError, NotFound, StructureError
from pinmap.core.model.pinouts import Housing
from pinmap.core.model.words import natural_key
from pinmap.services import audit
from pinmap.services.audit import Subject
from pinmap.services.remembered import all_housings, built_in_housings, own_housings
from pinmap.services.shop import Shop
from pinmap.store import housings as stored_housings


@dataclass(frozen=True, slots=True)
class HousingView:
    """A housing; ``version`` is None for a built-in one, which cannot be changed."""

    housing: Housing
    version: int | None


def list_housings(shop: Shop) -> tuple[HousingView, ...]:
    """All housings, by name."""
    with shop.read() as session:
        own = own_housings(shop, session)
        found = [HousingView(h, own[k][1] if k in own else None) for k, h in all_housings(shop, session).items()]
    return tuple(sorted(found, key=lambda v: (natural_key(v.housing.name), v.housing.key)))


def get(shop: Shop, key: str) -> HousingView:
    """A housing. Raises NotFound."""
    with shop.read() as session:
        own = own_housings(shop, session)
        housing = all_housings(shop, session).get(key)
        if housing is None:
            raise NotFound(f"there is no housing {key!r}")
        return HousingView(housing, own[key][1] if key in own else None)


def create(shop: Shop, housing: Housing) -> int:
    """Adds a housing of one's own and gives its version. Raises InputError."""
    if housing.key in built_in_housings():
        raise InputError("key", housing.key, "choose another key, a built-in housing has this one")
    with shop.write() as session:
        audit.record(shop, session, Subject.HOUSING, housing.key, "added", housing_changes(None, housing))
        return stored_housings.save_housing(session, housing, None)


def update(shop: Shop, housing: Housing, version: int) -> int:
    """Changes one of one's own. Raises InputError, Conflict, NotFound."""
    with shop.write() as session:
        before, _ = own_housings(shop, session).get(housing.key, (None, 0))
        new = stored_housings.save_housing(session, housing, version)
        audit.record(shop, session, Subject.HOUSING, housing.key, "changed", housing_changes(before, housing))
        return new


def delete(shop: Shop, key: str) -> None:
    """Deletes one of one's own. Raises StructureError naming what uses it, NotFound."""
    with shop.write() as session:
        if uses := stored_housings.housing_uses(session, key):
            shown = ", ".join(uses[:8])
            raise StructureError(f"housing {key} is used by {shown}; give these another one first", (key,))
        before, _ = own_housings(shop, session).get(key, (None, 0))
        stored_housings.delete_housing(session, key)
        audit.record(shop, session, Subject.HOUSING, key, "deleted", housing_changes(before, None))
