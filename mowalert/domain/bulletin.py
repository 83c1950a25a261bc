"""A region's week: how its grasses grow, how often they ask for a cut, what holds them, and one lesson.

Made of stands, which are weather, grass and soil: no lawn comes in here, so none can be read out of it.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from math import floor
from statistics import fmean, median

from mowalert.domain.grasses import Grass
from mowalert.domain.growth import growth_to_reach_mm, lawn_pace
from mowalert.domain.guides import LAWN_USE, DaySpan, Guide
from mowalert.domain.holds import TOLD
from mowalert.domain.thirds import limit_height_mm
from mowalert.domain.words import HoldReason, Sun, Units, Watering

WEEK_D = 7
LEAST_SITES = 3
"""A weather cell with fewer places is not drawn: its square could point at somebody's garden."""
LEAST_SHARE = 0.01
"""A hold on less of the turf than this is not worth a line."""
MOST_DAYS = 28
"""Past this a week's growth says nothing about the next cut."""
FAST, STEADY, SLOW = 0.9, 0.4, 0.1
"""Growth of a week against that of the grass's best days, the spring flush aside; working values."""
TOLD_APART, TOLD_APART_MM = 0.2, 3.5
"""Watered and unwatered turf get rows of their own where their week differs by this share and height."""
MOSTLY = 0.5
PARCHED = 0.25
"""Share of the turf under a dry or hot hold from which the lesson is about that; working value."""
DRY_OR_HOT = frozenset({HoldReason.DORMANT, HoldReason.DROUGHT, HoldReason.HEAT})
SPRING, BEFORE_SUMMER, AUTUMN = (
    DaySpan((3, 1), (5, 31)),
    DaySpan((5, 25), (6, 20)),
    DaySpan((9, 1), (11, 30)),
)
"""Seasons north of the equator, where a raised height still pays before the heat; common practice."""
HALF_YEAR = timedelta(days=182)


class Tempo(StrEnum):
    """How fast a grass grows, beside its best days."""

    FAST = "fast"
    STEADY = "steady"
    SLOW = "slow"
    REST = "rest"


class Lesson(StrEnum):
    """What a bulletin teaches, each with a drawing."""

    THIRD = "third"
    ROOTS = "roots"
    CLIPPINGS = "clippings"


class LessonReason(StrEnum):
    """Why a lesson fits the week."""

    DRY = "dry"
    BEFORE_SUMMER = "before_summer"
    FAST = "fast"
    SPRING = "spring"
    AUTUMN = "autumn"
    STEADY = "steady"
    REST = "rest"


@dataclass(frozen=True, slots=True)
class StandWeek:
    """One stand's growth in a week and the one before it, and the holds in force. [mm]

    ``before_mm`` is none where the stand was not seen that long.
    """

    cell_id: int
    grass: Grass
    sun: Sun
    watering: Watering
    before_mm: float | None
    week_mm: float
    holds: tuple[HoldReason, ...] = ()


@dataclass(frozen=True, slots=True)
class CellPlace:
    """The middle of a weather cell [°], and how many places of the guide's lie in it."""

    latitude_deg: float
    longitude_deg: float
    sites: int


@dataclass(frozen=True, slots=True)
class CutEvery:
    """Whole days from one cut to the next at a height, by the week's growth; none beyond four weeks. [mm]"""

    height_mm: float
    days: int | None


@dataclass(frozen=True, slots=True)
class GrassWeek:
    """A fully fed lawn of one grass, kept at 50 mm: what it grew and will grow. [mm]

    ``sun`` is the most any turf of this grass has here; ``watering`` is told only where it makes a
    difference. ``by_guide`` says whether the heights of ``cuts`` are the guide's or usual ones.
    """

    grass_id: str
    name: str
    sun: Sun
    watering: Watering | None
    before_mm: float | None
    week_mm: float
    tempo: Tempo
    by_guide: bool
    cuts: tuple[CutEvery, ...]


