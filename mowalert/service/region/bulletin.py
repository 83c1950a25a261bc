"""Bulletins: one a region guide and week, made once, in the first night that has fresh weather for it.

A bulletin once kept stays as it was made; its adviser may put two sentences to it while its week lasts.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import TypeVar

from pydantic import TypeAdapter

from mowalert.domain.bulletin import (
    WEEK_D,
    Bulletin,
    CellPlace,
    StandWeek,
    WeekStamp,
    bulletin_of,
    monday_of,
)
from mowalert.domain.grasses import Turf
from mowalert.domain.guides import Guide
from mowalert.domain.holds import told_in
from mowalert.domain.words import Units
from mowalert.errors import InputError
from mowalert.service.growing.outlook import unpack_curve
from mowalert.service.growing.pull import local_date
from mowalert.service.local.places import country_of, time_zone_at
from mowalert.service.ports import Store, Work
from mowalert.service.records import BulletinRecord, CellRecord, GrowthRecord, GuideRecord, StandRecord
from mowalert.service.region.guide_text import read_guide

LONGEST_SAID = 400
"""Letters an adviser may add to a week: two sentences."""
FRESH_SHARE = 0.5
"""Share of a region's stands that must have fresh weather; fewer would speak for the wrong part of it."""
EARLIEST, LATEST = timedelta(hours=-12), timedelta(hours=14)
"""How far local dates of the world lie behind and before UTC."""
WEEK_NAME = re.compile(r"(\d{4})-W(\d{2})")
FACTS = TypeAdapter(Bulletin)
"""Bulletins are kept for good: whatever is added to one later needs a value for those before it."""
Item = TypeVar("Item", str, date)


@dataclass(frozen=True, slots=True)
class KeptBulletin:
    """A bulletin as it was made, and what the adviser added."""

    bulletin: Bulletin
    said: str
    made_at: datetime
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class BulletinPage:
    """What a region's page shows: a week's bulletin, if there is one, and the kept weeks beside it.

    ``fresh`` says whether there is fresh weather for the region now.
    """

    guide: Guide
    guide_kept_at: datetime
    kept: KeptBulletin | None
    before_on: date | None
    after_on: date | None
    fresh: bool


# --- weeks ---


def week_name(week_on: date) -> str:
    """Name a week as ISO 8601 does, such as 2026-W19."""
    year, week, _ = week_on.isocalendar()
    return f"{year:04d}-W{week:02d}"


def week_named(name: str) -> date | None:
    """Return the Monday of a week of that name; none if there is no such week."""
    found = WEEK_NAME.fullmatch(name)
    try:
        return date.fromisocalendar(int(found[1]), int(found[2]), 1) if found else None
    except ValueError:
        return None


# --- making ---


def make_bulletins(store: Store, turf: Turf, *, max_age: timedelta, now: datetime) -> int:
    """Make this week's bulletin of every guide that has none yet; run again, it changes nothing.

    Parameters
    ----------
    store : Store
        Where guides, curves and bulletins are kept.
    turf : Turf
        Grasses and soils.
    max_age : timedelta
        Age at which weather is too old.
    now : datetime
        The moment.

    Returns
    -------
    int
        How many were made. A region waits until half of its stands have fresh weather.
    """
    with store.begin() as work:
        made = sum(_make(work, turf, record, max_age, now) for record in work.guides.newest())
        work.commit()
    return made


