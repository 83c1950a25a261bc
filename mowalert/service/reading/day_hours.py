"""Times of the day and weekdays, read as they are typed. Minutes count from midnight."""

from mowalert.domain.rounds import DAY_NAMES
from mowalert.errors import InputError

DAY_MIN = 24 * 60


def minute_of(text: str) -> int:
    """Return the minute of the day a text such as 7:00, 07:30 or 3:15 pm names; InputError if none."""
    said = text.strip().casefold().replace(".", ":")
    half = said[-2:] if said.endswith(("am", "pm")) else ""
    hour_text, _, past_text = said.removesuffix(half).strip().partition(":")
    if not hour_text.isdecimal() or (past_text and not past_text.isdecimal()):
        raise InputError(f"{text!r} is no time of the day such as 7:30")
    hour, past = int(hour_text), int(past_text or 0)
    if half and 1 <= hour <= 12:
        hour = hour % 12 + (12 if half == "pm" else 0)
    elif half:
        hour = DAY_MIN
    if past > 59 or hour * 60 + past > DAY_MIN:
        raise InputError(f"{text!r} is no time of the day such as 7:30")
    return hour * 60 + past


def hours_in(text: str) -> tuple[int, int]:
    """Return the minutes of the day that hours such as 7:00-15:30 begin and end at; InputError if none."""
    first, found, last = text.partition("-")
    if not found:
        raise InputError(f"{text!r} are no hours such as 7:00-15:30")
    return minute_of(first), minute_of(last)


def days_in(text: str) -> int:
    """Return weekdays such as mon,tue or mon tue as bits, bit 0 Monday; InputError where one is none."""
    names = [name.casefold()[:3] for name in text.replace(",", " ").split()]
    if unknown := [name for name in names if name not in DAY_NAMES]:
        raise InputError(f"{unknown[0]!r} is no day; allowed: {', '.join(DAY_NAMES)}")
    return sum(1 << DAY_NAMES.index(name) for name in set(names))
