"""Reads a drawing back: its words and lines with their places on the sheet."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import combinations
from xml.etree import ElementTree as ET

from pinmap.drawings.svg import Box, text_box

NS = "{http://www.w3.org/2000/svg}"
Line = tuple[float, float, float, float]
_ELEMENTS = {"svg", "g", "a", "title", "desc", "rect", "circle", "line", "path", "text"}
_MOVE = re.compile(r"translate\((-?[\d.]+) (-?[\d.]+)\)")
_STEP = re.compile(r"([MLHVlhZ])((?:-?[\d.]+[ ,]?)*)")


def parse(svg: str) -> ET.Element:
    """The drawing as XML; nothing in it but plain shapes, words and links."""
    root = ET.fromstring(svg)
    for element in root.iter():
        assert element.tag.removeprefix(NS) in _ELEMENTS
        for name in element.attrib:
            assert name not in {"style", "id"}, name
            assert not name.startswith("on"), name
            assert name != "href" or element.tag == f"{NS}a"
    assert root.get("role") in {"img", "group"}
    assert root[0].tag == f"{NS}title"
    assert root[0].text
    assert root[1].tag == f"{NS}desc"
    assert root[1].text
    return root


def placed(root: ET.Element, dx: float = 0.0, dy: float = 0.0) -> Iterator[tuple[ET.Element, float, float]]:
    """Every element with the shift of its groups; what is turned is left out."""
    move = root.get("transform", "")
    if move.startswith("rotate"):
        return
    if found := _MOVE.match(move):
        dx, dy = dx + float(found[1]), dy + float(found[2])
    yield root, dx, dy
    for child in root:
        yield from placed(child, dx, dy)


def words(root: ET.Element) -> list[tuple[str, Box]]:
    """Every line of text and what it covers."""
    return [(text, box) for _, text, box in _texts(root)]


def _texts(root: ET.Element) -> list[tuple[ET.Element, str, Box]]:
    found = []
    for element, dx, dy in placed(root):
        if element.tag == f"{NS}text":
            text = element.text or ""
            box = text_box(
                float(element.get("x", "0")) + dx,
                float(element.get("y", "0")) + dy,
                text,
                float(element.get("font-size", "11")),
                element.get("text-anchor", "start"),
                element.get("font-weight") == "bold",
            )
            found.append((element, text, box))
    return found


def all_text(root: ET.Element) -> str:
    return "\n".join(text for text, _ in words(root))


def view_box(root: ET.Element) -> Box:
    x, y, width, height = map(float, root.attrib["viewBox"].split())
    return Box(x, y, x + width, y + height)


def path_lines(d: str) -> list[Line]:
    """The straight lines of a path made of M, L, H, V, l, h and Z."""
    lines: list[Line] = []
    x = y = x0 = y0 = 0.0
    for command, rest in _STEP.findall(d):
        numbers = [float(n) for n in rest.replace(",", " ").split()]
        steps = [(x0, y0)] if command == "Z" else []
        if command in "HVh":
            for n in numbers:
                x, y, old = (
                    (n, y, (x, y)) if command == "H" else (x, n, (x, y)) if command == "V" else (x + n, y, (x, y))
                )
                lines.append((*old, x, y))
            continue
        for a, b in zip(numbers[::2], numbers[1::2], strict=True):
            steps.append((x + a, y + b) if command == "l" else (a, b))
            if command == "l" and len(steps) > 1:
                steps[-1] = (steps[-2][0] + a, steps[-2][1] + b)
        for i, (a, b) in enumerate(steps):
            if command == "M" and i == 0:
                x0, y0 = a, b
            else:
                lines.append((x, y, a, b))
            x, y = a, b
    return lines


def strokes(root: ET.Element, *names: str) -> list[tuple[Line, float]]:
    """Lines and paths of these classes (all for none) and their half widths."""
    found = []
    for element, dx, dy in placed(root):
        if names and element.get("class") not in names:
            continue
        half = float(element.get("stroke-width", "1")) / 2
        if element.tag == f"{NS}line":
            x1, y1, x2, y2 = (float(element.get(k, "0")) for k in ("x1", "y1", "x2", "y2"))
            found.append(((x1 + dx, y1 + dy, x2 + dx, y2 + dy), half))
        elif element.tag == f"{NS}path":
            for x1, y1, x2, y2 in path_lines(element.attrib["d"]):
                found.append(((x1 + dx, y1 + dy, x2 + dx, y2 + dy), half))
    return found


def overlapping(boxes: list[tuple[str, Box]], slack: float = 0.5) -> list[tuple[str, str]]:
    """Pairs of words that cover each other."""
    return [(a, b) for (a, one), (b, two) in combinations(boxes, 2) if one.hits(two, -slack)]


def meets(box: Box, line: Line, half: float = 0.0) -> bool:
    """Whether a line of this half width touches a box (separating axes)."""
    x1, y1, x2, y2 = line
    cx, cy = (box.x0 + box.x1) / 2, (box.y0 + box.y1) / 2
    hw, hh = (box.x1 - box.x0) / 2 + half, (box.y1 - box.y0) / 2 + half
    mx, my, dx, dy = (x1 + x2) / 2 - cx, (y1 + y2) / 2 - cy, (x2 - x1) / 2, (y2 - y1) / 2
    if abs(mx) > hw + abs(dx) or abs(my) > hh + abs(dy):
        return False
    return abs(dx * my - dy * mx) <= hw * abs(dy) + hh * abs(dx)


def struck(root: ET.Element, *names: str) -> list[str]:
    """Words that a line of these classes runs through. A cavity's name stands on its own white ground, above the
    lines that meet there, and does not count."""
    lines = strokes(root, *names)
    own = {id(t) for g in root.iter(f"{NS}g") if g.get("class") == "cavity" for t in g.iter(f"{NS}text")}
    found = [(text, box) for element, text, box in _texts(root) if id(element) not in own]
    return [text for text, box in found if any(meets(box, line, half - 0.6) for line, half in lines)]
