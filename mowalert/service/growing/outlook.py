"""A stand's stored curve and its cell's days, put together as its lawns see them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.decide import Outlook
from mowalert.domain.doubt import error_quantiles, spread_curves
from mowalert.domain.grasses import Turf
from mowalert.domain.holds import LASTING, TOLD
from mowalert.domain.lawn import Anchor, Due, LawnFacts
from mowalert.domain.learning import TOLD_FROM
from mowalert.domain.notices import HoldFacts, WeatherStamp
from mowalert.domain.rounds import weekdays_in
from mowalert.domain.stand import StandState
from mowalert.domain.weather import WeatherDay
from mowalert.domain.words import HoldReason
from mowalert.service.ports import Work
from mowalert.service.records import TOLD_TODAY, GrowthRecord, LawnRecord, SiteRecord

CURVE_ROWS = 6
"""Rows of a stored curve: G, degree-days, water stress, heat load, holds, depletion."""


class Sky:
    """A cell's weather on the days of a curve, arrays of shape (day,); nan where a day is not known.

    Parameters
    ----------
    days : Mapping[date, WeatherDay]
        Days known.
    first_on : date
        First day of the curve.
    width : int
        Days of the curve.
    """

    def __init__(self, days: Mapping[date, WeatherDay], first_on: date, width: int) -> None:
        columns = [(day, (on - first_on).days) for on, day in days.items()]
        self._days = [(day, column) for day, column in columns if 0 <= column < width]
        table = np.full((3, width), np.nan)
        for day, column in self._days:
            table[:, column] = day.t_min_c, day.t_max_c, day.rain_mm
        self.t_min_c, self.t_max_c, self.rain_mm = table
        self._rain_in: dict[tuple[int, int], Floats] = {}

    def rain_in(self, hours: tuple[int, int]) -> Floats:
        """Rain of each day between two hours, shape (day,); nan where no hour is known. [mm]"""
        if hours not in self._rain_in:
            self._rain_in[hours] = self._rain_between(*hours)
        return self._rain_in[hours]

    def _rain_between(self, from_h: int, to_h: int) -> Floats:
        by_hour = np.full((len(self.rain_mm), 24), np.nan)
        for day, column in self._days:
            if day.hours is not None:
                by_hour[column] = day.hours.rain_mm
        # Leaves stay wet a while: the two hours before count as well.
        rain_mm = by_hour[:, max(0, from_h - 2) : to_h]
        return np.where(np.isnan(rain_mm).all(axis=1), np.nan, np.nansum(rain_mm, axis=1))


@dataclass(frozen=True, slots=True)
class StandDays:
    """A stand's curve with the weather of its days; ``fetched_at`` of today's.

    ``gains_mm`` are equally likely growths from ``as_of`` on, shape (member, day), tomorrow first;
    ``sources`` those of the days from today on, in order of first use.
    """

    cell_id: int
    growth: GrowthRecord
    curve: Floats
    days: Mapping[date, WeatherDay]
    since: dict[HoldReason, date]
    gains_mm: Floats
    sky: Sky
    sources: tuple[str, ...]


def weather_stamp(stands: Sequence[StandDays], *, now: datetime, max_age: timedelta) -> WeatherStamp:
    """Return where the weather of some stands came from, and whether the oldest of it is fresh.

    Parameters
    ----------
    stands : Sequence[StandDays]
        Stands.
    now : datetime
        The moment, aware.
    max_age : timedelta
        The age at which weather is too old.

    Returns
    -------
    WeatherStamp
        Of no stands at all it is not fresh.
    """
    sources = tuple(dict.fromkeys(name for stand in stands for name in stand.sources))
    oldest = min((stand.growth.fetched_at for stand in stands), default=None)
    return WeatherStamp(sources, oldest, oldest is not None and now - oldest <= max_age)


def pack_curve(rows: Floats) -> bytes:
    """Fold a curve of shape (row, day) into bytes for the store."""
    return rows.astype("<f8").tobytes()


def unpack_curve(data: bytes) -> Floats:
    """Return a stored curve of shape (row, day)."""
    return np.frombuffer(data, dtype="<f8").reshape(CURVE_ROWS, -1)


def load_stands(work: Work, stand_ids: Sequence[int], *, since: date | None = None) -> dict[int, StandDays]:
    """Load stands with their weather, from a day on if one is given; stands never grown are absent."""
    growth = work.stands.growth(stand_ids)
    if not growth:
        return {}
    stands = work.stands.get(list(growth))
    first = since or min(record.curve_from for record in growth.values())
    last = max(record.as_of for record in growth.values()) + timedelta(days=16)
    days = work.weather.days(sorted({stand.cell_id for stand in stands.values()}), first=first, last=last)
    by_cell = {cell_id: {day.on: day for day in of_cell} for cell_id, of_cell in days.items()}
    errors = error_quantiles(work.stands.forecast_errors())
    skies: dict[tuple[int, date, date, int], tuple[Sky, tuple[str, ...]]] = {}
    loaded = {}
    for stand_id, record in growth.items():
        cell_id, curve = stands[stand_id].cell_id, unpack_curve(record.curve)
        of_cell, width = by_cell.get(cell_id, {}), curve.shape[1]
        # Stands of a cell see the same sky: its days are put together once.
        alike = cell_id, record.curve_from, record.as_of, width
        if alike not in skies:
            skies[alike] = Sky(of_cell, record.curve_from, width), _sources(of_cell, record.as_of)
        held_since, gains_mm = _since(record, curve), stand_gains(record, errors)
        loaded[stand_id] = StandDays(cell_id, record, curve, of_cell, held_since, gains_mm, *skies[alike])
    return loaded


def _sources(days: Mapping[date, WeatherDay], today: date) -> tuple[str, ...]:
    ahead = [day.source for on, day in sorted(days.items()) if on >= today]
    return tuple(dict.fromkeys(ahead))


def stand_gains(record: GrowthRecord, errors: Floats) -> Floats:
    """Return equally likely growths from ``as_of`` on.

    Parameters
    ----------
    record : GrowthRecord
        A stand's curve, with its ensemble's members where there is one.
    errors : Floats
        Equally likely relative errors of forecast growth, shape (member, lead), for where there is none.

    Returns
    -------
    Floats
        Shape (member, day), tomorrow first. [mm]
    """
    ahead = len(record.g) - 1
    if record.members is not None:
        return np.frombuffer(record.members, dtype="<f4").astype(np.float64).reshape(-1, ahead)
    return spread_curves(np.array(record.g[1:]) - record.g[0], errors)


def _since(record: GrowthRecord, curve: Floats) -> dict[HoldReason, date]:
    """When each hold in force on ``as_of`` began, looking back past the curve where it must."""
    if not record.told_mask & TOLD_TODAY:
        return {}
    today = (record.as_of - record.curve_from).days
    settled = (record.settled_on - record.curve_from).days
    state = StandState.unpacked(np.frombuffer(record.settled, dtype="<f8").reshape(1, -1))
    began = {}
    for bit, reason in enumerate(LASTING):
        active = curve[4].astype(np.int64) >> bit & 1
        if reason not in TOLD or not active[today]:
            continue
        start = today
        while start > 0 and active[start - 1]:
            start -= 1
        since = state.holds.since[bit, 0]
        looks_back = start <= max(settled, 0) and since > 0
        on = date.fromordinal(int(since)) if looks_back else record.curve_from + timedelta(days=start)
        began[reason] = on
    return began


def outlook_for(
    stand: StandDays, hours: tuple[int, int], *, today: date, now: datetime, max_age: timedelta
) -> Outlook:
    """See a stand's days as a lawn mown in some local hours does."""
    record = stand.growth
    fresh = now - record.fetched_at <= max_age and today <= record.known_until
    return Outlook(
        first_on=record.curve_from,
        growth_mm=stand.curve[0],
        gdd_c=stand.curve[1],
        water_stress=stand.curve[2],
        heat_load=stand.curve[3],
        holds=stand.curve[4],
        t_min_c=stand.sky.t_min_c,
        t_max_c=stand.sky.t_max_c,
        rain_mm=stand.sky.rain_mm,
        rain_in_hours_mm=stand.sky.rain_in(hours),
        since=stand.since,
        fresh=fresh,
        gains_on=record.as_of,
        gains_mm=stand.gains_mm,
    )


def lawn_facts(
    lawn: LawnRecord, site: SiteRecord, turf: Turf, *, dated_holds: tuple[HoldFacts, ...] = ()
) -> LawnFacts:
    """See a stored lawn as the decision does; it has its place on the curve."""
    anchor = Anchor(lawn.anchored_on, lawn.anchor_height_mm, lawn.anchor_g_mm or 0.0, lawn.anchor_assumed)
    return LawnFacts(
        lawn_id=lawn.lawn_id,
        lawn_name=lawn.name,
        site_name=site.name,
        address=site.address,
        grass=turf.grasses[lawn.grass],
        chosen_mm=lawn.chosen_mm,
        pace=lawn.pace,
        anchor=anchor,
        due=Due(lawn.window_g_mm, lawn.limit_g_mm),
        mowing_days=weekdays_in(lawn.mowing_days),
        mowing_hours=(lawn.mow_from_h, lawn.mow_to_h),
        clippings=lawn.clippings,
        turf_class=lawn.turf_class,
        area_m2=lawn.area_m2,
        told_hold=lawn.told_hold,
        learned=lawn.learned if lawn.learned_reports >= TOLD_FROM else None,
        dated_holds=dated_holds,
        third=lawn.third,
    )
