"""Drawings of one job and variant, ready for a page; remembered by content, since places take time to compute."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from pinmap.core.errors import InputError
from pinmap.core.loom.board import Board
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.pinouts import Cavity, ConnectorKey, Housing
from pinmap.core.model.words import View, natural_key
from pinmap.core.tracing.path import Trace
from pinmap.drawings.faces import face_labels, face_svg, half_labels
from pinmap.drawings.plan_colours import Colouring, by_function, by_temperature, by_zone
from pinmap.drawings.strip import strip_svg
from pinmap.drawings.transit import transit_maps, transit_svg
from pinmap.services.analysis import Analysis, own_entries
from pinmap.services.memory import Memory


class Svg(str):
    """SVG made by Pinmap with every text in it escaped, so that a template may put it in as it stands."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing with its title."""

    title: str
    svg: Svg


_MAPS: Memory[tuple[Drawing, ...]] = Memory(16)
_SVG: Memory[Svg] = Memory(64)
_BOARDS: Memory[Board] = Memory(8)


def signal_map(
    snapshot: Snapshot, variant: Variant, done: Analysis, signals: Sequence[str] | None = None, *, title: str = ""
) -> Svg:
    """The wiring map of some signals, None for all. Raises InputError, DrawingFailed."""
    key = ("map", snapshot.content_hash, variant.key, own_entries(done.dictionary), tuple(signals or ("*",)), title)
    return _SVG.get(key, lambda: Svg(transit_svg(snapshot, variant, done.routing, done.report, signals, title=title)))


def maps(snapshot: Snapshot, variant: Variant, done: Analysis) -> tuple[Drawing, ...]:
    """The whole job as several wiring maps, by system. Raises DrawingFailed."""

    def make() -> tuple[Drawing, ...]:
        found = transit_maps(snapshot, variant, done.routing, done.report, done.dictionary)
        return tuple(Drawing(title, Svg(svg)) for title, svg in found)

    return _MAPS.get((snapshot.content_hash, variant.key, own_entries(done.dictionary)), make)


COLOURED_BY = {"": "nothing", "temperature": "temperature", "zone": "zone", "function": "function"}
"""What the runs of the plan may be coloured by, and how the choice is called."""


def plan(
    snapshot: Snapshot,
    variant: Variant,
    done: Analysis,
    *,
    board: str = "",
    section: str = "",
    by: str = "",
    chosen: str = "",
    loom: str = "",
) -> Svg:
    """The plan of one loom ("" for all). With the address of the ``board``, each run and node leads to what can be done
    to it there; with that of a ``section``, each run leads to its bundle. ``by`` is a key of ``COLOURED_BY``,
    ``chosen`` a segment to be marked. Raises InputError, also for an unknown loom, and DrawingFailed."""
    # imported where it is used: it loads for long, and the app can start without
    from pinmap.drawings.plan import plan_svg

    if by not in COLOURED_BY:
        raise InputError("colour by", by, f"choose {', '.join(k for k in COLOURED_BY if k)} or nothing")
    asked = {"segment": "run", "stretch": "run", "node": "node"}

    def to_board(what: str) -> str:
        kind, _, name = what.partition(":")
        name = name.partition(":")[2] if kind == "stretch" else name
        query = {asked.get(kind, ""): name, "variant": variant.key}
        return f"{board}?{urlencode(query)}#board" if kind in asked else ""

    def to_section(what: str) -> str:
        kind, _, name = what.partition(":")
        number, _, run = name.partition(":") if kind == "stretch" else ("", "", name)
        query = {"variant": variant.key, "by": by, "segment": run} | ({"stretch": number} if number else {})
        query |= {"loom": loom} if loom else {}
        return f"{section}?{urlencode(query)}#bundle" if kind in ("segment", "stretch") else ""

    link = to_board if board else to_section if section else None
    key = ("plan", board, section, by, chosen, loom, snapshot.content_hash, variant.key, own_entries(done.dictionary))

    def make() -> Svg:
        colouring = _colouring(done, by)
        return Svg(plan_svg(snapshot, variant, done.routing, loom=loom, link=link, colouring=colouring, chosen=chosen))

    return _SVG.get(key, make)


def _colouring(done: Analysis, by: str) -> Colouring | None:
    match by:
        case "temperature":
            return by_temperature(done.routing, done.report)
        case "zone":
            return by_zone(done.snapshot)
        case "function":
            return by_function(done.snapshot, done.routing, done.dictionary)
        case _:
            return None


def board_plan(snapshot: Snapshot, variant: Variant, done: Analysis, loom: str = "") -> Board:
    """One loom ("" for all) at full size. Raises InputError for an unknown loom, DrawingFailed."""
    # imported where it is used: it loads for long, and the app can start without
    from pinmap.drawings.board import board_plan as make

    key = ("board", snapshot.content_hash, variant.key, loom)
    return _BOARDS.get(key, lambda: make(snapshot, variant, done.routing, loom=loom))


def strip(way: Trace) -> Svg:
    """A trace, station by station."""
    return Svg(strip_svg(way))


def face_keys(snapshot: Snapshot, variant: Variant) -> tuple[ConnectorKey, ...]:
    """Platform connectors of this variant whose loom half has a place, in the order of the loom's names."""
    active = snapshot.active_connectors(variant)
    placed = [(n.name or n.key, n.mates) for n in snapshot.job.nodes if n.mates is not None and n.mates in active]
    return tuple(mates for _, mates in sorted(placed, key=lambda x: (natural_key(x[0]), x[1])))


def half_faces(done: Analysis) -> tuple[Drawing, ...]:
    """Faces of the connectors by which looms plug into each other, from both sides. Cavities of a housing that is not
    known are listed as far as they are used."""
    snapshot, out = done.snapshot, []
    for mating in snapshot.job.matings:
        for node in (snapshot.node[mating.a], snapshot.node[mating.b]):
            labels, other = half_labels(snapshot, done.routing, node), snapshot.node[mating.other(node.key)]
            housing = snapshot.housing.get(node.housing)
            if housing is None or not housing.cavities:
                row = tuple(Cavity(name=n, column=0, row=0) for n in labels)
                housing = Housing(key="", name=node.name or node.key, cavities=row)
            title = f"{node.name or node.key}, plugs into {other.name or other.key} of the other loom"
            out.append(Drawing(title, Svg(face_svg(housing, None, labels, title=title))))
    return tuple(out)


def face(
    snapshot: Snapshot, variant: Variant, done: Analysis, connector: ConnectorKey, view: View | None = None
) -> Drawing:
    """The face of the loom connector that mates with ``connector``, from one side, or from both. Cavities of a housing
    that is not known are listed."""
    node = snapshot.node_of_connector.get(connector)
    record = snapshot.connector[connector]
    labels = face_labels(snapshot, variant, done.routing, connector)
    housing = snapshot.housing.get((node.housing if node else "") or record.housing)
    if housing is None:
        housing = Housing(key="", name=record.name, cavities=tuple(Cavity(name=n, column=0, row=0) for n in labels))
    own = (node.name or node.key) if node else record.name
    title = f"{own}, mates with {snapshot.platform[connector.platform].name} {record.name}"
    return Drawing(title, Svg(face_svg(housing, view, labels, title=title)))
