"""Weather that is looked at and not believed, day by day, each with its reason."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from math import isfinite

from mowalert.domain.weather import Refusal, WeatherDay

RANGES: dict[str, tuple[float, float]] = {
    "t_min_c": (-70.0, 45.0),
    "t_max_c": (-65.0, 57.0),
    "rain_mm": (0.0, 900.0),
    "radiation_mj_m2": (0.0, 45.0),
    "wind_2m_ms": (0.0, 45.0),
    "t_dew_c": (-80.0, 36.0),
    "et0_mm": (0.0, 25.0),
}
"""What can be; wider than any inhabited place's records where people keep lawns. Working values."""
NEEDED = ("t_min_c", "t_max_c", "rain_mm")
FARTHEST_JUMP_C = 25.0
"""Largest change of a day's mean from one day to the next; working value."""
STUCK_DAYS = 4
"""Days of the very same extremes, decimals included, that betray a stuck sensor; working value."""
WIDEST_SPAN_C = 45.0


def checked(
    days: Sequence[WeatherDay], *, source: str, first: date, last: date
) -> tuple[tuple[WeatherDay, ...], tuple[Refusal, ...]]:
    """Sort days into those to believe and those to refuse.

    Parameters
    ----------
    days : Sequence[WeatherDay]
        What one source says of one place.
    source : str
        Its name.
    first : date
        Earliest day that can have been meant.
    last : date
        Latest day that can have been meant.

    Returns
    -------
    tuple[tuple[WeatherDay, ...], tuple[Refusal, ...]]
        Good days in order, and each refused one with its reason.
    """
    refused: list[Refusal] = []
    good = [
        day for day in days if not _note(refused, source, day, _outside(day, first, last) or _impossible(day))
    ]
    for rule in (_twice, _jumps, _stuck):
        wrong = rule(good)
        good = [day for index, day in enumerate(good) if not _note(refused, source, day, wrong.get(index))]
    return tuple(good), tuple(refused)


def _note(refused: list[Refusal], source: str, day: WeatherDay, reason: str | None) -> bool:
    if reason is not None:
        refused.append(Refusal(source, reason, day.on))
    return reason is not None


def _outside(day: WeatherDay, first: date, last: date) -> str | None:
    return None if first <= day.on <= last else "a day that was not asked for"


def _impossible(day: WeatherDay) -> str | None:
    for name, (lowest, highest) in RANGES.items():
        value = getattr(day, name)
        if value is None and name not in NEEDED:
            continue
        if value is None or not isfinite(value):
            return f"{name} is no number"
        if not lowest <= value <= highest:
            return f"{name} of {value:g} is outside {lowest:g} to {highest:g}"
    if day.t_min_c > day.t_max_c:
        return f"t_min_c {day.t_min_c:g} exceeds t_max_c {day.t_max_c:g}"
    if day.t_max_c - day.t_min_c > WIDEST_SPAN_C:
        return f"t_min_c {day.t_min_c:g} and t_max_c {day.t_max_c:g} lie too far apart"
    return None


Rule = Callable[[Sequence[WeatherDay]], dict[int, str]]


def _twice(days: Sequence[WeatherDay]) -> dict[int, str]:
    return {
        index: "the day comes twice or out of order"
        for index in range(1, len(days))
        if days[index].on <= max(day.on for day in days[:index])
    }


def _jumps(days: Sequence[WeatherDay]) -> dict[int, str]:
    """A day that leaps away from the one before; from both neighbours where it has two."""
    means = [(day.t_min_c + day.t_max_c) / 2 for day in days]
    wrong: dict[int, str] = {}
    for index in range(1, len(days)):
        before = index - 2 if index - 1 in wrong else index - 1
        if before < 0 or days[index].on - days[before].on > timedelta(days=2):
            continue
        if abs(means[index] - means[before]) > FARTHEST_JUMP_C:
            wrong[index] = f"the mean jumps from {means[before]:.1f} to {means[index]:.1f} °C in a day"
    return wrong


def _stuck(days: Sequence[WeatherDay]) -> dict[int, str]:
    wrong: dict[int, str] = {}
    run = 1
    for index in range(1, len(days) + 1):
        same = index < len(days) and _figures(days[index]) == _figures(days[index - 1])
        if same:
            run += 1
            continue
        if run >= STUCK_DAYS:
            wrong |= {back: f"the same figures {run} days running" for back in range(index - run + 1, index)}
        run = 1
    return wrong


def _figures(day: WeatherDay) -> tuple[float | None, ...]:
    return day.t_min_c, day.t_max_c, day.rain_mm, day.radiation_mj_m2
