"""A page with one of its forms filled in again: what was typed into a refused form goes back to where it was typed."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from html import escape, unescape
from html.parser import HTMLParser
from urllib.parse import unquote

_NO_TEXT = {"hidden", "submit", "button", "file", "password", "image", "reset"}


@dataclass(slots=True)
class _Control:
    """A field of a form; ``at`` is the place of its start tag among the pieces of the page, ``end`` that of its end."""

    tag: str
    attrs: dict[str, str | None]
    at: int
    end: int
    text: str = ""  # new content of a textarea
    options: list[tuple[int, dict[str, str | None]]] = field(default_factory=list)

    @property
    def name(self) -> str:
        return self.attrs.get("name") or ""

    @property
    def type(self) -> str:
        return (self.attrs.get("type") or "text").lower() if self.tag == "input" else self.tag


@dataclass(slots=True)
class _Form:
    attrs: dict[str, str | None]
    at: int
    inside: list[int]  # pieces of the <details> that the form stands in
    controls: list[_Control] = field(default_factory=list)
    buttons: dict[str, set[str]] = field(default_factory=dict)  # name -> values


@dataclass(frozen=True, slots=True)
class Refilled:
    """``unplaced`` is typed text that found no field, by field name; ``kept`` names the fields that nobody had touched
    and that now show what is stored."""

    pieces: tuple[str, ...]
    main: int
    unplaced: Mapping[str, tuple[str, ...]]
    kept: frozenset[str]

    def html(self, block: str) -> str:
        """The page, with a block of markup at the beginning of its content."""
        return "".join((*self.pieces[: self.main + 1], block, *self.pieces[self.main + 1 :]))


class _Page(HTMLParser):
    """The page in pieces that join to the page again, and its forms."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=False)
        self.pieces: list[str] = []
        self.forms: list[_Form] = []
        self.main = 0
        self.loose: list[tuple[str, _Control]] = []  # fields that name their form by its id
        self.loose_buttons: list[tuple[str, tuple[str, str]]] = []
        self.addressed: list[tuple[int, str, dict[str, str | None]]] = []  # links and forms that lead on from here
        self._form: _Form | None = None
        self._open: _Control | None = None
        self._details: list[int] = []
        self.feed(html)
        self.close()
        by_id = {f.attrs.get("id"): f for f in self.forms}
        for form, control in self.loose:
            if form in by_id:
                by_id[form].controls.append(control)
        for form, (name, value) in self.loose_buttons:
            if form in by_id:
                by_id[form].buttons.setdefault(name, set()).add(value)

    def _raw(self, text: str) -> None:
        self.pieces.append(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._raw(self.get_starttag_text() or "")
        at, values = len(self.pieces) - 1, dict(attrs)
        if tag == "main":
            self.main = at
        elif tag == "details":
            self._details.append(at)
        elif tag == "form":
            self._form = _Form(values, at, list(self._details))
            self.forms.append(self._form)
            if values.get("method", "get") == "get" and "action" not in values:
                self.addressed.append((at, "action", values))
        elif tag == "a" and (values.get("href") or "").startswith("?"):
            self.addressed.append((at, "href", values))
        elif tag in ("input", "select", "textarea"):
            control = _Control(tag, values, at, at)
            if tag != "input":
                self._open = control
            if form := values.get("form"):
                self.loose.append((form, control))
            elif self._form is not None:
                self._form.controls.append(control)
        elif tag == "button" and values.get("name"):
            button = (values["name"] or "", values.get("value") or "")
            if form := values.get("form"):
                self.loose_buttons.append((form, button))
            elif self._form is not None:
                self._form.buttons.setdefault(button[0], set()).add(button[1])
        elif tag == "option" and self._open is not None:
            self._open.options.append((at, values))

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)

    def handle_endtag(self, tag: str) -> None:
        self._raw(f"</{tag}>")
        if tag == "form":
            self._form = None
        elif tag == "details" and self._details:
            self._details.pop()
        elif tag in ("select", "textarea") and self._open is not None:
            self._open.end = len(self.pieces) - 1
            self._open = None

    def handle_data(self, data: str) -> None:
        self._raw(data)

    def handle_entityref(self, name: str) -> None:
        self._raw(f"&{name};")

    def handle_charref(self, name: str) -> None:
        self._raw(f"&#{name};")

    def handle_comment(self, data: str) -> None:
        self._raw(f"<!--{data}-->")

    def handle_decl(self, decl: str) -> None:
        self._raw(f"<!{decl}>")


