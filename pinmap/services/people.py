"""People of the shop: who they are, what they may, and the one-time links by which they come in."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session

from pinmap.core.crossing.changes import Change
from pinmap.core.errors import Conflict, Difference, InputError, NotFound, StructureError
from pinmap.core.model.people import PersonRole, Right
from pinmap.services import audit, passwords
from pinmap.services.audit import Subject
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.services.tokens import digest, new_token
from pinmap.store import people as rows
from pinmap.store import versions
from pinmap.store.base import now
from pinmap.store.engine import wait_turn
from pinmap.store.people import Person

LINK_DAYS = 7
_GONE = "this link opens nothing; it may have been used, replaced or expired"


@dataclass(frozen=True, slots=True)
class PersonLine:
    """A line of the list of people."""

    person: Person
    last_seen: datetime | None

    @property
    def state(self) -> str:
        """ "disabled", "invited" until a password is chosen, else "active"."""
        if self.person.disabled is not None:
            return "disabled"
        return "active" if self.person.has_password else "invited"


def normal_sign_in(text: str) -> str:
    """A sign-in name as it is compared: without regard to capitals. Raises InputError."""
    name = unicodedata.normalize("NFKC", text).strip().casefold()
    if not 2 <= len(name) <= 60 or not name.isprintable() or any(sign.isspace() for sign in name):
        raise InputError("sign_in", text[:80], "give 2 to 60 letters, digits or signs without a blank, such as ann.b")
    return name


def _named(name: str) -> str:
    name = " ".join(name.split())
    if not 1 <= len(name) <= 100 or not name.isprintable():
        raise InputError("name", name[:80], "give the name that is to stand beside changes, 100 characters at most")
    return name


def list_people(shop: Shop) -> tuple[PersonLine, ...]:
    """Everybody of the shop, by name."""
    with shop.read(Right.SHOP) as session:
        seen = rows.last_seen(session)
        return tuple(PersonLine(person, seen.get(person.id)) for person in rows.list_people(session))


def invite(shop: Shop, name: str, sign_in: str, role: PersonRole) -> tuple[Person, str]:
    """A new person, and the token of the one-time link by which they choose their password. Raises InputError."""
    values = {"name": _named(name), "sign_in": normal_sign_in(sign_in), "role": role}
    with shop.write(Right.SHOP) as session:
        wait_turn(session)
        if rows.find_person(session, str(values["sign_in"])) is not None:
            raise InputError("sign_in", sign_in[:80], "somebody has this sign-in name already; choose another one")
        person_id = rows.add_person(session, values)
        person = rows.get_person(session, person_id)
        _note(shop, session, person, "invited", Change("person", "added", "", f"{person.name}, {person.role}"))
        return person, _linked(session, person_id)


def new_link(shop: Shop, person_id: int) -> tuple[Person, str]:
    """A new one-time link for a person, in place of any earlier one. Raises NotFound, StructureError."""
    with shop.write(Right.SHOP) as session:
        person = rows.get_person(session, person_id)
        if person.disabled is not None:
            raise StructureError(f"{person.name} may not sign in; allow it first")
        _note(shop, session, person, "given a one-time link")
        return person, _linked(session, person_id)


def person_called(shop: Shop, sign_in: str) -> Person:
    """The person with a sign-in name. Raises NotFound, InputError."""
    with shop.read(Right.SHOP) as session:
        found = rows.find_person(session, normal_sign_in(sign_in))
    if found is None:
        raise NotFound(f"nobody has the sign-in name {sign_in!r}")
    return found


def change_role(shop: Shop, person_id: int, version: int, role: PersonRole) -> None:
    """Gives another role, which counts from the person's next click on. Raises Conflict, NotFound, and
    StructureError when nobody would be left as owner."""
    with shop.write(Right.SHOP) as session:
        person = _claimed(session, person_id, version, "Role", lambda p: p.role.value, role.value)
        if person.role == PersonRole.OWNER and role != PersonRole.OWNER:
            _keep_an_owner(session, person_id)
        rows.change_person(session, person_id, role=role)
        _note(shop, session, person, "given another role", Change("person", "role", person.role.value, role.value))


def disable(shop: Shop, person_id: int, version: int) -> None:
    """Ends a person's access, sessions and links at once. Raises Conflict, NotFound, StructureError for the last
    owner."""
    with shop.write(Right.SHOP) as session:
        person = _claimed(session, person_id, version, "Access", _access, "ended")
        if person.role == PersonRole.OWNER:
            _keep_an_owner(session, person_id)
        rows.change_person(session, person_id, disabled=now())
        rows.end_sessions(session, person_id)
        rows.drop_one_time_links(session, person_id)
        _note(shop, session, person, "access ended", Change("person", "may sign in", "yes", "no"))


def enable(shop: Shop, person_id: int, version: int) -> None:
    """Lets a person sign in again, with the password they had. Raises Conflict, NotFound."""
    with shop.write(Right.SHOP) as session:
        person = _claimed(session, person_id, version, "Access", _access, "open")
        rows.change_person(session, person_id, disabled=None)
        _note(shop, session, person, "access given back", Change("person", "may sign in", "no", "yes"))


def _access(person: Person) -> str:
    return "ended" if person.disabled else "open"


def _claimed(
    session: Session, person_id: int, version: int, what: str, stands: Callable[[Person], str], asked: str
) -> Person:
    """The person, claimed for a change from what ``stands`` to what is ``asked``, both in words."""
    person = rows.get_person(session, person_id)
    try:
        versions.claim(session, "person", person_id, version, f"the entry of {person.name}")
    except Conflict as stale:
        now = stands(rows.get_person(session, person_id))
        changes = (Difference(person.name, what, now, asked),) if now != asked else ()
        raise looked_at(stale, lambda: changes) from None
    return rows.get_person(session, person_id)


def _note(shop: Shop, session: Session, person: Person, what: str, *changes: Change, by: Person | None = None) -> None:
    audit.record(shop, session, Subject.PERSON, person.sign_in, what, changes, by)


def _keep_an_owner(session: Session, person_id: int) -> None:
    if not set(rows.owners(session, came_in=True)) - {person_id}:
        raise StructureError("the shop needs an owner who can sign in; make somebody else owner first")


def _linked(session: Session, person_id: int | None) -> str:
    token = new_token()
    rows.add_one_time_link(session, digest(token), person_id, now() + timedelta(days=LINK_DAYS))
    return token


def has_owner(shop: Shop) -> bool:
    """Whether the shop has an owner yet."""
    with shop.read(Right.OPEN) as session:
        return bool(rows.owners(session))


def first_link(shop: Shop) -> str | None:
    """While the shop has no owner: the token of a one-time link that makes one, in place of any earlier one."""
    with shop.write(Right.SHOP) as session:
        return None if rows.owners(session) else _linked(session, None)


def look_at(shop: Shop, token: str) -> Person | None:
    """Whom a one-time link is for, None when it makes the first owner. Uses nothing up. Raises NotFound in the same
    words whatever is wrong with it."""
    with shop.read(Right.OPEN) as session:
        return _opened(session, token)[1]


def _opened(session: Session, token: str) -> tuple[int, Person | None]:
    link = rows.find_one_time_link(session, digest(token))
    if link is None or (link.person is None and rows.owners(session)):
        raise NotFound(_GONE)
    return link.id, None if link.person is None else rows.get_person(session, link.person)


def come_in(shop: Shop, token: str, password: str, again: str, name: str = "", sign_in: str = "") -> Person:
    """Uses a one-time link up: sets the password of its person, or makes the first owner, who gives a name and a
    sign-in name. Ends the person's sessions. Raises NotFound as above, InputError with the link still good."""
    person = look_at(shop, token)
    if person is None:
        name, sign_in = _named(name), normal_sign_in(sign_in)
    else:
        name, sign_in = person.name, person.sign_in
    passwords.check(password, again, name, sign_in)
    fresh = passwords.hashed(password)  # before the transaction, since it takes its time
    with shop.write(Right.OPEN) as session:
        wait_turn(session)
        link, person = _opened(session, token)
        if not rows.use_one_time_link(session, link):
            raise NotFound(_GONE)
        if person is None:
            if rows.find_person(session, sign_in) is not None:
                raise InputError("sign_in", sign_in, "somebody has this sign-in name already; choose another one")
            values = {"name": name, "sign_in": sign_in, "role": PersonRole.OWNER, "password": fresh}
            person = rows.get_person(session, rows.add_person(session, values))
            born = Change("person", "added", "", f"{person.name}, {person.role}")
            _note(shop, session, person, "came in as the first owner", born, by=person)
            return person
        rows.change_person(session, person.id, password=fresh)
        rows.end_sessions(session, person.id)
        _note(shop, session, person, "chose a password by a one-time link", by=person)
        return rows.get_person(session, person.id)
