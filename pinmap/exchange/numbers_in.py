"""Numbers as people write them in tables: decimal comma, units, wire gauges."""

from __future__ import annotations

import re
from functools import lru_cache

from pinmap.core.errors import InputError
from pinmap.core.facts.conductors import awg_area_mm2

_NUMBER = re.compile(r"[+]?(?:\d+(?:[.,]\d+)*|[.,]\d+)(?:[eE][+-]?\d{1,3})?")
_NOTHING = {"", "-", "--", "–", "—", "?", "n/a", "na", "n.a.", "none", "unknown", "tbc", "tbd"}
_AMPERE_UNITS = {"": 1.0, "a": 1.0, "amp": 1.0, "amps": 1.0, "ampere": 1.0, "amperes": 1.0, "ma": 1e-3, "ka": 1e3}
_AREA_UNITS = {"", "mm2", "mm²", "mm^2", "mm", "qmm", "sqmm", "sq mm", "sq.mm", "mmq"}
_GAUGE = re.compile(r"(?:awg|#)\s*(\d/0|0{1,4}|\d{1,2})|(\d/0|0{1,4}|\d{1,2})\s*(?:awg|ga|gauge|g)\.?", re.I)
_BARE_GAUGE = re.compile(r"\d/0|0{1,4}|\d{1,2}")
MOST_A = 5000.0
MOST_MM2 = 300.0


def plain_number(text: str) -> tuple[float, str]:
    """(value, note) of an unsigned number without unit. Raises ValueError."""
    note = ""
    if "," in text and "." in text:
        # The later sign is the decimal one: 1.234,5 and 1,234.5 are the same number.
        decimal, thousands = (",", ".") if text.rindex(",") > text.rindex(".") else (".", ",")
        head, _, tail = text.partition(decimal)
        if decimal in tail or not re.fullmatch(rf"\d{{1,3}}(?:{re.escape(thousands)}\d{{3}})+", head):
            raise ValueError(text)
        text = head.replace(thousands, "") + "." + tail
        note = f"read as {text}"
    elif text.count(",") == 1:
        text = text.replace(",", ".")
        if re.fullmatch(r"[1-9]\d{0,2}\.\d{3}", text):
            note = f"the comma was read as a decimal sign: {float(text):g}"
    if text.count(".") > 1 or "," in text:
        raise ValueError(text)
    return float(text), note


def current(field: str, text: str) -> tuple[float | None, str]:
    """(amperes or None when not given, note) from text such as "10A", "0,5 A", "300 mA". Raises InputError."""
    return _current(field, _short(field, text))


@lru_cache(maxsize=4096)
def _current(field: str, text: str) -> tuple[float | None, str]:
    if text.casefold() in _NOTHING:
        return None, ""
    match = _NUMBER.match(text.replace("\u00a0", " "))
    unit = text[match.end() :].strip().casefold() if match else ""
    if match is None or unit not in _AMPERE_UNITS:
        raise InputError(field, text, "write one number of amperes, such as 7.5 or 7.5 A or 300 mA")
    try:
        value, note = plain_number(match.group())
    except ValueError:
        raise InputError(field, text, "write one number of amperes, such as 7.5") from None
    value *= _AMPERE_UNITS[unit]
    if not value <= MOST_A:
        raise InputError(field, text, f"a current lies between 0 and {MOST_A:g} A")
    return value, note or (f"{text} was read as {value:g} A" if unit in ("ma", "ka") else "")


def area(field: str, text: str, *, gauge: bool) -> tuple[float | None, str]:
    """(mm² or None when not given, note) from "0,75 mm²" or "18 AWG"; ``gauge``: a bare number is a wire gauge, as
    the column's heading says. Raises InputError."""
    return _area(field, _short(field, text), gauge)


def _short(field: str, text: str) -> str:
    """A number's text; pages of it are none and would only fill the cache."""
    text = text.strip()
    if len(text) > 60:
        raise InputError(field, text, "write one number and nothing else")
    return text


@lru_cache(maxsize=4096)
def _area(field: str, text: str, gauge: bool) -> tuple[float | None, str]:
    if text.casefold() in _NOTHING:
        return None, ""
    match = _GAUGE.fullmatch(text)
    size = (match.group(1) or match.group(2)) if match else ""
    if not size and gauge and _BARE_GAUGE.fullmatch(text):
        size = text
    if size:
        try:
            value = round(awg_area_mm2(size), 3)
        except InputError as error:
            raise InputError(field, text, "wire gauges run from 4/0 to 40; write the size in mm²") from error
        return value, f"{size} AWG is {value:g} mm²"
    number_match = _NUMBER.match(text.replace("\u00a0", " "))
    if number_match is None or text[number_match.end() :].strip().casefold() not in _AREA_UNITS:
        raise InputError(field, text, "write one size, such as 0.75 or 0,75 mm² or 18 AWG")
    try:
        value, note = plain_number(number_match.group())
    except ValueError:
        raise InputError(field, text, "write one size in mm², such as 0.75") from None
    if not 0 < value <= MOST_MM2:
        raise InputError(field, text, f"a conductor's size lies above 0 and up to {MOST_MM2:g} mm²")
    return value, note


def shown(value: float | None) -> str:
    """Shortest text that reads back as the same number; "" for None."""
    if value is None:
        return ""
    text = repr(float(value))
    return text.removesuffix(".0")