@dataclass(frozen=True, slots=True)
class HeldShare:
    """A hold in force, and the share of the stands it holds."""

    reason: HoldReason
    share: float


@dataclass(frozen=True, slots=True)
class DatesNow:
    """Days on which the guide leaves turf of some uses alone, those that meet the week; no uses means all."""

    reason: HoldReason
    first_on: date
    last_on: date
    uses: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True)
class CellWeek:
    """Growth of the most widespread turf in one weather cell. [mm]"""

    latitude_deg: float
    longitude_deg: float
    week_mm: float


@dataclass(frozen=True, slots=True)
class Bulletin:
    """One region's week.

    ``grasses`` begin with the most widespread; ``hold`` is the hold that most of the turf is under, if
    most of it is under any. ``holds_on`` is the day whose holds are told, ``units`` the region's usual.
    """

    guide_id: str
    version: int
    title: str
    region: str
    adviser: str
    third: float
    week_on: date
    holds_on: date
    grasses: tuple[GrassWeek, ...]
    held: tuple[HeldShare, ...]
    hold: HoldReason | None
    dates: tuple[DatesNow, ...]
    cells: tuple[CellWeek, ...]
    lesson: Lesson
    lesson_reason: LessonReason
    units: Units
    sources: tuple[str, ...]
    fetched_at: datetime

    @property
    def last_on(self) -> date:
        """The week's Sunday."""
        return self.week_on + timedelta(days=WEEK_D - 1)


@dataclass(frozen=True, slots=True)
class WeekStamp:
    """Of which day a bulletin's holds are, what its weather came from, when, and the region's usual units."""

    holds_on: date
    sources: tuple[str, ...]
    fetched_at: datetime
    units: Units


def monday_of(on: date) -> date:
    """Return the Monday of a date's week."""
    return on - timedelta(days=on.weekday())


def bulletin_of(
    guide: Guide, stands: Sequence[StandWeek], cells: Mapping[int, CellPlace], stamp: WeekStamp
) -> Bulletin:
    """Put a region's week together.

    Parameters
    ----------
    guide : Guide
        The version in force.
    stands : Sequence[StandWeek]
        Stands the guide speaks of, at least one.
    cells : Mapping[int, CellPlace]
        Their weather cells.
    stamp : WeekStamp
        Day, sources and units.

    Returns
    -------
    Bulletin
        Nothing in it tells of a lawn, or of a cell with fewer than three places.
    """
    week_on = monday_of(stamp.holds_on)
    groups = _groups(stands)
    grasses = tuple(_grass_week(guide, members, watering, week_on) for members, watering in groups)
    south = fmean(cell.latitude_deg for cell in cells.values()) < 0
    state = WeekState(week_on + HALF_YEAR if south else week_on, grasses[0].tempo, _share(stands, DRY_OR_HOT))
    reason, lesson = lesson_for(state)
    held = held_shares(stands)
    return Bulletin(
        guide_id=guide.guide_id,
        version=guide.version,
        title=guide.title,
        region=guide.region,
        adviser=guide.adviser,
        third=guide.third,
        week_on=week_on,
        holds_on=stamp.holds_on,
        grasses=grasses,
        held=held,
        hold=_main_hold(stands, held),
        dates=tuple(_dates_now(guide, week_on)),
        cells=tuple(_cells(groups[0][0], cells)),
        lesson=lesson,
        lesson_reason=reason,
        units=stamp.units,
        sources=stamp.sources,
        fetched_at=stamp.fetched_at,
    )


# --- growth by grass ---


def _groups(stands: Sequence[StandWeek]) -> list[tuple[list[StandWeek], Watering | None]]:
    """Stands that are told of in one row, the most widespread first."""
    by_grass: dict[str, list[StandWeek]] = {}
    for stand in stands:
        by_grass.setdefault(stand.grass.grass_id, []).append(stand)
    lit = sorted(map(_sunniest, by_grass.values()), key=lambda of: (-len(of), of[0].grass.name))
    return [group for of_grass in lit for group in _by_watering(of_grass)]


