"""People who are signed in, for tests of everything else."""

from __future__ import annotations

from datetime import timedelta

import httpx

from pinmap.core.model.people import PersonRole
from pinmap.services.shop import Shop
from pinmap.services.tokens import digest
from pinmap.store import people as rows
from pinmap.store.base import now

COOKIE = "pinmap"  # its name over plain http
OWNER = "A. Fitter"


def session_of(shop: Shop, role: PersonRole = PersonRole.OWNER, *, token: str = "") -> str:
    """The token of a session of the one test person with this role, who has no password; the given one if any."""
    token = token or f"test-{role}"
    names = {PersonRole.OWNER: OWNER, PersonRole.BUILDER: "Bert Builder", PersonRole.TECHNICIAN: "Tess Technician"}
    with shop.write() as session:
        found = rows.find_person(session, role)
        values = {"sign_in": role.value, "name": names[role], "role": role}
        person = found.id if found else rows.add_person(session, values)
        if rows.find_session(session, digest(token)) is None:
            later, before = now() + timedelta(days=1), now() - timedelta(days=1)
            rows.add_session(session, digest(token), person, "test", later, before)
    return token


def sign_in(client: httpx.Client, shop: Shop, role: PersonRole = PersonRole.OWNER) -> None:
    """Signs a client in, without a password."""
    client.cookies.set(COOKIE, session_of(shop, role))
