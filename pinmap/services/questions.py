"""Questions that readers of a link leave on a pin, and the shop's answers."""

from __future__ import annotations

from pinmap.core.crossing.changes import Change
from pinmap.core.errors import Conflict, Difference, InputError
from pinmap.core.model.people import Right
from pinmap.services import audit, sharing, throttle
from pinmap.services.audit import Subject
from pinmap.services.shop import Shop
from pinmap.services.stale import looked_at
from pinmap.services.throttle import Limit
from pinmap.store import jobs as jobs_rows
from pinmap.store import sharing as rows
from pinmap.store.sharing import Question

MAX_TEXT, MAX_NAME, MAX_ANSWER = 1000, 80, 2000
MOST = 200  # questions by one link


def ask(shop: Shop, token: str, grant: str, *, pin: str, name: str, text: str, address: str) -> None:
    """Leaves a question on a pin of the link's pin table, "" for the whole of it. Raises NotFound and InputError as
    ``sharing.open_link``, InputError for what is empty, too long or on no pin, TooOften."""
    opened = sharing.open_link(shop, token, grant, count=False)
    pin, name, text = pin.strip(), " ".join(name.split()), text.strip()
    if not text:
        raise InputError("text", "", "write the question")
    if len(text) > MAX_TEXT:
        raise InputError("text", f"{len(text)} characters", f"shorten it to {MAX_TEXT} characters at most")
    if len(name) > MAX_NAME:
        raise InputError("name", name[:80], f"shorten it to {MAX_NAME} characters at most")
    if pin and pin not in opened.pin_names:
        raise InputError("pin", pin[:80], "choose a pin of the table, or leave it empty")
    limits = (
        Limit(f"questions by link {opened.link_id}", free=5, longest_wait_s=600),
        Limit(f"questions from {address}", free=20, longest_wait_s=600),
    )
    throttle.count(shop, limits)
    with shop.write(Right.OPEN) as session:
        if rows.count_questions(session, opened.link_id) >= MOST:
            raise InputError("text", "", "this link has no room for more questions; call the shop")
        rows.add_question(session, {"link_id": opened.link_id, "pin": pin, "name": name, "text": text})


def of_job(shop: Shop, key: str) -> tuple[Question, ...]:
    """All questions on the links of a job, the newest first. Raises NotFound."""
    with shop.read() as session:
        return rows.questions(session, job_id=jobs_rows.versions(session, key).job_id)


def answer(shop: Shop, key: str, question: int, version: int, text: str) -> None:
    """Answers a question; an empty text sets it aside. The answer shows to whoever reads the link. Raises NotFound,
    InputError, Conflict when somebody else has answered since."""
    text = text.strip()
    if len(text) > MAX_ANSWER:
        raise InputError("answer", f"{len(text)} characters", f"shorten it to {MAX_ANSWER} characters at most")
    with shop.write() as session:
        job_id = jobs_rows.versions(session, key).job_id
        before = rows.question_of(session, job_id, question)
        where = f"question on {before.pin or 'the whole'}"
        try:
            rows.settle(session, question, version, text, shop.actor.name if text else "")
        except Conflict as stale:
            raise looked_at(stale, lambda: (Difference(where, "Answer", before.answer, text, "answer"),)) from None
        told = Change(where, "answer", before.answer, text)
        what = "question answered" if text else "question set aside"
        audit.record(shop, session, Subject.JOB, key, what, (told,))
