"""A browser without a screen that a test drives, and all it says about what it loaded."""

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlsplit

import pytest
from selenium import webdriver
from selenium.common.exceptions import WebDriverException
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import Select, WebDriverWait

QUIET = (
    "--headless=new", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage", "--hide-scrollbars",
)  # fmt: skip
"""A browser that asks nobody but the pages it is sent to."""
NO_SCRIPTS = {"profile.managed_default_content_settings.javascript": 2}
LONGEST_WAIT_S = 30
MOST_OCTETS = 60_000
"""A page with all it needs, before compression."""
LEAST_TARGET_PX = 40
"""Lower things are hard to press with a thumb."""
# Read at once: fixtures clear the environment of what is ours.
REQUIRED = bool(os.environ.get("MOWALERT_REQUIRE_BROWSER"))
TARGETS = "button, .button, input:not([type=hidden]), select, textarea, summary"
WIDER = "return [document.documentElement.scrollWidth, document.documentElement.clientWidth]"
TARGET_SIZES = """
return [...document.querySelectorAll(arguments[0])].filter(one => one.checkVisibility()).map(one => {
  const whole = one.closest("label.choice") || one;
  return [one.outerHTML.slice(0, 90), whole.getBoundingClientRect().height];
});
"""


@dataclass(frozen=True, slots=True)
class Size:
    """A window."""

    name: str
    width: int
    height: int


PHONE = Size("phone", 360, 740)
DESK = Size("desk", 1280, 800)


def required_or_skipped(reason: str) -> None:
    """Skip for want of a browser, or fail where one is required."""
    if REQUIRED:
        pytest.fail(reason)
    pytest.skip(f"{reason}; `bash tests/browser.sh` brings it")


@contextmanager
def browsing(*, scripts: bool = True) -> Iterator["Browser"]:
    """Open a browser for as long as a block lasts."""
    binary, chromedriver = shutil.which("chromium"), shutil.which("chromedriver")
    if not binary or not chromedriver:
        required_or_skipped("no chromium with chromedriver on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = str(binary)
    for word in QUIET:
        options.add_argument(word)
    if os.geteuid() == 0:
        options.add_argument("--no-sandbox")
    if not scripts:
        options.add_experimental_option("prefs", NO_SCRIPTS)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    driver = webdriver.Chrome(service=Service(chromedriver), options=options)
    try:
        driver.execute_cdp_cmd("Network.enable", {})
        driver.execute_cdp_cmd("Network.setCacheDisabled", {"cacheDisabled": True})
        yield Browser(driver, scripts)
    finally:
        driver.quit()


@dataclass
class Browser:
    """Someone in front of a window."""

    driver: webdriver.Chrome
    scripts: bool
    size: Size = DESK
    complaints: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)
    octets: dict[str, int] = field(default_factory=dict)

    def look(self, size: Size, *, dark: bool = False) -> None:
        """Take a window of a size, and like light or dark pages."""
        self.size = size
        telephone = size.width < 600
        metrics = {"width": size.width, "height": size.height, "deviceScaleFactor": 1, "mobile": telephone}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})

    def open(self, url: str) -> None:
        """Go to an address."""
        self.driver.get(url)
        self._listen()

    def press(self, words: str) -> None:
        """Press the button or link with these words, and wait for the page that follows."""
        # A mark on the old page: asking after its elements fails in more than one way once it is gone.
        self.driver.execute_script("window.leftBehind = true")
        self.target(words).click()
        WebDriverWait(self.driver, LONGEST_WAIT_S, ignored_exceptions=[WebDriverException]).until(
            lambda driver: driver.execute_script(
                "return document.readyState === 'complete' && !window.leftBehind"
            )
        )
        self._listen()

    def target(self, words: str) -> WebElement:
        """The button or link with these words."""
        said = f'normalize-space()="{words}"'
        return self.driver.find_element(By.XPATH, f"//button[{said}] | //a[{said}]")

    def unfold(self) -> None:
        """Open every part of the page that is folded up, as one would."""
        for summary in self.driver.find_elements(By.CSS_SELECTOR, "details:not([open]) > summary"):
            summary.click()

    def fill(self, **answers: str) -> None:
        """Write answers into fields, choose them in lists, tick boxes."""
        for name, answer in answers.items():
            field_ = self.one(f'[name="{name}"]')
            if field_.tag_name == "select":
                self._choose(field_, answer)
            elif field_.get_attribute("type") in ("checkbox", "radio"):
                if not field_.is_selected():
                    field_.click()
            elif field_.get_attribute("type") == "date":
                # What is typed into a date depends on the browser's language; its value does not.
                self.driver.execute_script("arguments[0].value = arguments[1]", field_, answer)
            else:
                field_.clear()
                field_.send_keys(answer)

    def _choose(self, field_: WebElement, answer: str) -> None:
        choice = Select(field_)
        if field_.is_displayed():
            choice.select_by_value(answer)
            return
        slider = field_.find_element(By.XPATH, "following-sibling::input[@type='range']")
        slider.send_keys(Keys.HOME)
        for _ in choice.options:
            if choice.first_selected_option.get_attribute("value") == answer:
                return
            slider.send_keys(Keys.ARROW_RIGHT)
        raise AssertionError(f"the slider has no place for {answer}")

    def one(self, selector: str) -> WebElement:
        """The first element that matches."""
        return self.driver.find_element(By.CSS_SELECTOR, selector)

    @property
    def path(self) -> str:
        """Where we are, without the host."""
        return urlsplit(self.driver.current_url).path

    @property
    def text(self) -> str:
        """The words of the page that are seen."""
        return self.one("main").text

    def flaws(self) -> list[str]:
        """What is wrong with the page that is open, in this window: width, things to press, weight."""
        whole, window = self.driver.execute_script(WIDER)
        sizes: list[tuple[str, float]] = self.driver.execute_script(TARGET_SIZES, TARGETS)
        octets = sum(self.octets.values())
        return [
            *([f"it is {whole - window} px too wide"] if whole > window else []),
            *(f"{height:.0f} px high: {html}" for html, height in sizes if height < LEAST_TARGET_PX),
            *([] if 0 < octets <= MOST_OCTETS else [f"it has {octets} octets"]),
        ]

    def _listen(self) -> None:
        """Read what the browser noted: complaints, hosts it asked, and octets of this page."""
        self.octets = {}
        for entry in self.driver.get_log("browser"):
            if entry["level"] in ("SEVERE", "WARNING"):
                self.complaints.append(f"{self.path}: {entry['message']}")
        for entry in self.driver.get_log("performance"):
            self._note(json.loads(entry["message"])["message"])

    def _note(self, message: dict[str, Any]) -> None:
        facts = message["params"]
        if message["method"] == "Network.requestWillBeSent":
            url = urlsplit(facts["request"]["url"])
            if url.scheme != "data":
                self.hosts.add(url.hostname or url.scheme)
        elif message["method"] == "Network.dataReceived":
            request = facts["requestId"]
            self.octets[request] = self.octets.get(request, 0) + facts["dataLength"]
