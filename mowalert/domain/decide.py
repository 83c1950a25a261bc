"""What one lawn's keeper is told in one round: an ordered list of small rules.

Goes in: what the lawn is, what was last said of it, what its stand's weather does, and the round.
Comes out: one notice with its reason, or nothing.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import lru_cache
from math import isnan

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.chances import (
    ChanceDay,
    Choice,
    best_day,
    mowing_dates,
    next_mowing_date,
)
from mowalert.domain.doubt import DueSpread, due_spread
from mowalert.domain.guides import said_with
from mowalert.domain.holds import LASTING, TOLD, told_in
from mowalert.domain.lawn import LawnFacts
from mowalert.domain.notices import DayPart, DayReason, HoldFacts, MowingPlan, Notice
from mowalert.domain.thirds import (
    clippings_after,
    limit_height_mm,
    plan_cuts,
    removed_fraction,
    window_height_mm,
)
from mowalert.domain.words import Clippings, HoldReason, NoticeKind

# Of thousands of lawns most share their mowing days and holds.
_mowing_dates = lru_cache(maxsize=4096)(mowing_dates)
_next_mowing_date = lru_cache(maxsize=4096)(next_mowing_date)
_told_in = lru_cache(maxsize=256)(told_in)

PASSING = frozenset({HoldReason.WATERLOGGED, HoldReason.FROST, HoldReason.WET_LEAF})
"""Holds that move the day rather than stop the mowing, while another chance is free in time."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """A stand's days around today as a lawn of it sees them; arrays of shape (day,).

    ``holds`` are masks, ``since`` when each hold in force today began, ``fresh`` whether today's
    weather was heard of in time. ``rain_in_hours_mm`` is ``nan`` where hours are unknown.
    ``gains_mm`` are equally likely growths from the evening of ``gains_on`` on, shape (member, day).
    """

    first_on: date
    growth_mm: Floats
    gdd_c: Floats
    holds: Floats
    water_stress: Floats
    heat_load: Floats
    t_min_c: Floats
    t_max_c: Floats
    rain_mm: Floats
    rain_in_hours_mm: Floats
    since: dict[HoldReason, date]
    fresh: bool
    gains_on: date | None = None
    gains_mm: Floats | None = None

    def at(self, on: date) -> int:
        """Return the column of a day, held within the days known."""
        return min(max((on - self.first_on).days, 0), len(self.growth_mm) - 1)

    @property
    def last_on(self) -> date:
        """The last day of the outlook."""
        return self.first_on + timedelta(days=len(self.growth_mm) - 1)


@dataclass(frozen=True, slots=True)
class Round:
    """One local moment at which digests go out.

    ``first_chance_on`` is today where the round is early enough to mow the same day, else tomorrow;
    ``next_on`` the date of the next round. ``lists_window`` rounds (companies, parks) tell of every
    lawn whose window is open; the others only what must be cut before the next round's chances.
    ``by_class`` rounds (parks) hear of every hold that takes over from the one told: it is logged.
    """

    today: date
    first_chance_on: date
    next_on: date
    lists_window: bool
    tells_all_holds: bool = False
    by_class: bool = False


class _Case:
    """One lawn in one round, with what every rule asks worked out once."""

    def __init__(self, lawn: LawnFacts, outlook: Outlook, round_: Round) -> None:
        self.lawn, self.outlook, self.round = lawn, outlook, round_
        self.heights_mm: list[float] = lawn.heights_at(outlook.growth_mm).tolist()
        self.holds: list[float] = outlook.holds.tolist()
        self.today_column = outlook.at(round_.today)
        self.height_mm = self.heights_mm[self.today_column]
        self.window_mm = window_height_mm(lawn.chosen_mm, lawn.third)
        # A hair of tolerance: a cut exactly at the limit takes exactly a third.
        self.limit_mm = limit_height_mm(lawn.chosen_mm, lawn.third) * (1 + 1e-9)
        self.can_be_due = lawn.due.limit_g_mm is not None
        self.same_day = round_.first_chance_on == round_.today
        self.due = self.can_be_due and self.height_on(self.chance_after_next()) > self.limit_mm
        """Whether waiting for the first chance after the next round would pass the limit."""
        self.window_open = self.can_be_due and self.height_mm >= self.window_mm

    def chance_after_next(self) -> date:
        after = self.round.next_on - timedelta(days=1 if self.same_day else 0)
        return _next_mowing_date(self.lawn.mowing_days, after=after)

    def height_on(self, on: date) -> float:
        return self.heights_mm[self.outlook.at(on)]

    def held_on(self, on: date) -> bool:
        dated = self.lawn.dated_holds
        return self.holds[self.outlook.at(on)] > 0 or (bool(dated) and any(_covers(one, on) for one in dated))

    def told_reasons(self, on: date) -> tuple[HoldReason, ...]:
        return _told_in(self.holds[self.outlook.at(on)])

    def holds_today(self) -> tuple[HoldFacts, ...]:
        told = self.told_reasons(self.round.today)
        return (*(_hold_facts(self, reason) for reason in told), *self.dated_today)

    @property
    def dated_today(self) -> list[HoldFacts]:
        return [hold for hold in self.lawn.dated_holds if _covers(hold, self.round.today)]


def decide(lawn: LawnFacts, outlook: Outlook, round_: Round) -> Notice | None:
    """Say what, if anything, a lawn's keeper is told in this round.

    Parameters
    ----------
    lawn : LawnFacts
        The lawn and what was last said of it.
    outlook : Outlook
        Its stand's days, from before the lawn's anchor or later to the end of the forecast.
    round_ : Round
        The moment, and the next one.

    Returns
    -------
    Notice | None
        One notice, or nothing to say. A hold always beats a cut.
    """
    return next((notice for _, done, notice in _asked(_Case(lawn, outlook, round_)) if done), None)


def _asked(case: _Case) -> Iterator[tuple[str, bool, Notice | None]]:
    """Ask the rules in their order up to the first that has the last word: name, whether, what it says."""
    for rule in RULES:
        done, notice = rule(case)
        yield rule.__name__.lstrip("_"), done, notice
        if done:
            return


def due_spread_of(lawn: LawnFacts, outlook: Outlook) -> DueSpread | None:
    """Return when a lawn's limit may be passed; none where only one forecast is known.

    Parameters
    ----------
    lawn : LawnFacts
        The lawn.
    outlook : Outlook
        Its stand's days.

    Returns
    -------
    DueSpread | None
        Early, likely and late day.
    """
    if outlook.gains_mm is None or outlook.gains_on is None:
        return None
    today_g_mm = float(outlook.growth_mm[outlook.at(outlook.gains_on)])
    return due_spread(lawn.due.limit_g_mm, today_g_mm, outlook.gains_mm, today=outlook.gains_on)


def tried(lawn: LawnFacts, outlook: Outlook, round_: Round) -> list[tuple[str, bool]]:
    """Name the rules that were asked, in their order, and whether each had the last word."""
    return [(name, done) for name, done, _ in _asked(_Case(lawn, outlook, round_))]


def hold_numbers(lawn: LawnFacts, outlook: Outlook, round_: Round) -> list[HoldFacts]:
    """Every hold the weather can set, with the numbers its rule looks at today, in force or not."""
    case = _Case(lawn, outlook, round_)
    return [HoldFacts(reason, round_.today, _numbers(case, reason, round_.today)) for reason in LASTING]


Said = tuple[bool, Notice | None]
"""Whether a rule has the last word, and what it says."""
PASS: Said = (False, None)


def _without_weather(case: _Case) -> Said:
    """Old weather never ends a hold and never starts a cut: say so once, if something was due."""
    if case.outlook.fresh:
        return PASS
    relevant = case.due or (case.round.lists_window and case.window_open)
    return True, _notice(case, NoticeKind.NO_WEATHER) if relevant and not case.lawn.told_hold else None


def _release(case: _Case) -> Said:
    """A told hold is over when neither today nor tomorrow has one."""
    told = case.lawn.told_hold
    if told is None:
        return PASS
    today, tomorrow = case.round.today, case.round.today + timedelta(days=1)
    if _winter_took_over(case, told) or (case.round.by_class and _another_took_over(case, told)):
        return PASS
    if case.told_reasons(today) or case.dated_today or case.told_reasons(tomorrow):
        return True, None
    choice = _choice(case, today)
    cut = NO_CUT if choice is None else _cut(case, choice)
    return True, _notice(case, NoticeKind.RELEASE, cut, reason=told)


def _winter_took_over(case: _Case, told: HoldReason) -> bool:
    """A hold that winter outlasts is told as winter's: in spring nobody remembers the drought."""
    now = case.told_reasons(case.round.today)
    return told is not HoldReason.COLD and told not in now and HoldReason.COLD in now


