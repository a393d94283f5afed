"""Undo and redo of a job's changes, whoever made them; each is a change of its own, refused when stale."""

from __future__ import annotations

from dataclasses import dataclass

from sqlmodel import Session

from pinmap.core.errors import Conflict, InputError, StructureError
from pinmap.core.model.jobs import Job, Snapshot
from pinmap.exchange import job_json
from pinmap.services import jobs
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop
from pinmap.store import jobs as rows
from pinmap.store import steps
from pinmap.store.steps import Step


@dataclass(frozen=True, slots=True)
class Offer:
    """What could be undone and what done again, in words; "" for nothing."""

    undo: str = ""
    redo: str = ""


def offered(shop: Shop, key: str) -> Offer:
    """Raises NotFound."""
    with shop.read() as session:
        return Offer(*steps.words(session, rows.versions(session, key).job_id))


def undo(shop: Shop, key: str, version: int) -> tuple[JobView, str]:
    """Takes the last change back; gives the job and what was taken back. Raises Conflict, NotFound, InputError where
    nothing is left to undo, StructureError where the job's platforms no longer fit what stood before."""
    step = _step(shop, key, version, back=True)
    return _go(shop, key, version, step, step.after, step.before, undone=True), step.what


def redo(shop: Shop, key: str, version: int) -> tuple[JobView, str]:
    """Makes the change again that was undone last. Raises as ``undo`` does."""
    step = _step(shop, key, version, back=False)
    return _go(shop, key, version, step, step.before, step.after, undone=False), step.what


def _step(shop: Shop, key: str, version: int, *, back: bool) -> Step:
    with shop.read() as session:
        stands = rows.versions(session, key)
        find = steps.to_undo if back else steps.to_redo
        found = find(session, stands.job_id)
    if found is None:
        remedy = "no change is left to take back" if back else "no change was undone since the last one"
        if stands.version != version:
            raise Conflict("the job", version, stands.version, refusal=remedy)
        raise InputError("undo" if back else "redo", "", remedy)
    return found


def _go(shop: Shop, key: str, version: int, step: Step, stands: str, wanted: str, *, undone: bool) -> JobView:
    def change(job: Job, _: Snapshot) -> Job:
        if job_json.with_parts(job, stands) != job:
            raise StructureError(
                f"the job is no longer as the change ({step.what}) left it; nothing was undone", (key,)
            )
        return job_json.with_parts(job, wanted)

    def note(session: Session, _job_id: int, _before: Job, _after: Job) -> None:
        steps.mark(session, step.id, undone=undone)

    return jobs.edit(shop, key, version, change, f"{'undo' if undone else 'redo'}: {step.what}", note)
