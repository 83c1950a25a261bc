"""A season is counted as it was, and a region's figures tell of nobody's lawn."""

from collections import Counter
from collections.abc import Mapping
from datetime import date, timedelta
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.lookback import (
    FEWEST_LAWNS,
    MOST_GROUPS,
    Bite,
    Cell,
    Cut,
    HoldsTold,
    Period,
    Tally,
    Told,
    count_season,
    figures,
    season_until,
    shown_groups,
    shown_tallies,
)
from mowalert.domain.words import HoldReason, NoticeKind

YEAR = Period(date(2026, 1, 1), date(2026, 9, 30))
HEAT, DROUGHT, COLD = HoldReason.HEAT, HoldReason.DROUGHT, HoldReason.COLD


def on(month: int, day: int) -> date:
    return date(2026, month, day)


def a_cut(on: date, before_mm: float | None = 90.0, after_mm: float = 70.0, *, assumed: bool = False) -> Cut:
    return Cut(on, after_mm, before_mm, assumed)


def held(on: date, reason: HoldReason = DROUGHT) -> Told:
    return Told(on, NoticeKind.HOLD, reason)


def released(on: date, reason: HoldReason = DROUGHT) -> Told:
    return Told(on, NoticeKind.RELEASE, reason)


def season(*cuts: Cut, told: tuple[Told, ...] = ()) -> Tally:
    return count_season(1, cuts, told, YEAR)


def test_cuts_fall_into_the_bands_of_the_third() -> None:
    befores = (105.0, 106.0, 117.0, 140.0, 141.0, None)
    cuts = [a_cut(on(5, 1 + number), before) for number, before in enumerate(befores)]
    shown = figures(season(*cuts))
    assert shown.cuts == 6
    bands = (shown.on_time, shown.near_miss, shown.too_much, shown.severe, shown.share_unknown)
    assert bands == (1, 1, 2, 1, 1)


def test_grass_lower_than_the_cut_is_a_cut_that_took_nothing() -> None:
    shown = figures(season(a_cut(on(5, 1), 60.0, 70.0)))
    assert shown.on_time == 1
    assert shown.biggest_bite == Bite(0.0, on(5, 1), 1)


def test_the_biggest_bite_has_its_day() -> None:
    cuts = a_cut(on(5, 1)), a_cut(on(5, 9), 140.0), a_cut(on(5, 20), 100.0)
    assert figures(season(*cuts)).biggest_bite == Bite(0.5, on(5, 9), 1)


def test_assumed_cuts_count_apart_and_leave_gaps() -> None:
    cuts = a_cut(on(5, 1)), a_cut(on(5, 9), None, assumed=True), a_cut(on(5, 15)), a_cut(on(5, 21))
    shown = figures(season(*cuts))
    assert (shown.cuts, shown.cuts_assumed) == (3, 1)
    assert shown.median_days_between == 6


def test_days_between_are_between_days_and_have_a_median() -> None:
    days = (1, 1, 5, 11, 19, 20)
    assert figures(season(*(a_cut(on(5, day)) for day in days))).median_days_between == 5
    assert figures(season(a_cut(on(5, 1)))).median_days_between is None


def test_growth_is_from_one_cut_to_the_next_where_both_heights_are_known() -> None:
    cuts = (
        a_cut(on(4, 20), 95.0, 70.0),
        a_cut(on(4, 27), 96.0, 75.0),
        a_cut(on(5, 1), None, 70.0),
        a_cut(on(5, 9), 69.0, 60.0),
        a_cut(on(5, 15), 80.0, 60.0),
    )
    assert season(*cuts).grown_mm == pytest.approx(26 + 20)


def test_cuts_outside_the_period_do_not_count() -> None:
    cuts = a_cut(date(2025, 12, 31)), a_cut(on(1, 1)), a_cut(on(9, 30)), a_cut(on(10, 1))
    assert figures(season(*cuts)).cuts == 2


def test_holds_last_from_being_told_to_the_release() -> None:
    told = held(on(6, 1)), released(on(6, 11)), held(on(7, 1), HEAT), released(on(7, 5), HEAT)
    shown = figures(season(told=(*told, held(on(8, 1)), released(on(8, 6)))))
    assert shown.holds == (HoldsTold(DROUGHT, 2, 15), HoldsTold(HEAT, 1, 4))


def test_a_hold_without_release_lasts_to_the_end() -> None:
    assert figures(season(told=(held(on(9, 30)),))).holds == (HoldsTold(DROUGHT, 1, 1),)