def _another_took_over(case: _Case, told: HoldReason) -> bool:
    """Whether what holds a lawn now is another than was told: the weather's before a date somebody set."""
    weather = case.told_reasons(case.round.today)
    if weather:
        return weather[0] is not told
    dated = [hold.reason for hold in case.dated_today]
    if told in TOLD and case.told_reasons(case.round.today + timedelta(days=1)):
        return False
    return bool(dated) and told not in dated


def _hold(case: _Case) -> Said:
    """Whoever is due, or asked, hears of a hold; nobody is told to cut while one lasts."""
    holds = case.holds_today()
    if not holds:
        return PASS
    took_over = case.round.by_class and case.lawn.told_hold is not None
    passing = all(hold.reason in PASSING for hold in holds)
    if passing and not took_over and _choice(case, case.round.first_chance_on) is not None:
        return PASS
    asked = case.round.tells_all_holds or took_over
    interested = case.due or asked or (case.round.lists_window and case.window_open)
    return True, _notice(case, NoticeKind.HOLD, reason=holds[0].reason, holds=holds) if interested else None


def _mow(case: _Case) -> Said:
    """Due: say the best day. A hold forecast over every chance is told instead."""
    if not case.due:
        return PASS
    choice = _choice(case, case.round.first_chance_on)
    if choice is None:
        return True, _hold_ahead(case)
    cut, must_today = _cut(case, choice), choice.on == case.round.today
    if cut.plan is not None:
        return True, _notice(case, NoticeKind.OVERGROWN, cut, must_today=must_today)
    could_be_from, could_be_to = _unsure(case, choice)
    return True, _notice(
        case,
        NoticeKind.MOW,
        cut,
        must_today=must_today,
        could_be_from=could_be_from,
        could_be_to=could_be_to,
    )


