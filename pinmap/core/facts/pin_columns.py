"""Columns a pinout may carry beyond Pinmap's own and that the rules understand.

fuse_a                   the platform already protects this pin with a fuse of so many amperes
terminator_ohm           the platform has a bus terminator of so many ohms here; 0 or "none" says it has none
other_source_function    what a second document says this cavity is
source_edition           the edition (key or name) of the document this entry was taken from
view                     from where the source numbers the cavities: "mating side" or "wire side"
"""

from __future__ import annotations

import re

from pinmap.core.model.pinouts import Pin

FUSE_A = "fuse_a"
TERMINATOR_OHM = "terminator_ohm"
OTHER_FUNCTION = "other_source_function"
SOURCE_EDITION = "source_edition"
VIEW = "view"

_NUMBER = re.compile(r"\d+(?:[.,]\d+)?")
_FUSED = re.compile(r"\bfused\b|\bfuse\b|\bfusible\b", re.IGNORECASE)
_NOT_FUSED = re.compile(r"\bun-?fused\b|\bno fuse\b|\bnot fused\b|\bwithout (?:a )?fuse\b", re.IGNORECASE)
_FUSE_AMPS = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*A\b[^.;]{0,20}\bfuse|\bfuse[ds]?\b[^.;]{0,20}?(\d+(?:[.,]\d+)?)\s*A\b", re.IGNORECASE
)


def column(pin: Pin, name: str) -> str | None:
    """The text of an extra column, None where it is absent or empty; headings differ in case and spacing only."""
    for heading, value in pin.extra:
        if heading.strip().casefold().replace(" ", "_") == name and value.strip():
            return value.strip()
    return None


def _number(text: str) -> float | None:
    found = _NUMBER.search(text)
    return float(found[0].replace(",", ".")) if found else None


def stated_fuse_a(pin: Pin) -> float | None:
    """Rating of the fuse by which the platform protects this pin [A]; None where no number is given."""
    text = column(pin, FUSE_A)
    if text is not None:
        amps = _number(text)
        return amps if amps else None
    prose = f"{pin.function}; {pin.note}"
    if _NOT_FUSED.search(prose):
        return None
    found = _FUSE_AMPS.search(prose)
    return float((found[1] or found[2]).replace(",", ".")) if found else None


def says_fused(pin: Pin) -> bool:
    """The entry says that its platform fuses it, with a rating or without."""
    if stated_fuse_a(pin) is not None:
        return True
    prose = f"{pin.function}; {pin.note}"
    return bool(_FUSED.search(prose)) and not _NOT_FUSED.search(prose)


def terminator_ohm(pin: Pin) -> float | None:
    """Terminator inside the platform at this pin [ohm]: 0.0 says there is none, None that nobody said."""
    text = column(pin, TERMINATOR_OHM)
    if text is None:
        return None
    if text.casefold() in {"none", "no", "-"}:
        return 0.0
    return _number(text)
