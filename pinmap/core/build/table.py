"""The pin-to-pin build table: one row a wire, each to be followed by hand from the two pinouts."""

from __future__ import annotations

from dataclasses import dataclass

from pinmap.core.build.ends import EndWords, by_loom, colour_letters, device_words, end_words
from pinmap.core.electrics.results import LEAST_A, ElectricalReport, WireState
from pinmap.core.facts.conductors import insulations, nearest_awg
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import Signal, Snapshot, Variant
from pinmap.core.model.looms import Device
from pinmap.core.model.words import DeviceKind


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildRow:
    """One wire. cut_m is what is cut, run_m the way through the loom without service loops and strip lengths [m];
    load_a and drop_v belong to the load case in which the wire carries most; None: no load is known on it."""

    wire: str
    signal: str
    signal_number: int
    signal_name: str
    function_code: str
    start: EndWords
    end: EndWords
    colour: str
    mm2: float
    awg: str
    cut_m: float
    run_m: float
    insulation: str
    limit_c: float | None
    twist: str
    screen: str
    splices: tuple[str, ...]
    fuse: str
    load_a: float | None
    load_case: str
    drop_v: float | None
    note: str
    label: str
    loom: str = ""  # its name where the job has several

    @property
    def proven(self) -> bool:
        """Both pins were measured; anything less must look unproven."""
        return self.start.proven and self.end.proven


def build_table(
    snapshot: Snapshot, variant: Variant, routing: Routing, report: ElectricalReport
) -> tuple[BuildRow, ...]:
    """Rows in the stable order of the routing, by signal number, then letter; loom by loom where wires of several looms
    are made."""
    active = snapshot.active_devices(variant)
    looms = by_loom(snapshot, routing.wires)
    return tuple(
        _row(snapshot, active, wire, report, loom.name if len(looms) > 1 else "")
        for loom, wires in looms
        for wire in wires
    )


def _row(
    snapshot: Snapshot,
    active: dict[str, Device],
    wire: Wire,
    report: ElectricalReport,
    loom: str,
) -> BuildRow:
    signal = snapshot.signal[wire.signal]
    insulation = insulations().get(wire.insulation)
    most = heaviest(report, wire.id)
    start, end = end_words(snapshot, wire.a), end_words(snapshot, wire.b)
    return BuildRow(
        wire=wire.id,
        signal=signal.key,
        signal_number=signal.number,
        signal_name=signal.name,
        function_code=signal.function_code,
        start=start,
        end=end,
        colour=colour_letters(wire.colour),
        mm2=wire.mm2,
        awg=nearest_awg(wire.mm2),
        cut_m=wire.cut_length_m,
        run_m=wire.length_m,
        insulation=insulation.name if insulation is not None else wire.insulation,
        limit_c=insulation.max_temp_c if insulation is not None else None,
        twist=wire.twist,
        screen=wire.screen,
        splices=tuple(e.splice for e in (wire.a, wire.b) if e.splice),
        fuse=fuse_before(signal, wire.section, active),
        load_a=abs(most.current_a) if most is not None else None,
        load_case=snapshot.case_name[most.case] if most is not None else "",
        drop_v=abs(most.drop_v) if most is not None else None,
        note=signal.note,
        label=f"{wire.id}  {start.label} / {end.label}",
        loom=loom,
    )


def heaviest(report: ElectricalReport, wire: str) -> WireState | None:
    """The load case in which a wire carries most; the first of equals."""
    states = [by_wire[wire] for by_wire in report.wires.values() if wire in by_wire]
    most = max(states, key=lambda s: abs(s.current_a), default=None)
    return most if most is not None and abs(most.current_a) >= LEAST_A else None


def fuse_before(signal: Signal, section: int, active: dict[str, Device]) -> str:
    """The last fuse in line before this section, such as "F3 (fuse 15 A)"; "" when the signal has none before it."""
    for key in reversed(signal.inline[:section]):
        device = active.get(key)
        if device is not None and device.kind is DeviceKind.FUSE:
            return f"{device.key} ({device_words(device)})"
    return ""