def _tag(name: str, attrs: Mapping[str, str | None]) -> str:
    inner = "".join(f" {k}" if v is None else f' {k}="{escape(v)}"' for k, v in attrs.items())
    return f"<{name}{inner}>"


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
    page = _Page(html)
    form = _chosen(page.forms, action, typed)
    if form is None:
        return None
    left = {name: list(values) for name, values in typed.items() if name not in form.buttons}
    kept = set()
    filled = set()
    for control in form.controls:
        name = control.name
        if not name or control.type in _NO_TEXT:
            if control.type == "hidden":
                left.pop(name, None)
            continue
        if name in untouched:
            if _present(control) not in (*typed.get(name, ()), None):
                kept.add(name)
            left.pop(name, None)
        elif name in typed or control.type in ("checkbox", "radio"):
            _fill(page.pieces, control, left.get(name, []), typed.get(name, ()))
            filled.add(name)
    wrong = next((c for c in form.controls if problem[0] and c.name == problem[0] and c.type not in _NO_TEXT), None)
    if wrong is not None:
        wrong.attrs["aria-invalid"] = "true"
    for control in form.controls:
        page.pieces[control.at] = _tag(control.tag, control.attrs) + control.text
    if wrong is not None:
        page.pieces[wrong.end] += f'<small class="problem">{escape(problem[1])}</small>'
    for at in form.inside:
        page.pieces[at] = page.pieces[at].replace("<details", "<details open", 1)
    marked = dict(form.attrs) | {"data-touched": " ".join(sorted(filled))}
    page.pieces[form.at] = f'<span id="typed" class="again"></span>{_tag("form", marked)}'
    for at, attribute, attrs in page.addressed:
        if at != form.at:
            tag = "a" if attribute == "href" else "form"
            page.pieces[at] = _tag(tag, attrs | {attribute: here + (attrs.get(attribute) or "")})
    unplaced = {name: tuple(values) for name, values in left.items() if values and name != "version"}
    return Refilled(tuple(page.pieces), page.main, unplaced, frozenset(kept))


def _chosen(forms: list[_Form], action: str, typed: Mapping[str, tuple[str, ...]]) -> _Form | None:
    best: tuple[int, _Form] | None = None
    for form in forms:
        if (form.attrs.get("method") or "").lower() != "post" or unquote(form.attrs.get("action") or "") != unquote(
            action
        ):
            continue
        hidden = [c for c in form.controls if c.type == "hidden" and c.name not in ("version", "")]
        if any(c.name in typed and (c.attrs.get("value") or "") not in typed[c.name] for c in hidden):
            continue
        if any(name in typed and not values & {*typed[name]} for name, values in form.buttons.items()):
            continue
        shared = len({c.name for c in form.controls} & typed.keys())
        if best is None or shared > best[0]:
            best = shared, form
    return best[1] if best else None


def _present(control: _Control) -> str | None:
    """What a field of the page holds; None where that cannot be compared with what a browser sends."""
    if control.tag == "input":
        return None if control.type in ("checkbox", "radio") else control.attrs.get("value") or ""
    if control.tag == "select":
        chosen = [o for _, o in control.options if "selected" in o] or [o for _, o in control.options[:1]]
        return chosen[0].get("value") if chosen else None
    return None


def _fill(pieces: list[str], control: _Control, left: list[str], typed: tuple[str, ...]) -> None:
    """Puts typed values into a field and takes them off what is left to place."""
    if control.type in ("checkbox", "radio"):
        value = control.attrs.get("value") or "on"
        control.attrs.pop("checked", None)
        if value in typed:
            control.attrs["checked"] = None
        if value in left:
            left.remove(value)
    elif control.tag == "select":
        offered = [(at, option, _value(option, pieces, at)) for at, option in control.options]
        if not any(value in left for _, _, value in offered):
            return  # what was chosen is not offered any more: the page's own choice stays, and the typed one is named
        for at, option, value in offered:
            option.pop("selected", None)
            if value in left:
                left.remove(value)
                option["selected"] = None
            pieces[at] = _tag("option", option)
    elif left:
        value = left.pop(0)
        if control.tag == "textarea":
            for at in range(control.at + 1, control.end):
                pieces[at] = ""
            control.text = "\n" + escape(value)  # a browser drops the first line break
        else:
            control.attrs["value"] = value


def _value(option: Mapping[str, str | None], pieces: list[str], at: int) -> str:
    """What choosing an option sends: its value, or its text."""
    if "value" in option:
        return option["value"] or ""
    text = []
    for piece in pieces[at + 1 :]:
        if piece.startswith("<"):
            break
        text.append(piece)
    return unescape("".join(text)).strip()
