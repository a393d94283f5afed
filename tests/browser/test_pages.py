"""Every screen in a real browser: nothing wider than a phone, no accessibility fault, no script that is refused."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import parse_qs, urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

if TYPE_CHECKING:
    from tests.browser.conftest import Watched

pytestmark = pytest.mark.browser

JOB = "/jobs/q24-brindle"
SCREENS = [
    "/",
    "/jobs/new",
    "/platforms",
    "/platforms/new",
    "/platforms/brindle-6",
    "/platforms/brindle-6/import",
    "/functions",
    "/shelf",
    "/shelf/iso-1724",
    "/shelf/cross?a=iso-1724&b=iso-11446",
    "/guide",
    "/guide/howto",
    "/guide/method",
    "/guide/rules",
    "/guide/sources",
    "/guide/words",
    "/guide/people",
    "/people",
    "/shop",
    "/shop/keeping?look=now",
    "/me",
    "/guide/agreement",
    "/worksheet",
    "/gallery",
    JOB,
    f"{JOB}/gather",
    f"{JOB}/decide",
    f"{JOB}/decide/signals",
    f"{JOB}/decide/ledger",
    f"{JOB}/decide/devices",
    f"{JOB}/layout",
    f"{JOB}/layout/board?node=J4",
    f"{JOB}/layout/board?run=J2-PB",
    f"{JOB}/layout/list",
    f"{JOB}/layout/looms",
    f"{JOB}/check",
    f"{JOB}/check/wires",
    f"{JOB}/check/loads",
    f"{JOB}/check/protection",
    f"{JOB}/check/sizing",
    f"{JOB}/build",
    f"{JOB}/build/faces",
    f"{JOB}/build/plan",
    f"{JOB}/build/plan?by=temperature&segment=JE-J2",
    f"{JOB}/build/map",
    f"{JOB}/build/cut",
    f"{JOB}/build/splices",
    f"{JOB}/build/parts",
    f"{JOB}/prove",
    f"{JOB}/bench",
    f"{JOB}/bench?stage=ends&show=all",
    f"{JOB}/bench?stage=continuity",
    f"{JOB}/bench?stage=isolation",
    f"{JOB}/trace?q=crank",
    f"{JOB}/handover",
    f"{JOB}/compare",
    "/audit",
    "/shop",
    f"{JOB}/settings",
]


def overflow(page: Page) -> list[str]:
    """Elements that stick out of the page and do not scroll inside a box of their own."""
    found = page.evaluate(
        """() => {
          const wide = document.documentElement.clientWidth + 1, out = [];
          for (const e of document.querySelectorAll('main *, header *, footer *')) {
            if (e.closest('svg') && e.tagName !== 'svg') continue;
            const box = e.getBoundingClientRect();
            if (!box.width || box.right <= wide) continue;
            let up = e.parentElement, inside = false;
            for (; up && up !== document.body; up = up.parentElement)
              if (['auto', 'scroll', 'hidden'].includes(getComputedStyle(up).overflowX)) { inside = true; break; }
            if (!inside) out.push(e.tagName + '.' + e.className + ' ' + Math.round(box.right));
          }
          return out.slice(0, 5);
        }"""
    )
    return [str(item) for item in found]


@pytest.mark.parametrize("address", SCREENS)
def test_screen_on_a_phone(demo_site: str, phone: Watched, address: str) -> None:
    answer = phone.page.goto(demo_site + address)
    assert answer is not None
    assert answer.status == 200
    assert not overflow(phone.page)


@pytest.mark.parametrize("address", SCREENS)
def test_screen_has_no_accessibility_fault(demo_site: str, watched: Watched, address: str) -> None:
    watched.page.goto(demo_site + address)
    options = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]}
    result = Axe().run(watched.page, options=options)
    assert not result.response["violations"], result.generate_report()


def test_a_narrowed_table_counts_its_rows(demo_site: str, watched: Watched) -> None:
    page = watched.page
    page.goto(f"{demo_site}{JOB}/build")
    rows = page.locator("#rows tr")
    before = rows.count()
    page.get_by_label("Narrow").fill("crank")
    shown = page.locator("#rows tr:visible").count()
    assert 0 < shown < before
    assert f"{shown} rows" in page.get_by_role("status").inner_text()


def test_works_with_the_keyboard(demo_site: str, watched: Watched) -> None:
    page = watched.page
    page.goto(demo_site)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(2):
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{demo_site}/**")


def test_a_run_of_the_plan_shows_its_bundle(demo_site: str, watched: Watched) -> None:
    """By the keyboard and by a click, without leaving the page; the address then leads to the same."""
    page = watched.page
    page.goto(f"{demo_site}{JOB}/build/plan?by=zone")
    runs = page.locator(".drawing a[href*='segment=']")
    runs.first.focus()
    page.keyboard.press("Enter")
    page.locator("#bundle h2").wait_for()
    first = page.locator("#bundle h2").inner_text()
    assert page.evaluate("document.activeElement.id") == "bundle"
    assert "segment=" in page.url
    assert "by=zone" in page.url
    assert page.get_by_label("Bundle of run").input_value() in first
    segment = {r: parse_qs(urlsplit(r.get_attribute("href") or "").query)["segment"][0] for r in runs.all()}
    other = next(r for r, key in segment.items() if key not in first)
    other.dispatch_event("click")
    page.wait_for_function("(old) => document.querySelector('#bundle h2').innerText !== old", arg=first)
    shown = page.locator("#bundle h2").inner_text()
    page.reload()
    assert page.locator("#bundle h2").inner_text() == shown
