"""What to buy for one loom."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from pinmap.core.build.ends import (
    colour_letters,
    device_terminal,
    device_words,
    is_sealed,
    loom_gender,
    loom_housing,
    platform_connector,
    terminal_key,
    terminal_name,
)
from pinmap.core.facts.conductors import insulations, wire_size
from pinmap.core.facts.parts import coverings, terminals
from pinmap.core.loom.bundles import Bundles
from pinmap.core.loom.coverings import fit_covering
from pinmap.core.loom.results import Routing, Wire
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node
from pinmap.core.model.words import Gender, NodeKind, natural_key

SPARE_SHARE = 0.2  # terminals, seals, plugs, splices; common practice
WIRE_SHARE = 0.1  # wire for samples and mistakes; common practice


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """One item. ``quantity`` is what the loom holds in ``unit``, ``buy`` that with spares; None while it cannot be
    counted, and ``note`` says why."""

    group: str
    item: str
    detail: str = ""
    quantity: float | None
    buy: float | None
    unit: str = "pcs"
    where: tuple[str, ...] = ()
    note: str = ""


def parts_list(snapshot: Snapshot, variant: Variant, routing: Routing) -> tuple[PartRow, ...]:
    """Housings, terminals, seals, plugs, wire, splices, devices, coverings, fixings of one variant of the loom."""
    used: dict[str, dict[str, list[Wire]]] = defaultdict(lambda: defaultdict(list))  # node -> cavity -> wires
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.in_connector:
                used[end.node][end.cavity].append(wire)
    active = snapshot.active_connectors(variant)
    mated = snapshot.mating_of
    nodes = [
        n for n in snapshot.job.nodes
        if n.kind is NodeKind.CONNECTOR and (n.key in used or n.mates in active or n.key in mated)
    ]  # fmt: skip
    return (
        *_housings(snapshot, nodes),
        *_terminals(snapshot, nodes, used),
        *_seals(snapshot, nodes, used),
        *_wires(routing.wires),
        *_splices(routing),
        *_devices(snapshot, variant, routing),
        *_coverings(snapshot, routing),
        *_fixings(snapshot),
    )


def _name(node: Node) -> str:
    return node.name or node.key


def _natural(places: Sequence[str]) -> tuple[str, ...]:
    return tuple(sorted(dict.fromkeys(places), key=natural_key))


def _spare(quantity: int, share: float = SPARE_SHARE) -> int:
    return quantity + max(1, math.ceil(quantity * share - 1e-9))


def _housings(snapshot: Snapshot, nodes: Sequence[Node]) -> list[PartRow]:
    groups: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for node in nodes:
        housing, connector = loom_housing(snapshot, node), platform_connector(snapshot, node)
        gender = loom_gender(snapshot, node)
        note = "" if gender is not Gender.UNKNOWN else "gender of the contacts not known"
        if housing is not None:
            ways = f", {len(housing.cavities)} cavities" if housing.cavities else ""
            item = housing.name if node.housing in snapshot.housing else f"mating half for {housing.name}"
            detail = f"contacts: {gender.value}{ways}{', sealed' if housing.sealed else ''}"
        else:
            item = f"mating half for {connector.name if connector is not None else _name(node)}"
            detail, note = f"contacts: {gender.value}", "housing not named yet"
        groups[item, detail, note].append(_name(node))
    return [
        PartRow(
            group="Housings", item=item, detail=detail, quantity=len(where), buy=len(where),
            where=_natural(where), note=note,
        )
        for (item, detail, note), where in groups.items()
    ]  # fmt: skip


def _terminals(snapshot: Snapshot, nodes: Sequence[Node], used: dict[str, dict[str, list[Wire]]]) -> list[PartRow]:
    groups: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for node in nodes:
        key = terminal_key(snapshot, node)
        name = terminal_name(key) if key else f"terminal of {_name(node)}"
        gender = loom_gender(snapshot, node).value
        for wires in used[node.key].values():
            sizes = " + ".join(f"{w.mm2:g}" for w in sorted(wires, key=lambda w: w.mm2))
            note = "" if key else "terminal family not named yet"
            family = terminals().get(key)
            side = "" if family is not None and family.form == "ring" else f"{gender}, "
            groups[name, f"{side}for {sizes} mm²", note].append(_name(node))
    return [
        PartRow(
            group="Terminals", item=name, detail=detail, quantity=len(where), buy=_spare(len(where)),
            where=_natural(where), note=note,
        )
        for (name, detail, note), where in sorted(groups.items())
    ]  # fmt: skip


def _seals(snapshot: Snapshot, nodes: Sequence[Node], used: dict[str, dict[str, list[Wire]]]) -> list[PartRow]:
    seals: dict[str, list[str]] = defaultdict(list)
    plugs: dict[str, list[str]] = defaultdict(list)
    rows: list[PartRow] = []
    for node in nodes:
        if not is_sealed(snapshot, node):
            continue
        key = terminal_key(snapshot, node)
        family = terminal_name(key) if key else _name(node)
        for wires in used[node.key].values():
            sizes = sorted({f"{wire_size(w.mm2, w.insulation).od_mm:.2f}" for w in wires})
            seals[f"{family}, wire Ø {' + '.join(sizes)} mm"].append(_name(node))
        housing = loom_housing(snapshot, node)
        if not node.plugged:
            continue
        if housing is None or not housing.cavities:
            rows.append(
                PartRow(
                    group="Cavity plugs", item=f"plug for {family}", quantity=None, buy=None, where=(_name(node),),
                    note="cavities of the housing not known; count the empty ones",
                )
            )  # fmt: skip
            continue
        plugs[family] += [_name(node)] * sum(name not in used[node.key] for name in housing.cavity_names)
    found = [
        PartRow(
            group=group, item=f"{word} for {item}", quantity=len(where), buy=_spare(len(where)), where=_natural(where)
        )
        for group, word, parts in (("Seals", "wire seal", seals), ("Cavity plugs", "plug", plugs))
        for item, where in sorted(parts.items())
        if where
    ]
    return found + rows


def _wires(wires: Sequence[Wire]) -> list[PartRow]:
    metres: dict[tuple[float, str, str], float] = defaultdict(float)
    for wire in wires:
        metres[wire.mm2, colour_letters(wire.colour), wire.insulation] += wire.cut_length_m
    names = {key: i.name for key, i in insulations().items()}
    return [
        PartRow(
            group="Wire",
            item=f"wire {mm2:g} mm² {colour or 'of any colour'}",
            detail=names.get(insulation, insulation),
            quantity=round(metres[mm2, colour, insulation], 3),
            buy=math.ceil(metres[mm2, colour, insulation] * (1 + WIRE_SHARE) - 1e-9),
            unit="m",
        )
        for mm2, colour, insulation in sorted(metres, key=lambda k: (-k[0], k[1], k[2]))
    ]


def _splices(routing: Routing) -> list[PartRow]:
    groups: dict[tuple[float, int], list[str]] = defaultdict(list)
    for splice in routing.splices:
        total_mm2 = round(sum(routing.wire[w].mm2 for w in splice.wires), 4)
        groups[total_mm2, len(splice.wires)].append(splice.id)
    return [
        PartRow(
            group="Splices", item=f"splice for {count} wires, {total:g} mm² in all", detail="with sealed sleeve",
            quantity=len(where), buy=_spare(len(where)), where=_natural(where),
        )
        for (total, count), where in sorted(groups.items())
    ]  # fmt: skip


def _devices(snapshot: Snapshot, variant: Variant, routing: Routing) -> list[PartRow]:
    ends: dict[str, list[Wire]] = defaultdict(list)
    for wire in routing.wires:
        for end in (wire.a, wire.b):
            if end.device is not None:
                ends[end.device.device].append(wire)
    parts: dict[tuple[str, str], list[str]] = defaultdict(list)
    crimped: dict[tuple[str, str], list[str]] = defaultdict(list)
    for device in snapshot.active_devices(variant).values():
        if device.key not in ends:
            continue
        parts[device_words(device), device.part].append(device.key)
        for wire in ends[device.key]:
            crimped[device_terminal(device), f"for {wire.mm2:g} mm²"].append(device.key)
    rows = [
        PartRow(group="Devices", item=item, detail=part, quantity=len(where), buy=len(where), where=_natural(where))
        for (item, part), where in sorted(parts.items(), key=lambda x: (natural_key(x[0][0]), x[0][1]))
    ]
    return rows + [
        PartRow(
            group="Device terminals", item=item, detail=detail, quantity=len(where), buy=_spare(len(where)),
            where=_natural(where),
        )
        for (item, detail), where in sorted(crimped.items(), key=lambda x: (x[0][0], natural_key(x[0][1])))
    ]  # fmt: skip


def _fixings(snapshot: Snapshot) -> list[PartRow]:
    found: dict[tuple[str, float, str], list[str]] = defaultdict(list)
    for x in snapshot.job.fixings:
        found[x.kind.value, x.inner_mm, x.part].append(f"{x.segment} at {x.at_m * 1000:.0f} mm")
    return [
        PartRow(
            group="Clips, grommets, clamps", item=f"{kind} {inner_mm:g} mm", detail=part, quantity=len(where),
            buy=len(where), where=_natural(where),
        )
        for (kind, inner_mm, part), where in sorted(found.items())
    ]  # fmt: skip


def _coverings(snapshot: Snapshot, routing: Routing) -> list[PartRow]:
    known, bundles = coverings(), Bundles.of(snapshot, routing)
    metres: dict[tuple[str, str], float] = defaultdict(float)
    where: dict[tuple[str, str], list[str]] = defaultdict(list)
    for segment in snapshot.job.segments:
        if segment.covering and segment.key in routing.bundle:
            fit = None
            if segment.covering in known:
                fit = fit_covering(known[segment.covering], bundles.diameter_mm(segment.key), None)
            item = segment.covering, fit.size if fit is not None else ""
            metres[item] += segment.length_m
            where[item].append(segment.key)
    return [
        PartRow(
            group="Coverings", item=key, detail=f"size {size}" if size else "", quantity=round(metres[key, size], 3),
            buy=math.ceil(metres[key, size] * (1 + WIRE_SHARE) - 1e-9), unit="m", where=_natural(where[key, size]),
        )
        for key, size in sorted(metres)
    ]  # fmt: skip