def _sunniest(stands: Sequence[StandWeek]) -> list[StandWeek]:
    """Shade slows a stand down: those with the most sun are comparable."""
    order = list(Sun)
    sun = min((stand.sun for stand in stands), key=order.index)
    return [stand for stand in stands if stand.sun is sun]


def _by_watering(stands: list[StandWeek]) -> list[tuple[list[StandWeek], Watering | None]]:
    dry = [stand for stand in stands if stand.watering is Watering.NONE]
    wet = [stand for stand in stands if stand.watering is not Watering.NONE]
    if not dry or not wet or not _differ(_middle_mm(dry), _middle_mm(wet)):
        return [(stands, None)]
    told_apart: list[tuple[list[StandWeek], Watering | None]] = [
        (dry, Watering.NONE),
        (wet, Watering.REGULAR),
    ]
    return sorted(told_apart, key=lambda group: -len(group[0]))


def _differ(one_mm: float, other_mm: float) -> bool:
    apart_mm = abs(one_mm - other_mm)
    return apart_mm > TOLD_APART_MM and apart_mm > TOLD_APART * max(one_mm, other_mm)


def _middle_mm(stands: Iterable[StandWeek]) -> float:
    return median(stand.week_mm for stand in stands)


def _grass_week(
    guide: Guide, stands: Sequence[StandWeek], watering: Watering | None, week_on: date
) -> GrassWeek:
    grass, week_mm = stands[0].grass, _middle_mm(stands)
    before = [stand.before_mm for stand in stands if stand.before_mm is not None]
    heights, by_guide = common_heights_mm(guide, grass, week_on)
    return GrassWeek(
        grass_id=grass.grass_id,
        name=grass.name,
        sun=stands[0].sun,
        watering=watering,
        before_mm=round(median(before), 1) if before else None,
        week_mm=round(week_mm, 1),
        tempo=tempo_of(grass, week_mm),
        by_guide=by_guide,
        cuts=tuple(
            CutEvery(height_mm, days_between_cuts(grass, height_mm, week_mm=week_mm, third=guide.third))
            for height_mm in heights
        ),
    )


def tempo_of(grass: Grass, week_mm: float) -> Tempo:
    """Say how fast a week's growth is for a grass. [mm]"""
    share = week_mm / WEEK_D / grass.g50_mm_d
    if share >= FAST:
        return Tempo.FAST
    if share >= STEADY:
        return Tempo.STEADY
    return Tempo.SLOW if share >= SLOW else Tempo.REST


def common_heights_mm(guide: Guide, grass: Grass, on: date) -> tuple[tuple[float, ...], bool]:
    """Return up to three heights for a lawn of a grass, from low to high, and whether they are the guide's.

    Parameters
    ----------
    guide : Guide
        Whose lowest, usual and highest height count.
    grass : Grass
        The grass; its own usual heights count where the guide has none for the day.
    on : date
        The day.

    Returns
    -------
    tuple[tuple[float, ...], bool]
        The heights, and where they are from. [mm]
    """
    row = guide.height(grass.grass_id, LAWN_USE, on)
    if row is not None:
        return tuple(sorted({row.low_mm, row.usual_mm, row.high_mm})), True
    low_mm, high_mm = grass.usual_mm
    return tuple(sorted({low_mm, 5 * round((low_mm + high_mm) / 10), high_mm})), False


def days_between_cuts(grass: Grass, height_mm: float, *, week_mm: float, third: float) -> int | None:
    """Return the whole days a fully fed lawn may wait from one cut to the next.

    Parameters
    ----------
    grass : Grass
        The grass.
    height_mm : float
        Height it is cut to. [mm]
    week_mm : float
        The week's growth of a lawn kept at 50 mm. [mm]
    third : float
        Largest share of the blade a cut may take. [-]

    Returns
    -------
    int | None
        Days, rounded down so that the last of them is no day too many; none beyond four weeks. [d]
    """
    need_mm = growth_to_reach_mm(
        limit_height_mm(height_mm, third),
        from_height_mm=height_mm,
        pace=lawn_pace(height_mm),
        ceiling_mm=grass.ceiling_mm,
    )
    if need_mm is None or week_mm * MOST_DAYS < need_mm * WEEK_D:
        return None
    return floor(need_mm * WEEK_D / week_mm)