def _unsure(case: _Case, choice: Choice) -> tuple[date | None, date | None]:
    """From when to when the limit could be passed, where that may come before the day advised."""
    spread = due_spread_of(case.lawn, case.outlook)
    if spread is None or spread.early_on is None or not case.round.today < spread.early_on <= choice.on:
        return None, None
    return spread.early_on, spread.late_on


def _may_mow(case: _Case) -> Said:
    """Companies and parks see every lawn whose window is open, with its limit date."""
    if not (case.round.lists_window and case.window_open):
        return PASS
    chosen_mm = case.lawn.chosen_mm
    cut = _Cut(cut_to_mm=chosen_mm, removed_fraction=removed_fraction(case.height_mm, chosen_mm))
    return True, _notice(case, NoticeKind.MAY_MOW, cut)


RULES: tuple[Callable[[_Case], Said], ...] = (_without_weather, _release, _hold, _mow, _may_mow)


def _choice(case: _Case, first: date) -> Choice | None:
    last = case.round.next_on if not case.same_day else case.round.next_on - timedelta(days=1)
    dates = _mowing_dates(case.lawn.mowing_days, first=first, last=max(first, last))
    if not dates:
        dates = (_next_mowing_date(case.lawn.mowing_days, after=first - timedelta(days=1)),)
    before = dates[0] - timedelta(days=1)
    evening_before = _chance(case, before) if before > case.round.today else None
    return best_day(
        [_chance(case, on) for on in dates], limit_mm=case.limit_mm, evening_before=evening_before
    )


@dataclass(frozen=True, slots=True)
class _Cut:
    """What a notice says of a cut; without clippings the lawn's own wish."""

    best_on: date | None = None
    best_part: DayPart = DayPart.MORNING
    day_reason: DayReason | None = None
    cut_to_mm: float | None = None
    removed_fraction: float | None = None
    wait_until: date | None = None
    removed_if_waiting: float | None = None
    clippings: Clippings | None = None
    plan: MowingPlan | None = None


