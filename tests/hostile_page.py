"""What a browser would make of a page: whether anything on it is live, and what can be read on it.

The same tags come again and again while a corpus is sent, so each is judged once."""

from __future__ import annotations

import re
from functools import cached_property, lru_cache
from html import unescape

_DEAD = {"iframe", "object", "embed", "base", "style", "video", "audio", "math", "frame", "applet"}
_ADDRESSES = ("href", "src", "action", "formaction", "xlink:href", "hx-get", "hx-post", "poster", "data")
# Wherever it stands, in a comment, a text area or a drawing: on our pages no text may look like a tag.
_TAG = re.compile(r"""<([a-z][^\s/>]*)((?:[^"'<>]|"[^"<]*"|'[^'<]*')*)>""", re.IGNORECASE)
_TAG_BEGINS = re.compile("<[a-z]", re.IGNORECASE)
_ATTRIBUTE = re.compile(r"""([^\s"'>/=]+)(?:\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s"'>]+)))?""")
_AREA = re.compile(r"<textarea\b[^>]*>(.*?)</textarea>", re.DOTALL)
_ANY = re.compile("<[^>]*>")


class Seen:
    """A page that came."""

    def __init__(self, page: str) -> None:
        self.page = page

    @cached_property
    def faults(self) -> list[str]:
        """Live markup."""
        tags = list(_TAG.finditer(self.page))
        found = [fault for tag in tags for fault in _faults(tag[1].lower(), tag[2])]
        if len(tags) != len(_TAG_BEGINS.findall(self.page)):
            found.append("a tag without an end")
        return found

    @cached_property
    def read(self) -> str:
        """The words of the page."""
        return " ".join(unescape(_ANY.sub("", self.page)).split())

    def holds(self, text: str) -> bool:
        """Whether a text is on the page for its writer, in a field or to be read, white space aside."""
        plain = " ".join(text.split())
        held = [_attributes(tag[2]).get("value", "") for tag in _TAG.finditer(self.page) if tag[1] == "input"]
        held += [unescape(area) for area in _AREA.findall(self.page)]
        return any(plain == " ".join(value.split()) for value in held) or plain in self.read


@lru_cache(maxsize=20_000)
def _faults(name: str, inside: str) -> tuple[str, ...]:
    given = _attributes(inside)
    live = [attribute for attribute in given if attribute.startswith("on") or attribute in ("style", "srcdoc")]
    outward = [
        f"{attribute}={given[attribute][:80]}"
        for attribute in _ADDRESSES
        if not _ours(given.get(attribute, "")) and not given[attribute].startswith("data:image/png;base64,")
    ]
    script = name == "script" and not given.get("src", "").startswith("/static/")
    if live or outward or script or name in _DEAD or (name == "meta" and "http-equiv" in given):
        return (f"<{name} {' '.join(live + outward)}>",)
    return ()


def _attributes(inside: str) -> dict[str, str]:
    return {a[1].lower(): unescape(a[2] or a[3] or a[4] or "") for a in _ATTRIBUTE.finditer(inside)}


def _ours(address: str) -> bool:
    """Whether an address stays in the app; a link made for a customer is shown in full."""
    address = address.removeprefix("http://testserver")
    return address == "" or (address[0] in "/?#" and not address.startswith(("//", "/\\")))