# --- holds ---


def held_shares(stands: Sequence[StandWeek]) -> tuple[HeldShare, ...]:
    """Return each hold in force with the share of the stands it holds, the most serious first."""
    shares = (HeldShare(reason, round(_share(stands, {reason}), 3)) for reason in TOLD)
    return tuple(held for held in shares if held.share >= LEAST_SHARE)


def _share(stands: Sequence[StandWeek], reasons: Iterable[HoldReason]) -> float:
    asked = set(reasons)
    return sum(not asked.isdisjoint(stand.holds) for stand in stands) / len(stands)


def _main_hold(stands: Sequence[StandWeek], held: Sequence[HeldShare]) -> HoldReason | None:
    if _share(stands, TOLD) < MOSTLY:
        return None
    return max(held, key=lambda one: one.share).reason


def _dates_now(guide: Guide, week_on: date) -> Iterable[DatesNow]:
    week = [week_on + timedelta(days=day) for day in range(WEEK_D)]
    for dates in guide.dates:
        on = next((day for day in week if dates.span.holds(day)), None)
        if on is not None:
            yield DatesNow(dates.reason, *dates.span.around(on), tuple(sorted(dates.uses)), dates.note)


# --- the map ---


def _cells(stands: Sequence[StandWeek], cells: Mapping[int, CellPlace]) -> Iterable[CellWeek]:
    """Growth of one kind of turf: of mixed ones a map would show who planted what, not the weather."""
    by_cell: dict[int, list[StandWeek]] = {}
    for stand in stands:
        if cells[stand.cell_id].sites >= LEAST_SITES:
            by_cell.setdefault(stand.cell_id, []).append(stand)
    # In the order of places: that of ids would tell who came first.
    for cell_id in sorted(by_cell, key=lambda one: (-cells[one].latitude_deg, cells[one].longitude_deg)):
        cell = cells[cell_id]
        yield CellWeek(cell.latitude_deg, cell.longitude_deg, round(_middle_mm(by_cell[cell_id]), 1))


# --- the lesson ---


@dataclass(frozen=True, slots=True)
class WeekState:
    """What the rules of lessons look at: the Monday as the north counts seasons, tempo, share dry or hot."""

    on: date
    tempo: Tempo
    parched: float


LessonRule = Callable[[WeekState], bool]
LESSONS: tuple[tuple[LessonReason, Lesson, LessonRule], ...] = (
    (LessonReason.DRY, Lesson.ROOTS, lambda week: week.parched >= PARCHED),
    (LessonReason.BEFORE_SUMMER, Lesson.ROOTS, lambda week: BEFORE_SUMMER.holds(week.on)),
    (LessonReason.FAST, Lesson.THIRD, lambda week: week.tempo is Tempo.FAST),
    (LessonReason.SPRING, Lesson.THIRD, lambda week: SPRING.holds(week.on)),
    (LessonReason.AUTUMN, Lesson.CLIPPINGS, lambda week: AUTUMN.holds(week.on)),
    (LessonReason.STEADY, Lesson.CLIPPINGS, lambda week: week.tempo is Tempo.STEADY),
)
"""The first rule that fits has the word. What the turf suffers from comes before what the season brings."""


def lesson_for(week: WeekState) -> tuple[LessonReason, Lesson]:
    """Choose what a bulletin teaches, and say why; while grass rests there is time to think of heights."""
    fitting = ((reason, lesson) for reason, lesson, fits in LESSONS if fits(week))
    return next(fitting, (LessonReason.REST, Lesson.ROOTS))
