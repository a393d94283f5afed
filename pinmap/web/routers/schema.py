"""What other programs read: the schema of the job file."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from pinmap.exchange import job_json

router = APIRouter()


@router.get("/schema/job.json")
def job_schema() -> dict[str, Any]:
    return job_json.schema()
