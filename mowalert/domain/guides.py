"""What a region's adviser has laid down: heights by grass, use and season, habits, rules and sentences."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum

from mowalert.domain.lawn import LawnFacts
from mowalert.domain.notices import GuideSaid, HoldFacts
from mowalert.domain.thirds import EVERY_DAY, THIRD
from mowalert.domain.words import HoldReason, NoticeKind, Season

LAWN_USE = "lawn"
"""The use of turf that no other is told of."""
DATED = (HoldReason.TREATMENT, HoldReason.EVENT, HoldReason.NESTING, HoldReason.NOISE)
"""Holds that come from dates, not from weather."""


class Occasion(StrEnum):
    """When a guide's sentence of its own is said, beside those said with a hold."""

    MOW = "mow"
    RELEASE = "release"
    FIRST_CUT = "first_cut"
    LAST_CUT = "last_cut"


@dataclass(frozen=True, slots=True)
class DaySpan:
    """Days of every year from ``first`` to ``last``, both month and day; may pass the year's end."""

    first: tuple[int, int]
    last: tuple[int, int]

    def holds(self, on: date) -> bool:
        """Whether a date lies within."""
        day = (on.month, on.day)
        if self.first <= self.last:
            return self.first <= day <= self.last
        return day >= self.first or day <= self.last

    def overlaps(self, other: "DaySpan") -> bool:
        """Whether two spans share a day."""
        return any(one.holds(date(2024, *day)) for one, day in ((self, other.first), (other, self.first)))

    def around(self, on: date) -> tuple[date, date]:
        """Return first and last day of the span that holds a date."""
        days_back = days_on = 0
        while self.holds(on - timedelta(days=days_back + 1)) and days_back < 366:
            days_back += 1
        while self.holds(on + timedelta(days=days_on + 1)) and days_on < 366:
            days_on += 1
        return on - timedelta(days=days_back), on + timedelta(days=days_on)


@dataclass(frozen=True, slots=True)
class GuideHeight:
    """Heights for one grass in one use and season. [mm]"""

    grass_id: str
    use: str
    span: DaySpan
    low_mm: float
    high_mm: float
    usual_mm: float


@dataclass(frozen=True, slots=True)
class Habit:
    """When grasses of a season usually get their first and last cut."""

    season: Season
    first_cut: DaySpan
    last_cut: DaySpan


@dataclass(frozen=True, slots=True)
class Hours:
    """Hours in which mowing is allowed on weekdays, Monday 0; other days it is not."""

    days: frozenset[int]
    from_h: int
    to_h: int


@dataclass(frozen=True, slots=True)
class GuideDates:
    """Days of every year on which turf of some uses is left alone; no uses means all."""

    reason: HoldReason
    span: DaySpan
    uses: frozenset[str]
    note: str


@dataclass(frozen=True, slots=True)
class Interval:
    """Days before and after a treatment without mowing."""

    before_days: int
    after_days: int


@dataclass(frozen=True, slots=True)
class Guide:
    """One version of one region's guide.

    ``third`` is the largest share of the blade a cut may take, ``height_caps_mm`` the legal maximum by
    use, ``says`` sentences by occasion or hold and language.
    """

    guide_id: str
    version: int
    title: str
    region: str
    adviser: str
    third: float = THIRD
    heights: tuple[GuideHeight, ...] = ()
    habits: tuple[Habit, ...] = ()
    hours: tuple[Hours, ...] = ()
    height_caps_mm: Mapping[str, float] | None = None
    treatments: Mapping[str, Interval] | None = None
    dates: tuple[GuideDates, ...] = ()
    says: Mapping[str, Mapping[str, str]] | None = None

    def height(self, grass_id: str, turf_class: str, on: date) -> GuideHeight | None:
        """Return the heights for a grass and a use on a day; a use not told of is a lawn's."""
        rows = [row for row in self.heights if row.grass_id == grass_id]
        use = use_of(turf_class)
        in_use = [row for row in rows if row.use == use] or [row for row in rows if row.use == LAWN_USE]
        return next((row for row in in_use if row.span.holds(on)), None)

    def allowed_days(self, mowing_days: frozenset[int]) -> frozenset[int]:
        """Return the mowing days on which the rules leave hours; all of them where that leaves none."""
        allowed = frozenset().union(*(rule.days for rule in self.hours)) if self.hours else mowing_days
        return mowing_days & allowed or mowing_days

    def allowed_hours(self, mowing_days: frozenset[int], hours: tuple[int, int]) -> tuple[int, int]:
        """Return the hours the rules leave on every one of the mowing days; all of them if none."""
        rules = [rule for rule in self.hours if rule.days & mowing_days]
        from_h = max([hours[0], *(rule.from_h for rule in rules)])
        to_h = min([hours[1], *(rule.to_h for rule in rules)])
        return (from_h, to_h) if from_h < to_h else hours

    def habit(self, season: Season) -> Habit | None:
        """Return the habit for grasses of a season."""
        return next((habit for habit in self.habits if habit.season is season), None)

    def treated(self, kind: str, on: date) -> tuple[date, date] | None:
        """Return first and last day without mowing around a treatment; none if it is not told of."""
        interval = (self.treatments or {}).get(kind)
        if interval is None:
            return None
        return on - timedelta(days=interval.before_days), on + timedelta(days=interval.after_days)

    def sentences(self, name: str) -> tuple[tuple[str, str], ...]:
        """Return language and sentence for an occasion or a hold."""
        return tuple(sorted((self.says or {}).get(name, {}).items()))


