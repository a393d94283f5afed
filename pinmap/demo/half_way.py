"""The same conversion on a second truck, half-way: pins still open, and the mistakes that are usual at this stage."""

from __future__ import annotations

from dataclasses import replace

from pinmap.core.crossing import edits
from pinmap.core.model.jobs import Job
from pinmap.core.model.words import Fate
from pinmap.demo.building import all_pins, empty_job, fate_pin, lay_out, pin_end, wire
from pinmap.demo.colours import colour
from pinmap.demo.tables import rows
from pinmap.demo.wiring import ALL, BRAKES, Wiring

# By name: what the finished job has otherwise, and what somebody did here.
_MISTAKES = {
    "Battery fuse carrier 30": Wiring(
        ends="b:BT2-1 F1.1=10 F6.1=6 F7.1=6 F8.1=4 F9.1=2.5 F10.1=1.5 K8.30=1 F12.1=2.5 F13.1=1 F14.1=1",
        mm2=25.0,
        note="After-run pump hung straight onto the carrier for a first run; its fuse holder was not there yet",
    ),
    "After-run coolant pump feed": Wiring(ends="K8.87 q:M3-1", mm2=1.0),
    "Fuel pump feed": Wiring(
        ends="F9.2=2.5 | K3 | b:C140-13=0.75", mm2=2.5, note="First length taken from what lay on the bench"
    ),
    "Sensor supply 87": Wiring(ends="F5.2=1.5 q:B4-1 q:B10-1 K4.86=0.75 K5.86=0.75 K8.86=0.75"),
    "Left wing ground": Wiring(ends="b:GL1-1=6 b:C110-5 b:C112-2 b:C114-2 b:C115-2 b:C116-2 K7.85=0.75 K6.86=0.75"),
    "CAN high": Wiring(ends="f:B-38 o:P2-30 s:X9-C b:C102-13@late RT1.1", mm2=0.75, twist="can"),
    "CAN low": Wiring(ends="f:B-39 o:P2-31 s:X9-D b:C102-14@late RT1.2", mm2=0.75, twist="can"),
    "Power ground at the block": Wiring(
        ends="q:X1-1=16 f:B-6 f:B-7 f:B-8 o:P2-5=2.5 o:P2-6=2.5 o:P2-7=1.5 g:C-4=1.5 q:B5-3 f:A-15 o:P1-20=0.75",
        note="Boost sensor ground tied in here because it was near",
    ),
}
_UNTWISTED = "q:B1-2"  # the crank sensor's second wire
_OPEN_NAMES = frozenset(
    {"Diagnostic K-line", "Four wheel drive engaged", "Heavy electrical load", "Neutral switch", "Water in fuel lamp"}
)
_OPEN_ENDS = ("q:B5-3", "q:S1-1", "q:Y9-2", "b:C101-2", "b:C101-3", "b:C102-25", "b:C102-26", "b:C102-27", "b:C102-28")
_FATES_MADE = 9  # of the table, from the top


def build_half_way() -> Job:
    """Undecided pins, signals not yet confirmed, one pin put off, and honest findings."""
    job = empty_job(
        "q24-brindle-17",
        "Quern Q24 into Brindle 6, truck 17",
        customer="Harbour works, truck 17",
        note="In work: brakes, transfer box, cruise control and half of the unused pins are still to be decided",
    )
    job = edits.update_practice(lay_out(job), min_mm2=0.5)
    job = colour(wire(job, _wirings()), all_pins())
    job = edits.update_device(job, "K5", suppressed=False, note="Relay from the parts drawer, make unknown")
    for name in ("Start request", "Clutch pedal switch", "Vehicle speed signal", "Coolant level switch"):
        key = next(signal.key for signal in job.signals if signal.name == name)
        job = edits.update_signal(job, key, confirmed=False, note="Taken over from a proposal, to be measured")
    for row in rows("fates")[:_FATES_MADE]:
        job = edits.set_fate(job, fate_pin(row), Fate(row["fate"]), row["reason"], known=all_pins())
    return edits.set_fate(
        job,
        pin_end("b:C101-34"),
        Fate.DEFERRED,
        "Ask the customer whether the truck ever had levelling motors",
        owner="R. Halloran",
        due="2025-05-30",
        known=all_pins(),
    )


def _wirings() -> list[Wiring]:
    found = []
    for wiring in ALL:
        first = wiring.ends.split()[0].partition("=")[0]
        if wiring in BRAKES or wiring.name in _OPEN_NAMES or first in _OPEN_ENDS or "b:C128-" in wiring.ends:
            continue
        mistake = _MISTAKES.get(wiring.name)
        if mistake is not None:
            found.append(replace(mistake, name=wiring.name))
        elif first == _UNTWISTED:
            found.append(replace(wiring, twist=""))
        else:
            found.append(wiring)
    return found
