"""Errors are pages that say what to do, with the right status, and that show again what was typed."""

from __future__ import annotations

from bs4 import BeautifulSoup
from fastapi.testclient import TestClient


def test_nothing_there(client: TestClient) -> None:
    for address in ("/nowhere", "/jobs/nowhere", "/platforms/nowhere", "/guide/nowhere", "/shelf/nowhere"):
        answer = client.get(address)
        assert answer.status_code == 404, address
        assert "<h1>" in answer.text


def test_errors_as_json_where_asked(client: TestClient) -> None:
    answer = client.get("/jobs/nowhere", headers={"accept": "application/json"})
    assert answer.status_code == 404
    assert "nowhere" in answer.json()["error"]


def test_an_incomplete_form_names_the_field(client: TestClient) -> None:
    answer = client.post("/platforms/new", data={})
    assert answer.status_code == 422
    assert "name" in answer.text


def _shown(page: str) -> dict[str, str]:
    """What a page says was typed, by field."""
    section = BeautifulSoup(page, "html.parser").find(id="typed")
    if section is None:
        return {}
    # A browser drops the first line break of a textarea.
    words = [dd.textarea.get_text().removeprefix("\n") if dd.textarea else dd.get_text() for dd in section("dd")]
    return dict(zip([dt.get_text() for dt in section("dt")], words, strict=True))


def test_a_refused_form_shows_what_was_typed(client: TestClient) -> None:
    note = "\nfirst line\n" + "long & <b>bold</b> " * 500
    answer = client.post("/platforms/new", data={"name": "Brindle <7>", "role": "ship", "note": note})
    assert answer.status_code == 422
    assert _shown(answer.text) == {"Name": "Brindle <7>", "Role": "ship", "Note": note}


def test_several_ticks_are_all_shown(client: TestClient) -> None:
    answer = client.post("/jobs/brindle/decide/settle", data={"version": "1", "deed": "dance", "pin": ["p/a", "p/b"]})
    assert answer.status_code == 422
    assert _shown(answer.text)["Pin"] == "p/a, p/b"


def test_a_passphrase_is_not_shown_again(client: TestClient) -> None:
    data = {"revision": "Z", "variant": "", "label": "Ann", "days": "x", "passphrase": "open sesame"}
    answer = client.post("/jobs/nowhere/handover/share", data=data)
    assert answer.status_code == 422
    assert _shown(answer.text)["For whom"] == "Ann"
    assert "sesame" not in answer.text


def test_the_way_back_leads_only_to_our_own_pages(client: TestClient) -> None:
    def way(referer: str) -> str:
        page = client.post("/platforms/new", data={}, headers={"referer": referer}).text
        main = BeautifulSoup(page, "html.parser").main
        assert main is not None
        return str(main("a")[0]["href"])

    assert way("http://testserver/platforms/new?x=1") == "/platforms/new?x=1"
    assert way("http://evil.example/platforms/new") == "/"
    assert way("http://testserver//evil.example/") == "/"
