"""Two people at one job, each in a browser of their own: who else is there, a save that comes late, and the bench."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import closing

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from pinmap.core.crossing import edits
from pinmap.core.model.people import PersonRole
from pinmap.services import jobs, people
from pinmap.services.shop import Shop
from tests.browser.conftest import serve
from tests.browser.test_pages import overflow
from tests.factories_people import COOKIE, session_of
from tests.factories_web import JOB, make_bench

pytestmark = pytest.mark.browser

OWNER, BUILDER, TECHNICIAN = "A. Fitter", "Bert Builder", "Tess Technician"
Open = Callable[..., Page]


@pytest.fixture
def site(empty_url: str) -> Iterator[str]:
    """The app with the small jobs; everybody may sign in."""
    with closing(Shop(empty_url)) as shop:
        make_bench(shop)
        for role in PersonRole:
            session_of(shop, role)
        for line in people.list_people(shop):
            if line.person.disabled is not None:
                people.enable(shop, line.person.id, line.person.version)
    yield from serve(empty_url)


@pytest.fixture
def opened(browser: Browser, site: str) -> Iterator[Open]:
    """Makes pages of people who are signed in, each in a browser of their own."""
    contexts = []
    wrongs: list[str] = []

    def make(role: PersonRole, address: str, width: int = 1280, *, script: bool = True) -> Page:
        context = browser.new_context(
            viewport={"width": width, "height": 740}, has_touch=width < 600, java_script_enabled=script
        )
        contexts.append(context)
        context.add_cookies([{"name": COOKIE, "value": f"test-{role}", "domain": "127.0.0.1", "path": "/"}])
        page = context.new_page()
        page.on("pageerror", lambda e: wrongs.append(str(e)))
        page.goto(site + address)
        return page

    yield make
    for context in contexts:
        context.close()
    assert not wrongs, wrongs


def looked_at(page: Page) -> None:
    assert not overflow(page)
    result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
    assert not result.response["violations"], result.generate_report()


def test_a_late_save_shows_both_versions_and_can_be_saved_on_top(opened: Open, empty_url: str) -> None:
    first, second = (opened(role, f"{JOB}/settings") for role in (PersonRole.OWNER, PersonRole.BUILDER))
    card = f"form[action='{JOB}/settings']"
    first.locator(f"{card} input[name=customer]").fill("The owner's customer")
    first.locator(f"{card} input[name=note]").fill("The owner's note")
    first.locator(card).get_by_role("button", name="Save").click()
    expect(first.get_by_role("status")).not_to_be_empty()

    second.locator(f"{card} input[name=note]").fill("The builder's note <b>")
    second.locator(card).get_by_role("button", name="Save").click()
    told = second.get_by_role("alert")
    expect(told).to_contain_text("Somebody else saved first")
    row = told.get_by_role("row", name="Note")
    expect(row).to_contain_text("The owner's note")
    expect(row).to_contain_text("The builder's note <b>")
    expect(told).to_contain_text("You had not touched")
    looked_at(second)
    # what was typed is in its field again, what was not touched is as the other person saved it
    expect(second.locator(f"{card} input[name=note]")).to_have_value("The builder's note <b>")
    expect(second.locator(f"{card} input[name=customer]")).to_have_value("The owner's customer")
    with closing(Shop(empty_url)) as shop:
        assert jobs.get(shop, "bench").job.note == "The owner's note"

    second.get_by_role("link", name="Go to your form").press("Enter")
    second.locator(card).get_by_role("button", name="Save").press("Enter")
    expect(second.get_by_role("alert")).to_have_count(0)
    with closing(Shop(empty_url)) as shop:
        job = jobs.get(shop, "bench").job
    assert (job.customer, job.note) == ("The owner's customer", "The builder's note <b>")


def test_a_late_save_on_a_phone_can_be_left(opened: Open, empty_url: str) -> None:
    page = opened(PersonRole.BUILDER, f"{JOB}/settings", 360)
    with closing(Shop(empty_url)) as shop:
        version = jobs.get(shop, "bench").version
        jobs.edit(shop, "bench", version, lambda j, _: edits.update_job(j, note="Somebody's note"))
    card = f"form[action='{JOB}/settings']"
    page.locator(f"{card} input[name=note]").fill("Mine")
    page.locator(card).get_by_role("button", name="Save").tap()
    expect(page.get_by_role("alert")).to_contain_text("Mine")
    looked_at(page)
    page.get_by_role("link", name="Leave what is stored").tap()
    expect(page.locator(f"{card} input[name=note]")).to_have_value("Somebody's note")


def test_a_note_says_who_else_is_in_the_job(opened: Open) -> None:
    owner = opened(PersonRole.OWNER, f"{JOB}/settings")
    note = owner.locator(".here-now")
    with owner.expect_response("**/here"):
        owner.reload()
    expect(note).to_be_empty()
    builder = opened(PersonRole.BUILDER, f"{JOB}/layout", 360)
    expect(builder.locator(".here-now")).to_contain_text(f"Also here: {OWNER} in Settings")
    looked_at(builder)
    with owner.expect_response("**/here", timeout=20_000):  # without a reload: it asks again by itself
        pass
    expect(note).to_contain_text(f"Also here: {BUILDER} in Layout")
    looked_at(owner)


def test_a_note_says_that_the_job_was_changed(opened: Open, empty_url: str) -> None:
    owner = opened(PersonRole.OWNER, f"{JOB}/settings")
    with closing(Shop(empty_url)) as shop:
        version = jobs.get(shop, "bench").version
        jobs.edit(shop, "bench", version, lambda j, _: edits.update_job(j, note="Somebody's note"))
    owner.locator("form.card input[name=note]").first.fill("being typed")
    expect(owner.locator(".here-now")).to_contain_text("has been changed since this page was opened", timeout=20_000)
    expect(owner.locator("form.card input[name=note]").first).to_have_value("being typed")


@pytest.mark.parametrize("script", [True, False])
def test_a_technician_goes_down_the_list_with_one_thumb(opened: Open, script: bool) -> None:
    page = opened(PersonRole.TECHNICIAN, f"{JOB}/bench?stage=continuity", 360, script=script)
    seen = []
    for _ in range(2):
        line = page.locator(".to-do").first
        seen.append(line.get_by_role("heading").inner_text())
        for button in line.locator(".thumbs button").all():
            box = button.bounding_box()
            assert box is not None
            assert box["height"] >= 48
            assert box["width"] >= 80
        if script:
            looked_at(page)
        line.get_by_role("button", name="Passed").tap()
        expect(page.locator(".just-now")).to_contain_text(f"passed, {TECHNICIAN}")
        top = page.locator("#here").bounding_box()
        assert top is not None
        assert -5 < top["y"] < 400  # the list stands in sight, not the page's head
    assert len(set(seen)) == 2
    page.locator(".just-now").get_by_role("button", name="Take back").tap()
    expect(page.locator(".just-now")).to_contain_text("taken back")


def test_a_reading_is_typed_with_the_keyboard(opened: Open) -> None:
    page = opened(PersonRole.TECHNICIAN, f"{JOB}/bench?stage=continuity")
    name = page.locator(".to-do h3").first.inner_text()
    page.get_by_label("Reading of").first.press_sequentially("9,9")
    page.keyboard.press("Enter")
    expect(page.get_by_role("alert")).to_contain_text("above the limit")
    reading = page.get_by_label("Reading of").first
    expect(reading).to_have_value("9,9")
    looked_at(page)
    reading.fill("0,02")
    reading.press("Enter")
    expect(page.locator(".just-now")).to_contain_text(f"{name}: passed; 0.02 Ω, {TECHNICIAN}")


def test_two_people_at_one_line(opened: Open) -> None:
    tess, bert = (opened(role, f"{JOB}/bench") for role in (PersonRole.TECHNICIAN, PersonRole.BUILDER))
    tess.get_by_role("button", name="Done").first.click()
    bert.get_by_role("button", name="Failed").first.click()
    expect(bert.locator(".just-now")).to_contain_text(f"failed, {BUILDER}")
    expect(bert.locator(".just-now")).to_contain_text(f"Before that: done, {TECHNICIAN}")
    tess.get_by_role("link", name="At the bench").click()
    expect(tess.locator(".to-do").first).to_contain_text(BUILDER)
    expect(tess.locator(".to-do").first).to_contain_text(TECHNICIAN)
    looked_at(tess)
