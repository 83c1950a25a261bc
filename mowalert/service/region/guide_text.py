"""Reads a region guide from its TOML: one mistake refuses it whole, and all of them are named at once."""

import re
import tomllib
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import combinations
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.guides import (
    DATED,
    LAWN_USE,
    DaySpan,
    Guide,
    GuideDates,
    GuideHeight,
    Habit,
    Hours,
    Interval,
    Occasion,
)
from mowalert.domain.rounds import DAY_NAMES
from mowalert.domain.thirds import THIRD
from mowalert.domain.words import HoldReason, Season
from mowalert.errors import ConfigError, InputError

LONGEST_TEXT = 200_000
"""Bytes of a guide; a real one has a few thousand."""
SPOKEN = (*(occasion.value for occasion in Occasion), *(reason.value for reason in HoldReason))
"""What a guide may have a sentence for."""


def _month_day(text: str) -> str:
    if not re.fullmatch(r"\d\d-\d\d", text):
        raise ValueError("a month and a day such as 04-15")
    try:
        # A leap year, so that 29 February may be meant.
        date.fromisoformat(f"2024-{text}")
    except ValueError as error:
        raise ValueError("a month and a day such as 04-15") from error
    return text


MonthDay = Annotated[str, AfterValidator(_month_day)]
Span = tuple[MonthDay, MonthDay]
Line = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=200, pattern=r"^[^\n\r\x00-\x1f]*$"),
]
Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{1,39}$")]
Height = Annotated[float, Field(gt=0, le=1500)]
Language = Literal["en", "es"]
DayName = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


class _HeightRow(_Table):
    grass: str
    use: Name = LAWN_USE
    season: Span
    mm: tuple[Height, Height]
    usual_mm: Height


class _HabitRow(_Table):
    first_cut: Span
    last_cut: Span


class _HoursRow(_Table):
    days: Annotated[tuple[DayName, ...], Field(min_length=1)]
    start: Annotated[int, Field(ge=0, le=23, alias="from")]
    to: Annotated[int, Field(ge=1, le=24)]


class _TreatmentRow(_Table):
    before_days: Annotated[int, Field(ge=0, le=60)] = 0
    after_days: Annotated[int, Field(ge=0, le=60)] = 0


class _DatesRow(_Table):
    reason: Literal["treatment", "event", "nesting", "noise"]
    season: Span
    uses: tuple[Name, ...] = ()
    note: Line


class _Rules(_Table):
    one_third: Annotated[float, Field(ge=0.1, le=0.4)] = THIRD
    hours: tuple[_HoursRow, ...] = ()
    height_cap_mm: Mapping[Name, Height] = {}
    treatments: Mapping[Name, _TreatmentRow] = {}
    dates: tuple[_DatesRow, ...] = ()


class _File(_Table):
    guide: Name
    version: Annotated[int, Field(ge=1, le=1_000_000)]
    title: Line
    region: Line
    adviser: Line
    heights: Annotated[tuple[_HeightRow, ...], Field(min_length=1)]
    habits: Mapping[Literal["cool", "warm"], _HabitRow] = {}
    rules: _Rules = _Rules()
    says: Mapping[str, Mapping[Language, Line]] = {}


def read_guide(text: str, turf: Turf, *, name: str = "the guide") -> Guide:
    """Read one version of a guide.

    Parameters
    ----------
    text : str
        TOML as in ``config/guides/``.
    turf : Turf
        Grasses it may speak of.
    name : str
        The file, for messages.

    Returns
    -------
    Guide
        The guide.

    Raises
    ------
    ConfigError
        If anything is wrong; all of it, one line each.
    """
    if len(text) > LONGEST_TEXT:
        raise ConfigError(f"{name}: longer than {LONGEST_TEXT} letters")
    try:
        table = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ConfigError(f"{name}: is no TOML: {error}") from error
    try:
        file = _File.model_validate(table)
    except ValidationError as error:
        # What can be read is checked as well, so that everything is told at once.
        found = [_told(entry) for entry in error.errors()] + _problems_in_rows(table, turf)
        raise ConfigError(_all(found, name)) from error
    if problems := _problems(file, turf):
        raise ConfigError(_all(problems, name))
    return _guide(file, turf)


