"""Each hold by itself: the number that starts it, the number that ends it, and how many days either takes."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.holds import (
    LASTING,
    HoldDays,
    HoldState,
    as_mask,
    hold_states,
    in_mask,
    next_heat_load,
    told_in,
    without,
)
from mowalert.domain.words import HoldReason

FIRST_ORDINAL = 739_000
MILD = {
    "t_min_c": 10.0,
    "t_max_c": 20.0,
    "mean_10_days_c": 15.0,
    "rain_48_h_mm": 0.0,
    "water_stress": 1.0,
    "soil_room_mm": 10.0,
    "heat_load": 0.0,
    "growth_mm": 2.0,
}
"""A day on which nothing holds."""
Day = dict[str, float]
DRY: Day = {"water_stress": 0.5}
WET_UNDERFOOT: Day = {"rain_48_h_mm": 25.0, "soil_room_mm": 0.0}
FROZEN: Day = {"t_min_c": -2.0, "t_max_c": 1.0}
BEGUN: dict[HoldReason, list[Day]] = {
    HoldReason.DORMANT: [{"water_stress": 0.19, "growth_mm": 0.0}] * 7,
    HoldReason.DROUGHT: [{"water_stress": 0.39}] * 2,
    HoldReason.HEAT: [DRY | {"t_max_c": 46.0}],
    HoldReason.COLD: [{"mean_10_days_c": 4.0}],
    HoldReason.WATERLOGGED: [WET_UNDERFOOT],
    HoldReason.FROST: [FROZEN],
}
"""Days that are just enough to begin each hold."""
HOLDS = st.sets(st.sampled_from(LASTING))


def days(*changes: Day, warm: bool = False, clay: bool = False, dormant_after_d: int = 7) -> HoldDays:
    """Days of one stand, mild ones but for their changes."""
    named = {name: np.array([[(MILD | day)[name]] for day in changes]) for name in MILD}
    return HoldDays(
        **named,
        warm=np.array([warm]),
        clay=np.array([clay]),
        dormant_after_d=np.array([float(dormant_after_d)]),
    )


def states(*changes: Day, **stand: Any) -> list[HoldState]:
    return list(hold_states(HoldState.none(1), days(*changes, **stand), first_ordinal=FIRST_ORDINAL))


def held_on(reason: HoldReason, *changes: Day, **stand: Any) -> list[int]:
    row = LASTING.index(reason)
    return [day for day, state in enumerate(states(*changes, **stand)) if state.active[row, 0]]


def mask_of(reasons: set[HoldReason]) -> float:
    return float(as_mask(np.array([[reason in reasons] for reason in LASTING]))[0])


@pytest.mark.parametrize(
    ("reason", "warm", "day", "quantity", "starts", "does_not"),
    [
        (HoldReason.DORMANT, False, {}, "water_stress", 0.19, 0.2),
        (HoldReason.DROUGHT, False, {}, "water_stress", 0.39, 0.4),
        (HoldReason.HEAT, False, DRY, "t_max_c", 32.2, 32.1),
        (HoldReason.HEAT, False, {"t_max_c": 33.0}, "water_stress", 0.59, 0.6),
        (HoldReason.HEAT, False, DRY, "heat_load", 10.0, 9.9),
        (HoldReason.HEAT, True, DRY | {"heat_load": 30.0}, "t_max_c", 40.5, 40.4),
        (HoldReason.HEAT, False, {}, "t_max_c", 38.0, 37.9),
        (HoldReason.HEAT, True, {}, "t_max_c", 46.0, 45.9),
        (HoldReason.COLD, False, {}, "mean_10_days_c", 4.3, 4.4),
        (HoldReason.COLD, True, {}, "mean_10_days_c", 9.9, 10.0),
        (HoldReason.WATERLOGGED, False, WET_UNDERFOOT, "rain_48_h_mm", 20.0, 19.9),
        (HoldReason.WATERLOGGED, False, WET_UNDERFOOT, "soil_room_mm", 0.5, 0.51),
        (HoldReason.FROST, False, FROZEN, "t_min_c", 0.0, 0.1),
        (HoldReason.FROST, False, FROZEN, "t_max_c", 3.0, 3.1),
    ],
)
def test_a_hold_starts_at_its_number_and_not_just_short_of_it(
    reason: HoldReason, warm: bool, day: Day, quantity: str, starts: float, does_not: float
) -> None:
    assert held_on(reason, *[day | {quantity: starts}] * 10, warm=warm)
    assert not held_on(reason, *[day | {quantity: does_not}] * 10, warm=warm)


@pytest.mark.parametrize("reason", LASTING)
def test_days_that_begin_a_hold_lie_in_a_row(reason: HoldReason) -> None:
    begun = BEGUN[reason]
    assert held_on(reason, *begun) == [len(begun) - 1]
    assert not held_on(reason, *begun[1:], {}, *begun[1:])


def test_deep_rooted_grass_rests_after_ten_days() -> None:
    resting = BEGUN[HoldReason.DORMANT][0]
    assert held_on(HoldReason.DORMANT, *[resting] * 11, dormant_after_d=10) == [9, 10]


@pytest.mark.parametrize(
    ("reason", "warm", "day", "quantity", "ends", "does_not"),
    [
        (HoldReason.DORMANT, False, {"growth_mm": 0.3}, "water_stress", 0.6, 0.59),
        (HoldReason.DORMANT, False, {"water_stress": 0.6}, "growth_mm", 0.3, 0.29),
        (HoldReason.DROUGHT, False, {}, "water_stress", 0.7, 0.69),
        (HoldReason.HEAT, False, DRY, "t_max_c", 29.9, 30.0),
        (HoldReason.HEAT, False, DRY, "heat_load", 4.9, 5.0),
        (HoldReason.HEAT, True, DRY, "t_max_c", 37.9, 38.0),
        (HoldReason.HEAT, False, {"t_max_c": 37.9}, "water_stress", 0.8, 0.79),
        (HoldReason.COLD, False, {}, "mean_10_days_c", 5.9, 5.8),
        (HoldReason.COLD, True, {}, "mean_10_days_c", 11.5, 11.4),
        (HoldReason.WATERLOGGED, False, WET_UNDERFOOT, "rain_48_h_mm", 19.9, 20.0),
        (HoldReason.WATERLOGGED, False, WET_UNDERFOOT, "soil_room_mm", 0.51, 0.5),
        (HoldReason.FROST, False, FROZEN, "t_min_c", 0.1, 0.0),
        (HoldReason.FROST, False, FROZEN, "t_max_c", 3.1, 3.0),
    ],
)
def test_a_hold_ends_at_its_number_and_not_just_short_of_it(
    reason: HoldReason, warm: bool, day: Day, quantity: str, ends: float, does_not: float
) -> None:
    begun = BEGUN[reason]
    begins, last = len(begun) - 1, len(begun) + 9
    assert last not in held_on(reason, *begun, *[day | {quantity: ends}] * 10, warm=warm)
    assert held_on(reason, *begun, *[day | {quantity: does_not}] * 10, warm=warm) == [
        *range(begins, last + 1)
    ]


@pytest.mark.parametrize(
    ("reason", "clay", "day", "takes_days"),
    [
        (HoldReason.DORMANT, False, {}, 3),
        (HoldReason.DROUGHT, False, {}, 1),
        (HoldReason.HEAT, False, DRY, 2),
        (HoldReason.COLD, False, {}, 5),
        (HoldReason.WATERLOGGED, False, {}, 1),
        (HoldReason.WATERLOGGED, True, {}, 2),
        (HoldReason.FROST, False, {}, 1),
    ],
)
def test_a_hold_ends_after_so_many_days_in_a_row(
    reason: HoldReason, clay: bool, day: Day, takes_days: int
) -> None:
    begun, ending, almost = BEGUN[reason], [day] * takes_days, [day] * (takes_days - 1)
    relapse = begun[-1]
    assert len(held_on(reason, *begun, *ending, clay=clay)) == takes_days
    assert len(held_on(reason, *begun, *almost, relapse, *almost, clay=clay)) == 2 * takes_days


def test_wet_soil_ends_the_heat_hold_the_same_day_but_not_in_extreme_heat() -> None:
    begun, wet_and_hot, wet_and_extreme = BEGUN[HoldReason.HEAT], {"t_max_c": 37.0}, {"t_max_c": 39.0}
    assert held_on(HoldReason.HEAT, *begun, wet_and_hot) == [0]
    assert held_on(HoldReason.HEAT, *begun, wet_and_extreme) == [0, 1]


def test_a_hold_keeps_the_day_it_began_on_until_it_ends() -> None:
    row, wilted = LASTING.index(HoldReason.DROUGHT), BEGUN[HoldReason.DROUGHT]
    since = [state.since[row, 0] for state in states({}, *wilted, *wilted, {}, *wilted)]
    first, again = FIRST_ORDINAL + 2, FIRST_ORDINAL + 7
    assert since == [0, 0, first, first, first, 0, 0, again]


def test_stands_side_by_side_go_by_their_own_numbers() -> None:
    """A day of 38 °C is extreme for cool-season grass and an easier one for warm-season grass."""
    cool, warm = days({"t_max_c": 38.0}), days({"t_max_c": 38.0}, warm=True)
    both = HoldDays(
        *(np.concatenate([getattr(cool, name), getattr(warm, name)], axis=-1) for name in cool.__slots__)
    )
    state = next(hold_states(HoldState.none(2), both, first_ordinal=FIRST_ORDINAL))
    assert state.active[LASTING.index(HoldReason.HEAT)].tolist() == [True, False]


@pytest.mark.parametrize(
    ("load_c", "t_min_c", "t_max_c", "carried_c"),
    [
        (10.0, 21.0, 30.0, 7.0),  # neither day nor night adds anything
        (10.0, 15.0, 25.0, 7.0),  # nor does a cool day take anything away
        (0.0, 21.0, 36.0, 6.0),
        (0.0, 23.0, 30.0, 4.0),  # a hot night counts double
        (10.0, 23.0, 36.0, 17.0),
    ],
)
def test_heat_adds_up_and_fades(load_c: float, t_min_c: float, t_max_c: float, carried_c: float) -> None:
    today_c = next_heat_load(np.array([load_c]), np.array([t_min_c]), np.array([t_max_c]))
    assert today_c.tolist() == pytest.approx([carried_c])


@given(HOLDS)
def test_a_mask_unfolds_to_the_holds_it_was_made_of_the_most_serious_first(reasons: set[HoldReason]) -> None:
    assert in_mask(mask_of(reasons)) == tuple(reason for reason in LASTING if reason in reasons)


@given(HOLDS, st.sets(st.sampled_from(HoldReason)))
def test_a_class_that_ignores_holds_keeps_its_others(
    reasons: set[HoldReason], ignored: set[HoldReason]
) -> None:
    left = without(np.array([mask_of(reasons)]), ignored)
    assert set(in_mask(float(left[0]))) == reasons - ignored


def test_masks_stand_in_a_curve_as_doubles_like_its_other_columns() -> None:
    masks = as_mask(np.zeros((len(LASTING), 3), np.bool_))
    assert masks.dtype == np.float64
    assert without(masks, [HoldReason.HEAT]).dtype == np.float64


def test_a_frozen_day_is_not_told() -> None:
    assert told_in(mask_of({HoldReason.FROST, HoldReason.HEAT})) == (HoldReason.HEAT,)
