"""What holds for every page, whoever added it."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from urllib.parse import urljoin, urlsplit

from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from pinmap.resources import resource_dir
from pinmap.web.render import environment

_DOWNLOADS = ("/files/", "/job.json", "/export.", "/schema/")


def _kind(path: str) -> str:
    """Pages that differ only in names, so that a crawl looks at a few of each."""
    return re.sub(r"/(signals|platforms|tables|shelf|connectors|jobs|imports)/[^/?]+", r"/\1/*", path)


def test_every_link_answers_and_every_page_is_well_made(client: TestClient) -> None:
    """Follows links from the start page, a few of each kind; reads must not change anything or fail."""
    queue, seen, kinds = ["/"], set(), Counter[str]()
    while queue:
        address = queue.pop(0)
        kind = _kind(urlsplit(address).path)
        if address in seen or kinds[kind] >= 4:
            continue
        seen.add(address)
        kinds[kind] += 1
        answer = client.get(address)
        assert answer.status_code == 200, f"{address}: {answer.status_code} {answer.text[:500]}"
        if any(part in address for part in _DOWNLOADS):
            continue
        soup = BeautifulSoup(answer.text, "html.parser")
        title = soup.title.get_text() if soup.title else ""
        assert re.fullmatch(r"\S.* · Pinmap", title), f"{address}: title {title!r}"
        assert len(soup.find_all("h1")) == 1, f"{address} has {len(soup.find_all('h1'))} headings of the first level"
        ids = [tag["id"] for tag in soup.find_all(id=True)]
        assert not [i for i, n in Counter(ids).items() if n > 1], f"{address}: an id stands twice"
        for form in soup.find_all("form"):
            assert form.get("method", "").lower() in {"get", "post"}, f"{address}: a form without a method"
            if form["method"] == "post":
                assert form.get("action", "").startswith("/"), f"{address}: a form without an action"
        for field in soup.find_all(["input", "select", "textarea"]):
            if field.get("type") in {"hidden", "submit"}:
                continue
            assert field.find_parent("label") or field.get("aria-label"), f"{address}: {field} has no label"
        for tag in soup.find_all(True):
            assert not [a for a in tag.attrs if a.startswith("on") or a == "style"], (
                f"{address}: inline script or style"
            )
        for link in soup.find_all("a", href=True):
            target = urlsplit(urljoin(address, link["href"]))
            assert not target.netloc or target.netloc == "testserver", f"{address} links elsewhere: {link['href']}"
            queue.append(target.path + (f"?{target.query}" if target.query else ""))
    assert len(seen) > 40
    assert kinds["/jobs/*/build"] >= 1
    assert kinds["/platforms/*"] >= 1


def test_every_template_compiles() -> None:
    folder = resource_dir("templates")
    for path in folder.rglob("*.html"):
        environment().get_template(str(path.relative_to(folder)))


def test_every_template_is_used() -> None:
    folder = resource_dir("templates")
    code = "\n".join(p.read_text() for p in Path(resource_dir("templates")).rglob("*.html"))
    code += "\n".join(p.read_text() for p in (folder.parent / "pinmap" / "web").rglob("*.py"))
    unused = [
        name
        for path in folder.rglob("*.html")
        if (name := str(path.relative_to(folder))) not in code
        and not re.fullmatch(r"guide/[a-z-]+\.html", name)  # named by their key
    ]
    assert not unused
