"""Look back on a season: of one lawn, of a keeper's lawns, or of a region without exposing anyone's."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from mowalert.domain.grasses import Turf
from mowalert.domain.guides import use_of
from mowalert.domain.lawn import place_name
from mowalert.domain.lookback import (
    ADVISED_AHEAD_DAYS,
    FEWEST_LAWNS,
    HOLD_BEFORE_DAYS,
    HOLDS,
    MOW_NOTICES,
    Cell,
    Cut,
    Figures,
    Period,
    Tally,
    count_season,
    figures,
    season_until,
    shown_tallies,
)
from mowalert.errors import InputError
from mowalert.service.known import known_lawn
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, KeeperRecord, LawnRecord
from mowalert.service.region.guides import guides_now

LAWNS_AT_ONCE = 1000
GROUPINGS = ("grass", "turf_class", "keeper_kind")
MOWING = "mowing"
LONGEST_NUMBER = 9
"""Digits of a keeper's number; more are no number the store has."""


@dataclass(frozen=True, slots=True)
class Row:
    """One group of lawns, or one lawn, and its season; no name for all lawns of groups not shown."""

    name: str | None
    figures: Figures
    lawn_id: int | None = None


@dataclass(frozen=True, slots=True)
class Grouping:
    """Lawns by one of their traits; ``some_hidden`` where groups are not shown by themselves."""

    by: str
    rows: tuple[Row, ...]
    some_hidden: bool = False


@dataclass(frozen=True, slots=True)
class LookBack:
    """A season of some lawns; no total where they are too few to be shown."""

    of: str
    first_on: date
    last_on: date
    total: Figures | None
    groups: tuple[Grouping, ...] = ()

    @property
    def too_few_lawns(self) -> bool:
        """Whether the lawns are too few to be shown."""
        return self.total is None


@dataclass(frozen=True, slots=True)
class Asked:
    """First and last day asked for; none for what is usual where the lawns are."""

    first_on: date | None = None
    last_on: date | None = None


def look_back_on_lawn(store: Store, lawn_id: int, asked: Asked, *, now: datetime) -> LookBack:
    """Look back on one lawn's season.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    lawn_id : int
        The lawn.
    asked : Asked
        The days.
    now : datetime
        The moment; later days are not looked back on.

    Returns
    -------
    LookBack
        Its season.

    Raises
    ------
    InputError
        If there is no such lawn, or the days cannot be.
    """
    with store.begin() as work:
        lawns = [known_lawn(work, lawn_id)]
        period = _period(work, lawns, asked, now)
        ((_, tally),) = _tallies(work, lawns, period)
        name = _places(work, lawns)[lawn_id]
    return LookBack(name, period.first_on, period.last_on, figures(tally))


def look_back_on_keeper(store: Store, who: str, asked: Asked, *, now: datetime) -> LookBack:
    """Look back on the season of a keeper's lawns, each and all.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    who : str
        The keeper's number or name.
    asked : Asked
        The days.
    now : datetime
        The moment; later days are not looked back on.

    Returns
    -------
    LookBack
        A row for each lawn, and the total.

    Raises
    ------
    InputError
        If there is no such keeper or more than one, or the days cannot be.
    """
    with store.begin() as work:
        keeper = _keeper(work, who)
        lawns = work.lawns.of_keepers([keeper.keeper_id])
        period = _period(work, lawns, asked, now)
        tallies = _tallies(work, lawns, period)
        places = _places(work, lawns)
    rows = tuple(Row(places[lawn.lawn_id], figures(tally), lawn.lawn_id) for lawn, tally in tallies)
    total = sum((tally for _, tally in tallies), Tally())
    return LookBack(keeper.name, period.first_on, period.last_on, figures(total), (Grouping("lawn", rows),))


def look_back_on_region(
    store: Store, turf: Turf, guide_id: str | None, asked: Asked, *, now: datetime
) -> LookBack:
    """Look back on the season of a region, by grass, turf class and kind of keeper.

    Parameters
    ----------
    store : Store
        Where lawns are kept.
    turf : Turf
        Grasses, for their names.
    guide_id : str | None
        The region guide whose lawns are meant; all lawns if none.
    asked : Asked
        The days.
    now : datetime
        The moment; later days are not looked back on.

    Returns
    -------
    LookBack
        Groups of at least ``FEWEST_LAWNS`` lawns, from which no smaller group can be worked out.

    Raises
    ------
    InputError
        If there is no such guide, or the days cannot be.
    """
    name = "all lawns" if guide_id is None else _guide_title(store, turf, guide_id)
    period = _region_period(store, guide_id, asked, now)
    tallies = _region_tallies(store, guide_id, period)
    total = sum(tallies.values(), Tally())
    if total.lawns < FEWEST_LAWNS:
        return LookBack(name, period.first_on, period.last_on, None)
    return LookBack(
        name, period.first_on, period.last_on, figures(total, of_a_region=True), _groups(tallies, turf)
    )


def _guide_title(store: Store, turf: Turf, guide_id: str) -> str:
    with store.begin() as work:
        guide = guides_now(work, turf).get(guide_id)
    if guide is None:
        raise InputError(f"there is no guide {guide_id!r}; `mowalert guides list` lists them")
    return guide.title


