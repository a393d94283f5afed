"""Connector faces: what the builder sees from the mating side and from the wire side.

The wire side is the mirror image of the mating side. Every cavity says its name, its wire, the wire's colour letters
and how well its pin is known; an open ring and a word mark what nobody has measured.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pinmap.core.loom.results import Routing, loom_point
from pinmap.core.model.jobs import Snapshot, Variant
from pinmap.core.model.looms import Node
from pinmap.core.model.pinouts import ConnectorKey, Housing, PinKey
from pinmap.core.model.words import Evidence, View, natural_key
from pinmap.drawings.svg import INK, PALE, SOFT, Box, Link, Sheet, text_width

CELL = 58.0  # side of a cavity [px]
ROUND_CELL = 70.0  # diameter of a cavity in a round housing, whose words need the same room [px]
_GAP = 6.0  # least distance between two cavities [px]
_PAD = 18.0
_HEAD = 46.0
_SIDE_BY_SIDE = 760.0  # two faces stand beside each other while both are narrower than this [px]
_MIRRORED = {"left": "right", "right": "left"}


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityLabel:
    """What stands in one cavity. ``evidence`` is None where no pin is known; ``key`` is the pin's machine name."""

    wire: str = ""
    colour: str = ""
    function: str = ""
    evidence: Evidence | None = None
    plugged: bool = False
    key: str = ""


def face_labels(
    snapshot: Snapshot, variant: Variant, routing: Routing, connector: ConnectorKey
) -> Mapping[str, CavityLabel]:
    """What to write in each cavity of the loom's half that mates with ``connector``. Several wires in one cavity are
    joined by "+"."""
    pins = {key: pin for key, pin in snapshot.active_pins(variant).items() if key[:2] == tuple(connector)}
    record = snapshot.connector[connector]
    node = snapshot.node_of_connector.get(connector)
    housing = snapshot.housing.get((node.housing if node else "") or record.housing)
    names = housing.cavity_names if housing else tuple(sorted({k.cavity for k in pins}, key=natural_key))
    plugs = node is not None and node.plugged and (record.sealed or (housing is not None and housing.sealed))
    labels: dict[str, CavityLabel] = {}
    by_cavity = {key.cavity: (key, pin) for key, pin in pins.items()}
    for name in names:
        key, pin = by_cavity.get(name, (PinKey(*connector, name), None))
        wires = routing.wires_at.get(loom_point(key), ())
        labels[name] = CavityLabel(
            wire="+".join(w.id for w in wires),
            colour="+".join(w.colour for w in wires if w.colour),
            function=pin.function if pin else "",
            evidence=pin.evidence if pin else None,
            plugged=plugs and not wires,
            key=f"pin:{key.platform}:{key.connector}:{key.cavity}",
        )
    return labels


def half_labels(snapshot: Snapshot, routing: Routing, node: Node) -> Mapping[str, CavityLabel]:
    """What to write in each cavity of a connector that plugs into another loom: its wire and the signal's name."""
    housing = snapshot.housing.get(node.housing)
    ends = [
        (end.mated.cavity, wire)
        for wire in routing.wires
        for end in (wire.a, wire.b)
        if end.mated is not None and end.node == node.key
    ]
    used = {name for name, _ in ends}
    names = housing.cavity_names if housing is not None and housing.cavities else sorted(used, key=natural_key)
    plugs = node.plugged and housing is not None and housing.sealed
    labels: dict[str, CavityLabel] = {}
    for name in names:
        wires = [wire for cavity, wire in ends if cavity == name]
        labels[name] = CavityLabel(
            wire="+".join(w.id for w in wires),
            colour="+".join(w.colour for w in wires if w.colour),
            function=", ".join(dict.fromkeys(snapshot.signal[w.signal].name for w in wires)),
            plugged=plugs and not wires,
            key=f"node:{node.key}",
        )
    return labels


