"""One variant of a job in a builder's words, subject by subject, so that two states can be laid side by side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields

from pinmap.core.build.comparison import Described, Thing
from pinmap.core.build.ends import EndWords, device_words, loom_housing, terminal_key, terminal_name
from pinmap.core.build.parts_list import PartRow, parts_list
from pinmap.core.build.splice_table import splice_table
from pinmap.core.build.table import BuildRow
from pinmap.core.crossing.ledger import ledger
from pinmap.core.facts.conductors import nearest_awg
from pinmap.core.loom.results import Routing
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node
from pinmap.core.model.pinouts import Pin
from pinmap.core.rules.finding import Finding

AWG = "awg"  # Practice.units of a shop that works in AWG and feet


def size_words(mm2: float, units: str) -> str:
    """Such as "0.75 mm²" or "18 AWG"."""
    return f"{nearest_awg(mm2)} AWG" if units == AWG else f"{mm2:g} mm²"


def length_words(length_m: float, units: str) -> str:
    """Such as "1250 mm" or "4.1 ft"."""
    return f"{length_m / 0.3048:.2f} ft" if units == AWG else f"{length_m * 1000:.0f} mm"


def end_place(end: EndWords) -> str:
    """Such as "D3-7" or "S14A"."""
    return f"{end.place}-{end.cavity}" if end.cavity else end.place


def wire_way(snapshot: Snapshot, routing: Routing, wire: str) -> str:
    """The nodes that a wire passes, such as "X1, J2, D3"."""
    found = routing.wire[wire]
    segments = {s.key: s for s in snapshot.job.segments}
    at, way = found.a.node, [_node_name(snapshot, found.a.node)]
    for key in found.segments:
        segment = segments[key]
        at = segment.b if segment.a == at else segment.a
        way.append(_node_name(snapshot, at))
    return ", ".join(way) if found.segments else ""


def describe(
    snapshot: Snapshot,
    variant: Variant,
    routing: Routing,
    rows: Sequence[BuildRow],
    findings: Iterable[Finding],
    units: str,
) -> Described:
    """Everything of one variant that a builder, a tester or a reader of the pin table would notice."""
    return {
        "Wires": {r.wire: _wire(snapshot, routing, r, units) for r in rows},
        "Splices": _splices(snapshot, routing),
        "Pins": _pins(snapshot, variant, rows),
        "Signals": _signals(snapshot),
        "Connectors and devices": {**_connectors(snapshot, variant), **_devices(snapshot, variant)},
        "Lengths": _runs(snapshot, units),
        "Parts": _parts(parts_list(snapshot, variant, routing)),
        "Findings": _findings(snapshot, findings),
        "Job and practice": _job(snapshot),
    }


def _node_name(snapshot: Snapshot, key: str) -> str:
    node = snapshot.node.get(key)
    return (node.name or node.key) if node is not None else key


def _number(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:g} {unit}"


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _wire(snapshot: Snapshot, routing: Routing, row: BuildRow, units: str) -> Thing:
    return Thing(
        f"wire {row.wire}",
        (
            ("signal", row.signal_name),
            ("from", end_place(row.start)),
            ("from terminal", row.start.terminal),
            ("to", end_place(row.end)),
            ("to terminal", row.end.terminal),
            ("size", size_words(row.mm2, units)),
            ("colour", row.colour),
            ("insulation", row.insulation),
            ("cut", length_words(row.cut_m, units)),
            ("way", wire_way(snapshot, routing, row.wire)),
            ("twisted in", row.twist),
            ("screened in", row.screen),
            ("fuse before", row.fuse),
        ),
    )


def _splices(snapshot: Snapshot, routing: Routing) -> dict[str, Thing]:
    return {
        s.splice: Thing(
            f"splice {s.splice}",
            (("signal", s.signal_name), ("where", s.where), ("joins wires", ", ".join(w.wire for w in s.wires))),
        )
        for s in splice_table(snapshot, routing)
    }


def _pins(snapshot: Snapshot, variant: Variant, rows: Sequence[BuildRow]) -> dict[str, Thing]:
    wires: dict[tuple[str, str], list[str]] = {}
    for row in rows:
        for end in (row.start, row.end):
            if end.mates:
                wires.setdefault((end.mates, end.cavity), []).append(row.wire)
    active = snapshot.active_pins(variant)
    found = {}
    for line in ledger(snapshot).rows:
        if line.pin in active:
            side = f"{snapshot.platform[line.pin.platform].name} {line.pin.connector}"
            fate = f"{line.fate.value}: {line.reason}" if line.reason else line.fate.value
            found[str(line.pin)] = Thing(
                f"{side}-{line.pin.cavity}",
                (
                    *_pin_fields(line.entry),
                    ("fate", fate),
                    ("wires", ", ".join(wires.get((side, line.pin.cavity), ()))),
                ),
            )
    return found


def _pin_fields(pin: Pin) -> tuple[tuple[str, str], ...]:
    return (
        ("function", pin.function),
        ("function code", pin.function_code),
        ("kind", pin.kind.value),
        ("direction", pin.direction.value),
        ("current", _number(pin.current_a, "A")),
        ("peak", _number(pin.peak_a, "A")),
        ("factory wire", " ".join(x for x in (pin.wire_colour, _number(pin.wire_mm2, "mm²")) if x)),
        ("known by", f"{pin.evidence.value}: {pin.evidence_ref}" if pin.evidence_ref else pin.evidence.value),
        ("component", pin.component),
        ("note", pin.note),
        *((f"own column {name}", value) for name, value in pin.extra),
    )


def _signals(snapshot: Snapshot) -> dict[str, Thing]:
    return {
        s.key: Thing(
            f"signal {s.number}, {s.name}",
            (
                ("function code", s.function_code),
                ("in line", ", ".join(s.inline)),
                ("joint", s.joint.value),
                ("confirmed", _yes(s.confirmed)),
                ("note", s.note),
            ),
        )
        for s in snapshot.job.signals
    }


def _connectors(snapshot: Snapshot, variant: Variant) -> dict[str, Thing]:
    active = snapshot.active_connectors(variant)
    return {
        f"connector {n.key}": _connector(snapshot, n)
        for n in snapshot.job.nodes
        if n.mates is not None and n.mates in active
    }


def _connector(snapshot: Snapshot, node: Node) -> Thing:
    assert node.mates is not None
    housing = loom_housing(snapshot, node)
    key = terminal_key(snapshot, node)
    return Thing(
        f"connector {node.name or node.key}",
        (
            ("mates with", f"{snapshot.platform[node.mates.platform].name} {node.mates.connector}"),
            ("housing", housing.name if housing is not None else ""),
            ("terminals", terminal_name(key) if key else ""),
            ("empty cavities plugged", _yes(node.plugged)),
            ("note", node.note),
        ),
    )


def _devices(snapshot: Snapshot, variant: Variant) -> dict[str, Thing]:
    return {
        f"device {d.key}": Thing(
            f"{d.kind.value} {d.key}",
            (
                ("name", d.name),
                ("value", device_words(d)),
                ("place", _node_name(snapshot, d.place) if d.place else ""),
                ("part", d.part),
                ("coil", _number(d.coil_ohm, "Ω")),
                ("suppressed", _yes(d.suppressed)),
                ("note", d.note),
            ),
        )
        for d in snapshot.active_devices(variant).values()
    }


def _runs(snapshot: Snapshot, units: str) -> dict[str, Thing]:
    found = {}
    for s in snapshot.job.segments:
        zone = snapshot.zone.get(s.zone)
        found[s.key] = Thing(
            f"run {s.key}",
            (
                ("between", f"{_node_name(snapshot, s.a)} and {_node_name(snapshot, s.b)}"),
                ("length", length_words(s.length_m, units)),
                ("zone", f"{zone.name}, {zone.ambient_c:g} °C" if zone is not None else ""),
                ("covering", s.covering),
            ),
        )
    return found


def _parts(rows: Iterable[PartRow]) -> dict[str, Thing]:
    """An item that stands more than once, because its note differs, keeps a line for each."""
    found: dict[str, Thing] = {}
    for row in rows:
        key = " | ".join((row.group, row.item, row.detail, row.note))
        name = f"{row.group}: {row.item}{f', {row.detail}' if row.detail else ''}"
        quantity = "not counted yet" if row.quantity is None else f"{row.quantity:g} {row.unit}"
        seats = ", ".join(row.where)
        if key in found:  # one loom can hold several of what no key tells apart
            quantity, seats = (f"{a} + {b}" for (_, a), b in zip(found[key].fields, (quantity, seats), strict=True))
        found[key] = Thing(name, (("quantity", quantity), ("where", seats)))
    return found


def _findings(snapshot: Snapshot, findings: Iterable[Finding]) -> dict[str, Thing]:
    accepted = {a.finding: f"accepted by {a.by}: {a.reason}" for a in snapshot.job.acceptances}
    return {
        f.key: Thing(
            f"{f.rule} {f.title}: {', '.join(f.where)}",
            (("says", f.severity.value), ("state", accepted.get(f.key, "open")), ("why", f.why)),
        )
        for f in findings
    }


def _job(snapshot: Snapshot) -> dict[str, Thing]:
    job = snapshot.job
    seats = {
        f"seat {s.key}": Thing(f"seat {s.name}", (("picks", "; ".join(snapshot.pick_label(p) for p in s.picks)),))
        for s in job.seats
    }
    cases = {
        f"case {c.key}": Thing(
            f"load case {c.name}",
            (
                ("supply", f"{c.supply_v:g} V"),
                ("starting profile", " ".join(x for x in (c.profile, c.phase) if x)),
                ("source", c.source),
            ),
        )
        for c in job.load_cases
    }
    zones: Mapping[str, Thing] = {
        f"zone {z.key}": Thing(
            f"zone {z.name}",
            (
                ("air", f"{z.ambient_c:g} °C"),
                *((word, _yes(getattr(z, word.replace(" ", "_")))) for word in ("wet", "moving", "hot", "no splice")),
                ("to be avoided by", ", ".join(z.avoid)),
                ("forbidden for", ", ".join(z.forbid)),
            ),
        )
        for z in job.zones
    }
    practice = tuple((f.name, _plain(getattr(job.practice, f.name))) for f in fields(job.practice))
    return {
        "job": Thing("job", (("name", job.name), ("customer", job.customer), ("note", job.note))),
        **seats,
        "practice": Thing("practice of the shop", practice),
        **cases,
        **zones,
    }


def _plain(value: object) -> str:
    if isinstance(value, tuple):
        return ", ".join(f"{item:g}" for item in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
