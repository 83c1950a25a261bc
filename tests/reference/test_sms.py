"""Short messages: alphabet and parts (3GPP TS 23.038 and 23.040)."""

import pytest
from conftest_types import Checks
from hypothesis import given
from hypothesis import strategies as st

from mowalert.channels.gsm import plain, sms_size

TEXTS = (
    "160", "161", "306", "307", "euro159", "euro158", "split_escape", "e_acute", "e_circumflex70",
    "e_circumflex71", "mixed", "ucs134", "ucs135", "seedling35", "seedling36", "surrogate_split", "emoji",
    "quotes", "dash", "brackets", "umlaut", "c_cedilla", "backtick",
)  # fmt: skip


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_takes_so_many_parts(name: str, checks: Checks) -> None:
    check = f"sms.{name}"
    row = checks[check]
    size = sms_size(row["inputs"]["text"])
    checks.same(check, "encoding", size.encoding, row["expected"]["encoding"])
    checks.same(check, "units", size.units, row["expected"]["units"])
    checks.same(check, "parts", size.parts, row["expected"]["segments"])


@given(st.text(max_size=300))
def test_a_plain_text_is_always_of_the_basic_alphabet(text: str) -> None:
    written = plain(text)
    assert sms_size(written).encoding == "GSM-7"
    assert sms_size(written).units == len(written)


def test_typographic_marks_are_written_plainly() -> None:
    assert plain("“Mow” – 2¾ in, 30 °C…") == '"Mow" - 2 3/4 in, 30 C...'
