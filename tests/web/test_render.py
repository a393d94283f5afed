"""Filters escape what they fill in, and remember nothing long."""

from __future__ import annotations

import pytest

from pinmap.web import render

_EVIL = '"><script>alert(1)</script>'


@pytest.mark.parametrize(
    "made",
    [
        render.quantity(1.5, _EVIL),
        render.evidence(_EVIL),
        render.evidence("measured", _EVIL),
        render.evidence("measured", _EVIL * 50),
        render.colour(_EVIL),
        render.colour(_EVIL * 50),
    ],
)
def test_filters_escape(made: str) -> None:
    assert "<script" not in made
    assert "&lt;script&gt;" in made


def test_long_texts_are_not_remembered() -> None:
    before = render._colour.cache_info().currsize, render._evidence.cache_info().currsize
    for n in range(20):
        render.colour("x" * 10_000 + str(n))
        render.evidence("manual", "y" * 10_000 + str(n))
    assert (render._colour.cache_info().currsize, render._evidence.cache_info().currsize) == before


@pytest.mark.parametrize(
    ("value", "text"), [(None, "–"), (0, "0"), (0.75, "0.75"), (1234.5, "1230"), (2.0, "2"), (1e-7, "0")]
)
def test_numbers(value: float | None, text: str) -> None:
    assert render.number(value) == text


def test_a_number_without_a_unit_has_no_blank_behind_it() -> None:
    assert render.quantity(2.0, "") == '<span class="q">2</span>'
