"""Blanks, numbers and lengths as people type them."""

from __future__ import annotations

import math
from enum import StrEnum
from typing import Annotated, TypeVar
from urllib.parse import quote, urlencode

from fastapi import Form
from fastapi.responses import RedirectResponse

from pinmap.core.crossing.edit_checks import MOST_NUMBER
from pinmap.core.errors import InputError

W = TypeVar("W", bound=StrEnum)

# The version that a form was made from; every form that changes something stored carries one.
Version = Annotated[int, Form(ge=0, lt=2**31)]
# The number of something stored, as forms and addresses carry it.
MOST = 2**31 - 1
_MOST_SAID = 300  # characters


def number_or_none(field: str, text: str, *, least: float | None = None) -> float | None:
    """A typed number, None for a blank; takes a decimal comma. Raises InputError."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        raise InputError(field, text, "type a plain number, such as 0.75") from None
    if not math.isfinite(value):
        raise InputError(field, text, "type a finite number")
    if abs(value) > MOST_NUMBER:
        raise InputError(field, text, f"type a number of at most {MOST_NUMBER:,.0f}")
    if least is not None and value < least:
        raise InputError(field, text, f"it must be at least {least:g}")
    return value


def number(field: str, text: str, *, least: float | None = None) -> float:
    """As ``number_or_none``, but a blank is an error."""
    value = number_or_none(field, text, least=least)
    if value is None:
        raise InputError(field, text, "a number is needed here")
    return value


def attribute_of(field: str) -> str:
    """The attribute of a record behind a field of a form: lengths are typed in millimetres and stored in metres."""
    if field == "new_name":
        return "name"
    return f"{field.removesuffix('_mm')}_m" if field.endswith("_mm") and field != "inner_mm" else field


def address(*parts: str) -> str:
    """An address of these parts, whatever characters they have."""
    return "/" + "/".join(quote(part, safe="") for part in parts)


def word_of(vocabulary: type[W], field: str, text: str) -> W:
    """A word of a closed vocabulary. Raises InputError that lists its words."""
    try:
        return vocabulary(text)
    except ValueError:
        raise InputError(field, text, f"choose one of: {', '.join(w.value for w in vocabulary)}") from None


def back_to(address: str, done: str = "", **query: str) -> RedirectResponse:
    """303 to a page that then says what was done, shortened where a long name is in it, since browsers and proxies cut
    long addresses off; the address may end in a fragment."""
    done = done if len(done) <= _MOST_SAID else f"{done[:_MOST_SAID]}…"
    address, _, fragment = address.partition("#")
    query = {k: v for k, v in ({"done": done} | query).items() if v}
    if query:
        address += ("&" if "?" in address else "?") + urlencode(query)
    return RedirectResponse(address + (f"#{fragment}" if fragment else ""), 303)