def _region_period(store: Store, guide_id: str | None, asked: Asked, now: datetime) -> Period:
    """Days usual where the first lawns lie."""
    with store.begin() as work:
        lawns = work.lawns.page(after=0, limit=LAWNS_AT_ONCE, guide=guide_id)
        return _period(work, lawns, asked, now)


def _region_tallies(store: Store, guide_id: str | None, period: Period) -> dict[Cell, Tally]:
    """Count page by page: neither memory nor a transaction holds a country's lawns at once."""
    tallies: dict[Cell, Tally] = {}
    after: int | None = 0
    while after is not None:
        with store.begin() as work:
            lawns = work.lawns.page(after=after, limit=LAWNS_AT_ONCE, guide=guide_id)
            for cell, tally in _by_cell(work, lawns, period):
                tallies[cell] = tallies.get(cell, Tally()) + tally
        after = lawns[-1].lawn_id if lawns else None
    return tallies


def _by_cell(work: Work, lawns: Sequence[LawnRecord], period: Period) -> Iterator[tuple[Cell, Tally]]:
    keepers = work.keepers.get(sorted({lawn.keeper_id for lawn in lawns}))
    for lawn, tally in _tallies(work, lawns, period):
        yield (lawn.grass, use_of(lawn.turf_class), keepers[lawn.keeper_id].kind.value), tally


def _groups(tallies: Mapping[Cell, Tally], turf: Turf) -> tuple[Grouping, ...]:
    groups = []
    for by, shown in zip(GROUPINGS, shown_tallies(tallies), strict=True):
        rows = tuple(
            Row(_called(by, name, turf), figures(tally, of_a_region=True)) for name, tally in shown.items()
        )
        groups.append(Grouping(by, rows, some_hidden=not shown or None in shown))
    return tuple(groups)


def _called(by: str, name: str | None, turf: Turf) -> str | None:
    if name is None:
        return None
    if by == "grass" and name in turf.grasses:
        return turf.grasses[name].name
    return name.replace("_", " ")


def _tallies(work: Work, lawns: Sequence[LawnRecord], period: Period) -> list[tuple[LawnRecord, Tally]]:
    ids = [lawn.lawn_id for lawn in lawns]
    first_on, last_on = period.first_on, period.last_on
    until = last_on + timedelta(days=ADVISED_AHEAD_DAYS)
    events = work.lawns.events_between(ids, first=first_on, last=until)
    held_since = first_on - timedelta(days=HOLD_BEFORE_DAYS)
    holds = work.outbox.told_between(ids, HOLDS, first=held_since, last=last_on)
    mow = work.outbox.told_between(ids, MOW_NOTICES, first=first_on, last=last_on)
    return [
        (lawn, count_season(lawn_id, _cuts(events.get(lawn_id, ())), told, period))
        for lawn in lawns
        for lawn_id in [lawn.lawn_id]
        for told in [[*holds.get(lawn_id, ()), *mow.get(lawn_id, ())]]
    ]


def _cuts(events: Sequence[EventRecord]) -> list[Cut]:
    return [
        Cut(event.on, event.height_mm, event.before_mm, event.assumed)
        for event in events
        if event.kind == MOWING
    ]


def _places(work: Work, lawns: Sequence[LawnRecord]) -> dict[int, str]:
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns}))
    return {lawn.lawn_id: place_name(sites[lawn.site_id].name, lawn.name) for lawn in lawns}


def _keeper(work: Work, who: str) -> KeeperRecord:
    if who.isdecimal() and len(who) <= LONGEST_NUMBER and (numbered := work.keepers.get([int(who)])):
        return numbered[int(who)]
    meant = who.strip().casefold()
    named = [keeper for keeper in work.keepers.all() if keeper.name.casefold() == meant]
    if not named:
        raise InputError(f"there is no keeper {who!r}; `mowalert lawns show` lists them")
    if len(named) > 1:
        numbers = ", ".join(f"{keeper.keeper_id} ({keeper.kind})" for keeper in named)
        raise InputError(f"{len(named)} keepers are called {who!r}; say the number of one: {numbers}")
    return named[0]


def _period(work: Work, lawns: Sequence[LawnRecord], asked: Asked, now: datetime) -> Period:
    zones = {
        keeper.time_zone for keeper in work.keepers.get(sorted({lawn.keeper_id for lawn in lawns})).values()
    }
    # What happened on the newest day anywhere belongs to it.
    today = max((now.astimezone(ZoneInfo(zone)).date() for zone in zones), default=now.date())
    sites = work.keepers.sites(sorted({lawn.site_id for lawn in lawns})).values()
    southern = 2 * sum(site.latitude_deg < 0 for site in sites) > len(sites)
    return _days(asked, today, southern=southern)


def _days(asked: Asked, today: date, *, southern: bool) -> Period:
    if asked.first_on is not None and asked.first_on > today:
        raise InputError(f"{asked.first_on} is still to come")
    last_on = min(asked.last_on or today, today)
    first_on = asked.first_on or season_until(last_on, southern=southern).first_on
    if last_on < first_on:
        raise InputError(f"the last day, {last_on}, lies before the first, {first_on}")
    return Period(first_on, last_on)
