"""Pinouts out, in the columns by which they come in."""

from __future__ import annotations

from collections.abc import Sequence

from pinmap.core.model.pinouts import Pin, Platform
from pinmap.core.model.words import natural_key
from pinmap.exchange.columns import COLUMNS
from pinmap.exchange.tables import Table, TableColumn, Value
from pinmap.exchange.tables_csv import write_csv
from pinmap.exchange.tables_xlsx import write_xlsx

_NUMBERS = {"current_a", "peak_a", "wire_mm2"}
_WIDTHS = {"function": 36, "note": 36, "evidence": 24, "component": 20, "kind": 16, "function_code": 14}


def pinout_table(platform: Platform) -> Table:
    """All pins by connector, then cavity as people sort them; the user's own columns stand behind Pinmap's."""
    own: dict[tuple[str, int], None] = {}
    pins = sorted_pins(platform)
    extras = [_numbered(pin.extra) for pin in pins]
    for extra in extras:
        own |= dict.fromkeys(extra)
    columns = tuple(
        TableColumn(heading=c.name, width=_WIDTHS.get(c.name, 12), number=c.name in _NUMBERS) for c in COLUMNS
    ) + tuple(TableColumn(heading=heading, width=16) for heading, _ in own)
    rows = []
    for pin, extra in zip(pins, extras, strict=True):
        known: list[Value] = [getattr(pin, c.field) if c.name in _NUMBERS else c.format(pin) for c in COLUMNS]
        rows.append((*known, *(extra.get(key, "") for key in own)))
    return Table(name=platform.name, title=f"Pinout of {platform.name}", columns=columns, rows=tuple(rows))


def pinout_csv(platform: Platform) -> bytes:
    """A platform's pins as CSV; reading it back gives the same pins."""
    return write_csv(pinout_table(platform))


def pinout_xlsx(platform: Platform) -> bytes:
    """A platform's pins as a workbook; reading it back gives the same pins."""
    table = pinout_table(platform)
    return write_xlsx([table], title=table.title)


def sorted_pins(platform: Platform) -> tuple[Pin, ...]:
    """Pins by connector in the platform's order, then cavity in natural order, then edition."""
    place = {c.name: i for i, c in enumerate(platform.connectors)}

    def order(pin: Pin) -> tuple[object, ...]:
        where = place.get(pin.connector, len(place))
        return (where, natural_key(pin.connector), natural_key(pin.cavity), pin.editions)

    return tuple(sorted(platform.pins, key=order))


def _numbered(extra: Sequence[tuple[str, str]]) -> dict[tuple[str, int], str]:
    """Two own columns may bear one heading; the second one's key is (heading, 1)."""
    found: dict[tuple[str, int], str] = {}
    for heading, text in extra:
        nth = 0
        while (heading, nth) in found:
            nth += 1
        found[heading, nth] = text
    return found
