"""Input made to break a reader: refused in words, at once, and in little memory.

Workbooks, bounces, texts, alerts and weather have such tests beside their own; here is what is left.
"""

import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest
from builders import TURF
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ledger import note
from web_people import Visitor
from web_programs import enrolled, program

from mowalert.cli.common import read_text
from mowalert.errors import ConfigError, InputError
from mowalert.links import CONFIRM, MOWED, PAGE, UNSUBSCRIBE, Links
from mowalert.service.region.guide_text import read_guide

NOW = datetime(2026, 5, 7, 15, 0, tzinfo=UTC)
LINKS = Links("https://lawns.example.org", "a secret of the tests")
GOOD = LINKS.token(PAGE, 1, 0)
DEEP = 5000
LONGEST_S = 5.0
MOST_MORE_KIB = 64 * 1024


@contextmanager
def bounded(fault: str) -> Iterator[None]:
    """A block that must end soon and need little memory."""
    began, before = time.monotonic(), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    more = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    kept = time.monotonic() - began < LONGEST_S and more < MOST_MORE_KIB
    note(f"input: {fault}", 1, int(kept), 0, 0)
    assert kept, (time.monotonic() - began, more)


@settings(max_examples=200)
@given(st.text(max_size=80) | st.binary(max_size=60).map(lambda raw: raw.decode("latin-1")))
@example(GOOD[:-1])
@example(f"{GOOD}.")
@example(f".{GOOD}")
@example("." * 4000)
def test_no_text_is_a_link_unless_we_signed_it(text: str) -> None:
    for purpose in (PAGE, MOWED, CONFIRM):
        assert LINKS.facts(purpose, text, now=NOW) is None or (purpose, text) == (PAGE, GOOD)
    assert LINKS.read(UNSUBSCRIBE, text) is None
    assert not LINKS.is_our_form(text, "join", now=NOW)


@given(at=st.integers(0, len(GOOD) - 1), letter=st.sampled_from("Aa0-_.%\x00é"))
def test_no_letter_of_a_link_can_be_changed(at: int, letter: str) -> None:
    changed = GOOD[:at] + letter + GOOD[at + 1 :]
    # The last letter of a signature holds bits that nothing reads.
    assert changed == GOOD or at == len(GOOD) - 1 or LINKS.facts(PAGE, changed, now=NOW) is None


def test_a_table_of_a_gigabyte_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "lawns.csv"
    with path.open("wb") as file:
        file.truncate(2**30)
    with bounded("a table of 1 GB"), pytest.raises(InputError, match="larger than"):
        read_text(path)


@pytest.mark.parametrize("text", ["a = " + "[" * DEEP, "a = " + "{a=" * DEEP, "[" + "a." * DEEP + "a]"])
def test_a_guide_nested_without_end_is_refused(text: str) -> None:
    with bounded("a guide nested without end"), pytest.raises(ConfigError):
        read_guide(text, TURF)


@pytest.mark.parametrize("body", ["[" * 30_000, '{"height_mm":' * 4000, '{"height_mm": 1e400}', "9" * 60_000])
def test_json_nested_without_end_is_refused(visitor: Visitor, body: str) -> None:
    enrolled(visitor)
    asking = program(visitor)
    headers = {"Content-Type": "application/json"}
    with bounded("JSON nested without end"):
        answer = asking.ask("POST", "/lawns/1/mowings", data=body, headers=headers)
    assert answer.status_code == 422, answer.text[:200]
    assert answer.headers["Content-Type"].startswith("application/problem+json")
    assert visitor.get("/healthz").status_code == 200
