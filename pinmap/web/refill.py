"""A page with one of its forms filled in again: what was typed into a refused form goes back to where it was typed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from urllib.parse import unquote

from bs4 import BeautifulSoup, Tag

_PARSER = "html.parser"  # keeps the page's own nesting and white space
# What a form says of the state that it was made from; the page shown again has its own.
_MADE_FROM = {"version", "as_shown"}
_NO_TEXT = {"hidden", "submit", "button", "file", "password", "image", "reset"}


@dataclass(frozen=True, slots=True)
class Refilled:
    """``unplaced`` is typed text that found no field, by field name; ``kept`` names the fields that nobody had touched
    and that now show what is stored."""

    page: BeautifulSoup
    unplaced: Mapping[str, tuple[str, ...]]
    kept: frozenset[str]

    def html(self, block: str) -> str:
        """The page, with a block of markup at the beginning of its content. For one use."""
        if block:
            (self.page.find("main") or self.page).insert(0, BeautifulSoup(block, _PARSER))
        return str(self.page)


def refill(
    html: str,
    action: str,
    typed: Mapping[str, tuple[str, ...]],
    *,
    here: str = "",
    untouched: Collection[str] = (),
    problem: tuple[str, str] = ("", ""),
) -> Refilled | None:
    """The page with the typed values in the form that posts to ``action``; None when it has no such form.

    Of several such forms it is the one that has the pressed button and whose hidden fields say the same.
    ``untouched`` names fields that the user left as they came, which keep what the page has. ``problem`` is a field
    and what is wrong with it, shown beside the field. ``here`` is the page's own address, for the links on it that
    lead on from there.
    """
    page = BeautifulSoup(html, _PARSER)
    form = _chosen(page, action, typed)
    if form is None:
        return None
    pressed = _buttons(page, form)
    left = {name: list(values) for name, values in typed.items() if name not in {*pressed, *_MADE_FROM}}
    kept, filled = set(), set()
    for control in _controls(page, form):
        name = _attribute(control, "name")
        if _kind(control) in _NO_TEXT:
            if _kind(control) == "hidden":
                left.pop(name, None)
        elif name in untouched:
            if _present(control) not in (*typed.get(name, ()), None):
                kept.add(name)
            left.pop(name, None)
        elif name in typed or _kind(control) in ("checkbox", "radio"):
            _fill(control, left.get(name, []), typed.get(name, ()))
            filled.add(name)
    _mark(page, form, problem)
    form["data-touched"] = " ".join(sorted(filled))
    form.insert_before(page.new_tag("span", attrs={"id": "typed", "class": "again"}))
    for around in form.find_parents("details"):
        around["open"] = ""
    _lead_on_from(here, page)
    return Refilled(page, {name: tuple(values) for name, values in left.items() if values}, frozenset(kept))


def _chosen(page: BeautifulSoup, action: str, typed: Mapping[str, tuple[str, ...]]) -> Tag | None:
    best: tuple[int, Tag] | None = None
    for form in page.find_all("form"):
        if _attribute(form, "method").lower() != "post" or unquote(_attribute(form, "action")) != unquote(action):
            continue
        controls = list(_controls(page, form))
        names = {_attribute(c, "name") for c in controls}
        hidden = [c for c in controls if _kind(c) == "hidden" and _attribute(c, "name") in typed.keys() - _MADE_FROM]
        if any(_attribute(c, "value") not in typed[_attribute(c, "name")] for c in hidden):
            continue
        if any(name in typed and not values & {*typed[name]} for name, values in _buttons(page, form).items()):
            continue
        shared = len(names & typed.keys())
        if best is None or shared > best[0]:
            best = shared, form
    return best[1] if best else None


def _belonging(page: BeautifulSoup, form: Tag, names: Iterable[str]) -> list[Tag]:
    """The form's named fields or buttons: those inside of it, and those elsewhere that name it by its id."""
    inside = [tag for tag in form.find_all(names) if not tag.get("form")]
    outside = page.find_all(names, form=_attribute(form, "id")) if form.get("id") else []
    return [tag for tag in (*inside, *outside) if tag.get("name")]


def _controls(page: BeautifulSoup, form: Tag) -> list[Tag]:
    return _belonging(page, form, ("input", "select", "textarea"))


def _buttons(page: BeautifulSoup, form: Tag) -> dict[str, set[str]]:
    """What pressing its buttons sends, by their names."""
    found: dict[str, set[str]] = {}
    for button in _belonging(page, form, ("button",)):
        found.setdefault(_attribute(button, "name"), set()).add(_attribute(button, "value"))
    return found


def _attribute(tag: Tag, name: str) -> str:
    value = tag.get(name)
    return value if isinstance(value, str) else ""


def _kind(control: Tag) -> str:
    return (_attribute(control, "type") or "text").lower() if control.name == "input" else control.name


def _value(option: Tag) -> str:
    """What choosing an option sends: its value, or its text."""
    return _attribute(option, "value") if option.has_attr("value") else option.get_text().strip()


def _present(control: Tag) -> str | None:
    """What a field of the page holds; None where that cannot be compared with what a browser sends."""
    if control.name == "input":
        return None if _kind(control) in ("checkbox", "radio") else _attribute(control, "value")
    if control.name == "select":
        chosen = control.find("option", selected=True) or control.find("option")
        return _value(chosen) if chosen else None
    return None


def _fill(control: Tag, left: list[str], typed: tuple[str, ...]) -> None:
    """Puts typed values into a field and takes them off what is left to place."""
    if _kind(control) in ("checkbox", "radio"):
        value = _attribute(control, "value") or "on"
        _switch(control, "checked", on=value in typed)
        if value in left:
            left.remove(value)
    elif control.name == "select":
        options = control.find_all("option")
        if not any(_value(option) in left for option in options):
            return  # what was chosen is not offered any more: the page's own choice stays, and the typed one is named
        for option in options:
            _switch(option, "selected", on=_value(option) in left)
            if _value(option) in left:
                left.remove(_value(option))
    elif left and control.name == "textarea":
        control.string = "\n" + left.pop(0)  # a browser drops the first line break
    elif left:
        control["value"] = left.pop(0)


def _switch(tag: Tag, name: str, *, on: bool) -> None:
    if on:
        tag[name] = ""
    else:
        del tag[name]


def _mark(page: BeautifulSoup, form: Tag, problem: tuple[str, str]) -> None:
    """Says beside the field what is wrong with it."""
    field, remedy = problem
    for control in _controls(page, form):
        if field and _attribute(control, "name") == field and _kind(control) not in _NO_TEXT:
            control["aria-invalid"] = "true"
            said = page.new_tag("small", attrs={"class": "problem"})
            said.string = remedy
            control.insert_after(said)
            return


def _lead_on_from(here: str, page: BeautifulSoup) -> None:
    """Links and forms that lead on from the page's own address name it: the refusal stands at another one."""
    for link in page.select('a[href^="?"]'):
        link["href"] = here + _attribute(link, "href")
    for form in page.select("form:not([action])"):
        if _attribute(form, "method").lower() in ("", "get"):
            form["action"] = here
