"""Looking at lawns: what is due, what is held, the next ten days, and how the service does."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.decide import Outlook, Round, decide, due_spread_of
from mowalert.domain.doubt import EARLY, LATE, DueSpread
from mowalert.domain.grasses import Turf
from mowalert.domain.holds import in_mask
from mowalert.domain.lawn import LawnFacts, place_name
from mowalert.domain.notices import GuideSaid, Notice
from mowalert.domain.thirds import limit_height_mm
from mowalert.domain.words import HoldReason, NoticeKind
from mowalert.errors import InputError
from mowalert.service.growing.outlook import StandDays, load_stands, outlook_for
from mowalert.service.known import known_lawn
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord, LawnRecord, SiteRecord
from mowalert.service.region.guides import speakers


@dataclass(frozen=True, slots=True)
class OutlookDay:
    """One day of a lawn's outlook; heights in mm, temperatures in °C.

    ``low_mm`` and ``high_mm`` are what one forecast in ten stays under, and goes over; none of days
    that have been.
    """

    on: date
    height_mm: float
    low_mm: float | None
    high_mm: float | None
    growth_mm: float
    t_min_c: float | None
    t_max_c: float | None
    rain_mm: float | None
    hold: HoldReason | None
    window_open: bool
    over_limit: bool


@dataclass(frozen=True, slots=True)
class LawnOutlook:
    """A lawn's days ahead, with what it is and where the weather came from.

    ``spread`` says how early and how late the limit may be passed if the forecast errs.
    """

    lawn: LawnRecord
    place: str
    window_on: date | None
    limit_on: date | None
    spread: DueSpread | None
    limit_mm: float
    guide: GuideSaid | None
    sources: tuple[str, ...]
    fetched_at: datetime
    fresh: bool
    days: tuple[OutlookDay, ...]


@dataclass(frozen=True, slots=True)
class SeenLawn:
    """A lawn with everything around it."""

    lawn: LawnRecord
    keeper: KeeperRecord
    site: SiteRecord
    stand: StandDays
    outlook: Outlook
    facts: LawnFacts
    today: date


def due_now(store: Store, turf: Turf, policy: Policy, *, now: datetime) -> list[Notice]:
    """Every lawn whose window is open or whose limit comes before tomorrow, the most urgent first."""
    with store.begin() as work:
        round_ids = [record.round_id for record in work.rounds.all()]
        found = {
            lawn_id
            for as_of in work.stands.growth_dates()
            for lawn_id in work.lawns.due_ids(
                # A day more than today's: somewhere it is tomorrow already.
                round_ids,
                as_of=as_of,
                limit_day=(now.date() - as_of).days + 2,
                window_day=(now.date() - as_of).days + 1,
            )
        }
        seen = see_lawns(work, turf, policy, sorted(found), now)
    return due_of(seen)


def held_now(store: Store, turf: Turf, policy: Policy, *, now: datetime) -> list[Notice]:
    """Every lawn under a hold today, with its reason and numbers."""
    with store.begin() as work:
        seen = see_lawns(work, turf, policy, work.lawns.all_ids(), now)
    return held_of(seen)


def outlook_of(store: Store, turf: Turf, policy: Policy, lawn_id: int, *, now: datetime) -> LawnOutlook:
    """A lawn's ten days from today on.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        Age at which weather is too old.
    lawn_id : int
        The lawn.
    now : datetime
        The moment.

    Returns
    -------
    LawnOutlook
        Height, growth and holds by day.

    Raises
    ------
    InputError
        If there is no such lawn, or no weather for it yet.
    """
    with store.begin() as work:
        known_lawn(work, lawn_id)
        seen = see_lawns(work, turf, policy, [lawn_id], now)
    if not seen:
        raise InputError(f"lawn {lawn_id} has no weather yet: run `mowalert night` first")
    return lawn_outlook(seen[0])


def lawn_outlook(case: SeenLawn) -> LawnOutlook:
    """Tell a lawn's days from today on."""
    outlook = case.outlook
    heights = case.facts.heights_at(outlook.growth_mm)
    window, limit = case.lawn.window_g_mm, case.lawn.limit_g_mm
    first = outlook.at(case.today)
    lows, highs = _spread_heights(case)
    days = tuple(
        OutlookDay(
            on=outlook.first_on + timedelta(days=column),
            height_mm=float(heights[column]),
            low_mm=_known(lows[column]),
            high_mm=_known(highs[column]),
            growth_mm=float(heights[column] - heights[column - 1]) if column else 0.0,
            t_min_c=_known(outlook.t_min_c[column]),
            t_max_c=_known(outlook.t_max_c[column]),
            rain_mm=_known(outlook.rain_mm[column]),
            hold=next(iter(in_mask(float(outlook.holds[column]))), None),
            window_open=window is not None and float(outlook.growth_mm[column]) >= window,
            over_limit=limit is not None and float(outlook.growth_mm[column]) > limit,
        )
        for column in range(first, len(outlook.growth_mm))
    )
    return LawnOutlook(
        lawn=case.lawn,
        place=place_name(case.site.name, case.lawn.name),
        window_on=next((day.on for day in days if day.window_open), None),
        limit_on=next((day.on for day in days if day.over_limit), None),
        spread=due_spread_of(case.facts, outlook),
        limit_mm=limit_height_mm(case.lawn.chosen_mm, case.facts.third),
        guide=case.facts.guide,
        sources=case.stand.sources,
        fetched_at=case.stand.growth.fetched_at,
        fresh=outlook.fresh,
        days=days,
    )


