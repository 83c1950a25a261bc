"""Figures and days as people write them, read where they can mean one thing only."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from re import compile as pattern
from re import fullmatch, split, sub

from mowalert.errors import InputError
from mowalert.service.reading.sheet import Figure

_SIGN_AND_ONE_GROUP = r"[+-]?[1-9][0-9]{0,2}"
_THOUSANDS = {mark: pattern(rf"{_SIGN_AND_ONE_GROUP}(?:\{mark}[0-9]{{3}})+") for mark in ",."}
_DECIMAL = {mark: pattern(rf"[+-]?[0-9]+\{mark}[0-9]+") for mark in ",."}
_BOTH = {
    mark: pattern(rf"{_SIGN_AND_ONE_GROUP}(?:\{other}[0-9]{{3}})+\{mark}[0-9]+")
    for mark, other in ((",", "."), (".", ","))
}
_DAY_NUMBER = pattern(r"([0-9]{5})(?:\.[0-9]+)?")
_FIRST_DAY, _DAY_NUMBERS = date(1899, 12, 30), range(20_000, 80_000)
"""Spreadsheets count days from here; these are of 1954 to 2119."""
_TIME = r"(?:[ T][0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?)?"
_YEAR_FIRST = pattern(rf"([0-9]{{4}})[-/.]([0-9]{{1,2}})[-/.]([0-9]{{1,2}}){_TIME}")
_YEAR_LAST = pattern(rf"([0-9]{{1,2}})[-/. ]([0-9]{{1,2}})[-/. ]([0-9]{{2}}|[0-9]{{4}}){_TIME}")
_MONTHS = (
    ("january", "enero"), ("february", "febrero"), ("march", "marzo"), ("april", "abril"), ("may", "mayo"),
    ("june", "junio"), ("july", "julio"), ("august", "agosto"), ("september", "septiembre", "setiembre"),
    ("october", "octubre"), ("november", "noviembre"), ("december", "diciembre"),
)  # fmt: skip
_DAYS = (
    "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday", "lunes", "martes",
    "miercoles", "jueves", "viernes", "sabado", "domingo",
)  # fmt: skip
_SMALL_WORDS = ("of", "de", "del", "the")
A_DAY = "a date such as 2026-05-09"


class Decimals(StrEnum):
    """The mark before the decimals."""

    POINT = "point"
    COMMA = "comma"


class DayOrder(StrEnum):
    """Which of a day and a month comes first."""

    DMY = "dmy"
    MDY = "mdy"


@dataclass(frozen=True, slots=True)
class Habits:
    """How an office writes: what somebody said of it, and the decimal marks that its figures show."""

    decimals: Decimals | None = None
    dates: DayOrder | None = None
    marks: frozenset[str] = frozenset()


def decimal_marks(texts: Iterable[str]) -> frozenset[str]:
    """Return the marks that stand before decimals beyond doubt: in 40,1 the comma, in 1.250 none."""
    found = set()
    for text in texts:
        if isinstance(text, Figure):
            continue
        for mark in ",.":
            sure = _DECIMAL[mark].fullmatch(text) and not _THOUSANDS[mark].fullmatch(text)
            if sure or _BOTH[mark].fullmatch(text):
                found.add(mark)
    return frozenset(found)


def figure_in(text: str, habits: Habits) -> str:
    """Return a figure with a decimal point and nothing between its thousands.

    Parameters
    ----------
    text : str
        What somebody wrote; what is no figure comes back as it is.
    habits : Habits
        How they write.

    Returns
    -------
    str
        The figure.

    Raises
    ------
    InputError
        If it can be read in two ways, or not in the way that was said; the text says what is allowed.
    """
    if isinstance(text, Figure) or not fullmatch(r"[+-]?[0-9.,]+", text):
        return text
    decimal = _decimal_mark(text, habits)
    if habits.decimals is not None and decimal not in ("", "," if habits.decimals is Decimals.COMMA else "."):
        raise InputError(f"a figure with a decimal {habits.decimals}, as was said")
    thousands = "," if decimal == "." else "."
    plain = text.replace(thousands, "") if decimal or _grouped(text) else text
    return plain.replace(",", ".") if decimal == "," else plain.replace(",", "") if _grouped(text) else plain


def _grouped(text: str) -> bool:
    return any(form.fullmatch(text) for form in _THOUSANDS.values())


def _decimal_mark(text: str, habits: Habits) -> str:
    """The mark before the decimals of a figure; none where it has no decimals."""
    for mark in ",.":
        if _BOTH[mark].fullmatch(text):
            return mark
        if not _DECIMAL[mark].fullmatch(text):
            continue
        if not _THOUSANDS[mark].fullmatch(text):
            return mark
        if habits.decimals is not None:
            return mark if (mark == ",") == (habits.decimals is Decimals.COMMA) else ""
        # Three digits behind a mark: decimals, if all the sheet's decimals stand behind it, or thousands.
        alone = habits.marks <= {mark} if mark == "." else habits.marks == {mark}
        if not alone:
            whole, _, rest = text.partition(mark)
            raise InputError(
                f"either {whole}{rest} or {whole}.{rest}: say --decimals comma or --decimals point"
            )
        return mark
    return ""


def day_in(text: str, order: DayOrder | None) -> date:
    """Return the day a text names.

    Parameters
    ----------
    text : str
        A date in figures or words, English or Spanish, or a spreadsheet's number of a day.
    order : DayOrder | None
        Whether day or month comes first, where somebody said so.

    Returns
    -------
    date
        The day.

    Raises
    ------
    InputError
        If it is none, or may be two; the text says what is allowed.
    """
    told = text.strip()
    try:
        if found := _YEAR_FIRST.fullmatch(told):
            return date(int(found[1]), int(found[2]), int(found[3]))
        if found := _YEAR_LAST.fullmatch(told):
            return _in_figures(int(found[1]), int(found[2]), found[3], order)
        if (found := _DAY_NUMBER.fullmatch(told)) and int(found[1]) in _DAY_NUMBERS:
            return _FIRST_DAY + timedelta(days=int(found[1]))
        return _in_words(told)
    except ValueError as error:
        raise InputError(A_DAY) from error


def _in_figures(first: int, second: int, year: str, order: DayOrder | None) -> date:
    if order is None and len(year) == 2:
        raise InputError(f"{A_DAY}, with a year of four digits; or say --dates dmy or --dates mdy")
    full_year = int(year) + (2000 if len(year) == 2 else 0)
    orders = [order] if order else list(DayOrder)
    days = {day for one in orders if (day := _ordered(first, second, full_year, one)) is not None}
    if len(days) > 1:
        either = " or ".join(f"{day}" for day in sorted(days))
        raise InputError(f"{A_DAY}; this is {either}: say --dates dmy or --dates mdy")
    return days.pop() if days else date(full_year, 99, 1)


def _ordered(first: int, second: int, year: int, order: DayOrder) -> date | None:
    day, month = (first, second) if order is DayOrder.DMY else (second, first)
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _in_words(text: str) -> date:
    plain = text.casefold().translate(str.maketrans("áéíóú", "aeiou"))
    words = [word for word in split(r"[\s,./-]+", plain) if word and word not in _SMALL_WORDS]
    words = [word for word in words if _month(word) or not _weekday(word)]
    months = [month for word in words if (month := _month(word))]
    figures = [sub(r"(?<=[0-9])(?:st|nd|rd|th)$", "", word) for word in words if not _month(word)]
    years = [word for word in figures if fullmatch(r"[0-9]{4}", word)]
    days = [word for word in figures if fullmatch(r"[0-9]{1,2}", word)]
    if (len(months), len(years), len(days), len(words)) != (1, 1, 1, 3):
        raise ValueError(text)
    return date(int(years[0]), months[0], int(days[0]))


def _weekday(word: str) -> bool:
    return len(word) > 2 and any(day.startswith(word) for day in _DAYS)


def _month(word: str) -> int:
    """The month that a name or the beginning of one means; none is 0."""
    if len(word) < 3 or not word.isalpha():
        return 0
    return next((at for at, names in enumerate(_MONTHS, 1) if any(n.startswith(word) for n in names)), 0)
