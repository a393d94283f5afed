"""Who changed what, when, from what to what. Every service that changes something writes it down in its own
transaction, so that no change is stored without its entry; the database takes no entry back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from sqlmodel import Session

from pinmap.core.crossing.changes import Change
from pinmap.core.model.people import Right
from pinmap.exchange.tables import Table, TableColumn
from pinmap.services.shop import Shop
from pinmap.store import audit as rows
from pinmap.store.audit import Entry, Query
from pinmap.store.people import Person

PAGE = 100
MOST = 50_000  # entries in one file


class Subject(StrEnum):
    """What kind of thing an entry is about."""

    JOB = "job"
    PLATFORM = "platform"
    FUNCTION = "function"
    HOUSING = "housing"
    PERSON = "person"
    SHOP = "shop"


_OWNERS_ONLY = (Subject.PERSON, Subject.SHOP)


def record(
    shop: Shop,
    session: Session,
    kind: Subject,
    subject: str,
    what: str,
    changes: Sequence[Change] = (),
    by: Person | None = None,
) -> None:
    """Writes down what whoever acts is doing, in the transaction that does it; ``by`` is who it is where they are not
    signed in yet."""
    who, person_id = (by.name, by.id) if by is not None else (shop.actor.name, shop.actor.person)
    rows.add(session, who, kind.value, subject, what, changes, person_id)


@dataclass(frozen=True, slots=True)
class Entries:
    """Some entries, the newest first; ``older`` is where the next page begins, None on the last one."""

    entries: tuple[Entry, ...]
    older: int | None


def entries(shop: Shop, query: Query, before: int | None = None, limit: int = PAGE) -> Entries:
    """What was changed. What was done to people and to the shop itself is for whoever may do it."""
    hidden = () if shop.actor.may(Right.SHOP) else tuple(k.value for k in _OWNERS_ONLY)
    with shop.read() as session:
        found = rows.find(session, query, limit=limit + 1, before=before, without=hidden)
    shown = found[:limit]
    return Entries(shown, shown[-1].id if len(found) > limit else None)


def people(shop: Shop) -> tuple[str, ...]:
    """Everybody who has changed something."""
    with shop.read() as session:
        return rows.people(session)


def table(found: Sequence[Entry]) -> Table:
    """One row a field that was changed; one for an entry that changed none."""
    headings = ("entry", "at", "who", "kind", "of", "what", "subject", "field", "old", "new")
    blank = Change("", "", "", "")
    return Table(
        name="Changes",
        title="Who changed what",
        columns=tuple(TableColumn(heading=h, width=20) for h in headings),
        rows=tuple(
            (
                e.id,
                e.at.isoformat(timespec="seconds"),
                e.who,
                e.kind,
                e.subject,
                e.what,
                c.subject,
                c.field,
                c.old,
                c.new,
            )
            for e in found
            for c in e.changes or (blank,)
        ),
    )
