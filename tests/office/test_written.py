"""Figures and days as people write them: one meaning is taken, two are asked about."""

from datetime import date

import pytest

from mowalert.errors import InputError
from mowalert.service.reading.sheet import Figure
from mowalert.service.reading.written import DayOrder, Decimals, Habits, day_in, decimal_marks, figure_in

POINTS, COMMAS, BOTH = (Habits(marks=frozenset(marks)) for marks in (".", ",", ".,"))
COMMA, POINT = Habits(Decimals.COMMA), Habits(Decimals.POINT)


@pytest.mark.parametrize(
    ("text", "habits", "figure"),
    [
        ("40,1", COMMAS, "40.1"),
        ("40,1", BOTH, "40.1"),
        ("40.1", BOTH, "40.1"),
        ("1.250", POINTS, "1.250"),
        ("1.250", Habits(), "1.250"),
        ("1.250", COMMA, "1250"),
        ("1.250", POINT, "1.250"),
        ("1,250", COMMAS, "1.250"),
        ("1,250", POINT, "1250"),
        ("0,125", Habits(), "0.125"),
        ("1.250,5", Habits(), "1250.5"),
        ("1,250.5", COMMAS, "1250.5"),
        ("1,250,000", POINTS, "1250000"),
        ("1.250.000", COMMAS, "1250000"),
        ("-7", COMMAS, "-7"),
        ("1.2.3", POINTS, "1.2.3"),
        ("75 mm", COMMAS, "75 mm"),
        (Figure("1.250"), COMMAS, "1.250"),
    ],
)
def test_a_figure_of_one_meaning_is_read(text: str, habits: Habits, figure: str) -> None:
    assert figure_in(text, habits) == figure


@pytest.mark.parametrize(
    ("text", "habits", "why"),
    [
        ("1.250", COMMAS, "either 1250 or 1.250: say --decimals"),
        ("1.250", BOTH, "either 1250 or 1.250"),
        ("1,250", POINTS, "either 1250 or 1.250"),
        ("1,250", Habits(), "either 1250 or 1.250"),
        ("40.1", COMMA, "a decimal comma, as was said"),
        ("1,250.5", COMMA, "a decimal comma"),
        ("40,1", POINT, "a decimal point, as was said"),
    ],
)
def test_a_figure_of_two_meanings_is_asked_about(text: str, habits: Habits, why: str) -> None:
    with pytest.raises(InputError, match=why):
        figure_in(text, habits)


def test_what_stands_before_decimals_is_seen_where_it_is_sure() -> None:
    assert decimal_marks(["1.250", "1,250", "85", "n/a", Figure("42.5")]) == frozenset()
    assert decimal_marks(["40,1", "1.250"]) == {","}
    assert decimal_marks(["1,250.5"]) == {"."}


@pytest.mark.parametrize(
    "text",
    [
        "2026-05-09", "2026/5/9", "2026-05-09 10:30", "2026-05-09T00:00:00", "9 May 2026", "May 9th, 2026",
        "Sat, 9-may-2026", "sábado 9 de mayo de 2026", "46151", "46151.5",
    ],
)  # fmt: skip
@pytest.mark.parametrize("order", [None, *DayOrder])
def test_a_day_of_one_meaning_is_read(text: str, order: DayOrder | None) -> None:
    assert day_in(text, order) == date(2026, 5, 9)


def test_figures_alone_are_a_day_where_they_can_be_no_other() -> None:
    assert day_in("13/04/2026", None) == day_in("04/13/2026", None) == date(2026, 4, 13)
    assert day_in("4.4.2026", None) == date(2026, 4, 4)
    assert day_in("03/04/2026", DayOrder.DMY) == day_in("3-4-26", DayOrder.DMY) == date(2026, 4, 3)
    assert day_in("03/04/2026", DayOrder.MDY) == date(2026, 3, 4)
    assert day_in("mar 3 2026", None) == date(2026, 3, 3)


@pytest.mark.parametrize(
    ("text", "order", "why"),
    [
        ("03/04/2026", None, "this is 2026-03-04 or 2026-04-03: say --dates"),
        ("5/9/26", None, "a year of four digits"),
        ("13/04/2026", DayOrder.MDY, "a date such as"),
        ("31/02/2026", None, "a date such as"),
        ("9 May", None, "a date such as"),
        ("9-May-26", None, "a date such as"),
        ("May 9 June 2026", None, "a date such as"),
        ("99999", None, "a date such as"),
        ("yesterday", None, "a date such as"),
    ],
)
def test_what_may_be_two_days_or_none_is_asked_about(text: str, order: DayOrder | None, why: str) -> None:
    with pytest.raises(InputError, match=why):
        day_in(text, order)
