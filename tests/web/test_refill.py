"""A refused form is filled in again where it stood; nothing else of the page changes."""

from __future__ import annotations

from bs4 import BeautifulSoup
from hypothesis import given, settings
from hypothesis import strategies as st

from pinmap.web.refill import Refilled, refill

PAGE = """<!doctype html><main id="main"><p>1 &lt; 2 &amp; 3 &#9; <br/></p><!-- left as it is -->
<form method="get"><input name="q" value="x"></form><a href="?show=all">all</a>
<details><summary>more</summary><form method="post" action="/a" class="row">
<input type="hidden" name="version" value="7"><input type="hidden" name="row" value="2">
<input name="text" value="old">
<input type="checkbox" name="tick" value="1" checked><input type="checkbox" name="tick" value="2">
<select name="kind"><option value="f">fuse</option><option selected>relay &amp; more</option></select>
<textarea name="note">was</textarea><textarea name="none"></textarea><input type="password" name="secret">
<button name="deed" value="save">Save</button></form></details>
<form method="post" action="/a"><input type="hidden" name="row" value="3"><input name="text" value="other"></form>
<table><tr><th><form method="post" id="f1" action="/b"></form></th>
<td><input form="f1" name="name" value="n"></td></tr></table>
</main>"""


def _page(found: Refilled | None) -> BeautifulSoup:
    assert found is not None
    return BeautifulSoup(found.html(""), "html.parser")


def test_every_sort_of_field_is_filled() -> None:
    values = {"version": "5", "row": "2", "text": '<"new"> & more', "tick": "2", "kind": "f", "note": "\nline"}
    typed = {name: (value,) for name, value in (values | {"none": "some", "deed": "save"}).items()}
    found = refill(PAGE, "/a", typed, here="/page", problem=("text", "say <why>"))
    page = _page(found)
    form = page.select("form[action='/a']")[0]
    assert form.select_one("[name=text]")["value"] == '<"new"> & more'
    assert form.select_one("[name=text]")["aria-invalid"] == "true"
    assert form.select_one(".problem").get_text() == "say <why>"
    assert [t.has_attr("checked") for t in form.select("[name=tick]")] == [False, True]
    assert [o.has_attr("selected") for o in form.select("option")] == [True, False]
    assert [t.get_text() for t in form.select("textarea")] == ["\n\nline", "\nsome"]
    assert form.select_one("[name=version]")["value"] == "7", "the version is that of the page"
    assert form.find_parent("details").has_attr("open")
    assert page.select("form[action='/a']")[1].select_one("[name=text]")["value"] == "other"
    assert page.select_one("form[method=get]")["action"] == "/page"
    assert page.select_one("a")["href"] == "/page?show=all"
    assert found is not None
    assert not found.unplaced


def test_the_rest_of_the_page_stays_as_it_is() -> None:
    found = refill(PAGE, "/a", {"row": ("2",), "text": ("typed",)})
    assert found is not None
    before, after = PAGE.partition('<form method="get"')[0], PAGE.partition("</form></details>")[2]
    assert found.html("<p>why</p>").startswith(before.replace('<main id="main">', '<main id="main"><p>why</p>'))
    assert found.html("").endswith(after)
    assert found.html("").count("<details") == 1


def test_of_several_forms_it_is_the_one_whose_hidden_fields_say_the_same() -> None:
    page = _page(refill(PAGE, "/a", {"row": ("3",), "text": ("typed",)}))
    assert [t["value"] for t in page.select("form[action='/a'] [name=text]")] == ["old", "typed"]
    assert refill(PAGE, "/a", {"row": ("9",), "text": ("typed",)}) is None


def test_a_field_outside_of_its_form() -> None:
    assert _page(refill(PAGE, "/b", {"name": ("typed",)})).select_one("[name=name]")["value"] == "typed"


def test_what_finds_no_place_is_named() -> None:
    found = refill(PAGE, "/a", {"row": ("2",), "kind": ("diode",), "tick": ("2", "3"), "gone": ("x",)})
    assert found is not None
    assert found.unplaced == {"kind": ("diode",), "tick": ("3",), "gone": ("x",)}


def test_untouched_fields_keep_what_the_page_has() -> None:
    typed = {"row": ("2",), "text": ("as it came",), "note": ("typed",)}
    found = refill(PAGE, "/a", typed, untouched=("text", "tick"))
    page = _page(found)
    assert page.select_one("[name=text]")["value"] == "old"
    assert page.select_one("[name=tick]").has_attr("checked")
    assert found is not None
    assert found.kept == {"text"}
    assert page.select_one("form[action='/a']")["data-touched"] == "note"


def test_no_form_no_page() -> None:
    assert refill("", "/a", {"text": ("x",)}) is None
    assert refill(PAGE, "/elsewhere", {"text": ("x",)}) is None


@settings(max_examples=40)
@given(st.text(max_size=40), st.text(max_size=40))
def test_any_text_comes_back_as_it_was_typed(text: str, note: str) -> None:
    """And as text only: no tag is added to the page by what was typed."""
    clean = {"text": text.replace("\r", ""), "note": note.replace("\r", "")}
    found = refill(PAGE, "/a", {"row": ("2",)} | {k: (v,) for k, v in clean.items()})
    page = _page(found)
    assert (
        len(page.find_all(True)) == len(BeautifulSoup(PAGE, "html.parser").find_all(True)) + 1
    )  # the place to jump to
    form = page.select("form[action='/a']")[0]
    surrogates = any("\ud800" <= c <= "\udfff" for c in text + note) or "\x00" in text + note
    if not surrogates:
        assert form.select_one("[name=text]")["value"] == clean["text"]
        assert form.select_one("[name=note]").get_text().removeprefix("\n") == clean["note"]