NO_CUT = _Cut()


def _chance(case: _Case, on: date) -> ChanceDay:
    outlook, column = case.outlook, case.outlook.at(on)
    rain_mm = float(outlook.rain_mm[column])
    return ChanceDay(
        on=on,
        height_mm=case.heights_mm[column],
        rain_mm=0.0 if isnan(rain_mm) else rain_mm,
        rain_in_hours_mm=float(outlook.rain_in_hours_mm[column]),
        t_min_c=float(outlook.t_min_c[column]),
        t_max_c=float(outlook.t_max_c[column]),
        held=case.held_on(on),
    )


def _notice(
    case: _Case,
    kind: NoticeKind,
    cut: _Cut = NO_CUT,
    *,
    reason: HoldReason | None = None,
    holds: tuple[HoldFacts, ...] = (),
    must_today: bool = False,
    could_be_from: date | None = None,
    could_be_to: date | None = None,
) -> Notice:
    lawn, outlook, today = case.lawn, case.outlook, case.round.today
    since_cut = outlook.at(lawn.anchor.on)
    return Notice(
        lawn_id=lawn.lawn_id,
        kind=kind,
        on=today,
        lawn_name=lawn.lawn_name,
        site_name=lawn.site_name,
        address=lawn.address,
        grass_name=lawn.grass.name,
        turf_class=lawn.turf_class,
        chosen_height_mm=lawn.chosen_mm,
        height_mm=case.height_mm,
        last_cut_on=lawn.anchor.on,
        last_cut_assumed=lawn.anchor.assumed,
        grown_mm=max(0.0, case.height_mm - lawn.anchor.height_mm),
        gdd_c=float(outlook.gdd_c[case.today_column] - outlook.gdd_c[since_cut]),
        reason=reason,
        holds=holds,
        best_on=cut.best_on,
        best_part=cut.best_part,
        day_reason=cut.day_reason,
        cut_to_mm=cut.cut_to_mm,
        removed_fraction=cut.removed_fraction,
        window_on=_first_at(case, case.window_mm),
        limit_on=_first_at(case, case.limit_mm),
        must_today=must_today,
        wait_until=cut.wait_until,
        removed_if_waiting=cut.removed_if_waiting,
        clippings=cut.clippings or lawn.clippings,
        plan=cut.plan,
        could_be_from=could_be_from,
        could_be_to=could_be_to,
        height_cap_mm=lawn.height_cap_mm,
        over_cap_on=over_cap_on(lawn, outlook, today=today) if kind is NoticeKind.HOLD else None,
        area_m2=lawn.area_m2,
        learned=lawn.learned,
        third=lawn.third,
        guide=said_with(lawn.guide, kind, reason),
    )


def over_cap_on(lawn: LawnFacts, outlook: Outlook, *, today: date) -> date | None:
    """Return the first day on which a lawn that is not cut passes its legal maximum height.

    Parameters
    ----------
    lawn : LawnFacts
        The lawn.
    outlook : Outlook
        Its stand's days.
    today : date
        The day from which on it is looked for.

    Returns
    -------
    date | None
        Today if it already does; none where it has no maximum, or passes it beyond the forecast.
    """
    if lawn.height_cap_mm is None:
        return None
    ahead_mm = lawn.heights_at(outlook.growth_mm[outlook.at(today) :]).tolist()
    return _first_above(ahead_mm, lawn.height_cap_mm, today)


def _first_above(ahead_mm: Sequence[float], height_mm: float, today: date) -> date | None:
    """First day on which heights from today on pass another; none where they never do."""
    days = (day for day, mm in enumerate(ahead_mm) if mm > height_mm)
    day = next(days, None)
    return None if day is None else today + timedelta(days=day)


def _first_at(case: _Case, height_mm: float) -> date | None:
    """First day on which the lawn stands at a height; today if it already does."""
    if not case.can_be_due:
        return None
    return _first_above(case.heights_mm[case.today_column :], height_mm, case.round.today)


