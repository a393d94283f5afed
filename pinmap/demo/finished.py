"""The finished job of the demo."""

from __future__ import annotations

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job
from pinmap.demo.building import decide_rest, empty_job, lay_out, wire
from pinmap.demo.wiring import ALL


def build_finished() -> Job:
    """Every pin decided in both editions and with both control units."""
    job = empty_job(
        "q24-brindle",
        "Quern Q24 into Brindle 6",
        customer="Harbour works, truck 14",
        note="Old engine and front loom out as one piece; nothing of the body loom is cut",
    )
    job = edits.update_practice(lay_out(job), min_mm2=0.5)
    return decide_rest(wire(job, ALL))
