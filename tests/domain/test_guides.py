"""A region guide speaks within its seasons, days and hours, and of the use it was written for."""

from dataclasses import replace
from datetime import date, timedelta

from builders import MORNING_ROUND, THURSDAY, WEEKEND, WEEKEND_ROUND, a_lawn, an_outlook
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.decide import decide
from mowalert.domain.guides import (
    DaySpan,
    Guide,
    GuideDates,
    GuideHeight,
    Habit,
    Hours,
    Interval,
    with_guide,
)
from mowalert.domain.lawn import LawnFacts
from mowalert.domain.words import HoldReason, NoticeKind, Season

ALL_YEAR = DaySpan((1, 1), (12, 31))
SUMMER = DaySpan((6, 15), (9, 10))
REST = DaySpan((9, 11), (6, 14))
GUIDE = Guide(
    "hill",
    3,
    "Hill country",
    "hills",
    "an adviser",
    heights=(
        GuideHeight("kentucky_bluegrass", "lawn", SUMMER, 70, 90, 80),
        GuideHeight("kentucky_bluegrass", "lawn", REST, 60, 80, 65),
        GuideHeight("kentucky_bluegrass", "sports", ALL_YEAR, 38, 60, 45),
    ),
    habits=(Habit(Season.COOL, DaySpan((5, 1), (5, 20)), DaySpan((10, 20), (11, 20))),),
    hours=(Hours(frozenset({0, 1, 2, 3, 4, 5}), 10, 16),),
    height_caps_mm={"lawn": 250.0},
    treatments={"weed_control": Interval(2, 3)},
    dates=(GuideDates(HoldReason.NESTING, DaySpan((5, 9), (7, 15)), frozenset({"meadow_edge"}), "Birds."),),
    says={"mow": {"en": "Sharpen the blade.", "es": "Afile la cuchilla."}, "heat": {"en": "Go slow."}},
)
days = st.dates(date(2023, 1, 1), date(2026, 12, 31))
month_days = days.map(lambda on: (on.month, on.day))
spans = st.builds(DaySpan, month_days, month_days)


@given(spans, days)
def test_a_span_or_its_rest_holds_every_day(span: DaySpan, on: date) -> None:
    first, last = span.around(on) if span.holds(on) else (on, on)
    assert first <= on <= last
    if span.holds(on) and (last - first).days < 366:
        assert not span.holds(first - timedelta(days=1))
        assert not span.holds(last + timedelta(days=1))


@given(spans, spans)
def test_spans_overlap_when_they_share_a_day(one: DaySpan, other: DaySpan) -> None:
    year = [date(2024, 1, 1) + timedelta(days=day) for day in range(366)]
    assert one.overlaps(other) == any(one.holds(on) and other.holds(on) for on in year)


def test_heights_follow_grass_use_and_season() -> None:
    spring, summer = date(2026, 5, 7), date(2026, 7, 1)

    def usual(turf_class: str, on: date) -> float | None:
        row = GUIDE.height("kentucky_bluegrass", turf_class, on)
        return row.usual_mm if row else None

    assert usual("", spring) == 65
    assert usual("lawn", summer) == 80
    assert usual("Sports", summer) == 45
    assert usual("event lawn", summer) == 80, "a use not told of is a lawn's"
    assert GUIDE.height("zoysiagrass", "lawn", spring) is None


def test_mowing_keeps_to_the_hours_and_days_the_rules_leave() -> None:
    lawn = with_guide(a_lawn(), GUIDE, today=THURSDAY)
    assert lawn.mowing_days == {5}, "Sunday is named nowhere"
    assert lawn.mowing_hours == (10, 16)
    alone = with_guide(a_lawn(mowing_days=frozenset({6})), GUIDE, today=THURSDAY)
    assert alone.mowing_days == {6}, "the only day a keeper has is not taken away"


