"""The whole way of a newcomer: from an empty database to the PDF that wire is cut by."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pypdf
import pytest
from playwright.sync_api import expect

if TYPE_CHECKING:
    from tests.browser.conftest import Watched

pytestmark = pytest.mark.browser

DONOR = """connector\tcavity\tfunction\tkind\tdirection\tcurrent_a\tevidence\tcomponent
E1\t1\tIgnition supply\tsupply-15\tin\t2\tmanual sheet 3\tEngine unit
E1\t2\tPower ground\tground-31\tin\t2\tmanual sheet 3\tEngine unit
E1\t3\tCoolant temperature gauge\tresistive\tout\t0.1\tmeasured\tGauge sender
"""
HOST = """Plug;Pin no;Description;Type;Dir;Amps;Source
C1;A;Ignition supply;15;out;2;measured
C1;B;Power ground;31;out;2;measured
C1;C;Coolant temperature gauge;resistive;in;ten;assumed
"""


def new_platform(page, site: str, name: str, role: str) -> None:
    page.goto(f"{site}/platforms/new")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Role").select_option(role)
    page.get_by_role("button", name="Make it").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bring in pins")


def test_from_nothing_to_pdf(empty_site: str, watched: Watched) -> None:
    page = watched.page
    page.goto(empty_site)
    expect(page.get_by_text("No job yet")).to_be_visible()

    new_platform(page, empty_site, "Bench donor", "donor")
    page.get_by_label("Rows, with or without headings").fill(DONOR)
    page.get_by_role("button", name="Read it").nth(1).click()
    page.get_by_role("button", name="Store all 3 rows").click()
    expect(page.get_by_role("status")).to_contain_text("3 pins stored")

    new_platform(page, empty_site, "Bench host", "host")
    page.get_by_label("Rows, with or without headings").fill(HOST)
    page.get_by_role("button", name="Read it").nth(1).click()
    # other people's headings are understood; the bad number is named and the row is not lost
    expect(page.get_by_label("Read Plug as")).to_have_value("connector")
    expect(page.get_by_label("Read Pin no as")).to_have_value("cavity")
    expect(page.get_by_role("button", name="Store all")).to_be_disabled()
    bad = page.get_by_label("Row 4, Amps")
    expect(bad).to_have_value("ten")
    bad.fill("0.1")
    bad.press("Enter")
    page.get_by_role("button", name="Store all 3 rows").click()
    expect(page.get_by_role("status")).to_contain_text("3 pins stored")

    page.goto(f"{empty_site}/jobs/new")
    page.get_by_label("Name").fill("Bench job")
    page.get_by_label("Bench donor").check()
    page.get_by_label("Bench host").check()
    page.get_by_role("button", name="Start the job").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Bench job")
    for box in page.get_by_role("checkbox", name="tick all of these").all():
        box.check()
    page.get_by_role("button", name="Take the ticked ones").click()
    expect(page.get_by_text("Every pin has a fate")).to_be_visible()

    page.goto(f"{empty_site}/jobs/bench-job/layout")
    page.get_by_label("Connector").select_option(label="Bench donor E1 ")
    page.get_by_role("button", name="Place it").click()
    expect(page.get_by_role("status")).to_contain_text("E1 has a place")
    page.get_by_label("Run starts at").first.select_option(label="E1")
    page.get_by_label("Length mm").first.fill("1250")
    page.get_by_role("button", name="Place it").click()
    expect(page.get_by_role("status")).to_contain_text("C1 has a place")

    page.goto(f"{empty_site}/jobs/bench-job/build")
    expect(page.locator("#rows tr")).to_have_count(3)
    expect(page.locator("#rows")).to_contain_text("C1-A")
    with page.expect_download() as waiting:
        page.get_by_role("link", name="PDF packet").click()
    path = waiting.value.path()
    text = "\n".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(path.read_bytes())).pages)
    assert "Bench job" in text
    assert "DRAFT" in text.upper()
    for wire in ("1A", "2A", "3A"):
        assert wire in text
