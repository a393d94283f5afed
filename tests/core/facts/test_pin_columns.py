"""What a pin entry says beside its own columns."""

from __future__ import annotations

import pytest

from pinmap.core.facts.pin_columns import column, says_fused, stated_fuse_a, terminator_ohm
from pinmap.core.model.pinouts import Pin


@pytest.mark.parametrize(
    ("extra", "note", "amps", "fused"),
    [
        ("15", "", 15.0, True),
        ("7.5 A", "", 7.5, True),
        ("7,5", "", 7.5, True),
        ("", "", None, False),
        ("?", "", None, False),
        ("0", "", None, False),
        ("", "behind fuse 7, 20 A", 20.0, True),
        ("", "20 A fuse in the host's box", 20.0, True),
        ("", "fused", None, True),
        ("", "unfused; 20 A fuse wanted", None, False),
        ("", "no fuse", None, False),
        ("", "refused by the customer", None, False),
    ],
)
def test_fuse(extra: str, note: str, amps: float | None, fused: bool) -> None:
    pin = Pin(connector="C", cavity="1", note=note, extra=(("Fuse A", extra),))
    assert stated_fuse_a(pin) == amps
    assert says_fused(pin) is fused


@pytest.mark.parametrize(
    ("text", "ohm"), [("120", 120.0), ("120 ohm", 120.0), ("none", 0.0), ("0", 0.0), ("", None), ("yes", None)]
)
def test_terminator(text: str, ohm: float | None) -> None:
    assert terminator_ohm(Pin(connector="C", cavity="1", extra=(("terminator_ohm", text),))) == ohm


def test_headings_differ_in_case_and_spacing_only() -> None:
    pin = Pin(connector="C", cavity="1", extra=((" Source Edition ", " late "),))
    assert column(pin, "source_edition") == "late"
    assert column(pin, "view") is None