def test_a_hold_of_another_reason_ends_the_one_before_and_the_same_again_does_not() -> None:
    told = held(on(6, 1)), held(on(6, 3)), held(on(6, 11), COLD), released(on(6, 21), COLD)
    assert figures(season(told=told)).holds == (HoldsTold(DROUGHT, 1, 10), HoldsTold(COLD, 1, 10))


def test_a_hold_from_before_counts_the_days_within() -> None:
    winter = held(date(2025, 11, 10), COLD)
    assert figures(season(told=(winter, released(on(3, 1), COLD)))).holds == (HoldsTold(COLD, 1, 59),)
    assert figures(season(told=(winter, released(on(1, 1), COLD)))).holds == ()


@pytest.mark.parametrize(
    ("cut_on", "followed"), [((5, 7), 1), ((5, 10), 1), ((5, 11), 0), ((5, 6), 0)], ids=str
)
def test_a_notice_is_followed_by_a_cut_up_to_the_day_after_the_one_advised(
    cut_on: tuple[int, int], followed: int
) -> None:
    said = Told(on(5, 7), NoticeKind.MOW, advised_on=on(5, 9))
    shown = figures(season(a_cut(on(*cut_on)), told=(said,)))
    assert (shown.mow_notices, shown.mow_followed) == (1, followed)


def test_an_assumed_cut_follows_no_notice_and_being_allowed_to_mow_is_none() -> None:
    said = Told(on(5, 7), NoticeKind.OVERGROWN, advised_on=on(5, 9)), Told(on(5, 8), NoticeKind.MAY_MOW)
    shown = figures(season(a_cut(on(5, 9), None, assumed=True), told=said))
    assert (shown.mow_notices, shown.mow_followed) == (1, 0)


def test_a_cut_after_the_period_still_answers_its_last_notice() -> None:
    said = Told(on(9, 29), NoticeKind.MOW, advised_on=on(10, 3))
    shown = figures(season(a_cut(on(10, 3)), told=(said,)))
    assert (shown.cuts, shown.mow_followed) == (0, 1)


def test_the_season_is_the_year_so_far_or_twelve_months_in_the_south() -> None:
    assert season_until(on(5, 7), southern=False) == Period(on(1, 1), on(5, 7))
    assert season_until(date(2028, 2, 29), southern=True) == Period(date(2027, 3, 2), date(2028, 2, 29))


def test_seasons_add_up() -> None:
    one = season(a_cut(on(5, 1)), a_cut(on(5, 7), 140.0), told=(held(on(6, 1)), released(on(6, 5))))
    both = figures(one + season(a_cut(on(5, 2), 117.0), told=(held(on(9, 29)),)) + Tally())
    assert (both.lawns, both.cuts, both.on_time, both.too_much) == (2, 3, 1, 2)
    assert both.holds == (HoldsTold(DROUGHT, 2, 6),)
    assert both.biggest_bite == Bite(0.5, on(5, 7), 1)


def test_a_region_shows_no_single_cut_and_no_median_of_few_lawns() -> None:
    one = season(a_cut(on(5, 1)), a_cut(on(5, 7)))
    idle = Tally(lawns=20)
    few = figures(sum([one] * (FEWEST_LAWNS - 1), idle), of_a_region=True)
    many = figures(sum([one] * FEWEST_LAWNS, idle), of_a_region=True)
    assert (few.biggest_bite, few.median_days_between) == (None, None)
    assert (many.biggest_bite, many.median_days_between) == (None, 6)


def by_one(**lawns: int) -> dict[Cell, int]:
    return {(name,): count for name, count in lawns.items()}


@pytest.mark.parametrize(
    ("lawns", "names"),
    [
        (by_one(a=30), "a"),
        (by_one(a=30, b=10), "ab"),
        (by_one(a=9), ""),
        # One small group would be the total without the others: the next goes with it.
        (by_one(a=30, b=12, c=3), "a"),
        (by_one(a=12, c=3), ""),
        # Two small ones hide each other if they are enough together.
        (by_one(a=30, b=12, c=6, d=4), "ab"),
        (by_one(a=30, b=12, c=6, d=3), "a"),
    ],
)
def test_small_groups_hide_with_the_next_smallest(lawns: dict[Cell, int], names: str) -> None:
    assert shown_groups(lawns) == (frozenset(names),)


def test_groups_of_two_groupings_may_not_tell_of_their_difference() -> None:
    """All sports turf is bermudagrass, and five bermudagrass lawns are not sports turf."""
    lawns = {("blue", "lawn"): 40, ("bermuda", "sports"): 15, ("bermuda", "lawn"): 5}
    assert shown_groups(lawns) == (frozenset({"blue", "bermuda"}), frozenset())
    assert shown_groups({**lawns, ("bermuda", "lawn"): 10})[1] == {"lawn", "sports"}


