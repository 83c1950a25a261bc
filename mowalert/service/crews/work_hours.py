"""When an organisation's people work, and the weather of those hours as their clocks show them."""

from collections.abc import Collection, Sequence
from datetime import date

from mowalert.domain.clock import by_the_clock, summer_min
from mowalert.domain.crews import Crew, Position
from mowalert.domain.rounds import weekdays_in
from mowalert.domain.weather import DayHours
from mowalert.service.ports import Work


def has_crews(work: Work, keeper_id: int) -> bool:
    """Whether an organisation has any crew: then its days are planned, and not only listed."""
    return any(not crew.retired for crew in work.crews.crews(keeper_id))


def day_crews(work: Work, keeper_id: int, on: date) -> list[Crew]:
    """Return the crews that work on a day, with the hours they have then; one that stays home has none.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper_id : int
        The organisation.
    on : date
        The day.

    Returns
    -------
    list[Crew]
        In order of id.
    """
    records = [record for record in work.crews.crews(keeper_id) if not record.retired]
    other = {
        day.crew_id: day for day in work.crews.hours([one.crew_id for one in records], first=on, last=on)
    }
    crews = []
    for record in records:
        hours = other.get(record.crew_id)
        if hours is None and not record.weekdays >> on.weekday() & 1:
            continue
        crews.append(
            Crew(
                record.crew_id,
                record.name,
                Position(record.latitude_deg, record.longitude_deg),
                hours.from_min if hours else record.from_min,
                hours.to_min if hours else record.to_min,
            )
        )
    return crews


def working_crews(crews: Sequence[Crew]) -> list[Crew]:
    """Return those that have any hours."""
    return [crew for crew in crews if crew.from_min < crew.to_min]


def whole_hours(crews: Sequence[Crew]) -> tuple[int, int]:
    """Return the hours of the day in which any of some crews works, begun ones whole; none without crews."""
    if not crews:
        return 0, 0
    return min(crew.from_min for crew in crews) // 60, -(-max(crew.to_min for crew in crews) // 60)


def working_hours(work: Work, keeper_id: int, on: date) -> tuple[int, int] | None:
    """Return the first hour of work on a day, and the one in which it ends, by the clock.

    Parameters
    ----------
    work : Work
        An open transaction.
    keeper_id : int
        The organisation.
    on : date
        The day.

    Returns
    -------
    tuple[int, int] | None
        Its crews' hours; without crews those in which lawns of that weekday are mown. None on a day off.
    """
    if has_crews(work, keeper_id):
        crews = working_crews(day_crews(work, keeper_id, on))
        return whole_hours(crews) if crews else None
    lawns = [
        one for one in work.lawns.of_keepers([keeper_id]) if on.weekday() in weekdays_in(one.mowing_days)
    ]
    if not lawns:
        return None
    return min(lawn.mow_from_h for lawn in lawns), max(lawn.mow_to_h for lawn in lawns)


def clocks_ahead(work: Work, cell_ids: Collection[int], time_zone: str, on: date) -> dict[int, int]:
    """Return how far the clocks of a zone are ahead of the days of some weather cells. [min]"""
    cells = work.weather.cells(sorted(cell_ids)) if cell_ids else []
    return {cell.cell_id: summer_min(time_zone, cell.utc_offset_min, on) for cell in cells}


def hours_in_cells(work: Work, cell_ids: Collection[int], time_zone: str, on: date) -> dict[int, DayHours]:
    """Return the hours of a day in some weather cells, by the clock; cells without are absent.

    Parameters
    ----------
    work : Work
        An open transaction.
    cell_ids : Collection[int]
        Weather cells.
    time_zone : str
        IANA name of the clocks' zone.
    on : date
        The day.

    Returns
    -------
    dict[int, DayHours]
        In order of the cells' ids.
    """
    ahead = clocks_ahead(work, cell_ids, time_zone, on)
    days = work.weather.days(sorted(cell_ids), first=on, last=on)
    return {
        cell_id: clock_hours(day.hours, ahead[cell_id])
        for cell_id, of_cell in sorted(days.items())
        for day in of_cell
        if day.hours is not None
    }


def clock_hours(hours: DayHours, ahead_min: int) -> DayHours:
    """Return a day's hours by the clock on the wall."""
    return DayHours(
        by_the_clock(hours.t_c, ahead_min),
        by_the_clock(hours.rel_humidity_pct, ahead_min),
        by_the_clock(hours.rain_mm, ahead_min),
    )
