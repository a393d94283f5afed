"""Signing in and out: sessions in the database, each good until it idles, ages or is ended."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from sqlmodel import Session

from pinmap.core.errors import InputError, NotFound
from pinmap.core.model.people import RIGHTS, Actor, PersonRole, Right
from pinmap.services import audit, passwords, throttle
from pinmap.services.audit import Subject
from pinmap.services.people import normal_sign_in
from pinmap.services.shop import Shop
from pinmap.services.throttle import Limit
from pinmap.services.tokens import digest, new_token
from pinmap.store import people as rows
from pinmap.store.base import now
from pinmap.store.people import Person, SessionLine

IDLE = timedelta(days=7)
LONGEST = timedelta(days=30)
_NOTED_EVERY = timedelta(minutes=5)  # a read should not have to write each time
_REFUSED = "the sign-in name and password do not go together, or the person may not sign in"


@dataclass(frozen=True, slots=True)
class SignedIn:
    """A person in a browser, as of one request."""

    session: int
    person: int
    name: str
    sign_in: str
    role: PersonRole

    @property
    def actor(self) -> Actor:
        return Actor(self.name, RIGHTS[self.role], self.person)


def sign_in(shop: Shop, name: str, password: str, *, address: str, device: str, replaces: str = "") -> str:
    """Signs somebody in and gives the token of the new session; the one it replaces is ended. Raises InputError in
    the same words and after the same time for an unknown name, a wrong password and a person who may not; TooOften
    when it was tried in vain too often, whether or not there is such a name."""
    try:
        known = normal_sign_in(name)
    except InputError:
        known = ""  # nobody's
    limits = (
        Limit(f"sign-in {known} from {address}", free=5, longest_wait_s=900),
        Limit(f"sign-in from {address}", free=20, longest_wait_s=900),
        # Waits little, so that strangers cannot keep somebody out for long by trying from everywhere.
        Limit(f"sign-in {known}", free=60, longest_wait_s=30),
    )
    throttle.count(shop, limits)
    with shop.read(Right.OPEN) as session:
        person = rows.find_person(session, known)
        stored = rows.password_of(session, person.id if person else 0)
    if not passwords.fits(password, stored) or stored is None or person is None or person.disabled is not None:
        raise InputError("name", name[:80], _REFUSED)
    throttle.was_right(shop, limits)
    renewed = passwords.hashed(password) if passwords.outdated(stored) else stored
    with shop.write(Right.OPEN) as session:
        if rows.password_of(session, person.id, hold=True) != stored:  # changed in this very moment
            raise InputError("name", name[:80], _REFUSED)
        if replaces and (old := rows.find_session(session, digest(replaces))):
            rows.end_sessions(session, old.person.id, only=old.id)
        if renewed != stored:
            rows.change_person(session, person.id, password=renewed)
        return _begun(session, person.id, device)


def begin(shop: Shop, person: Person, device: str) -> str:
    """Signs in somebody who has just proved who they are in another way; gives the token."""
    with shop.write(Right.OPEN) as session:
        return _begun(session, person.id, device)


def _begun(session: Session, person_id: int, device: str) -> str:
    token = new_token()
    rows.add_session(session, digest(token), person_id, device[:200], now() + LONGEST, now() - IDLE)
    return token


def find(shop: Shop, token: str) -> SignedIn | None:
    """Who is signed in by a token, None when its session has ended or its person may not sign in any more."""
    with shop.read(Right.OPEN) as session:
        found = rows.find_session(session, digest(token))
    time = now()
    if found is None or found.expires <= time or found.last_used <= time - IDLE or found.person.disabled is not None:
        return None
    if found.last_used <= time - _NOTED_EVERY:
        with shop.write(Right.OPEN) as session:
            rows.touch_session(session, found.id)
    person = found.person
    return SignedIn(found.id, person.id, person.name, person.sign_in, person.role)


def sign_out(shop: Shop, token: str) -> None:
    """Ends the session of a token, if there is one."""
    with shop.write(Right.OPEN) as session:
        if found := rows.find_session(session, digest(token)):
            rows.end_sessions(session, found.person.id, only=found.id)


def own(shop: Shop, me: SignedIn) -> tuple[SessionLine, ...]:
    """All sessions of a person, the last used first."""
    with shop.read() as session:
        return rows.list_sessions(session, me.person, now() - IDLE)


def end_own(shop: Shop, me: SignedIn, session_id: int | None = None) -> int:
    """Ends one of a person's own sessions, or all others than this one; says how many. Raises NotFound."""
    with shop.write(Right.READ) as session:
        if session_id is None:
            return rows.end_sessions(session, me.person, but=me.session)
        if not rows.end_sessions(session, me.person, only=session_id):
            raise NotFound("that session has ended already")
        return 1


def change_password(shop: Shop, me: SignedIn, old: str, new: str, again: str) -> None:
    """Changes a person's own password and ends the person's other sessions. Raises InputError, TooOften."""
    passwords.check(new, again, me.name, me.sign_in)
    limits = (Limit(f"change password of {me.person}", free=5, longest_wait_s=900),)
    throttle.count(shop, limits)
    with shop.read() as session:
        stored = rows.password_of(session, me.person)
    if not passwords.fits(old, stored):
        raise InputError("old_password", "", "give the password that you have now")
    throttle.was_right(shop, limits)
    fresh = passwords.hashed(new)
    with shop.write(Right.READ) as session:
        rows.change_person(session, me.person, password=fresh)
        rows.end_sessions(session, me.person, but=me.session)
        audit.record(shop, session, Subject.PERSON, me.sign_in, "changed the own password")