def _make(work: Work, turf: Turf, record: GuideRecord, max_age: timedelta, now: datetime) -> bool:
    # All week but at its ends this is the only question asked: no stand is loaded in vain.
    if all(work.bulletins.get(record.guide_id, week_on) for week_on in _weeks_somewhere(now)):
        return False
    region = _region(work, record.guide_id, now)
    if region is None or work.bulletins.get(record.guide_id, monday_of(region.today)):
        return False
    known = work.stands.growth(list(region.stands))
    fresh = [one for one in known.values() if _is_fresh(one, region.today, max_age, now)]
    weeks = [week for one in fresh if (week := _stand_week(region, one, turf)) is not None]
    if not weeks or len(weeks) < FRESH_SHARE * len(region.stands):
        return False
    stamp = WeekStamp(region.today, region.sources, min(one.fetched_at for one in fresh), region.units)
    made = bulletin_of(read_guide(record.text, turf), weeks, region.places, stamp)
    facts = FACTS.dump_python(made, mode="json")
    return work.bulletins.keep(BulletinRecord(record.guide_id, made.week_on, facts, now))


def _weeks_somewhere(now: datetime) -> set[date]:
    """Mondays of the week it is, at one end of the world or the other."""
    return {monday_of((now + ahead).date()) for ahead in (EARLIEST, LATEST)}


@dataclass(frozen=True, slots=True)
class _Region:
    """The stands a guide speaks of, their cells, and the local day."""

    stands: Mapping[int, StandRecord]
    cells: Mapping[int, CellRecord]
    sites: Mapping[int, int]
    today: date

    @property
    def places(self) -> dict[int, CellPlace]:
        return {
            cell_id: CellPlace(cell.latitude_deg, cell.longitude_deg, self.sites.get(cell_id, 0))
            for cell_id, cell in self.cells.items()
        }

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources of the cells' weather, the most used first."""
        return tuple(_by_count(cell.source for cell in self.cells.values() if cell.source))

    @property
    def units(self) -> Units:
        american = sum(_is_american(cell) for cell in self.cells.values())
        return Units.US if 2 * american > len(self.cells) else Units.METRIC


def _region(work: Work, guide_id: str, now: datetime) -> _Region | None:
    """Look at a guide's region; none where no lawn hears from it."""
    stands = work.stands.get(work.bulletins.stand_ids(guide_id))
    if not stands:
        return None
    cells = work.weather.cells(sorted({stand.cell_id for stand in stands.values()}))
    # A region that lies in two zones has the day of most of its cells.
    today = _by_count(local_date(cell, now) for cell in cells)[0]
    by_id = {cell.cell_id: cell for cell in cells}
    return _Region(stands, by_id, work.bulletins.sites_by_cell(guide_id), today)


def _by_count(items: Iterable[Item]) -> list[Item]:
    counts = Counter(items)
    return sorted(counts, key=lambda item: (-counts[item], item))


def _is_american(cell: CellRecord) -> bool:
    try:
        return country_of(time_zone_at(cell.latitude_deg, cell.longitude_deg)) == "US"
    except InputError:  # the middle of a cell at the coast may lie in the sea
        return False


def _is_fresh(record: GrowthRecord, today: date, max_age: timedelta, now: datetime) -> bool:
    return now - record.fetched_at <= max_age and today <= record.known_until


def _stand_week(region: _Region, record: GrowthRecord, turf: Turf) -> StandWeek | None:
    """Cut a week out of a stand's curve; none where the curve does not hold all of it."""
    curve, stand = unpack_curve(record.curve), region.stands[record.stand_id]
    first = (monday_of(region.today) - record.curve_from).days
    today = (region.today - record.curve_from).days
    grown_mm = curve[0]
    if first < 1 or first + WEEK_D > len(grown_mm):
        return None
    seen = first > WEEK_D
    return StandWeek(
        cell_id=stand.cell_id,
        grass=turf.grasses[stand.key.grass_id],
        sun=stand.key.sun,
        watering=stand.key.watering,
        before_mm=float(grown_mm[first - 1] - grown_mm[first - 1 - WEEK_D]) if seen else None,
        week_mm=float(grown_mm[first - 1 + WEEK_D] - grown_mm[first - 1]),
        holds=told_in(float(curve[4][today])),
    )


# --- what the adviser adds ---


