"""A link from the reader's side, and what the shop sees of it."""

from __future__ import annotations

import io
import re

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from PIL import Image

from pinmap.demo import finished_snapshot
from tests.factories_people import OWNER

HOME = f"/jobs/{finished_snapshot().job.key}"


def soup(text: str) -> BeautifulSoup:
    return BeautifulSoup(text, "html.parser")


@pytest.fixture
def released(client: TestClient) -> TestClient:
    _release(client)
    return client


def _release(client: TestClient) -> None:
    version = soup(client.get(f"{HOME}/handover").text).find("input", {"name": "version"})
    assert version is not None
    assert client.post(f"{HOME}/handover/release", data={"version": version["value"]}).status_code == 200


def make_link(client: TestClient, **values: object) -> str:
    typed = {
        "revision": "A", "variant": "", "label": "Customer", "days": "7",
        "includes": ["table", "faces", "diagram", "files"], **values,
    }  # fmt: skip
    page = client.post(f"{HOME}/handover/share", data=typed)
    assert page.status_code == 200, page.text[:500]
    found = soup(page.text).find("a", href=re.compile(r"/s/[\w-]{43}$"))
    assert found is not None
    return re.sub(r"^https?://[^/]+", "", str(found["href"]))


def reader(client: TestClient) -> TestClient:
    """Another browser, in which nobody is signed in."""
    return TestClient(client.app, follow_redirects=True)


def test_the_reader_sees_what_was_chosen_and_nothing_of_the_shop(released: TestClient) -> None:
    link = make_link(released)
    customer = reader(released)
    answer = customer.get(link)
    assert answer.status_code == 200
    assert "noindex" in answer.headers["x-robots-tag"]
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"
    assert "set-cookie" not in answer.headers
    page = soup(answer.text)
    assert len(page.find(id="rows").find_all("tr")) > 100
    assert page.find(id="faces").find("svg")
    assert page.find(id="maps").find("svg")
    assert "restraint wiring" in page.text
    for target in [a["href"] for a in page.find_all("a", href=True)]:
        assert target.startswith(("#", link)), f"the page leads to {target}"
    for form in page.find_all("form"):
        assert form["action"].startswith(link)
    names = [a.text for a in page.find(id="files").find_all("a")]
    assert names == ["pin-table.csv", "pin-table.xlsx", "connector-faces.zip", "wiring-maps.zip"]
    for name in names:
        file = customer.get(f"{link}/files/{name}")
        assert file.status_code == 200
        assert "attachment" in file.headers["content-disposition"]
        assert "noindex" in file.headers["x-robots-tag"]
    assert customer.get(f"{link}/files/build-table.pdf").status_code == 404
    assert customer.get(HOME, follow_redirects=False).status_code == 303
    only = soup(customer.get(make_link(released, includes=["table"])).text)
    assert not only.find(id="faces")
    assert not only.find(id="maps")
    assert not only.find(id="files")
    assert (
        released.post(f"{HOME}/handover/share", data={"revision": "A", "variant": "", "label": "x"}).status_code == 422
    )


def test_wrong_revoked_and_the_shops_own_words_are_one_answer(released: TestClient) -> None:
    link = make_link(released)
    customer = reader(released)
    assert customer.get(link).status_code == 200
    form = soup(released.get(f"{HOME}/handover").text).find("form", action=f"{HOME}/handover/revoke")
    assert form is not None
    number = form.find("input", {"name": "link"})["value"]
    assert released.post(f"{HOME}/handover/revoke", data={"link": number}).status_code == 200
    gone, wrong = customer.get(link), customer.get("/s/" + "x" * 43)
    assert (gone.status_code, gone.text, dict(gone.headers)) == (wrong.status_code, wrong.text, dict(wrong.headers))
    assert gone.status_code == 404
    for path, data in (("", {"passphrase": "x"}), ("/ask", {"text": "x"})):
        answers = [customer.post(f"{home}{path}", data=data) for home in (link, "/s/" + "x" * 43)]
        assert [a.status_code for a in answers] == [404, 404]
        assert answers[0].text == answers[1].text


