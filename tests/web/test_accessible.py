"""Nobody is kept from a page: no barrier is found on any, light or dark, small or large."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from browsing import DESK, PHONE, Browser, browsing, required_or_skipped
from tours import every_page
from web_people import Visitor

AXE = Path(sys.prefix) / "share" / "axe-core" / "axe.min.js"
LOOKS = [(size, dark) for size in (PHONE, DESK) for dark in (False, True)]
RULES_OF_LOOKS = ["color-contrast", "link-in-text-block", "scrollable-region-focusable", "target-size"]
"""Rules whose answer depends on colours and sizes; the others need one look only."""
RUN_AXE = """
const [rules, done] = arguments;
const wanted = {resultTypes: ["violations"], ...(rules ? {runOnly: rules} : {})};
axe.run(document, wanted).then(found => done(
  found.violations
    .filter(one => ["serious", "critical"].includes(one.impact))
    .map(one => `${one.id} (${one.help}): ${one.nodes.slice(0, 3).map(node => node.html.slice(0, 120))}`)
), error => done([String(error)]));
"""


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.is_file():
        required_or_skipped(f"no axe-core at {AXE}")
    return AXE.read_text(encoding="utf-8")


@pytest.fixture
def browser(axe: str) -> Iterator[Browser]:
    with browsing() as made:
        # The pages let no foreign script in, and axe is one.
        made.driver.execute_cdp_cmd("Page.setBypassCSP", {"enabled": True})
        yield made


def barriers(browser: Browser, axe: str) -> list[str]:
    """What keeps people from the page that is open, in every look."""
    browser.driver.execute_script(axe)
    found = []
    for place, (size, dark) in enumerate(LOOKS):
        browser.look(size, dark=dark)
        rules = RULES_OF_LOOKS if place else None
        met = browser.driver.execute_async_script(RUN_AXE, rules)
        found += [f"{size.name}, {'dark' if dark else 'light'}: {one}" for one in met + browser.flaws()]
    return found


@pytest.mark.slow
def test_no_page_keeps_anybody_out(visitor: Visitor, browser: Browser, axe: str) -> None:
    found = {}
    for name in every_page(visitor, browser):
        browser.unfold()
        if problems := barriers(browser, axe):
            found[name] = problems
    assert found == {}
