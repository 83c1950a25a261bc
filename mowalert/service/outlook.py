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
from mowalert.domain.notices import WeatherStamp
from mowalert.domain.rounds import weekdays_in
from mowalert.domain.stand import StandState
from mowalert.domain.weather import WeatherDay
from mowalert.domain.words import HoldReason
from mowalert.service.ports import Work
from mowalert.service.records import GrowthRecord, LawnRecord, SiteRecord

CURVE_ROWS = 6
"""Rows of a stored curve: G, degree-days, water stress, heat load, holds, depletion."""
UNKNOWN_HOURS = (float("nan"),) * 24


@dataclass(frozen=True, slots=True)
class StandDays:
    """A stand's curve with the weather of its days; ``fetched_at`` and ``sources`` of today's.

    ``gains_mm`` are equally likely growths from ``as_of`` on, shape (member, day), tomorrow first.
    """

    cell_id: int
    growth: GrowthRecord
    curve: Floats
    days: Mapping[date, WeatherDay]
    since: dict[HoldReason, date]
    gains_mm: Floats

    @property
    def sources(self) -> tuple[str, ...]:
        """Sources of the days from today on, in order of first use."""
        ahead = [day.source for on, day in sorted(self.days.items()) if on >= self.growth.as_of]
        return tuple(dict.fromkeys(ahead))


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


def pack_curve(rows: Sequence[Floats]) -> bytes:
    """Fold a curve's rows into bytes for the store."""
    return np.ascontiguousarray(np.array(rows), dtype="<f8").tobytes()


def unpack_curve(data: bytes) -> Floats:
    """Return a stored curve of shape (row, day)."""
    return np.frombuffer(data, dtype="<f8").reshape(CURVE_ROWS, -1)


def load_stands(work: Work, stand_ids: Sequence[int]) -> dict[int, StandDays]:
    """Load stands with their weather; stands never grown are absent."""
    growth = work.stands.growth(stand_ids)
    if not growth:
        return {}
    stands = work.stands.get(list(growth))
    first = min(record.curve_from for record in growth.values())
    last = max(record.as_of for record in growth.values()) + timedelta(days=16)
    days = work.weather.days(sorted({stand.cell_id for stand in stands.values()}), first=first, last=last)
    by_cell = {cell_id: {day.on: day for day in of_cell} for cell_id, of_cell in days.items()}
    errors = error_quantiles(work.stands.forecast_errors())
    return {
        stand_id: _stand_days(record, stands[stand_id].cell_id, by_cell, errors)
        for stand_id, record in growth.items()
    }


def _stand_days(
    record: GrowthRecord,
    cell_id: int,
    by_cell: Mapping[int, Mapping[date, WeatherDay]],
    errors: Floats,
) -> StandDays:
    curve, days = unpack_curve(record.curve), by_cell.get(cell_id, {})
    return StandDays(cell_id, record, curve, days, _since(record, curve), stand_gains(record, errors))


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
    width = stand.curve.shape[1]
    dates = [record.curve_from + timedelta(days=day) for day in range(width)]
    days = [stand.days.get(on) for on in dates]
    fresh = now - record.fetched_at <= max_age and today <= record.known_until
    return Outlook(
        first_on=record.curve_from,
        growth_mm=stand.curve[0],
        gdd_c=stand.curve[1],
        water_stress=stand.curve[2],
        heat_load=stand.curve[3],
        holds=stand.curve[4],
        t_min_c=np.array([day.t_min_c if day else np.nan for day in days]),
        t_max_c=np.array([day.t_max_c if day else np.nan for day in days]),
        rain_mm=np.array([day.rain_mm if day else np.nan for day in days]),
        rain_in_hours_mm=_rain_in_hours(days, hours),
        since=stand.since,
        fresh=fresh,
        gains_on=record.as_of,
        gains_mm=stand.gains_mm,
    )


def _rain_in_hours(days: Sequence[WeatherDay | None], hours: tuple[int, int]) -> Floats:
    """Rain of each day between two hours, shape (day,); nan where no hour is known. [mm]"""
    by_hour = np.array([day.hours.rain_mm if day and day.hours else UNKNOWN_HOURS for day in days])
    # Leaves stay wet a while: the two hours before count as well.
    rain_mm = by_hour[:, max(0, hours[0] - 2) : hours[1]]
    return np.where(np.isnan(rain_mm).all(axis=1), np.nan, np.nansum(rain_mm, axis=1))


def lawn_facts(lawn: LawnRecord, site: SiteRecord, turf: Turf) -> LawnFacts:
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
        third=lawn.third,
    )