def test_no_notice_of_a_guided_lawn_names_a_forbidden_day() -> None:
    lawn = a_lawn(height_mm=100.0)
    wet_saturday = an_outlook(rain_mm={2: 20.0})
    free = decide(lawn, wet_saturday, WEEKEND_ROUND)
    guided = decide(with_guide(lawn, GUIDE, today=THURSDAY), wet_saturday, WEEKEND_ROUND)
    assert free is not None
    assert guided is not None
    assert free.best_on == date(2026, 5, 10)
    assert guided.best_on in (date(2026, 5, 8), date(2026, 5, 9))


def test_no_cut_of_a_plan_falls_on_a_forbidden_day() -> None:
    """Cut on Thursday, an overgrown lawn's next would be on Sunday."""
    lawn = a_lawn(height_mm=150.0, mowing_days=frozenset({3}))
    assert _next_cut_on(lawn) == date(2026, 5, 10)
    assert _next_cut_on(with_guide(lawn, GUIDE, today=THURSDAY)) == date(2026, 5, 11)


def _next_cut_on(lawn: LawnFacts) -> date:
    notice = decide(lawn, an_outlook(growth_mm_d=2.0), MORNING_ROUND)
    assert notice is not None
    assert notice.plan is not None
    first, second, *_ = notice.plan.cuts
    assert first.on == THURSDAY
    return second.on


def test_the_share_of_the_blade_is_the_guides() -> None:
    lawn = a_lawn(height_mm=98.0)
    quarter = with_guide(lawn, replace(GUIDE, third=0.25), today=THURSDAY)
    slow = an_outlook(growth_mm_d=0.3)
    assert decide(lawn, slow, WEEKEND_ROUND) is None
    notice = decide(quarter, slow, WEEKEND_ROUND)
    assert notice is not None
    assert notice.kind in (NoticeKind.MOW, NoticeKind.OVERGROWN)
    assert notice.third == 0.25


def test_dates_of_a_use_hold_its_lawns_and_no_others() -> None:
    meadow = a_lawn(height_mm=105.0, turf_class="meadow edge", mowing_days=WEEKEND)
    today = date(2026, 5, 10)
    round_ = replace(MORNING_ROUND, today=today, first_chance_on=today, next_on=today + timedelta(days=1))
    held = decide(with_guide(meadow, GUIDE, today=today), an_outlook(), round_)
    assert held is not None
    assert (held.kind, held.reason) == (NoticeKind.HOLD, HoldReason.NESTING)
    assert held.holds[0].note == "Birds."
    assert (held.holds[0].started_on, held.holds[0].ended_on) == (date(2026, 5, 9), date(2026, 7, 15))
    lawn = decide(with_guide(replace(meadow, turf_class=""), GUIDE, today=today), an_outlook(), round_)
    assert lawn is not None
    assert lawn.kind is not NoticeKind.HOLD


def test_a_notice_carries_only_the_sentences_that_fit() -> None:
    lawn = with_guide(a_lawn(height_mm=105.0), GUIDE, today=THURSDAY)
    cut = decide(lawn, an_outlook(), WEEKEND_ROUND)
    assert cut is not None
    assert cut.guide is not None
    assert (cut.guide.guide_id, cut.guide.version, cut.guide.low_mm) == ("hill", 3, 60)
    assert [name for name, _, _ in cut.guide.says] == ["mow", "mow"]
    hot = an_outlook(held={day: (HoldReason.HEAT,) for day in range(10)}, t_max_c=36)
    held = decide(lawn, hot, WEEKEND_ROUND)
    assert held is not None
    assert held.guide is not None
    assert held.guide.says == (("heat", "en", "Go slow."),)
    assert held.height_cap_mm == 250


def test_a_treatment_keeps_off_before_and_after() -> None:
    assert GUIDE.treated("weed_control", date(2026, 5, 20)) == (date(2026, 5, 18), date(2026, 5, 23))
    assert GUIDE.treated("sprites", date(2026, 5, 20)) is None