def face_svg(
    housing: Housing,
    view: View | None,
    labels: Mapping[str, CavityLabel] | None = None,
    *,
    title: str = "",
    link: Link | None = None,
) -> str:
    """The face of a connector from one side, or from both where ``view`` is None. Cavities at one and the same place
    make a face that nobody could draw; they are then listed in rows, and the drawing says so."""
    labels = labels or {}
    name = title or housing.name or housing.key or "Connector"
    known = _pitch(housing) is not None
    views: Sequence[View] = (View.MATING, View.WIRE) if view is None and known else (view or View.MATING,)
    sheet = Sheet()
    width, height = _size(housing)
    beside = width <= _SIDE_BY_SIDE
    sheet.text(_PAD, 24, name, 16, bold=True, width=max(width - 2 * _PAD, 180))
    note = _note(housing, known)
    sheet.text(_PAD, 42, note, 11, fill=SOFT, width=max(width * (len(views) if beside else 1) - 2 * _PAD, 180))
    x, y, right, bottom = 0.0, 54.0, 0.0, 0.0
    for each in views:
        with sheet.group("face", each.value, data_view=each.value):
            _draw(sheet, housing, each if known else None, labels, x, y, link)
        right, bottom = max(right, x + width), max(bottom, y + height)
        if beside:
            x += width
        else:
            y += height
    right = max(right, 430.0)
    bottom = _legend(sheet, bottom + 4)
    described = f"{len(housing.cavities)} cavities" + (f", seen from {' and '.join(views)}" if known else "")
    return sheet.svg(Box(0, 0, right, bottom), f"Connector face {name}", described, "face-drawing")


def _note(housing: Housing, known: bool) -> str:
    parts = [f"{len(housing.cavities)} cavities", f"{housing.gender} contacts" if housing.gender != "unknown" else ""]
    parts += ["sealed" if housing.sealed else "", f"keying {housing.keying}" if housing.keying else ""]
    parts.append("" if known else "where each cavity sits is not known: a list, not a face")
    return " · ".join(p for p in parts if p)


def _cell(housing: Housing) -> float:
    return ROUND_CELL if housing.shape == "circle" else CELL


def _pitch(housing: Housing) -> float | None:
    """Pixels for one contact pitch so that the nearest two cavities just clear; None where places are unusable."""
    spots = [(c.column, c.row) for c in housing.cavities]
    if not spots or not all(math.isfinite(v) for spot in spots for v in spot):
        return None
    round_ = housing.shape == "circle"
    nearest = min(
        (
            math.hypot(a[0] - b[0], a[1] - b[1]) if round_ else max(abs(a[0] - b[0]), abs(a[1] - b[1]))
            for i, a in enumerate(spots)
            for b in spots[i + 1 :]
        ),
        default=1.0,
    )
    across = max(max(v) - min(v) for v in zip(*spots, strict=True))
    return None if nearest <= 0 or across / nearest > 200 else (_cell(housing) + _GAP) / nearest


