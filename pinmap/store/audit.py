"""Who changed what, as rows that are only ever added."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.crossing.changes import Change
from pinmap.core.model.pinouts import PinKey
from pinmap.store.base import checked, now, table


@dataclass(frozen=True, slots=True)
class Entry:
    """One deed with what it changed."""

    id: int
    at: datetime
    who: str
    kind: str
    subject: str
    what: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """What is looked for; "" and None ask for nothing. A pin is one cavity, whatever its edition; with only the
    platform, or platform and connector, all pins of these."""

    kind: str = ""
    subject: str = ""
    who: str = ""
    platform: str = ""
    connector: str = ""
    cavity: str = ""
    since: datetime | None = None
    until: datetime | None = None


def add(
    session: Session,
    who: str,
    kind: str,
    subject: str,
    what: str,
    changes: Sequence[Change],
    person_id: int | None = None,
) -> None:
    """Adds an entry, for ever."""
    a, c = table("audit"), table("audit_change")
    head = {"at": now(), "who": who, "person_id": person_id, "kind": kind, "subject": subject, "what": what}
    audit_id = session.execute(sa.insert(a).values(**checked(a, head)).returning(a.c.id)).scalar_one()
    rows = [
        {
            "audit_id": audit_id,
            "position": position,
            "subject": change.subject,
            "field": change.field,
            "old": change.old,
            "new": change.new,
            "platform": change.pin.platform if change.pin else None,
            "connector": change.pin.connector if change.pin else None,
            "cavity": change.pin.cavity if change.pin else None,
        }
        for position, change in enumerate(changes)
    ]
    if rows:
        session.execute(sa.insert(c), [checked(c, row) for row in rows])


def find(
    session: Session, query: Query, *, limit: int, before: int | None = None, without: Collection[str] = ()
) -> tuple[Entry, ...]:
    """Entries, the newest first, from below ``before`` on; none of the kinds in ``without``. Of an entry found by its
    pin only the changes at that pin are given."""
    a, c = table("audit"), table("audit_change")
    at_pin = [c.c[n] == value for n in ("platform", "connector", "cavity") if (value := getattr(query, n))]
    where = [a.c[n] == value for n in ("kind", "subject", "who") if (value := getattr(query, n))]
    if without:
        where.append(a.c.kind.not_in(without))
    if at_pin:
        where.append(sa.exists().where(c.c.audit_id == a.c.id, *at_pin))
    if query.since is not None:
        where.append(a.c.at >= query.since)
    if query.until is not None:
        where.append(a.c.at < query.until)
    if before is not None:
        where.append(a.c.id < before)
    heads = session.execute(
        sa.select(a.c.id, a.c.at, a.c.who, a.c.kind, a.c.subject, a.c.what)
        .where(*where)
        .order_by(a.c.id.desc())
        .limit(limit)
    ).all()
    changes: dict[int, list[Change]] = {head[0]: [] for head in heads}
    if changes:
        ids = sa.and_(c.c.audit_id.between(min(changes), max(changes)), c.c.audit_id.in_(list(changes)))
        found = session.execute(
            sa.select(c.c.audit_id, c.c.subject, c.c.field, c.c.old, c.c.new, c.c.platform, c.c.connector, c.c.cavity)
            .where(ids, *at_pin)
            .order_by(c.c.audit_id, c.c.position)
        )
        for audit_id, subject, field, old, new, *pin in found:
            changes[audit_id].append(Change(subject, field, old, new, PinKey(*pin) if pin[0] is not None else None))
    return tuple(
        Entry(audit_id, at, who, kind, subject, what, tuple(changes[audit_id]))
        for audit_id, at, who, kind, subject, what in heads
    )


def people(session: Session) -> tuple[str, ...]:
    """Everybody who has an entry."""
    a = table("audit")
    return tuple(session.execute(sa.select(a.c.who).distinct().order_by(a.c.who)).scalars())
