"""Where a pin goes and what to read there."""

from __future__ import annotations

import pytest

from tests.factories_web import JOB, Visitor

PAGE = f"{JOB}/trace"


@pytest.mark.parametrize(
    ("q", "found"), [("lamp", "Rig C1-1"), ("C1-1", "Cart C1-1"), ("1A", "Rig C1-1"), ("crank sensor", "Cart C1-3")]
)
def test_a_pin_is_found_by_any_of_its_words(bench: Visitor, q: str, found: str) -> None:
    assert found in bench.open(f"{PAGE}?q={q}").text


def test_a_single_hit_is_traced_station_by_station(bench: Visitor) -> None:
    bench.open(f"{PAGE}?q=battery")
    assert "What to read against battery minus" in bench.text
    assert "Nothing in this variant matches" not in bench.text
    assert "lamps" in bench.text, "the fuse on the way"
    assert bench.page.select("tr.here")


def test_a_pin_without_a_signal_says_what_became_of_it(bench: Visitor) -> None:
    assert "This pin is parked: not used" in bench.open(f"{PAGE}?end=p/rig/C1/5/").text
    assert "This pin is undecided" in bench.open(f"{PAGE}?end=p/rig/C1/4/").text


def test_nothing_found_and_nonsense(bench: Visitor) -> None:
    assert "Nothing in this variant matches" in bench.open(f"{PAGE}?q=turbocharger").text
    assert "choose the pin" in bench.open(f"{PAGE}?end=nonsense", status=422).text
    assert bench.client.get(f"{PAGE}?end=p/rig/C1/99/").status_code == 404