def test_a_passphrase_is_asked_for_once(released: TestClient) -> None:
    link = make_link(released, passphrase="correct horse")
    customer = reader(released)
    asked = customer.get(link)
    assert asked.status_code == 403
    assert "Quern" not in asked.text, "nothing of the job is told before"
    assert customer.get(f"{link}/files/pin-table.csv").status_code == 403
    wrong = customer.post(link, data={"passphrase": "wrong horse"})
    assert wrong.status_code == 403
    assert "not the passphrase" in wrong.text
    opened = customer.post(link, data={"passphrase": "correct horse"}, follow_redirects=False)
    assert opened.status_code == 303
    cookie = opened.headers["set-cookie"]
    assert f"Path={link}" in cookie
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert "correct" not in cookie
    assert customer.get(link).status_code == 200
    assert customer.get(f"{link}/files/pin-table.csv").status_code == 200
    assert reader(released).get(link).status_code == 403
    tried = [reader(released).post(link, data={"passphrase": "wrong horse"}).status_code for _ in range(9)]
    assert set(tried[:5]) == {403}
    assert 429 in tried


def test_a_question_goes_to_the_shop_and_its_answer_back(released: TestClient) -> None:
    link = make_link(released)
    customer = reader(released)
    row = soup(customer.get(link).text).find(id="rows").find("tr")
    chosen = soup(customer.get(str(row.find("a")["href"])).text)
    pin = chosen.find("input", {"name": "pin"})["value"]
    assert pin == row.find("th").text
    sent = customer.post(f"{link}/ask", data={"pin": pin, "name": "D. Driver", "text": "Why <i>red</i>?"})
    assert "has reached the shop" in sent.text
    assert "1 new question" in released.get(HOME).text
    desk = released.get(f"{HOME}/handover").text
    assert "Why &lt;i&gt;red&lt;/i&gt;?" in desk
    number = soup(desk).find("input", {"name": "question"})["value"]
    answered = released.post(
        f"{HOME}/handover/answer", data={"version": "1", "question": number, "answer": "By the book <b>"}
    )
    assert "The reader of the link sees the answer" in answered.text
    assert OWNER in soup(answered.text).find(id="questions").text
    assert "new question" not in released.get(HOME).text
    assert "By the book &lt;b&gt;" in customer.get(link).text
    too_long = customer.post(f"{link}/ask", data={"text": "x" * 1001})
    assert too_long.status_code == 422
    assert (
        customer.post(f"{HOME}/handover/answer", data={"version": "2", "question": number, "answer": "x"}).status_code
        == 401
    )
    assert 429 in [customer.post(f"{link}/ask", data={"text": "again"}).status_code for _ in range(9)]


def test_the_reader_of_an_old_link_is_told_of_a_newer_revision(released: TestClient) -> None:
    link = make_link(released)
    customer = reader(released)
    assert "A newer revision" not in customer.get(link).text
    _release(released)
    assert "A newer revision, B, has been released" in customer.get(link).text
    views = soup(released.get(f"{HOME}/handover").text).find_all("td", class_="num")[-1].text
    assert views == "2"


def test_the_card_stands_on_the_link(released: TestClient) -> None:
    link = make_link(released)
    card = {"version": "1", "name": "Quay <Looms>", "line": "", "contact": "Quay 3\nask"}
    assert "Saved" in released.post("/shop", data=card).text
    late = released.post("/shop", data=card)
    assert late.status_code == 409
    assert "Quay" in late.text, "what was typed is not lost"
    out = io.BytesIO()
    Image.new("RGB", (60, 20), "red").save(out, "PNG")
    mark = {"mark": ("m.png", out.getvalue(), "image/png")}
    assert released.post("/shop/mark", files=mark).status_code == 200
    page = reader(released).get(link).text
    assert "Quay &lt;Looms&gt;" in page
    assert soup(page).find("img")["src"].startswith("data:image/png;base64,")
    svg = {"mark": ("m.png", b"<svg xmlns='http://www.w3.org/2000/svg' onload='x()'/>", "image/png")}
    refused = released.post("/shop/mark", files=svg)
    assert refused.status_code == 422
    assert "SVG can hold scripts" in refused.text
    assert released.post("/shop/mark", files={"mark": ("", b"")}).status_code == 422
    assert "off the card" in released.post("/shop/mark/remove").text
    assert "<img" not in reader(released).get(link).text
