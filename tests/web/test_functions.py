"""The function dictionary."""

from __future__ import annotations

import pytest

from pinmap.services import dictionary
from tests.factories_web import Visitor

OWN = "/functions/own/WINCH"


def test_functions_are_found_by_any_of_their_names(bench: Visitor) -> None:
    assert bench.open("/functions?q=crank+position").page.find(id="CKP")
    assert "nothing matches" in bench.open("/functions?q=nosuchthing").text


def test_a_function_is_added_changed_and_taken_out(bench: Visitor) -> None:
    typed = {
        "code": "CRANE",
        "name": "Crane motor",
        "synonyms": "lift; hoist",
        "current_a": "80",
        "needs": ["critical"],
    }
    bench.open("/functions").sent("/functions", typed)
    entry, _ = dictionary.get_own(bench.shop, "CRANE")
    assert (entry.synonyms, entry.current_a, entry.critical, entry.twist) == (("lift", "hoist"), 80.0, True, False)
    bench.follow("Change").sent("/functions/own/CRANE", {"name": "Crane", "needs": ["twist"]})
    entry, version = dictionary.get_own(bench.shop, "CRANE")
    assert (entry.name, entry.critical, entry.twist, entry.current_a, version) == ("Crane", False, True, 80.0, 2)
    bench.open("/functions/own/CRANE").sent("/functions/own/CRANE", press="deed=delete")
    bench.open("/functions/own/CRANE", status=404)


@pytest.mark.parametrize(
    ("page", "typed", "remedy"),
    [
        ("/functions", {"code": "WINCH", "name": "Again"}, "you have added this one already"),
        ("/functions", {"code": "NEW", "name": "New", "current_a": "lots"}, "type a plain number"),
        ("/functions", {"code": "NEW", "name": "New", "peak_a": "-1"}, "from 0 to 10000"),
        ("/functions", {"code": "NEW", "name": "New", "states": "XYZ"}, "XYZ"),
        ("/functions", {"code": " ", "name": "New"}, "code"),
        (OWN, {"code": "WINCH2"}, "the code stays WINCH"),
        (OWN, {"name": " "}, "give the function a name"),
    ],
)
def test_a_bad_function_is_refused_and_stays_typed(
    bench: Visitor, page: str, typed: dict[str, str], remedy: str
) -> None:
    before = dictionary.own(bench.shop)
    bench.open(page).send(page, typed | {"source": "typed too"}).refused(remedy)
    again = bench.form(page).values()
    assert {k: again[k] for k in typed} == {k: [v] for k, v in typed.items()}
    assert again["source"] == ["typed too"]
    assert dictionary.own(bench.shop) == before