def _cut(case: _Case, choice: Choice) -> _Cut:
    """Say day, height and, where a cut to the chosen height would take too much, a staged plan."""
    lawn, collect = case.lawn, case.lawn.clippings is Clippings.COLLECT
    height_mm = case.height_on(choice.on)
    removed = removed_fraction(height_mm, lawn.chosen_mm)
    wait_until = _next_mowing_date(lawn.mowing_days, after=choice.on)
    # Of a staged cut, too, the clippings are told of by a cut straight to height, which would smother.
    cut = _Cut(
        best_on=choice.on,
        best_part=choice.part,
        day_reason=choice.reason,
        cut_to_mm=lawn.chosen_mm,
        removed_fraction=removed,
        wait_until=wait_until,
        removed_if_waiting=removed_fraction(case.height_on(wait_until), lawn.chosen_mm),
        clippings=clippings_after(removed, collect=collect),
    )
    return cut if height_mm <= case.limit_mm else _staged(case, cut, choice.on)


def _staged(case: _Case, cut: _Cut, on: date) -> _Cut:
    lawn, first = case.lawn, case.outlook.at(on)
    days = [on + timedelta(days=day) for day in range(len(case.heights_mm) - first)]
    plan = plan_cuts(
        on,
        dict(zip(days, case.heights_mm[first:], strict=True)),
        chosen_mm=lawn.chosen_mm,
        mowing_days=lawn.mowing_days,
        allowed_days=lawn.allowed_days,
        held=[day for day in days if case.held_on(day)],
        max_removed=lawn.third,
    )
    return replace(
        cut,
        plan=plan,
        cut_to_mm=plan.cuts[0].height_after_mm,
        removed_fraction=plan.cuts[0].removed_fraction,
        day_reason=DayReason.OVERDUE,
    )


def _hold_ahead(case: _Case) -> Notice | None:
    """Every chance until the next round is forecast to be held: tell the first of those holds."""
    dates = _mowing_dates(case.lawn.mowing_days, first=case.round.first_chance_on, last=case.round.next_on)
    for on in dates:
        reasons = case.told_reasons(on)
        if reasons:
            facts = HoldFacts(reasons[0], on, _numbers(case, reasons[0], on), expected_end_on=_end(case, on))
            return _notice(case, NoticeKind.HOLD, reason=reasons[0], holds=(facts,))
    dated = tuple(hold for hold in case.lawn.dated_holds if any(_covers(hold, on) for on in dates))
    return _notice(case, NoticeKind.HOLD, reason=dated[0].reason, holds=dated) if dated else None


def _covers(hold: HoldFacts, on: date) -> bool:
    return hold.started_on <= on <= (hold.ended_on or date.max)


def _hold_facts(case: _Case, reason: HoldReason) -> HoldFacts:
    today = case.round.today
    return HoldFacts(
        reason,
        case.outlook.since.get(reason, today),
        _numbers(case, reason, today),
        expected_end_on=_end(case, today),
    )


def _end(case: _Case, on: date) -> date | None:
    """First day after ``on`` on which the forecast shows no told hold."""
    later = (on + timedelta(days=day) for day in range(1, (case.outlook.last_on - on).days + 1))
    return next((day for day in later if not case.told_reasons(day)), None)


def _numbers(case: _Case, reason: HoldReason, on: date) -> tuple[tuple[str, float], ...]:
    outlook, column = case.outlook, case.outlook.at(on)
    stress = ("water_stress", round(float(outlook.water_stress[column]), 2))
    hottest = ("t_max_c", round(float(outlook.t_max_c[column]), 1))
    if reason is HoldReason.HEAT:
        return (hottest, ("heat_load", round(float(outlook.heat_load[column]), 1)), stress)
    if reason in (HoldReason.DROUGHT, HoldReason.DORMANT):
        return (stress,)
    if reason is HoldReason.COLD:
        days = slice(max(0, column - 9), column + 1)
        mean_c = (outlook.t_min_c[days] + outlook.t_max_c[days]) / 2
        return (("mean_10_days_c", round(float(np.nanmean(mean_c)), 1)),)
    rain_mm = float(np.nansum(outlook.rain_mm[max(0, column - 1) : column + 1]))
    return (("rain_48_h_mm", round(rain_mm, 1)),)
