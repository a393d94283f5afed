"""What every page of a job has: the job, the chosen variant, the journey line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse

from pinmap.core.crossing.ledger import Ledger
from pinmap.core.model.jobs import Job, Snapshot, Variant
from pinmap.core.model.looms import DeviceEnd, End
from pinmap.services import analysis, jobs
from pinmap.services.analysis import Analysis, Overview
from pinmap.services.jobs import JobView
from pinmap.services.shop import Shop
from pinmap.web.refs import end_ref
from pinmap.web.render import page


@dataclass(frozen=True)
class JobPage:
    """One job as one request sees it."""

    view: JobView
    variant: Variant

    @property
    def snapshot(self) -> Snapshot:
        return self.view.snapshot

    @property
    def job(self) -> Job:
        return self.view.snapshot.job

    @property
    def home(self) -> str:
        return f"/jobs/{self.job.key}"

    @property
    def analysis(self) -> Analysis:
        return analysis.analyse(self.snapshot, self.variant, self.view.dictionary)

    @property
    def overview(self) -> Overview:
        return analysis.overview(self.snapshot, self.view.dictionary)

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
    return JobPage(view, view.snapshot.variant(variant))


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
        variant=opened.variant,
        current=current,
        units=opened.job.practice.units,
        ref=end_ref,
        **context,
    )
