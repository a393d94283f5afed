"""The board under a mouse and a finger: a branch point drawn along its runs, all that depends on it in one step, and
undo back to the same content."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing
from typing import NamedTuple

import pytest
from playwright.sync_api import Page, expect

from pinmap.core.loom.route import route
from pinmap.core.model.jobs import Snapshot
from pinmap.services import jobs
from pinmap.services.shop import Shop
from tests.browser.conftest import Watched, serve

pytestmark = pytest.mark.browser

JOB, POINT, SHORTER, LONGER = "q24-brindle", "J4", "J4-J5", "J3-J4"  # 600 mm each
BOARD = f"/jobs/{JOB}/layout/board"


class Site(NamedTuple):
    address: str
    snapshot: Callable[[], Snapshot]
    version: Callable[[], int]


@pytest.fixture
def site(demo_copy: Callable[[], AbstractContextManager[str]]) -> Iterator[Site]:
    """The demo in a database of its own, read beside the server."""
    with demo_copy() as url, closing(Shop(url)) as shop:
        for address in serve(url):
            yield Site(address, lambda: jobs.get(shop, JOB).snapshot, lambda: jobs.get(shop, JOB).version)


class Drag(NamedTuple):
    """On the screen [px]: where the handle is, and where 150 mm along the run that gets shorter are."""

    x: float
    y: float
    to_x: float
    to_y: float


def begun(page: Page, site: Site) -> Drag:
    page.goto(f"{site.address}{BOARD}?node={POINT}")
    handle = page.locator(".handle")
    expect(handle).to_be_visible()
    page.wait_for_load_state("networkidle")  # the note of who else is here has its place
    handle.scroll_into_view_if_needed()
    there = page.evaluate(
        """run => {
          const line = document.querySelector(`[data-segment="${run}"]`), long = line.getTotalLength();
          const onScreen = (p) => new DOMPoint(p.x, p.y).matrixTransform(line.getScreenCTM());
          const [a, b] = [onScreen(line.getPointAtLength(0)), onScreen(line.getPointAtLength(long * 150 / 600))];
          return [a.x, a.y, b.x, b.y];
        }""",
        SHORTER,
    )
    return Drag(*there)


def lengths_mm(snapshot: Snapshot) -> dict[str, float]:
    return {s.key: round(s.length_m * 1000, 3) for s in snapshot.job.segments}


def test_a_branch_point_drawn_with_the_mouse_and_undone(site: Site, watched: Watched) -> None:
    page, before, version = watched.page, site.snapshot(), site.version()
    drag = begun(page, site)
    page.mouse.move(drag.x, drag.y)
    page.mouse.down()
    page.mouse.move((drag.x + drag.to_x) / 2, (drag.y + drag.to_y) / 2, steps=4)
    half_mm = float(page.locator("form[data-slide] [name=by_mm]").input_value())
    page.mouse.move(drag.to_x, drag.to_y, steps=4)
    slide = page.locator("form[data-slide]")
    by_mm = float(slide.locator("[name=by_mm]").input_value())
    assert by_mm == pytest.approx(150, abs=5)
    assert half_mm == pytest.approx(75, abs=5)
    assert (slide.locator("[name=out_of]").input_value(), slide.locator("[name=into]").input_value()) == (
        SHORTER, LONGER,
    )  # fmt: skip
    with page.expect_navigation():
        page.mouse.up()

    moved = site.snapshot()
    assert site.version() == version + 1  # one step
    expected = lengths_mm(before) | {SHORTER: 600 - by_mm, LONGER: 600 + by_mm}
    assert lengths_mm(moved) == expected
    was, now = (route(s, s.variants[0]).wire for s in (before, moved))
    longer = [w for w in was.values() if LONGER in w.segments and SHORTER not in w.segments and not w.a.splice]
    assert longer
    assert all(now[w.id].length_m == pytest.approx(w.length_m + by_mm / 1000) for w in longer if not w.b.splice)
    picture = page.locator("[data-board]")
    expect(picture).to_contain_text(f"{600 - by_mm:.0f} mm")
    expect(picture).to_contain_text(f"{600 + by_mm:.0f} mm")

    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Redo")).to_be_visible()
    assert site.snapshot().content_hash == before.content_hash
    page.get_by_role("button", name="Redo").click()
    expect(page.get_by_role("button", name="Undo")).to_be_visible()
    assert site.snapshot().content_hash == moved.content_hash


def test_a_handle_put_back_changes_nothing(site: Site, watched: Watched) -> None:
    page, version = watched.page, site.version()
    drag = begun(page, site)
    page.mouse.move(drag.x, drag.y)
    page.mouse.down()
    page.mouse.move(drag.to_x, drag.to_y, steps=4)
    page.mouse.move(drag.x, drag.y, steps=4)
    page.mouse.up()
    page.wait_for_timeout(300)
    assert site.version() == version
    box = page.locator(".handle").bounding_box()
    assert box is not None
    assert (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2) == pytest.approx((drag.x, drag.y), abs=1.5)


def test_a_branch_point_drawn_with_a_finger(site: Site, phone: Watched) -> None:
    page, before = phone.page, site.snapshot()
    drag = begun(page, site)
    finger = page.context.new_cdp_session(page)

    def touch(kind: str, *at: tuple[float, float]) -> None:
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": [{"x": x, "y": y} for x, y in at]})

    touch("touchStart", (drag.x, drag.y))
    for share in (0.3, 0.6, 1.0):
        touch("touchMove", (drag.x + share * (drag.to_x - drag.x), drag.y + share * (drag.to_y - drag.y)))
    with page.expect_navigation():
        touch("touchEnd")
    after = lengths_mm(site.snapshot())
    by_mm = 600 - after[SHORTER]
    assert by_mm > 0
    assert after == lengths_mm(before) | {SHORTER: 600 - by_mm, LONGER: 600 + by_mm}
    page.get_by_role("button", name="Undo").click()
    expect(page.get_by_role("button", name="Redo")).to_be_visible()
    assert site.snapshot().content_hash == before.content_hash