def _places(housing: Housing, view: View | None) -> list[tuple[str, float, float]]:
    """Centre of each cavity [px] from the top left cavity's centre; in rows of ten where no view can be drawn."""
    step = _cell(housing) + _GAP
    pitch = _pitch(housing)
    if pitch is None or view is None:
        return [(c.name, i % 10 * step, i // 10 * step) for i, c in enumerate(housing.cavities)]
    left, top = min(c.column for c in housing.cavities), min(c.row for c in housing.cavities)
    right = max(c.column for c in housing.cavities)
    return [
        (c.name, (c.column - left if view is View.MATING else right - c.column) * pitch, (c.row - top) * pitch)
        for c in housing.cavities
    ]


def _body(housing: Housing) -> tuple[float, float, float, float]:
    """Extent of the cavities' centres, and how far the housing reaches beyond them [px]."""
    places = _places(housing, View.MATING)
    across = max((x for _, x, _ in places), default=0.0)
    down = max((y for _, _, y in places), default=0.0)
    if housing.shape != "circle" or _pitch(housing) is None:
        return across, down, _cell(housing) / 2 + 16, _cell(housing) / 2 + 16
    middle = (across / 2, down / 2)
    radius = max(math.hypot(x - middle[0], y - middle[1]) for _, x, y in places) + _cell(housing) / 2 + 16
    return across, down, radius - across / 2, radius - down / 2


def _size(housing: Housing) -> tuple[float, float]:
    """What one face takes [px]: margin for the lock on all sides, the view's words on top."""
    across, down, beyond_x, beyond_y = _body(housing)
    return max(across + 2 * beyond_x + 2 * _PAD + 28, 200.0), down + 2 * beyond_y + _HEAD + 2 * _PAD


def _draw(
    sheet: Sheet,
    housing: Housing,
    view: View | None,
    labels: Mapping[str, CavityLabel],
    x: float,
    y: float,
    link: Link | None,
) -> None:
    across, down, beyond_x, beyond_y = _body(housing)
    width, _ = _size(housing)
    middle = x + width / 2
    words = view.upper() if view else "CAVITY LIST"
    sheet.text(middle, y + 16, words, 13, anchor="middle", bold=True)
    left, top = middle - across / 2 - beyond_x, y + _HEAD
    wide, high = across + 2 * beyond_x, down + 2 * beyond_y
    if view is not None:
        _lock(sheet, housing, view, Box(left, top, left + wide, top + high))
        if housing.shape == "circle":
            sheet.circle(middle, top + high / 2, wide / 2, class_="housing", stroke_width=2.5)
        else:
            sheet.rect(left, top, wide, high, class_="housing", stroke_width=2.5, rx=12)
    for name, dx, dy in _places(housing, view):
        label = labels.get(name, CavityLabel())
        with sheet.linked(link if label.key else None, label.key):
            _cavity(sheet, name, label, left + beyond_x + dx, top + beyond_y + dy, housing.shape == "circle")


def _lock(sheet: Sheet, housing: Housing, view: View, body: Box) -> None:
    side = _MIRRORED.get(housing.lock, housing.lock) if view is View.WIRE else housing.lock
    middle_x, middle_y = (body.x0 + body.x1) / 2, (body.y0 + body.y1) / 2
    if side in {"top", "bottom"}:
        top = body.y0 - 16 if side == "top" else body.y1 - 4
        sheet.rect(middle_x - 27, top, 54, 20, class_="lock", rx=4, stroke_width=2, data_side=side)
        sheet.text(middle_x, top + (12 if side == "top" else 16), "lock", 10, anchor="middle")
    elif side in {"left", "right"}:
        edge = body.x0 - 16 if side == "left" else body.x1 - 4
        sheet.rect(edge, middle_y - 27, 20, 54, class_="lock", rx=4, stroke_width=2, data_side=side)
        at = edge + (11 if side == "left" else 15)
        with sheet.group(transform=f"rotate(-90 {at:.2f} {middle_y:.2f})"):
            sheet.text(at, middle_y, "lock", 10, anchor="middle")


def _cavity(sheet: Sheet, name: str, label: CavityLabel, x: float, y: float, round_: bool) -> None:
    half = (ROUND_CELL if round_ else CELL) / 2
    used = bool(label.wire)
    tip = ", ".join(p for p in (f"cavity {name}", label.function, label.wire, label.colour, _evidence(label)) if p)
    with sheet.group("cavity", tip, data_cavity=name, data_x=x, data_y=y):
        shape: dict[str, str | float | None] = {"stroke_width": 1.6 if used else 1.0, "stroke": INK if used else SOFT}
        if used and label.evidence is not Evidence.MEASURED:
            shape["stroke_dasharray"] = "4 2.5"
        if round_:
            sheet.circle(x, y, half, **shape)
        else:
            sheet.rect(x - half, y - half, CELL, CELL, rx=6, **shape)
        room = CELL - 8
        known = label.evidence is not None
        shift = 7 if known and used else 0
        sheet.text(x - shift, y - 14, name, 12, anchor="middle", bold=True, width=room - 2 * shift)
        if known and used:
            _ring(sheet, x + min(text_width(name, 12, True) / 2, room / 2 - shift) + 2, y - 18, label.evidence)
        if used:
            sheet.text(x, y + 1, label.wire, 10.5, anchor="middle", width=room + 6)
            sheet.text(x, y + 12.5, label.colour, 9.5, anchor="middle", width=room + 6, fill=SOFT)
            sheet.text(x, y + 23, _evidence(label), 8.5, anchor="middle", width=room)
        elif label.plugged:
            sheet.circle(x, y + 2, 8, class_="plug", fill=PALE, stroke_width=1.2)
            sheet.line(x - 5, y + 2, x + 5, y + 2, stroke_width=1.2)
            sheet.text(x, y + 22, "plug", 9, anchor="middle", fill=SOFT)
        else:
            sheet.text(x, y + 8, "empty", 9, anchor="middle", fill=SOFT)


def _ring(sheet: Sheet, x: float, y: float, evidence: Evidence | None) -> None:
    proven = evidence is Evidence.MEASURED
    sheet.circle(x + 4, y, 3.6, class_="evidence", fill=INK if proven else "none", stroke_width=1.3)


def _evidence(label: CavityLabel) -> str:
    return label.evidence.value if label.evidence is not None and label.wire else ""


def _legend(sheet: Sheet, y: float) -> float:
    """What the marks mean; gives the bottom edge."""
    y += 12
    _ring(sheet, _PAD, y - 4, Evidence.MEASURED)
    sheet.text(_PAD + 14, y, "measured", 10.5)
    _ring(sheet, _PAD + 76, y - 4, None)
    sheet.text(_PAD + 90, y, "unproven: assumed, or from a manual and never measured", 10.5)
    return y + 16
