"""Reads lines back from the pages of a PDF, in millimetres."""

from __future__ import annotations

import io
from typing import Any

from pypdf import PdfReader
from pypdf.generic import ContentStream

POINT_MM = 25.4 / 72
Matrix = tuple[float, float, float, float, float, float]
Stroke = tuple[float, tuple[tuple[float, float], ...]]


def _times(a: Matrix, b: Matrix) -> Matrix:
    return (
        a[0] * b[0] + a[1] * b[2], a[0] * b[1] + a[1] * b[3], a[2] * b[0] + a[3] * b[2], a[2] * b[1] + a[3] * b[3],
        a[4] * b[0] + a[5] * b[2] + b[4], a[4] * b[1] + a[5] * b[3] + b[5],
    )  # fmt: skip


def page_strokes(pdf: bytes) -> list[tuple[float, float, list[Stroke]]]:
    """Of each page: width and height [mm], and every stroked path as its line width [mm] and its corners [mm] from the
    top left. Curves are left out."""
    reader = PdfReader(io.BytesIO(pdf))
    pages = []
    for page in reader.pages:
        wide, high = float(page.mediabox.width) * POINT_MM, float(page.mediabox.height) * POINT_MM
        found = _strokes(ContentStream(page.get_contents(), reader).operations)
        flipped = [(w * POINT_MM, tuple((x * POINT_MM, high - y * POINT_MM) for x, y in points)) for w, points in found]
        pages.append((wide, high, flipped))
    return pages


def _strokes(operations: list[Any]) -> list[Stroke]:
    matrix: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)
    width = 1.0
    stack: list[tuple[Matrix, float]] = []
    paths: list[list[tuple[float, float]]] = []
    found: list[Stroke] = []
    for operands, operator in operations:
        match operator.decode():
            case "q":
                stack.append((matrix, width))
            case "Q":
                matrix, width = stack.pop()
            case "cm":
                matrix = _times(tuple(float(v) for v in operands), matrix)  # type: ignore[arg-type]  # six of them
            case "w":
                width = float(operands[0])
            case "m" | "l" as step:
                x, y = (float(v) for v in operands)
                there = (matrix[0] * x + matrix[2] * y + matrix[4], matrix[1] * x + matrix[3] * y + matrix[5])
                if step == "m":
                    paths.append([])
                paths[-1].append(there)
            case "S":
                scale = abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]) ** 0.5
                found += [(width * scale, tuple(path)) for path in paths]
                paths = []
            case "n" | "f" | "f*" | "B":
                paths = []
            case "c" | "v" | "y":
                paths = [[]]
    return [(w, points) for w, points in found if len(points) > 1]
