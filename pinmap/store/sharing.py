"""Share links, readers' questions and the shop's card as rows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlmodel import Session

from pinmap.core.errors import NotFound
from pinmap.store.base import checked, now, table
from pinmap.store.versions import claim

_OLD_LINKS = ("table", "faces", "diagram")  # what links show that were made before there was a choice


@dataclass(frozen=True, slots=True)
class LinkLine:
    """A share link, without the token, which nobody but its owner knows."""

    id: int
    revision_id: int
    letter: str
    variant: str
    label: str
    created: datetime
    expires: datetime
    revoked: datetime | None
    views: int
    guarded: bool
    record_serial: str | None
    includes: tuple[str, ...]

    @property
    def state(self) -> str:
        """ "open", "expired" or "revoked"."""
        return "revoked" if self.revoked is not None else "expired" if self.expires <= now() else "open"


def add_link(session: Session, values: dict[str, Any]) -> int:
    """Stores a share link and gives its id."""
    s = table("share_link")
    row = checked(s, {"created": now(), "revoked": None, "views": 0, **values})
    return int(session.execute(sa.insert(s).values(**row).returning(s.c.id)).scalar_one())


def list_links(session: Session, job_id: int) -> tuple[LinkLine, ...]:
    """All share links of a job, the newest first."""
    s = table("share_link")
    return tuple(_line(row) for row in session.execute(_links(job_id).order_by(s.c.id.desc())))


def _line(row: Sequence[Any]) -> LinkLine:
    line = LinkLine(*row)
    return replace(line, includes=_OLD_LINKS) if row[-1] is None else line


def _links(job_id: int) -> sa.Select[Any]:
    s, r = table("share_link"), table("revision")
    return (
        sa.select(
            s.c.id,
            s.c.revision_id,
            r.c.letter,
            s.c.variant,
            s.c.label,
            s.c.created,
            s.c.expires,
            s.c.revoked,
            s.c.views,
            s.c.passphrase.is_not(None),
            s.c.record_serial,
            s.c.includes,
        )
        .select_from(s.join(r))
        .where(r.c.job_id == job_id)
    )


@dataclass(frozen=True, slots=True)
class FoundLink:
    """What a link opens, and under which conditions."""

    id: int
    revision_id: int
    variant: str
    includes: tuple[str, ...]
    label: str
    passphrase: str | None
    expires: datetime
    record_serial: str | None


def find_link(session: Session, token_sha256: str) -> FoundLink | None:
    """The link with this token hash, if it stands. The database leaves out those that have ended, so that they take
    no longer than those that never were."""
    s = table("share_link")
    found = session.execute(
        sa.select(
            s.c.id,
            s.c.revision_id,
            s.c.variant,
            s.c.includes,
            s.c.label,
            s.c.passphrase,
            s.c.expires,
            s.c.record_serial,
        ).where(s.c.token_sha256 == token_sha256, s.c.revoked.is_(None), s.c.expires > now())
    ).first()
    if found is None:
        return None
    link = FoundLink(*found)
    return replace(link, includes=_OLD_LINKS) if found[3] is None else link


def count_view(session: Session, link_id: int) -> None:
    """Counts that a link was opened."""
    s = table("share_link")
    session.execute(sa.update(s).where(s.c.id == link_id).values(views=s.c.views + 1))


def revoke_link(session: Session, job_id: int, link_id: int) -> LinkLine:
    """Ends a link of this job, and gives it as it was; one that has ended already stays as it is. Raises NotFound."""
    s = table("share_link")
    found = session.execute(_links(job_id).where(s.c.id == link_id)).first()
    if found is None:
        raise NotFound("there is no such link")
    session.execute(sa.update(s).where(s.c.id == link_id, s.c.revoked.is_(None)).values(revoked=now()))
    return _line(found)


@dataclass(frozen=True, slots=True)
class Question:
    """What a reader asked, with what the shop said; ``settled`` is None while it is new."""

    id: int
    link_id: int
    letter: str
    label: str  # of the link
    pin: str
    name: str
    text: str
    asked: datetime
    settled: datetime | None
    answer: str
    answered_by: str
    version: int


def add_question(session: Session, values: dict[str, Any]) -> None:
    """Stores a question."""
    q = table("question")
    row = {"asked": now(), "settled": None, "answer": "", "answered_by": "", "version": 1, **values}
    session.execute(sa.insert(q).values(**checked(q, row)))


def count_questions(session: Session, link_id: int) -> int:
    """How many were asked by a link."""
    q = table("question")
    return int(session.execute(sa.select(sa.func.count()).where(q.c.link_id == link_id)).scalar_one())


def questions(session: Session, *, job_id: int = 0, link_id: int = 0) -> tuple[Question, ...]:
    """The questions of a job, or of a link, the newest first."""
    q, s, r = table("question"), table("share_link"), table("revision")
    where = r.c.job_id == job_id if job_id else q.c.link_id == link_id
    found = session.execute(
        sa.select(
            q.c.id, q.c.link_id, r.c.letter, s.c.label, q.c.pin, q.c.name, q.c.text, q.c.asked, q.c.settled,
            q.c.answer, q.c.answered_by,
            q.c.version,
        )
        .select_from(q.join(s, s.c.id == q.c.link_id).join(r, r.c.id == s.c.revision_id))
        .where(where)
        .order_by(q.c.id.desc())
    )  # fmt: skip
    return tuple(Question(*row) for row in found)


def question_of(session: Session, job_id: int, question_id: int) -> Question:
    """A question of this job. Raises NotFound."""
    found = next((x for x in questions(session, job_id=job_id) if x.id == question_id), None)
    if found is None:
        raise NotFound("there is no such question")
    return found


def settle(session: Session, question_id: int, version: int, answer: str, answered_by: str) -> None:
    """Answers a question, or sets it aside with an empty answer. Raises Conflict."""
    q = table("question")
    claim(session, "question", question_id, version, "the answer")
    values = checked(q, {"answer": answer, "answered_by": answered_by, "settled": now()})
    session.execute(sa.update(q).where(q.c.id == question_id).values(**values))


@dataclass(frozen=True, slots=True)
class Card:
    """How the shop shows itself: name, a line below it, how to reach it, and its mark as PNG in base64."""

    name: str
    line: str
    contact: str
    mark: str
    version: int


def card(session: Session) -> Card:
    """The shop's card."""
    c = table("shop_card")
    return Card(*session.execute(sa.select(c.c.name, c.c.line, c.c.contact, c.c.mark, c.c.version)).one())


def change_card(session: Session, version: int, values: dict[str, Any]) -> None:
    """Changes the words on the shop's card. Raises Conflict, InputError."""
    c = table("shop_card")
    claim(session, "shop_card", 1, version, "the shop's card")
    session.execute(sa.update(c).where(c.c.id == 1).values(**checked(c, values)))


def change_mark(session: Session, mark: str) -> None:
    """Puts another mark on the shop's card, "" for none."""
    c = table("shop_card")
    session.execute(sa.update(c).where(c.c.id == 1).values(mark=mark))
