"""The Jinja environment, page rendering, and the filters that put a unit to each number."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup, escape

from pinmap import __version__
from pinmap.core.crossing.field_words import field_words
from pinmap.core.facts.colours import colour_words
from pinmap.core.facts.conductors import nearest_awg
from pinmap.core.model.words import DeviceKind, Direction, Evidence, Fate, Gender, Kind, Role
from pinmap.resources import resource_dir
from pinmap.web.access import actor_of, signed_in

# The filters below run many thousand times on a long page: they fill in strings of our own with escaped values, which
# costs a fraction of Markup.format, and remember what comes again and again.
_REMEMBERED = 4096
_SHORT = 100  # longer texts are not remembered, so that nobody can fill the memory with them


@lru_cache(_REMEMBERED)
def number(value: float | None, digits: int = 3) -> str:
    """A number to some significant digits without exponent or trailing zeros; a dash when not known."""
    if value is None:
        return "–"
    if value == 0:
        return "0"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{float(text):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def exact(value: float | None) -> str:
    """A number for a field that is typed in: every digit that is stored, so that saving it changes nothing."""
    if value is None:
        return ""
    text = f"{value:.15g}"
    if "e" in text:
        text = f"{value:.20f}" if abs(value) < 1 else f"{value:.0f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


@lru_cache(_REMEMBERED)
def quantity(value: float | None, unit: str, digits: int = 3) -> Markup:
    """A number with its unit, not broken across lines."""
    if value is None:
        return Markup("–")
    behind = f' <abbr class="unit">{escape(unit)}</abbr>' if unit else ""
    return Markup(f'<span class="q">{number(value, digits)}{behind}</span>')  # noqa: S704 - escaped


@lru_cache(_REMEMBERED)
def size(mm2: float | None, units: str = "metric") -> Markup:
    """A conductor size as the user reads it."""
    if mm2 is None:
        return Markup("–")
    if units == "awg":
        return Markup('<span class="q">{}</span>').format(f"{nearest_awg(mm2)} AWG")
    return quantity(mm2, "mm²")


@lru_cache(_REMEMBERED)
def metres(length_m: float | None, units: str = "metric") -> Markup:
    """A length as the bench reads it: millimetres, or feet for AWG users."""
    if length_m is None:
        return Markup("–")
    if units == "awg":
        return quantity(length_m / 0.3048, "ft", 4)
    return Markup('<span class="q">{} <abbr class="unit">mm</abbr></span>').format(f"{length_m * 1000:.0f}")


def colour(code: str) -> Markup:
    """A wire colour: a swatch for the eye, letters for black-and-white print, words on hover."""
    return _colour(code) if len(code) <= _SHORT else _colour.__wrapped__(code)


@lru_cache(_REMEMBERED)
def _colour(code: str) -> Markup:
    if not code:
        return Markup('<span class="colour none">–</span>')
    letters = re.sub(r"[^A-Z]", "", code.upper())
    base, stripe = letters[:2].lower(), letters[2:4].lower()
    swatch = Markup('<i class="sw c-{}{}" aria-hidden="true"></i>').format(base, f" s-{stripe}" if stripe else "")
    return Markup('<span class="colour" title="{}">{}{}</span>').format(colour_words(code), swatch, code)


def evidence(level: str, ref: str = "") -> Markup:
    """How well a pin is known; where from on hover."""
    return _evidence(level, ref) if len(ref) <= _SHORT else _evidence.__wrapped__(level, ref)


@lru_cache(_REMEMBERED)
def _evidence(level: str, ref: str) -> Markup:
    title = f' title="{escape(ref)}"' if ref else ""
    return Markup(f'<span class="tag {escape(level)}"{title}>{escape(level)}</span>')  # noqa: S704 - escaped


def path(value: object) -> str:
    """Text as one segment of an address."""
    return quote(str(value), safe="")


@cache
def environment() -> Environment:
    """Built once; every template escapes, whatever its file's ending, and an undefined name is an error."""
    env = Environment(
        loader=FileSystemLoader(resource_dir("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters |= {
        "field_words": field_words,
        "number": number,
        "exact": exact,
        "quantity": quantity,
        "size": size,
        "colour": colour,
        "path": path,
        "evidence": evidence,
        "metres": metres,
    }
    env.globals |= {
        "app_version": __version__,
        "KINDS": list(Kind),
        "DIRECTIONS": list(Direction),
        "EVIDENCE": list(Evidence),
        "GENDERS": list(Gender),
        "ROLES": list(Role),
        "FATES": list(Fate),
        "DEVICE_KINDS": list(DeviceKind),
        "escape": escape,
    }
    return env


def page(request: Request, template: str, status: int = 200, **context: Any) -> HTMLResponse:
    """A whole page, or a fragment when the template is a partial."""
    text = (
        environment()
        .get_template(template)
        .render(
            path_now=request.url.path,
            page_now=str(request.url.remove_query_params("done").replace(scheme="", netloc="")),
            notice=request.query_params.get("done", ""),
            me=signed_in(request),
            may=actor_of(request).may,
            **context,
        )
    )
    return HTMLResponse(text, status, headers={"cache-control": "no-store"})
