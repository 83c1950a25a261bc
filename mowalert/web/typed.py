"""What people type into forms or choose there, read; what cannot be read is a mistake in their words."""

from datetime import date
from enum import StrEnum
from typing import TypeVar

from mowalert.domain.units import mm_from_inches
from mowalert.domain.words import Units
from mowalert.errors import InputError
from mowalert.languages import N_

UNCLEAR = N_("say what is to be done")
Choice = TypeVar("Choice", bound=StrEnum)


def day_in(text: str) -> date | None:
    """Read a day as addresses and forms write it; none where there is none."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def day_typed(text: str) -> date:
    """Read a day; InputError if there is none."""
    on = day_in(text)
    if on is None:
        raise InputError(N_("{text} is no date") if text else N_("say the day"), text=repr(text))
    return on


def number_typed(text: str) -> float | None:
    """Read a number, a comma as a point; none where nothing is typed, InputError if it can't be meant."""
    if not text:
        return None
    try:
        number = float(text.replace(",", "."))
    except ValueError as error:
        raise InputError(N_("{text} is no number"), text=repr(text[:20])) from error
    if not 0 < number < 10_000:
        raise InputError(N_("{text} cannot be"), text=text[:20])
    return number


def height_typed(text: str, units: Units) -> float | None:
    """Read a height in its reader's units; none where nothing is typed. [mm]"""
    number = number_typed(text)
    return float(mm_from_inches(number)) if number is not None and units is Units.US else number


def chosen(among: type[Choice], text: str) -> Choice:
    """Read one of a list's entries; InputError for what is not on the list."""
    try:
        return among(text)
    except ValueError as error:
        raise InputError(UNCLEAR) from error