def use_of(turf_class: str) -> str:
    """Return the use a turf class names."""
    return turf_class.strip().casefold().replace(" ", "_").replace("-", "_") or LAWN_USE


def with_guide(lawn: LawnFacts, guide: Guide, *, today: date) -> LawnFacts:
    """Let a region's guide speak of a lawn.

    Parameters
    ----------
    lawn : LawnFacts
        The lawn as its keeper has told of it.
    guide : Guide
        The version that speaks.
    today : date
        The keeper's local day.

    Returns
    -------
    LawnFacts
        The same lawn within the guide's days, hours, share, height cap and dates.
    """
    use = use_of(lawn.turf_class)
    days = guide.allowed_days(lawn.mowing_days)
    caps = guide.height_caps_mm or {}
    return replace(
        lawn,
        mowing_days=days,
        allowed_days=guide.allowed_days(EVERY_DAY),
        mowing_hours=guide.allowed_hours(days, lawn.mowing_hours),
        third=guide.third,
        height_cap_mm=caps.get(use),
        dated_holds=(*lawn.dated_holds, *_dates_near(guide, use, today)),
        guide=_said_today(guide, lawn, today),
    )


def _dates_near(guide: Guide, use: str, today: date) -> list[HoldFacts]:
    """Dates in force today or within the ten days an advice looks ahead."""
    near = []
    for dates in guide.dates:
        ahead = (today + timedelta(days=day) for day in range(11))
        first = next((on for on in ahead if dates.span.holds(on)), None)
        if first is None or (dates.uses and use not in dates.uses):
            continue
        start, end = dates.span.around(first)
        near.append(HoldFacts(dates.reason, start, ended_on=end, note=dates.note))
    return near


def _said_today(guide: Guide, lawn: LawnFacts, today: date) -> GuideSaid:
    height = guide.height(lawn.grass.grass_id, lawn.turf_class, today)
    return GuideSaid(
        guide_id=guide.guide_id,
        version=guide.version,
        title=guide.title,
        low_mm=height.low_mm if height else None,
        high_mm=height.high_mm if height else None,
        says=tuple(
            (name, language, sentence)
            for name in _names_today(guide, lawn, today)
            for language, sentence in guide.sentences(name)
        ),
    )


def _names_today(guide: Guide, lawn: LawnFacts, today: date) -> list[str]:
    """Occasions and holds whose sentences may be said today."""
    names = [Occasion.MOW.value, Occasion.RELEASE.value, *(reason.value for reason in HoldReason)]
    habit = guide.habit(lawn.grass.season)
    if habit is not None and habit.first_cut.holds(today):
        names.append(Occasion.FIRST_CUT.value)
    if habit is not None and habit.last_cut.holds(today):
        names.append(Occasion.LAST_CUT.value)
    return names


def said_with(said: GuideSaid | None, kind: NoticeKind, reason: HoldReason | None) -> GuideSaid | None:
    """Keep of a guide's sentences those that belong to a notice.

    Parameters
    ----------
    said : GuideSaid | None
        All that may be said today.
    kind : NoticeKind
        What the notice says.
    reason : HoldReason | None
        Its hold.

    Returns
    -------
    GuideSaid | None
        The same with the sentences that fit.
    """
    if said is None:
        return None
    if kind is NoticeKind.HOLD:
        names = {reason.value} if reason else set()
    elif kind is NoticeKind.RELEASE:
        names = {Occasion.RELEASE.value}
    else:
        names = {Occasion.MOW.value, Occasion.FIRST_CUT.value, Occasion.LAST_CUT.value}
    return replace(said, says=tuple(one for one in said.says if one[0] in names))
