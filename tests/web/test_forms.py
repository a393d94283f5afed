"""What forms share: numbers as typed, and the way back to a page."""

from __future__ import annotations

from dataclasses import fields

import pytest

from pinmap.core.errors import InputError
from pinmap.core.model.jobs import Practice
from pinmap.core.model.looms import Fixing, Segment
from pinmap.web.forms import attribute_of, back_to, number


def test_the_way_back_says_what_was_done_shortly() -> None:
    way = back_to("/jobs/a/layout#zones", "x" * 100_000 + " added", variant="v").headers["location"]
    assert way.endswith("&variant=v#zones")
    assert len(way) < 1000
    assert "done=Saved" in back_to("/jobs/a", "Saved").headers["location"]


def test_the_attribute_behind_a_field() -> None:
    """A clear diameter is stored as it is typed, in millimetres; other lengths are stored in metres."""
    known = {"length_mm": "length_m", "splice_apart_mm": "splice_apart_m", "inner_mm": "inner_mm", "min_mm2": "min_mm2"}
    assert {field: attribute_of(field) for field in known} == known
    assert set(known.values()) <= {f.name for record in (Segment, Practice, Fixing) for f in fields(record)}


@pytest.mark.parametrize("text", ["1e308", "-1e12", "nan", "inf", "ten", ""])
def test_a_number_that_nothing_can_be_computed_with_is_refused(text: str) -> None:
    with pytest.raises(InputError) as refused:
        number("length_mm", text)
    assert refused.value.field == "length_mm"
