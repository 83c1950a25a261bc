"""Nobody is kept from a crew's pages: no barrier on any, light or dark, small or large, and on paper."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import DESK, PHONE, Browser, browsing, required_or_skipped
from firm import TODAY
from test_accessible import barriers
from test_work_pages import Company, company_of_crews
from web_people import BASE, Visitor

from mowalert.service.crews.client_links import client_link

AXE = Path(sys.prefix) / "share" / "axe-core" / "axe.min.js"


@pytest.fixture
def company(visitor: Visitor) -> Company:
    return company_of_crews(visitor)


@pytest.fixture
def browser() -> Iterator[Browser]:
    if not AXE.is_file():
        required_or_skipped(f"no axe-core at {AXE}")
    with browsing() as made:
        made.driver.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        yield made


@pytest.mark.slow
def test_no_page_of_a_crew_keeps_anybody_out(visitor: Visitor, company: Company, browser: Browser) -> None:
    axe = AXE.read_text(encoding="utf-8")
    crew = company.sheet.crews[0].crew_id
    skipped, other, *_ = company.lawns_of("North")
    company.say("ana", skipped, outcome="skipped", reason="dog")
    made = visitor.services
    record = client_link(made.store, made.links, company.name, "Garden 1", now=visitor.now)
    found = {}
    for name, path in (
        ("overview", company.path("dana")),
        ("one crew", f"{company.path('dana')}?crew={crew}"),
        ("lead", company.path("ana")),
        ("stop", f"{company.path('ana')}/stop?on={TODAY}&crew={crew}&lawn={other}"),
        ("clients", f"{company.path('dana')}/clients?q=garden"),
        ("record", record.removeprefix(BASE)),
        ("printed", f"{company.path('ana')}/print"),
        ("printed, all", f"{company.path('dana')}/print"),
        ("week", f"{company.path('dana')}/week"),
        ("no plan", f"{company.path('ana')}?on=2030-01-01"),
    ):
        browser.open(visitor.url + path)
        browser.unfold()
        if problems := barriers(browser, axe):
            found[name] = problems
    assert found == {}


@pytest.mark.slow
def test_buttons_are_large_enough_for_gloves(visitor: Visitor, company: Company, browser: Browser) -> None:
    for size in (PHONE, DESK):
        browser.look(size)
        browser.open(visitor.url + company.path("ana"))
        heights = browser.driver.execute_script(
            "return [...document.querySelectorAll('.work button')].map(one => one.offsetHeight)"
        )
        shown = [height for height in heights if height]
        assert shown
        assert min(shown) >= 48


@pytest.mark.slow
def test_a_visit_is_reported_by_pressing_a_button(
    visitor: Visitor, company: Company, browser: Browser
) -> None:
    browser.look(PHONE)
    browser.open(visitor.url + company.path("ana"))
    browser.press("Done")
    assert "Kept: done." in browser.text
    browser.press("Undo")
    assert "Taken back." in browser.text
