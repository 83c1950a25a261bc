"""Of the days said to be 80 % likely, about 80 % come true; measured on seasons held back."""

from pathlib import Path

import pytest
from reliability import (
    LEADS,
    STATIONS,
    Place,
    as_markdown,
    chances_of_analogs,
    chances_of_errors,
    learned,
    table,
)

from mowalert.domain.doubt import error_quantiles, no_errors

TABLE = Path(__file__).with_name("RELIABILITY.md")
HEAD = """# What was called likely, and how often it came

Written by the reference tests. Chances that a watered Kentucky bluegrass lawn has passed its limit by
a day one to nine days ahead, at De Bilt, Milwaukee, Lexington and Merced, April to October. Everything
learned comes from even years, everything below from odd ones.

"""
WIDEST_GAP = 0.06


@pytest.fixture(scope="module")
def places(shared_dir: Path) -> list[Place]:
    return [Place(shared_dir / "data" / "fields", station) for station in STATIONS]


def test_what_is_called_likely_comes_true_as_often_as_said(places: list[Place]) -> None:
    of_errors = table(chances_of_errors(places, learned(places)))
    of_members = table(chances_of_analogs(places))
    text = (
        HEAD
        + as_markdown("One forecast, with the spread of its own past errors", of_errors)
        + "\n"
        + as_markdown("An ensemble: the same days of other years", of_members)
    )
    if not TABLE.exists() or TABLE.read_text(encoding="utf-8") != text:
        TABLE.write_text(text, encoding="utf-8")
    for line in (*of_errors, *of_members):
        assert line.cases > 500
        assert abs(line.said - line.came) < WIDEST_GAP, line


def test_without_learning_the_spread_of_a_worse_forecaster_is_wrong(places: list[Place]) -> None:
    unlearned = table(chances_of_errors(places, error_quantiles(no_errors(LEADS))))
    assert max(abs(line.said - line.came) for line in unlearned) > 2 * WIDEST_GAP
