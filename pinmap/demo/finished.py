"""The finished job of the demo."""

from __future__ import annotations

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job
from pinmap.demo.building import all_pins, decide_rest, empty_job, lay_out, wire
from pinmap.demo.colours import colour
from pinmap.demo.wiring import ALL

_ACCEPTED = (
    (
        "R83|pin:quern-q24:E2:1|pin:quern-q24:E2:2",
        "Two wires to a heating element: either way round will do, and it warmed up on the bench supply",
    ),
)


def build_finished() -> Job:
    """Every pin decided in both editions and with both control units."""
    job = empty_job(
        "q24-brindle",
        "Quern Q24 into Brindle 6",
        customer="Harbour works, truck 14",
        note="Old engine and front loom out as one piece; nothing of the body loom is cut",
    )
    job = edits.update_practice(lay_out(job), min_mm2=0.5)
    job = decide_rest(colour(wire(job, ALL), all_pins()))
    return accept(job)


def accept(job: Job) -> Job:
    """Findings that a named person has looked at and takes."""
    for finding, reason in _ACCEPTED:
        job = edits.accept_finding(job, finding, by="R. Halloran, workshop foreman", reason=reason)
    return job