def _spread_heights(case: SeenLawn) -> tuple[Floats, Floats]:
    """Heights that one forecast in ten stays under, and goes over, by day of the outlook; nan where known."""
    outlook = case.outlook
    low, high = np.full((2, len(outlook.growth_mm)), np.nan)
    if outlook.gains_mm is None or outlook.gains_on is None:
        return low, high
    start = outlook.at(outlook.gains_on)
    ahead = min(outlook.gains_mm.shape[1], len(low) - start - 1)
    spread_mm = np.quantile(outlook.gains_mm[:, :ahead], (EARLY, LATE), axis=0)
    days = slice(start + 1, start + 1 + ahead)
    low[days], high[days] = (case.facts.heights_at(outlook.growth_mm[start] + gain) for gain in spread_mm)
    return low, high


def _known(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def see_lawns(
    work: Work, turf: Turf, policy: Policy, lawn_ids: Sequence[int], now: datetime
) -> list[SeenLawn]:
    """Load lawns with everything around them; those without a place on a curve are left out."""
    lawns = [lawn for lawn in work.lawns.get(lawn_ids) if lawn.anchor_g_mm is not None]
    keepers = work.keepers.get(sorted({lawn.keeper_id for lawn in lawns}))
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    stands = load_stands(work, sorted({lawn.stand_id for lawn in lawns}))
    # Somewhere it is still yesterday.
    speak = speakers(work, turf, lawns, today=now.date() - timedelta(days=1))
    # Lawns of one stand see the same sky: its days are put together once.
    outlooks: dict[tuple[int, tuple[int, int], date], Outlook] = {}
    seen = []
    for lawn in lawns:
        if (stand := stands.get(lawn.stand_id)) is None:
            continue
        keeper, site = keepers[lawn.keeper_id], sites[lawn.site_id]
        today = keeper.today(now)
        facts = speak.facts(lawn, site, turf, today=today)
        alike = (lawn.stand_id, facts.mowing_hours, today)
        if alike not in outlooks:
            outlooks[alike] = outlook_for(
                stand, facts.mowing_hours, today=today, now=now, max_age=policy.max_age
            )
        outlook = speak.outlook(lawn, outlooks[alike])
        seen.append(SeenLawn(lawn, keeper, site, stand, outlook, facts, today))
    return seen


def due_of(seen: Sequence[SeenLawn]) -> list[Notice]:
    """What is to be said of lawns today, the most urgent first; one under a hold says so."""
    notices = _said_today(seen, all_holds=False)
    return sorted(notices, key=lambda one: (-(one.height_mm / one.chosen_height_mm), one.lawn_id))


def held_of(seen: Sequence[SeenLawn]) -> list[Notice]:
    """Those of some lawns that are under a hold today, with its reason and numbers."""
    return [one for one in _said_today(seen, all_holds=True) if one.kind is NoticeKind.HOLD]


def _said_today(seen: Sequence[SeenLawn], *, all_holds: bool) -> list[Notice]:
    """Decide as if nothing had been said before: what is asked for is what is, not what is new."""
    notices = []
    for case in seen:
        moment = Round(case.today, case.today, case.today + timedelta(days=1), True, all_holds)
        notices.append(decide(replace(case.facts, told_hold=None), case.outlook, moment))
    return [notice for notice in notices if notice is not None]
