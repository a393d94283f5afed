"""What other programs read: the schema of the job file, and the document of all requests."""

from __future__ import annotations

import jsonschema_rs

from tests.factories_web import DONE, JOB, Visitor


def test_job_files_are_as_the_published_schema_says(bench: Visitor) -> None:
    schema = bench.client.get("/schema/job.json").json()
    for job in (JOB, DONE):
        jsonschema_rs.validate(schema, bench.client.get(f"{job}/job.json").json())


def test_the_document_of_requests_names_every_form(bench: Visitor) -> None:
    paths = bench.client.get("/openapi.json").json()["paths"]
    assert "post" in paths["/jobs/{key}/decide/settle"]
