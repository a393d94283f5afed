"""What other programs read: the description of the app, the schema of the job file."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request

from pinmap.core.model.people import Right
from pinmap.exchange import job_json
from pinmap.web.access import needs

router = APIRouter()


@router.get("/openapi.json", include_in_schema=False)
@needs(Right.READ)
def description(request: Request) -> dict[str, Any]:
    found: dict[str, Any] = request.app.openapi()
    return found


@router.get("/schema/job.json")
@needs(Right.READ)
def job_schema() -> dict[str, Any]:
    return job_json.schema()
