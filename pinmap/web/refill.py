"""A page with one of its forms filled in again: what was typed into a refused form goes back to where it was typed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from html import escape, unescape
from urllib.parse import unquote

from bs4 import BeautifulSoup, Tag

_PARSER = "html.parser"  # keeps the page's own nesting and white space
# What a form says of the state that it was made from; the page shown again has its own.
_MADE_FROM = {"version", "as_shown"}
_NO_TEXT = {"hidden", "submit", "button", "file", "password", "image", "reset"}
# Only the forms that are asked for are parsed: parsing a long page takes longer than making it. They are found by
# their tags, since on our pages all text is escaped and forms do not nest; the rest of the page stays as it is.
_FORM = re.compile(r"(<form\b[^>]*>).*?</form>", re.DOTALL)
_ASIDE = re.compile(
    r"""<input\b[^>]*?\sform="([^"]*)"[^>]*>|<(select|textarea|button)\b[^>]*?\sform="([^"]*)"[^>]*>.*?</\2>""",
    re.DOTALL,
)
_DETAILS = re.compile(r"<details\b([^>]*)>|</details>")
_OPEN = re.compile(r"\sopen\b")
_LEADS_ON = re.compile(r"""(<a\b[^>]*?\shref=")\?""")
_FORM_TAG = re.compile(r"<form\b([^>]*)>")
_MAIN = re.compile(r"<main\b[^>]*>")


@dataclass(frozen=True, slots=True)
class Refilled:
    """``unplaced`` is typed text that found no field, by field name; ``kept`` names the fields that nobody had touched
    and that now show what is stored."""

    page: str
    unplaced: Mapping[str, tuple[str, ...]]
    kept: frozenset[str]

    def html(self, block: str) -> str:
        """The page, with a block of markup at the beginning of its content."""
        main = _MAIN.search(self.page)
        at = main.end() if main else 0
        return self.page[:at] + block + self.page[at:]


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
    pieces = list(_pieces(html, action))
    page = BeautifulSoup("".join(f"<piece>{html[start:end]}</piece>" for start, end in pieces), _PARSER)
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
    unplaced = {name: tuple(values) for name, values in left.items() if values}
    return Refilled(_lead_on_from(here, _put_back(html, pieces, page, form)), unplaced, frozenset(kept))


def _pieces(html: str, action: str) -> Iterator[tuple[int, int]]:
    """Begin and end of the forms that post to an address, and of the fields that name one of these by its id."""
    ids = set()
    for found in _FORM.finditer(html):
        head = BeautifulSoup(found[1], _PARSER).find("form") if "post" in found[1].lower() else None
        if head is not None and unquote(_attribute(head, "action")) == unquote(action):
            ids.add(_attribute(head, "id"))
            yield found.span()
    if ids - {""}:
        for found in _ASIDE.finditer(html):
            if unescape(found[1] or found[3] or "") in ids:
                yield found.span()


def _put_back(html: str, pieces: list[tuple[int, int]], page: BeautifulSoup, form: Tag) -> str:
    """The page's text with the pieces of the form as they are now, and all that folds the form away unfolded."""
    mine = [id(tag.find_parent("piece")) for tag in (form, *_controls(page, form))]
    now = [
        (start, end, piece.decode_contents(), id(piece))
        for (start, end), piece in zip(pieces, page.find_all("piece"), strict=True)
        if id(piece) in mine
    ]
    begins = next(start for start, _, _, piece in now if piece == mine[0])
    changes = [(start, end, text) for start, end, text, _ in now]
    folds: list[re.Match[str]] = []
    for tag in _DETAILS.finditer(html, 0, begins):
        if tag[0] != "</details>":
            folds.append(tag)
        elif folds:
            folds.pop()
    changes += [(fold.end() - 1, fold.end() - 1, ' open=""') for fold in folds if not _OPEN.search(fold[1])]
    for start, end, text in sorted(changes, reverse=True):
        html = html[:start] + text + html[end:]
    return html


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


def _lead_on_from(here: str, html: str) -> str:
    """Links and forms that lead on from the page's own address name it: the refusal stands at another one."""
    to = escape(here)

    def named(form: re.Match[str]) -> str:
        asks = "action=" not in form[1] and 'method="post"' not in form[1]
        return f'<form action="{to}"{form[1]}>' if asks else form[0]

    return _FORM_TAG.sub(named, _LEADS_ON.sub(lambda link: f"{link[1]}{to}?", html))
