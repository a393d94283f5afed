"""What forms share: numbers as typed, and the way back to a page."""

from __future__ import annotations

import pytest

from pinmap.core.errors import InputError
from pinmap.web.forms import back_to, number


def test_the_way_back_says_what_was_done_shortly() -> None:
    way = back_to("/jobs/a/layout#zones", "x" * 100_000 + " added", variant="v").headers["location"]
    assert way.endswith("&variant=v#zones")
    assert len(way) < 1000
    assert "done=Saved" in back_to("/jobs/a", "Saved").headers["location"]


@pytest.mark.parametrize("text", ["1e308", "-1e12", "nan", "inf", "ten", ""])
def test_a_number_that_nothing_can_be_computed_with_is_refused(text: str) -> None:
    with pytest.raises(InputError) as refused:
        number("length_mm", text)
    assert refused.value.field == "length_mm"
