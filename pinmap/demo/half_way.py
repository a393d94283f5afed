"""The same job at an earlier stage."""

from __future__ import annotations

from pinmap.core.model.jobs import Job
from pinmap.demo.finished import build_finished


def build_half_way() -> Job:
    return build_finished()
