"""When two lists of a connector's functions prove each other's mirror image."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from pinmap.core.model.words import Gender
from pinmap.core.rules.mirror import reversal
from tests.factories_rules import grid

NAMES = [str(n) for n in range(1, 9)]


@given(st.lists(st.text(min_size=1), min_size=8, max_size=8, unique=True))
def test_a_reversed_list_is_found_and_the_same_list_is_not(functions: list[str]) -> None:
    a = dict(zip(NAMES, functions, strict=True))
    assert reversal(a, a, None) is None
    found = reversal(a, dict(zip(NAMES, reversed(functions), strict=True)), None)
    assert found is not None
    assert found[1:] == (1.0, 0.0)


@given(st.permutations(range(8)))
def test_no_finding_unless_most_functions_agree(order: list[int]) -> None:
    a = {name: f"f{i}" for i, name in enumerate(NAMES)}
    found = reversal(a, {name: f"f{order[i]}" for i, name in enumerate(NAMES)}, grid("g8", 4, 2, Gender.PIN))
    if found is not None:
        assert found[1] >= 0.6
        assert found[1] > found[2]


def test_grounds_in_mirrored_places_prove_nothing() -> None:
    a = dict.fromkeys(NAMES, "ground")
    assert reversal(a, dict(reversed(a.items())), None) is None


def test_three_functions_prove_nothing() -> None:
    a = {"1": "a", "2": "b", "3": "c"}
    assert reversal(a, {"1": "c", "2": "b", "3": "a"}, None) is None