def _all(problems: Sequence[str], name: str) -> str:
    return "\n".join(f"{name}: {problem}" for problem in dict.fromkeys(problems))


def _told(entry: Any) -> str:
    where = "".join(f"[{part + 1}]" if isinstance(part, int) else f".{part}" for part in entry["loc"])
    if entry["type"] == "extra_forbidden":
        return f"{where.lstrip('.')}: unknown key"
    if entry["type"] == "missing":
        return f"{where.lstrip('.')}: is missing"
    message = str(entry["msg"]).removeprefix("Value error, ")
    found = repr(str(entry.get("input"))[:60])
    return f"{where.lstrip('.')}: found {found}; allowed is: {message[0].lower()}{message[1:]}"


def _problems_in_rows(table: Mapping[str, Any], turf: Turf) -> list[str]:
    """Problems of those height rows that have the right shape."""
    rows = table.get("heights")
    good = []
    for index, row in enumerate(rows if isinstance(rows, list) else []):
        try:
            good.append((index, _HeightRow.model_validate(row)))
        except ValidationError:
            continue
    return _height_problems(good, turf)


def _problems(file: _File, turf: Turf) -> list[str]:
    problems = _height_problems(list(enumerate(file.heights)), turf)
    for index, rule in enumerate(file.rules.hours):
        if rule.start >= rule.to:
            problems.append(f"rules.hours[{index + 1}]: from {rule.start} is not before to {rule.to}")
    for name in file.says:
        if name not in SPOKEN:
            problems.append(f"says.{name}: unknown; sentences are said for {', '.join(SPOKEN)}")
    return problems


def _height_problems(rows: Sequence[tuple[int, _HeightRow]], turf: Turf) -> list[str]:
    problems, spans = [], []
    for index, row in rows:
        where = f"heights[{index + 1}]"
        try:
            grass = turf.grass(row.grass)
        except InputError as error:
            problems.append(f"{where}.grass: {error}")
            continue
        problems += [f"{where}: {problem}" for problem in _range_problems(row, grass)]
        spans.append((where, (grass.grass_id, row.use), _span(row.season)))
    for (where, what, span), (other_where, other_what, other) in combinations(spans, 2):
        if what == other_what and span.overlaps(other):
            problems.append(f"{other_where}.season: overlaps {where} for {what[0]}, {what[1]}")
    return problems


def _range_problems(row: _HeightRow, grass: Grass) -> list[str]:
    low, high = row.mm
    problems = []
    if not grass.lowest_mm <= low <= high <= grass.highest_mm:
        problems.append(
            f"mm: found {low:g} to {high:g}; {grass.name} is kept at "
            f"{grass.lowest_mm:g} to {grass.highest_mm:g} mm, the lower first"
        )
    if not low <= row.usual_mm <= high:
        problems.append(f"usual_mm: found {row.usual_mm:g}; it lies within mm, {low:g} to {high:g}")
    return problems


def _guide(file: _File, turf: Turf) -> Guide:
    rules = file.rules
    return Guide(
        guide_id=file.guide,
        version=file.version,
        title=file.title,
        region=file.region,
        adviser=file.adviser,
        third=rules.one_third,
        heights=tuple(
            GuideHeight(turf.grass(row.grass).grass_id, row.use, _span(row.season), *row.mm, row.usual_mm)
            for row in file.heights
        ),
        habits=tuple(
            Habit(Season(season), _span(row.first_cut), _span(row.last_cut))
            for season, row in file.habits.items()
        ),
        hours=tuple(
            Hours(frozenset(DAY_NAMES.index(day) for day in rule.days), rule.start, rule.to)
            for rule in rules.hours
        ),
        height_caps_mm=dict(rules.height_cap_mm),
        treatments={
            kind: Interval(row.before_days, row.after_days) for kind, row in rules.treatments.items()
        },
        dates=tuple(
            GuideDates(_dated(row.reason), _span(row.season), frozenset(row.uses), row.note)
            for row in rules.dates
        ),
        says={name: {str(key): line for key, line in lines.items()} for name, lines in file.says.items()},
    )


def _span(season: Span) -> DaySpan:
    first, last = (tuple(map(int, text.split("-"))) for text in season)
    return DaySpan((first[0], first[1]), (last[0], last[1]))


def _dated(reason: str) -> HoldReason:
    return next(one for one in DATED if one.value == reason)