def test_three_groupings_may_not_tell_of_what_no_two_of_them_tell() -> None:
    """Bermudagrass and sports turf, less the parks' lawns, are twice the bermudagrass sports turf."""
    lawns = {
        ("blue", "lawn", "home"): 50,
        ("blue", "sports", "parks"): 30,
        ("bermuda", "lawn", "parks"): 29,
        ("bermuda", "sports", "home"): 4,
    }
    shown = shown_groups(lawns)
    assert sum(bool(names) for names in shown) == 2
    for place in range(3):
        two = Counter[Cell]()
        for cell, count in lawns.items():
            two[cell[:place] + cell[place + 1 :]] += count
        assert all(len(names) == 2 for names in shown_groups(two))


def test_alike_groupings_hide_nothing_from_one_another() -> None:
    lawns = {("blue", "lawn", "home"): 40, ("bermuda", "sports", "parks"): 10}
    assert all(len(names) == 2 for names in shown_groups(lawns))


def test_of_very_many_groups_the_largest_are_shown() -> None:
    lawns = {(f"use{number}",): 50 + number for number in range(60)}
    (names,) = shown_groups(lawns)
    assert names == {f"use{number}" for number in range(60 - MOST_GROUPS, 60)}


def test_no_lawns_have_no_groups() -> None:
    assert shown_groups({}) == ()


def test_rows_are_ordered_by_size_with_the_rest_last() -> None:
    tallies = {(name,): Tally(lawns=count) for name, count in (("c", 6), ("b", 11), ("d", 5), ("a", 30))}
    (rows,) = shown_tallies(tallies)
    assert [(name, tally.lawns) for name, tally in rows.items()] == [("a", 30), ("b", 11), (None, 11)]


MIXES = st.dictionaries(
    st.tuples(st.sampled_from("abc"), st.sampled_from("xyz"), st.sampled_from("hp")),
    st.one_of(st.integers(1, 12), st.integers(13, 40)),
    min_size=1,
)


@given(MIXES)
def test_nothing_shown_and_no_sum_or_difference_of_it_tells_of_few_lawns(lawns: Mapping[Cell, int]) -> None:
    if sum(lawns.values()) < FEWEST_LAWNS:
        assert not any(shown_groups(lawns))
        return
    groups = shown_tallies({cell: Tally(lawns=count) for cell, count in lawns.items()})
    assert all(tally.lawns >= FEWEST_LAWNS for rows in groups for tally in rows.values())
    rows = [np.ones(len(lawns))]
    for place, names in enumerate(shown_groups(lawns)):
        rows += [np.array([cell[place] == name for cell in lawns], dtype=float) for name in names]
    factors = np.array(list(product((-1, 0, 1), repeat=len(rows))))
    touched = (factors @ np.array(rows) != 0) @ np.array(list(lawns.values()))
    assert not np.any((touched > 0) & (touched < FEWEST_LAWNS))


@given(MIXES)
def test_groups_of_a_grouping_add_up_to_all(lawns: Mapping[Cell, int]) -> None:
    for rows in shown_tallies({cell: Tally(lawns=count) for cell, count in lawns.items()}):
        assert sum(tally.lawns for tally in rows.values()) in (0, sum(lawns.values()))


@given(MIXES)
def test_a_group_is_hidden_only_where_it_would_tell_of_few(lawns: Mapping[Cell, int]) -> None:
    """One grouping alone: all groups that are large enough are shown, but at most one."""
    sizes = Counter[str]()
    for cell, count in lawns.items():
        sizes[cell[0]] += count
    large = {name for name, count in sizes.items() if count >= FEWEST_LAWNS}
    (shown,) = shown_groups({(name,): count for name, count in sizes.items()})
    small = sum(count for name, count in sizes.items() if name not in large)
    assert len(large - shown) == (1 if large and 0 < small < FEWEST_LAWNS else 0)


@given(st.lists(st.tuples(st.integers(0, 400), st.booleans()), max_size=30))
def test_counts_of_a_season_hang_together(days: list[tuple[int, bool]]) -> None:
    cuts = [
        a_cut(YEAR.first_on + timedelta(days=day), None if assumed else 95.0, assumed=assumed)
        for day, assumed in sorted(days)
    ]
    shown = figures(season(*cuts))
    bands = shown.on_time + shown.near_miss + shown.too_much + shown.severe + shown.share_unknown
    assert shown.cuts == bands
    assert shown.cuts + shown.cuts_assumed == sum(cut.on in YEAR for cut in cuts)
