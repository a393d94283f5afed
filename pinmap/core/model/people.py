"""Who may do what: rights, the roles that have them, and whoever acts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Right(StrEnum):
    """What is asked for before something is done; each page and each service names one."""

    OPEN = "open"  # anybody, signed in or not
    READ = "read"  # look at everything of the shop, and mind one's own sign-in
    BENCH = "bench"  # check off what was built and measured, ask
    BUILD = "build"  # all engineering work: pinouts, jobs, releases, links for customers
    SHOP = "shop"  # people, backup, what customers are shown of the shop


class PersonRole(StrEnum):
    """What a person is in the shop."""

    OWNER = "owner"
    BUILDER = "builder"
    TECHNICIAN = "technician"


_VISITORS = frozenset({Right.OPEN})
RIGHTS: dict[PersonRole, frozenset[Right]] = {
    PersonRole.OWNER: frozenset(Right),
    PersonRole.BUILDER: _VISITORS | {Right.READ, Right.BENCH, Right.BUILD},
    PersonRole.TECHNICIAN: _VISITORS | {Right.READ, Right.BENCH},
}
RIGHT_WORDS = {
    Right.READ: "Read everything: jobs, pinouts, traces, tables, drawings, files, the guide; change one's own password",
    Right.BENCH: "Check off what was built, rung out and measured; ask questions",
    Right.BUILD: "Do all engineering work; accept findings; release revisions; make and revoke links for customers",
    Right.SHOP: "Invite people, give roles, end access; back up and move the shop; decide what customers are shown",
}


def rights_by_role() -> list[tuple[str, list[bool]]]:
    """Each right in words, and for each role in turn whether it has it."""
    return [(words, [right in RIGHTS[role] for role in PersonRole]) for right, words in RIGHT_WORDS.items()]


@dataclass(frozen=True, slots=True)
class Actor:
    """Whoever does something; ``name`` is what is written beside a change. ``person`` is None for the command line
    and for visitors."""

    name: str
    rights: frozenset[Right]
    person: int | None = None

    def may(self, right: Right) -> bool:
        return right in self.rights


SYSTEM = Actor("command line", frozenset(Right))  # has the database in its hands anyway
VISITOR = Actor("visitor", _VISITORS)
