"""A bulletin speaks of stands, points at nobody, and teaches what fits the week."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from builders import BLUEGRASS, TURF
from hypothesis import assume, given
from hypothesis import strategies as st

from mowalert.domain.bulletin import (
    LEAST_SITES,
    MOST_DAYS,
    Bulletin,
    CellPlace,
    Lesson,
    LessonReason,
    StandWeek,
    Tempo,
    WeekStamp,
    WeekState,
    bulletin_of,
    common_heights_mm,
    days_between_cuts,
    lesson_for,
    monday_of,
    tempo_of,
)
from mowalert.domain.growth import KEPT_BELOW_CEILING, height_mm, lawn_pace
from mowalert.domain.guides import DaySpan, Guide, GuideDates, GuideHeight
from mowalert.domain.thirds import THIRD, limit_height_mm, removed_fraction
from mowalert.domain.words import HoldReason, Sun, Units, Watering

MONDAY = date(2026, 5, 4)
FESCUE = TURF.grasses["tall_fescue"]
GUIDE = Guide(
    "hill",
    3,
    "Hill country",
    "hills",
    "an adviser",
    heights=(GuideHeight("kentucky_bluegrass", "lawn", DaySpan((3, 1), (6, 14)), 60, 80, 65),),
    dates=(
        GuideDates(HoldReason.NESTING, DaySpan((5, 10), (7, 15)), frozenset({"meadow_edge"}), "Birds."),
        GuideDates(HoldReason.NOISE, DaySpan((5, 11), (5, 12)), frozenset(), "A feast."),
    ),
)
STAMP = WeekStamp(MONDAY, ("nws",), datetime(2026, 5, 4, 6, tzinfo=UTC), Units.US)
CELLS = {
    1: CellPlace(42.0, -93.0, 3),
    2: CellPlace(42.1, -93.0, 7),
    3: CellPlace(42.0, -93.1, LEAST_SITES - 1),
}


def a_stand(**changes: Any) -> StandWeek:
    stand = StandWeek(1, BLUEGRASS, Sun.FULL, Watering.NONE, before_mm=18.0, week_mm=21.0)
    return replace(stand, **changes)


def made(*stands: StandWeek, **changes: Any) -> Bulletin:
    cells = changes.pop("cells", CELLS)
    return bulletin_of(changes.pop("guide", GUIDE), stands, cells, replace(STAMP, **changes))


# --- growth and intervals ---


def test_a_row_tells_both_weeks_of_the_middle_stand() -> None:
    (row,) = made(
        a_stand(week_mm=20, before_mm=None), a_stand(week_mm=21.04), a_stand(week_mm=90, before_mm=18.4)
    ).grasses
    assert (row.name, row.week_mm, row.before_mm) == ("Kentucky bluegrass", 21.0, 18.2)
    assert (row.watering, row.sun, row.by_guide) == (None, Sun.FULL, True)


def test_a_week_nobody_saw_before_is_left_open() -> None:
    (row,) = made(a_stand(before_mm=None)).grasses
    assert row.before_mm is None


def test_the_most_widespread_grass_comes_first() -> None:
    rows = made(a_stand(), a_stand(grass=FESCUE), a_stand(grass=FESCUE)).grasses
    assert [row.grass_id for row in rows] == ["tall_fescue", "kentucky_bluegrass"]


def test_watered_turf_has_a_row_of_its_own_only_where_it_makes_a_difference() -> None:
    dry, wet = a_stand(week_mm=6.0), a_stand(week_mm=20.0, watering=Watering.REGULAR)
    rows = made(dry, wet, wet).grasses
    assert [(row.watering, row.week_mm) for row in rows] == [(Watering.REGULAR, 20.0), (Watering.NONE, 6.0)]
    (row,) = made(replace(dry, week_mm=19.0), wet).grasses
    assert (row.watering, row.week_mm) == (None, 19.5)
    (row,) = made(replace(dry, week_mm=0.2), replace(wet, week_mm=1.2)).grasses
    assert row.watering is None, "a millimetre makes no difference, whatever the share"


def test_rows_of_one_grass_stand_together() -> None:
    dry, wet = a_stand(week_mm=6.0), a_stand(week_mm=20.0, watering=Watering.REGULAR)
    rows = made(dry, dry, wet, *[a_stand(grass=FESCUE)] * 2).grasses
    assert [(row.grass_id, row.watering) for row in rows] == [
        ("kentucky_bluegrass", Watering.NONE),
        ("kentucky_bluegrass", Watering.REGULAR),
        ("tall_fescue", None),
    ]


def test_shade_is_told_only_where_a_grass_has_no_sun() -> None:
    shade = a_stand(sun=Sun.SHADE, week_mm=8.0)
    assert made(a_stand(), shade, shade).grasses[0].week_mm == 21.0
    assert made(shade).grasses[0].sun is Sun.SHADE


@given(
    st.sampled_from(sorted(TURF.grasses)),
    st.floats(8, 110),
    st.floats(0.01, 60),
    st.floats(0.1, 0.4),
)
def test_an_interval_keeps_the_rule_and_a_day_more_would_not(
    grass_id: str, chosen_mm: float, week_mm: float, third: float
) -> None:
    grass = TURF.grasses[grass_id]
    assume(limit_height_mm(chosen_mm, third) < KEPT_BELOW_CEILING * grass.ceiling_mm)
    days = days_between_cuts(grass, chosen_mm, week_mm=week_mm, third=third)

    def taken(days: int) -> float:
        grown = height_mm(
            days * week_mm / 7,
            from_height_mm=chosen_mm,
            pace=lawn_pace(chosen_mm),
            ceiling_mm=grass.ceiling_mm,
        )
        return removed_fraction(float(grown), chosen_mm)

    assert taken(MOST_DAYS if days is None else days) <= third + 1e-6
    if days is not None:
        assert taken(days + 1) > third - 1e-6


def test_a_lower_height_is_never_cut_less_often() -> None:
    days = [days_between_cuts(BLUEGRASS, mm, week_mm=21.0, third=THIRD) or 99 for mm in range(20, 100, 5)]
    assert days == sorted(days)


def test_heights_are_the_guides_for_the_season_and_else_the_usual_ones() -> None:
    assert common_heights_mm(GUIDE, BLUEGRASS, MONDAY) == ((60, 65, 80), True)
    assert common_heights_mm(GUIDE, BLUEGRASS, date(2026, 7, 1)) == ((65, 70, 75), False)
    one = replace(GUIDE, heights=(replace(GUIDE.heights[0], low_mm=65, high_mm=65),))
    assert common_heights_mm(one, BLUEGRASS, MONDAY) == ((65,), True)


@pytest.mark.parametrize(
    ("share", "tempo"), [(1.4, Tempo.FAST), (0.6, Tempo.STEADY), (0.2, Tempo.SLOW), (0.02, Tempo.REST)]
)
def test_tempo_is_growth_beside_the_grass_at_its_best(share: float, tempo: Tempo) -> None:
    assert tempo_of(BLUEGRASS, 7 * share * BLUEGRASS.g50_mm_d) is tempo


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_a_week_begins_on_monday(on: date) -> None:
    monday = monday_of(on)
    assert monday.weekday() == 0
    assert timedelta() <= on - monday < timedelta(days=7)


# --- holds ---


def test_a_hold_is_told_with_its_share_of_the_stands() -> None:
    hot = a_stand(holds=(HoldReason.DROUGHT, HoldReason.HEAT))
    told = made(hot, replace(hot, holds=(HoldReason.HEAT,)), a_stand(), a_stand())
    assert [(held.reason, held.share) for held in told.held] == [
        (HoldReason.DROUGHT, 0.25),
        (HoldReason.HEAT, 0.5),
    ]
    assert told.hold is HoldReason.HEAT


def test_a_hold_on_little_of_the_turf_is_no_headline_and_on_next_to_nothing_no_line() -> None:
    few = made(a_stand(holds=(HoldReason.COLD,)), *[a_stand()] * 3)
    assert (few.hold, len(few.held)) == (None, 1)
    assert made(a_stand(holds=(HoldReason.COLD,)), *[a_stand()] * 150).held == ()


def test_the_guides_dates_of_the_week_are_told_whole() -> None:
    (dates,) = made(a_stand()).dates
    assert (dates.reason, dates.first_on, dates.last_on) == (
        HoldReason.NESTING,
        date(2026, 5, 10),
        date(2026, 7, 15),
    )
    assert (dates.uses, dates.note) == (("meadow_edge",), "Birds.")
    assert made(a_stand(), holds_on=date(2026, 8, 3)).dates == ()


# --- the map ---


def test_a_cell_with_fewer_than_three_places_is_not_on_the_map() -> None:
    told = made(*(a_stand(cell_id=cell_id) for cell_id in CELLS))
    assert [(cell.latitude_deg, cell.longitude_deg) for cell in told.cells] == [(42.1, -93.0), (42.0, -93.0)]
    assert made(a_stand(cell_id=3)).cells == ()


def test_the_map_shows_one_kind_of_turf() -> None:
    told = made(a_stand(), a_stand(week_mm=23.0), a_stand(cell_id=2, grass=FESCUE, week_mm=40.0))
    assert [cell.week_mm for cell in told.cells] == [22.0]


@given(st.dictionaries(st.integers(1, 9), st.integers(1, 6), min_size=1))
def test_no_cell_of_few_places_is_ever_told(sites: dict[int, int]) -> None:
    cells = {number: CellPlace(40.0 + number / 10, -90.0, count) for number, count in sites.items()}
    told = made(*(a_stand(cell_id=number) for number in cells), cells=cells)
    shown = {cell.latitude_deg for cell in told.cells}
    assert shown == {cell.latitude_deg for cell in cells.values() if cell.sites >= LEAST_SITES}


# --- the lesson ---

LATE_MAY, APRIL, JULY, OCTOBER, JANUARY = (
    date(2026, 6, 1),
    date(2026, 4, 6),
    date(2026, 7, 6),
    date(2026, 10, 5),
    date(2026, 1, 5),
)


@pytest.mark.parametrize(
    ("on", "tempo", "parched", "reason", "lesson"),
    [
        (APRIL, Tempo.FAST, 0.6, LessonReason.DRY, Lesson.ROOTS),
        (LATE_MAY, Tempo.FAST, 0.0, LessonReason.BEFORE_SUMMER, Lesson.ROOTS),
        (JULY, Tempo.FAST, 0.2, LessonReason.FAST, Lesson.THIRD),
        (APRIL, Tempo.SLOW, 0.0, LessonReason.SPRING, Lesson.THIRD),
        (OCTOBER, Tempo.STEADY, 0.0, LessonReason.AUTUMN, Lesson.CLIPPINGS),
        (JULY, Tempo.STEADY, 0.0, LessonReason.STEADY, Lesson.CLIPPINGS),
        (JANUARY, Tempo.REST, 0.0, LessonReason.REST, Lesson.ROOTS),
    ],
)
def test_the_lesson_fits_season_and_state(
    on: date, tempo: Tempo, parched: float, reason: LessonReason, lesson: Lesson
) -> None:
    assert lesson_for(WeekState(on, tempo, parched)) == (reason, lesson)


def test_seasons_are_half_a_year_away_south_of_the_equator() -> None:
    slow = a_stand(week_mm=6.0)
    south = {1: CellPlace(-37.8, 145.0, 3)}
    assert made(slow).lesson_reason is LessonReason.SPRING
    assert made(slow, cells=south).lesson_reason is LessonReason.AUTUMN
    assert made(slow, cells=south, holds_on=date(2026, 10, 5)).lesson_reason is LessonReason.SPRING
