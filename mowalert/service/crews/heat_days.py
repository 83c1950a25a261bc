"""The heat of a working day where it is worst: by the clock, and by the employer's own thresholds."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from mowalert.domain.crew_heat import crew_heat
from mowalert.domain.notices import CrewHeat
from mowalert.domain.warnings import OfficialWarning
from mowalert.domain.weather import DayHours
from mowalert.service.crews.work_hours import hours_in_cells, working_hours
from mowalert.service.local.official import warnings_for
from mowalert.service.park_records import HeatPlan
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord


@dataclass(frozen=True, slots=True)
class HeatDay:
    """A working day's heat where it is worst, and what the employer's plan says.

    ``before_f`` is the index told the evening before, where this notice says that it got worse. ``warnings``
    are those of the authorities that hold on that day where the organisation has places.
    """

    keeper_name: str
    heat: CrewHeat
    where: str
    first_f: float
    strong_f: float
    plan: str = ""
    call: str = ""
    before_f: float | None = None
    time_zone: str = "UTC"
    warnings: tuple[OfficialWarning, ...] = ()


def heat_of_day(
    work: Work, keeper: KeeperRecord, on: date, *, max_age: timedelta, now: datetime
) -> HeatDay | None:
    """Return a day's heat where an organisation's places are hottest, within its working hours by the clock.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper : KeeperRecord
        The organisation.
    on : date
        The day.
    max_age : timedelta
        The age at which weather is too old.
    now : datetime
        The moment, aware.

    Returns
    -------
    HeatDay | None
        None below the employer's first caution, on a day off, and where the weather is old or unknown.
    """
    hours = working_hours(work, keeper.keeper_id, on)
    if hours is None:
        return None
    plan = heat_plan_of(work, keeper.keeper_id)
    places = _places(work, keeper.keeper_id, max_age, now)
    hot = heat_by_cell(hours_in_cells(work, places, keeper.time_zone, on), on, hours, plan)
    if not hot:
        return None
    cell_id = max(hot, key=lambda one: hot[one].heat_index_f)
    return HeatDay(
        keeper.name,
        hot[cell_id],
        places[cell_id],
        plan.first_caution_f,
        plan.strong_caution_f,
        plan.plan,
        plan.call,
        time_zone=keeper.time_zone,
        warnings=_warnings_on(work, sorted(places), keeper, on, now),
    )


def _warnings_on(
    work: Work, cell_ids: Sequence[int], keeper: KeeperRecord, on: date, now: datetime
) -> tuple[OfficialWarning, ...]:
    zone = ZoneInfo(keeper.time_zone)
    begins, ends = (datetime.combine(day, time.min, zone) for day in (on, on + timedelta(days=1)))
    known = warnings_for(work, cell_ids, now=now)
    return tuple(one for one in known if one.onset_at < ends and one.ends_at > begins)


def heat_plan_of(work: Work, keeper_id: int) -> HeatPlan:
    """Return an employer's thresholds, the published ones where they never said any."""
    return work.parks.heat_plan(keeper_id) or HeatPlan(keeper_id)


def heat_by_cell(
    cells: Mapping[int, DayHours], on: date, hours: tuple[int, int], plan: HeatPlan
) -> dict[int, CrewHeat]:
    """Return the heat of some weather cells in which it passes the first caution.

    Parameters
    ----------
    cells : Mapping[int, DayHours]
        A day's hours in each cell, by the clock.
    on : date
        The day.
    hours : tuple[int, int]
        First hour of work, and the one in which it ends.
    plan : HeatPlan
        The employer's thresholds.

    Returns
    -------
    dict[int, CrewHeat]
        By cell.
    """
    found = {
        cell_id: crew_heat(
            on,
            told.t_c,
            told.rel_humidity_pct,
            from_hour=hours[0],
            to_hour=max(hours[0] + 1, hours[1]),
            first_f=plan.first_caution_f,
            strong_f=plan.strong_caution_f,
        )
        for cell_id, told in cells.items()
    }
    return {cell_id: heat for cell_id, heat in found.items() if heat is not None}


def worst(heats: Iterable[CrewHeat]) -> CrewHeat | None:
    """Return the hottest of some."""
    return max(heats, key=lambda one: one.heat_index_f, default=None)


def _places(work: Work, keeper_id: int, max_age: timedelta, now: datetime) -> dict[int, str]:
    """Weather cells with fresh weather in which an organisation has sites, and the district they lie in."""
    districts = {one.site_id: one.district for one in work.crews.sites(keeper_id).values()}
    names = {site.cell_id: districts.get(site.site_id, "") for site in work.crews.sites_of(keeper_id)[::-1]}
    cells = work.weather.cells(sorted(names)) if names else []
    fresh = [cell for cell in cells if cell.fetched_at and now - cell.fetched_at <= max_age]
    return {cell.cell_id: names[cell.cell_id] for cell in fresh}
