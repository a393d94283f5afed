"""What every page of a job, or of one of its revisions, has: the job, the chosen variant, the way around."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse

from pinmap.core.crossing.ledger import Ledger
from pinmap.core.model.jobs import Job, Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.services import analysis, jobs, revisions, undo
from pinmap.services.analysis import Analysis, Overview
from pinmap.services.jobs import JobView
from pinmap.services.outputs import Release, released
from pinmap.services.revisions import Revision
from pinmap.services.shop import Shop
from pinmap.services.undo import Offer
from pinmap.web.deps import ShopDep
from pinmap.web.refs import end_ref
from pinmap.web.render import page


@dataclass(frozen=True)
class JobPage:
    """One job as one request sees it: its draft, or a revision of it. ``frozen_as``: the revision that holds the same
    as the draft."""

    view: JobView
    variant: Variant
    revision: Revision | None = None
    steps: Offer = field(default_factory=Offer)
    frozen_as: str = ""

    @property
    def snapshot(self) -> Snapshot:
        return self.view.snapshot

    @property
    def job(self) -> Job:
        return self.view.snapshot.job

    @property
    def home(self) -> str:
        """Address of the draft, or of the revision; the pages of both lie below it."""
        return self.draft_home + (f"/revisions/{self.revision.line.letter}" if self.revision is not None else "")

    @property
    def draft_home(self) -> str:
        return f"/jobs/{self.job.key}"

    @property
    def release(self) -> Release:
        """What a title block says."""
        return Release() if self.revision is None else released(self.revision.line)

    @property
    def analysis(self) -> Analysis:
        return analysis.analyse(self.snapshot, self.variant, self.view.dictionary)

    @property
    def overview(self) -> Overview:
        return analysis.overview(self.snapshot, self.view.dictionary, self.frozen_as)

    @property
    def ledger(self) -> Ledger:
        return self.analysis.ledger

    def end_label(self, end: End) -> str:
        """How the builder reads an end."""
        if isinstance(end, DeviceEnd):
            return f"{end.device} · {end.terminal}"
        return f"{self.snapshot.platform[end.platform].name} {end.connector}-{end.cavity}" + (
            f" ({end.edition})" if end.edition else ""
        )


def open_job(shop: Shop, key: str, variant: str = "") -> JobPage:
    """The job and the asked-for variant, the first one when none is asked for. Raises NotFound."""
    view = jobs.get(shop, key)
    snapshot = view.snapshot
    frozen_as = revisions.letter_of(shop, snapshot)
    return JobPage(view, snapshot.variant(variant), steps=undo.offered(shop, key), frozen_as=frozen_as)


def open_any(shop: ShopDep, key: str, letter: str = "", variant: str = "") -> JobPage:
    """The draft, or the revision of this letter, as a page of either needs it. Raises NotFound."""
    if not letter:
        return open_job(shop, key, variant)
    revision = revisions.get(shop, key, letter)
    view = JobView(revision.snapshot, 0, revision.dictionary)  # a revision has no version: nothing changes it
    return JobPage(view, revision.snapshot.variant(variant), revision, frozen_as=letter)


OpenedDep = Annotated[JobPage, Depends(open_any)]


def job_page(
    request: Request, template: str, opened: JobPage, current: str, status: int = 200, **context: Any
) -> HTMLResponse:
    """A page of a job; ``current`` is the key of the step it belongs to."""
    return page(
        request,
        template,
        status,
        p=opened,
        job=opened.job,
        snapshot=opened.snapshot,
        version=opened.view.version,
        home=opened.home,
        draft_home=opened.draft_home,
        revision=opened.revision,
        frame="revisions/_frame.html" if opened.revision is not None else "jobs/_frame.html",
        variant=opened.variant,
        current=current,
        units=opened.job.practice.units,
        ref=end_ref,
        **context,
    )
