"""Every part of the look on one page."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from markupsafe import Markup

from pinmap.core.facts.shelf import shelf
from pinmap.core.model.people import Right
from pinmap.core.model.words import Severity
from pinmap.core.rules.finding import Finding
from pinmap.drawings.faces import face_svg
from pinmap.web.access import needs
from pinmap.web.render import page

router = APIRouter()


@router.get("/gallery")
@needs(Right.READ)
def gallery(request: Request) -> HTMLResponse:
    findings = [
        Finding(
            rule="R14",
            severity=severity,
            title="A wire runs too hot",
            where=("wire 17B", "engine bay run r4"),
            numbers=(("conductor", 131.0, 125.0, "°C"),),
            why="Eleven wires carry current together here.",
            way_out="Take 2.5 mm² instead of 1.5 mm².",
            source="heat balance, Method",
        )
        for severity in Severity
    ]
    drawing = Markup(face_svg(shelf()[0].housings[0], None))  # noqa: S704 - our own drawing, text in it is escaped
    return page(request, "gallery/page.html", findings=findings, drawing=drawing)