def say_with_bulletin(store: Store, guide_id: str, text: str, *, now: datetime) -> KeptBulletin:
    """Put an adviser's sentences to this week's bulletin, over those it had; nothing takes them back.

    Parameters
    ----------
    store : Store
        Where bulletins are kept.
    guide_id : str
        The region guide.
    text : str
        Plain text of at most 400 letters; line ends become spaces.
    now : datetime
        The moment.

    Returns
    -------
    KeptBulletin
        The bulletin with its sentences.

    Raises
    ------
    InputError
        If the text is too long, there is no such guide, or this week has no bulletin yet.
    """
    said = _plain(text)
    if len(said) > LONGEST_SAID:
        raise InputError(f"that is {len(said)} letters long; two sentences have at most {LONGEST_SAID}")
    with store.begin() as work:
        week_on = _this_week(work, guide_id, now)
        record = work.bulletins.get(guide_id, week_on)
        if record is None:
            raise InputError(
                f"{guide_id} has no bulletin of {week_name(week_on)} yet: the first night of a week "
                "with fresh weather makes it"
            )
        work.bulletins.say(guide_id, week_on, said, at=now)
        work.commit()
    return _kept(replace(record, said=said, said_at=now))


def _plain(text: str) -> str:
    """Keep letters, signs and single spaces; marks of direction could turn a page's text round."""
    return " ".join("".join(" " if unicodedata.category(c)[0] in "ZC" else c for c in text).split())


def _this_week(work: Work, guide_id: str, now: datetime) -> date:
    if not work.guides.versions(guide_id):
        raise InputError(f"there is no guide {guide_id!r}; `mowalert guides list` lists them")
    region = _region(work, guide_id, now)
    return monday_of(region.today if region else now.date())


# --- reading ---


def bulletin_page(
    store: Store,
    turf: Turf,
    guide_id: str,
    *,
    max_age: timedelta,
    now: datetime,
    week_on: date | None = None,
) -> BulletinPage | None:
    """Look at a region's bulletin.

    Parameters
    ----------
    store : Store
        Where bulletins are kept.
    turf : Turf
        Grasses the guide may speak of.
    guide_id : str
        The region guide.
    max_age : timedelta
        Age at which weather is too old.
    now : datetime
        The moment.
    week_on : date | None
        Monday of a week; the newest if not given.

    Returns
    -------
    BulletinPage | None
        The page; none if there is no such guide, or that week has no bulletin.
    """
    with store.begin() as work:
        versions = work.guides.versions(guide_id)
        if not versions:
            return None
        record = _asked_for(work, guide_id, week_on)
        if record is None and week_on is not None:
            return None
        beside = (None, None) if record is None else work.bulletins.beside(guide_id, record.week_on)
        # A day back: somewhere it is still yesterday.
        on = now.date() - timedelta(days=1)
        fresh = work.bulletins.any_fresh(guide_id, since=now - max_age, on=on)
    guide, kept = read_guide(versions[-1].text, turf), None if record is None else _kept(record)
    return BulletinPage(guide, versions[-1].kept_at, kept, *beside, fresh)


def _asked_for(work: Work, guide_id: str, week_on: date | None) -> BulletinRecord | None:
    if week_on is not None:
        return work.bulletins.get(guide_id, week_on)
    return next(iter(work.bulletins.newest(guide_id, limit=1)), None)


def bulletins_of(store: Store, guide_id: str, *, limit: int) -> list[KeptBulletin]:
    """Return a guide's newest bulletins, the newest first."""
    with store.begin() as work:
        return [_kept(record) for record in work.bulletins.newest(guide_id, limit=limit)]


def newest_bulletins(store: Store) -> list[KeptBulletin]:
    """Return the newest bulletin of every region, by title."""
    with store.begin() as work:
        kept = [_kept(record) for record in work.bulletins.latest()]
    return sorted(kept, key=lambda one: one.bulletin.title.casefold())


def _kept(record: BulletinRecord) -> KeptBulletin:
    return KeptBulletin(FACTS.validate_python(record.facts), record.said, record.made_at, record.changed_at)
