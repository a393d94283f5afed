"""The whole way of the people of a shop, in browsers of their own: first owner, invitation, phone, end of access."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from pinmap.services import people
from pinmap.services.shop import Shop
from tests.browser.test_pages import overflow

if TYPE_CHECKING:
    from collections.abc import Callable

pytestmark = pytest.mark.browser

SECRET = "brindle truck loom"


@pytest.fixture
def stranger(browser: Browser) -> Iterator[Callable[[int], Page]]:
    """Makes pages that nobody is signed in on."""
    contexts = []

    def make(width: int) -> Page:
        contexts.append(browser.new_context(viewport={"width": width, "height": 800}))
        return contexts[-1].new_page()

    yield make
    for context in contexts:
        context.close()


def looked_at(page: Page) -> None:
    assert not overflow(page)
    result = Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]})
    assert not result.response["violations"], result.generate_report()


def test_from_the_printed_link_to_the_end_of_access(
    nobodys_site: str, empty_url: str, stranger: Callable[[int], Page]
) -> None:
    shop = Shop(empty_url)
    token = people.first_link(shop)
    shop.close()

    owner = stranger(1280)
    owner.goto(nobodys_site)
    expect(owner.get_by_role("heading", level=1)).to_have_text("Sign in")
    expect(owner.get_by_text("has no owner yet")).to_be_visible()
    looked_at(owner)
    owner.goto(f"{nobodys_site}/welcome/{token}")
    looked_at(owner)
    owner.get_by_label("Your name").fill("Ann Owner")
    owner.get_by_label("Sign-in name").fill("ann")
    owner.get_by_label("Password").fill(SECRET)
    owner.get_by_label("The same again").fill(SECRET)
    owner.get_by_role("button", name="Become the owner").click()
    expect(owner.get_by_role("status")).to_have_text("Welcome, Ann Owner")

    owner.get_by_role("link", name="People").click()
    owner.get_by_label("Name, as it stands").fill("Tess Technician")
    owner.get_by_label("Sign-in name").fill("tess")
    owner.locator("form[action='/people/invite'] select").select_option("technician")
    owner.get_by_role("button", name="Make the link").click()
    link = owner.locator("section.notice .code").inner_text()
    looked_at(owner)

    phone = stranger(360)
    phone.goto(link)
    expect(phone.get_by_role("heading", level=1)).to_have_text("Welcome, Tess Technician")
    looked_at(phone)
    phone.get_by_label("Password").fill(SECRET)
    phone.get_by_label("The same again").fill(SECRET)
    phone.get_by_role("button", name="Come in").click()
    expect(phone.get_by_role("link", name="Tess Technician")).to_be_visible()
    expect(phone.get_by_role("link", name="People")).to_have_count(0)
    phone.goto(f"{nobodys_site}/platforms/new")
    expect(phone.get_by_label("Name")).to_be_visible()
    expect(phone.get_by_role("button", name="Make it")).to_be_hidden()

    owner.on("dialog", lambda dialog: dialog.accept())
    owner.get_by_role("row", name="Tess Technician").get_by_role("button", name="End access").click()
    expect(owner.get_by_role("row", name="Tess Technician")).to_contain_text("disabled")
    phone.goto(f"{nobodys_site}/platforms")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Sign in")
    looked_at(phone)
    phone.get_by_label("Sign-in name").fill("tess")
    phone.get_by_label("Password").fill(SECRET)
    phone.get_by_role("button", name="Sign in").click()
    expect(phone.get_by_text("do not go together")).to_be_visible()


def test_a_person_signs_out_with_the_keyboard(
    nobodys_site: str, empty_url: str, stranger: Callable[[int], Page]
) -> None:
    shop = Shop(empty_url)
    token = people.first_link(shop)
    assert token is not None
    people.come_in(shop, token, SECRET, SECRET, "Ann Owner", "ann")
    shop.close()
    page = stranger(1280)
    page.goto(f"{nobodys_site}/guide/words")
    page.get_by_label("Sign-in name").focus()
    page.keyboard.type("ann")
    page.keyboard.press("Tab")
    page.keyboard.type(SECRET)
    page.keyboard.press("Enter")
    expect(page).to_have_url(f"{nobodys_site}/guide/words")
    page.get_by_role("link", name="Ann Owner").press("Enter")
    page.get_by_role("button", name="Sign out", exact=True).press("Enter")
    expect(page.get_by_role("status")).to_have_text("Signed out")
    page.goto(f"{nobodys_site}/me")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sign in")
