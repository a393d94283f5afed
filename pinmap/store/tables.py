"""Every table, so that whoever imports this knows them all."""

from sqlmodel import SQLModel

from pinmap.store import (
    audit_tables,
    bench_tables,
    graph_tables,
    job_tables,
    people_tables,
    platform_tables,
    presence_tables,
    release_tables,
    search_tables,
    sharing_tables,
    step_tables,
)

metadata = SQLModel.metadata

__all__ = [
    "audit_tables",
    "bench_tables",
    "graph_tables",
    "job_tables",
    "metadata",
    "people_tables",
    "platform_tables",
    "presence_tables",
    "release_tables",
    "search_tables",
    "sharing_tables",
    "step_tables",
]
