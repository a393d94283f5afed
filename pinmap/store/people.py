"""People, their one-time links and their sessions as rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import NotFound
from pinmap.core.model.people import PersonRole
from pinmap.store.base import checked, now, table, touched


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the shop, without the password."""

    id: int
    sign_in: str
    name: str
    role: PersonRole
    created: datetime
    disabled: datetime | None
    version: int
    has_password: bool


def _persons() -> sa.Select[Any]:
    p = table("person")
    return sa.select(
        p.c.id, p.c.sign_in, p.c.name, p.c.role, p.c.created, p.c.disabled, p.c.version, p.c.password.is_not(None)
    )


def add_person(session: Session, values: dict[str, Any]) -> int:
    """Stores a person and gives the id."""
    p = table("person")
    row = checked(p, {"password": None, "created": now(), "disabled": None, "version": 1, **values})
    return int(session.execute(sa.insert(p).values(**row).returning(p.c.id)).scalar_one())


def list_people(session: Session) -> tuple[Person, ...]:
    """Everybody, by name."""
    p = table("person")
    return tuple(Person(*row) for row in session.execute(_persons().order_by(p.c.name, p.c.id)))


def get_person(session: Session, person_id: int) -> Person:
    """A person. Raises NotFound."""
    found = session.execute(_persons().where(table("person").c.id == person_id)).first()
    if found is None:
        raise NotFound("there is no such person")
    return Person(*found)


def find_person(session: Session, sign_in: str) -> Person | None:
    """The person with a sign-in name."""
    found = session.execute(_persons().where(table("person").c.sign_in == sign_in)).first()
    return None if found is None else Person(*found)


def password_of(session: Session, person_id: int, *, hold: bool = False) -> str | None:
    """The stored password hash of a person; with ``hold`` it stays so until the transaction ends."""
    p = table("person")
    query = sa.select(p.c.password).where(p.c.id == person_id)
    return session.execute(query.with_for_update() if hold else query).scalar_one_or_none()


def change_person(session: Session, person_id: int, **values: Any) -> None:
    """Writes columns of a person."""
    p = table("person")
    session.execute(sa.update(p).where(p.c.id == person_id).values(**checked(p, values)))


def owners(session: Session, *, came_in: bool = False) -> tuple[int, ...]:
    """Ids of the owners who are not disabled; with ``came_in`` without those who never used their invitation. Nobody
    else can change an owner until the transaction ends."""
    p = table("person")
    held = sa.select(p.c.id).where(p.c.role == PersonRole.OWNER, p.c.disabled.is_(None)).order_by(p.c.id)
    if came_in:
        held = held.where(p.c.password.is_not(None))
    return tuple(session.execute(held.with_for_update()).scalars())


@dataclass(frozen=True, slots=True)
class FoundLink:
    """A one-time link that is still good; ``person`` is None when it makes the first owner."""

    id: int
    person: int | None


def add_one_time_link(session: Session, token_sha256: str, person_id: int | None, expires: datetime) -> None:
    """Stores a link; it takes the place of all earlier ones for the same person or for the first owner."""
    link = table("one_time_link")
    same = link.c.person_id.is_(None) if person_id is None else link.c.person_id == person_id
    session.execute(sa.delete(link).where(same))
    row = {"token_sha256": token_sha256, "person_id": person_id, "created": now(), "expires": expires, "used": None}
    session.execute(sa.insert(link).values(**row))


def find_one_time_link(session: Session, token_sha256: str) -> FoundLink | None:
    """The link with this token hash, if it is still good."""
    link = table("one_time_link")
    found = session.execute(
        sa.select(link.c.id, link.c.person_id).where(
            link.c.token_sha256 == token_sha256, link.c.used.is_(None), link.c.expires > now()
        )
    ).first()
    return None if found is None else FoundLink(*found)


def use_one_time_link(session: Session, link_id: int) -> bool:
    """Uses a link up; says whether it was still good, which only one of several at once is told."""
    link = table("one_time_link")
    unused = sa.and_(link.c.id == link_id, link.c.used.is_(None))
    return touched(session, sa.update(link).where(unused).values(used=now())) == 1


def drop_one_time_links(session: Session, person_id: int) -> None:
    """Ends all links of a person."""
    link = table("one_time_link")
    session.execute(sa.delete(link).where(link.c.person_id == person_id))


@dataclass(frozen=True, slots=True)
class SessionLine:
    """A browser in which somebody is signed in."""

    id: int
    device: str
    created: datetime
    last_used: datetime
    expires: datetime


@dataclass(frozen=True, slots=True)
class FoundSession:
    """A session and its person as they stand now."""

    id: int
    last_used: datetime
    expires: datetime
    person: Person


def add_session(
    session: Session, token_sha256: str, person_id: int, device: str, expires: datetime, idle_since: datetime
) -> int:
    """Stores a session and gives its id; sessions of this person that have ended are cleared away."""
    s = table("person_session")
    ended = sa.or_(s.c.expires <= now(), s.c.last_used <= idle_since)
    session.execute(sa.delete(s).where(s.c.person_id == person_id, ended))
    row = {
        "token_sha256": token_sha256,
        "person_id": person_id,
        "device": device,
        "created": now(),
        "last_used": now(),
        "expires": expires,
    }
    return int(session.execute(sa.insert(s).values(**row).returning(s.c.id)).scalar_one())


def find_session(session: Session, token_sha256: str) -> FoundSession | None:
    """The session with this token hash, with its person, whether or not it has ended."""
    s, p = table("person_session"), table("person")
    found = session.execute(
        _persons()
        .add_columns(s.c.id, s.c.last_used, s.c.expires)
        .join(s, s.c.person_id == p.c.id)
        .where(s.c.token_sha256 == token_sha256)
    ).first()
    if found is None:
        return None
    *of_person, session_id, last_used, expires = found
    return FoundSession(session_id, last_used, expires, Person(*of_person))


def touch_session(session: Session, session_id: int) -> None:
    """Notes that a session was used just now."""
    s = table("person_session")
    session.execute(sa.update(s).where(s.c.id == session_id).values(last_used=now()))


def list_sessions(session: Session, person_id: int, idle_since: datetime) -> tuple[SessionLine, ...]:
    """The sessions of a person that have not ended, the last used first."""
    s = table("person_session")
    found = session.execute(
        sa.select(s.c.id, s.c.device, s.c.created, s.c.last_used, s.c.expires)
        .where(s.c.person_id == person_id, s.c.expires > now(), s.c.last_used > idle_since)
        .order_by(s.c.last_used.desc(), s.c.id.desc())
    )
    return tuple(SessionLine(*row) for row in found)


def last_seen(session: Session) -> dict[int, datetime]:
    """When each person who has a session used one last."""
    s = table("person_session")
    found = session.execute(sa.select(s.c.person_id, sa.func.max(s.c.last_used)).group_by(s.c.person_id))
    return dict(found.all())


def end_sessions(session: Session, person_id: int, *, only: int | None = None, but: int | None = None) -> int:
    """Ends sessions of a person: all, only one, or all but one; says how many."""
    s = table("person_session")
    where: Sequence[sa.ColumnElement[bool]] = [s.c.person_id == person_id]
    if only is not None:
        where = [*where, s.c.id == only]
    if but is not None:
        where = [*where, s.c.id != but]
    return touched(session, sa.delete(s).where(*where))


def end_all_access(connection: sa.Connection) -> None:
    """Ends every session and every one-time link of the shop."""
    for name in ("person_session", "one_time_link"):
        connection.execute(sa.delete(table(name)))
