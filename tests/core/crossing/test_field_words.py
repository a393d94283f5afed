"""Words for fields and their values."""

from __future__ import annotations

import pytest

from pinmap.core.crossing.field_words import field_words, value_words
from pinmap.core.model.words import Fate


def test_fields_have_words_without_underscores() -> None:
    assert field_words("rating_a") == "Rating"
    assert field_words("never_heard_of") == "Never heard of"


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("length_m", 0.45, "450 mm"), ("ambient_c", 85, "85 °C"), ("mm2", 1.5, "1.5 mm²"), ("drop_pct", 3.0, "3 %"),
        ("number", 12, "12"), ("moving", True, "yes"), ("fate", Fate.PARKED, "parked"), ("note", "", ""),
        ("note", None, ""), ("stock_mm2", (0.5, 1.0), "0.5 mm², 1 mm²"), ("extra", (("Ref", "7"),), "Ref: 7"),
        ("load", {"a": 1, "b": "x"}, "a 1, b x"),
    ],
)  # fmt: skip
def test_values_carry_the_unit_of_their_field(name: str, value: object, words: str) -> None:
    assert value_words(name, value) == words
