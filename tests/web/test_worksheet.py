"""The worksheet's page: every answer with its source, bad input kept and named."""

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient


def text(page: str) -> str:
    return " ".join(BeautifulSoup(page, "html.parser").get_text(" ").split())


def test_it_answers_without_a_question(empty_client: TestClient) -> None:
    found = empty_client.get("/worksheet")
    assert found.status_code == 200
    words = text(found.text)
    assert "drop decides" in words
    for name in ("Heat model", "ISO 10133", "ABYC E-11", "33 CFR 183", "AC 43.13-1B"):
        assert name in words


def test_the_bilge_pump_in_feet(empty_client: TestClient) -> None:
    """10 A, 21 ft, 12 V, 3 %: 10 AWG by ABYC E-11 (chandlers' worked example)."""
    found = empty_client.get("/worksheet", params={"current": "10", "loop": "21", "unit": "ft", "place": "boat"})
    row = next(r for r in BeautifulSoup(found.text, "html.parser").select("table.cards tbody tr") if "ABYC" in r.text)
    assert "10 AWG" in row.text
    assert "6271 circular mils" in text(found.text)


@pytest.mark.parametrize(
    ("typed", "remedy"),
    [
        ({"current": "ten"}, "type a plain number"),
        ({"loop": "0"}, "give a number above 0"),
        ({"current": "1e9"}, "up to 2000"),
        ({"bundle": "2.5"}, "whole number"),
        ({"place": "moon"}, "choose a place"),
        ({"on": "10", "every": "5"}, "or later"),
        ({"insulation": "rubber"}, "has no row"),
        ({"covering": "<b>"}, "has no row"),
        ({"sizes": "sae:aluminium"}, "list of aluminium sizes"),
        ({"sizes": "nothing"}, "has no row"),
        ({"drop": "nan"}, "finite"),
    ],
)
def test_bad_input_is_named_and_kept(empty_client: TestClient, typed: dict[str, str], remedy: str) -> None:
    found = empty_client.get("/worksheet", params=typed)
    assert found.status_code == 422
    assert remedy in text(found.text)
    soup = BeautifulSoup(found.text, "html.parser")
    for name, value in typed.items():
        kept = soup.select_one(f'input[name="{name}"]')
        assert kept is None or kept["value"] == value


def test_a_standard_that_has_no_answer_says_why(empty_client: TestClient) -> None:
    words = text(empty_client.get("/worksheet", params={"place": "bay"}).text)
    assert "table ends at 50 °C; use the model" in words


def test_metric_awg_aluminium_and_pulses(empty_client: TestClient) -> None:
    assert "AWG copper" in text(empty_client.get("/worksheet", params={"sizes": "awg-copper:copper"}).text)
    words = text(empty_client.get("/worksheet", params={"sizes": "stock:aluminium", "on": "2", "every": "60"}).text)
    assert "this table is for copper" in words
    assert "time constant" in words
