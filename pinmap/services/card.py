"""The shop's card: how it shows itself on what it shares."""

from __future__ import annotations

import base64

from pinmap.core.crossing.changes import Change, differences, plain_changes
from pinmap.core.errors import Conflict, InputError
from pinmap.core.model.people import Right
from pinmap.exchange.mark_in import mark_png
from pinmap.services import audit
from pinmap.services.audit import Subject
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.store import sharing as rows
from pinmap.store.sharing import Card

_LONGEST = {"name": 80, "line": 160, "contact": 400}


def get(shop: Shop) -> Card:
    """The card. Whoever reads a link sees it, so anybody may."""
    with shop.read(Right.OPEN) as session:
        return rows.card(session)


def change(shop: Shop, version: int, *, name: str, line: str, contact: str) -> None:
    """Changes the words on the card. Raises InputError, Conflict."""
    new = {"name": name.strip(), "line": line.strip(), "contact": contact.strip()}
    for field, text in new.items():
        if len(text) > _LONGEST[field]:
            raise InputError(field, text[:80], f"shorten it to {_LONGEST[field]} characters at most")
    with shop.write(Right.SHOP) as session:
        before = rows.card(session)
        told = plain_changes("the shop's card", {field: getattr(before, field) for field in new}, new)
        try:
            rows.change_card(session, version, new)
        except Conflict as stale:
            raise looked_at(stale, lambda: differences(told)) from None
        audit.record(shop, session, Subject.SHOP, "card", "card changed", told)


def change_mark(shop: Shop, picture: bytes | None) -> None:
    """Puts another mark on the card in place of any, or none. Raises InputError for what is no picture."""
    mark = "" if picture is None else base64.b64encode(mark_png(picture)).decode()
    with shop.write(Right.SHOP) as session:
        before = rows.card(session).mark
        rows.change_mark(session, mark)
        told = Change("the shop's card", "mark", _size(before), _size(mark))
        audit.record(shop, session, Subject.SHOP, "card", "mark changed" if mark else "mark taken off", (told,))


def _size(mark: str) -> str:
    return f"a picture of {len(mark) * 3 // 4} bytes" if mark else ""


def mark_address(card: Card) -> str:
    """The mark as an address that holds the picture itself, so that a reader's page asks for no other; "" without."""
    return f"data:image/png;base64,{card.mark}" if card.mark else ""
