"""Pull weather: recent and coming days for every cell that holds a lawn, and the season so far once."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import median

from mowalert.domain.weather import Place, PlaceWeather, Refusal, WeatherDay
from mowalert.service.ports import Store, WeatherSources, Work
from mowalert.service.records import CellRecord

PAST_DAYS = 4
"""Days back asked for each time: younger weather still gets corrected."""
FORECAST_DAYS = 10
NEW_CELL_DAYS = 10
"""More days back for a cell not served before: archives lag some days behind."""
FRESH_FOR = timedelta(hours=3)
"""Weather younger than this is not asked for again."""
FRESH_FOR_MOST = timedelta(hours=24)
FORECASTS_SHARE = 2 / 3
"""Of a day's calls kept for forecasts; the season's past and the spread may use the rest. Working value."""
MOST_PAST_DAYS = 90
ENSEMBLE_FRESH_FOR = timedelta(hours=20)
"""An ensemble costs ten times a forecast, and the spread changes little in a day."""
FARTHEST_OFF_C = 9.0
"""Corrections are smaller; degrees Fahrenheit taken for Celsius are farther off. Working value."""
FEWEST_TO_COMPARE = 2
BELIEVED_FOR = timedelta(hours=36)
"""After so long without an answer that agrees, the one kept may have been the wrong one."""


@dataclass(frozen=True, slots=True)
class PullReport:
    """How a pull went: cells asked for, served and left without, by source."""

    asked: int
    served: int
    unserved: int
    by_source: tuple[tuple[str, int], ...]

    def __add__(self, other: "PullReport") -> "PullReport":
        sources = Counter(dict(self.by_source)) + Counter(dict(other.by_source))
        return PullReport(
            self.asked + other.asked,
            self.served + other.served,
            self.unserved + other.unserved,
            tuple(sorted(sources.items())),
        )


def local_date(cell: CellRecord, now: datetime) -> date:
    """Return the date of a cell's own day."""
    return (now + timedelta(minutes=cell.utc_offset_min)).date()


def pull_weather(
    store: Store,
    sources: WeatherSources,
    *,
    now: datetime,
    cell_ids: Sequence[int] | None = None,
    daily_calls: float | None = None,
) -> PullReport:
    """Ask for weather where it is older than a few hours; keep what was given and what was refused.

    Parameters
    ----------
    store : Store
        Where it is kept.
    sources : WeatherSources
        Who is asked.
    now : datetime
        The moment.
    cell_ids : Sequence[int] | None
        Cells of a shard; none for all.
    daily_calls : float | None
        Calls a day that the first source allows, if it counts them.

    Returns
    -------
    PullReport
        How it went.
    """
    with store.begin() as work:
        fresh_for = spacing(work.weather.count(), daily_calls)
        cells = [cell for cell in work.weather.cells(cell_ids) if _is_old(cell, now, fresh_for)]
        span = (cells[0].cell_id, cells[-1].cell_id) if cells else None
        mown = work.lawns.earliest_unanchored(within=span) if cells else {}
    _pull_history(store, sources, [cell for cell in cells if _lacks_history(cell, mown, now)], mown, now)
    if not cells:
        return PullReport(0, 0, 0, ())
    pulled = sources.pull(
        [_place(cell) for cell in cells],
        past_days=_past_days(cells, now),
        forecast_days=FORECAST_DAYS,
        now=now,
    )
    with store.begin() as work:
        believed, strange = _believed(work, pulled.weather, cells, now)
        work.weather.save(believed)
        work.weather.refuse((*pulled.refused, *strange), at=now)
        work.commit()
    _pull_ensembles(store, sources, cells, now)
    names = [answer.source for answer in believed]
    by_source = tuple((name, names.count(name)) for name in sorted(set(names)))
    return PullReport(len(cells), len(believed), len(pulled.unserved) + len(strange), by_source)


def _believed(
    work: Work, answers: Sequence[PlaceWeather], cells: Sequence[CellRecord], now: datetime
) -> tuple[list[PlaceWeather], list[tuple[int, Refusal]]]:
    """Sort answers by whether their past is the one that was told before."""
    fresh = [cell.cell_id for cell in cells if cell.fetched_at and now - cell.fetched_at < BELIEVED_FOR]
    first = now.date() - timedelta(days=PAST_DAYS + 1)
    kept = work.weather.days(fresh, first=first, last=now.date(), hours=False)
    believed: list[PlaceWeather] = []
    strange: list[tuple[int, Refusal]] = []
    for answer in answers:
        off_c = _off_c(answer, kept.get(answer.place.cell_id, ()), now)
        if off_c is None or off_c <= FARTHEST_OFF_C:
            believed.append(answer)
        else:
            reason = f"the days gone by are {off_c:.0f} °C away from what was told before"
            strange.append((answer.place.cell_id, Refusal(answer.source, reason)))
    return believed, strange


def _off_c(answer: PlaceWeather, kept: Sequence[WeatherDay], now: datetime) -> float | None:
    """How far the days that are over lie from those kept: the median of their maxima's differences."""
    today = (now + timedelta(minutes=answer.place.utc_offset_min)).date()
    told = {day.on: day.t_max_c for day in answer.days if day.on < today and not day.partial}
    apart = [abs(told[day.on] - day.t_max_c) for day in kept if day.on in told and not day.partial]
    return median(apart) if len(apart) >= FEWEST_TO_COMPARE else None


def _pull_ensembles(
    store: Store, sources: WeatherSources, cells: Sequence[CellRecord], now: datetime
) -> None:
    with store.begin() as work:
        known = work.weather.with_ensemble([cell.cell_id for cell in cells], since=now - ENSEMBLE_FRESH_FOR)
    wanted = [_place(cell) for cell in cells if cell.cell_id not in known]
    found = sources.ensemble(wanted, forecast_days=FORECAST_DAYS, now=now) if wanted else []
    if found:
        with store.begin() as work:
            work.weather.save_ensembles(found)
            work.commit()


def spacing(cells: int, daily_calls: float | None) -> timedelta:
    """Return for how long weather is fresh: with many cells longer, so that a day's calls last all day."""
    if not daily_calls:
        return FRESH_FOR
    pulls_a_day = FORECASTS_SHARE * daily_calls / max(1, cells)
    return min(FRESH_FOR_MOST, max(FRESH_FOR, timedelta(days=1) / pulls_a_day))


def _is_old(cell: CellRecord, now: datetime, fresh_for: timedelta) -> bool:
    # A clock that stepped back must not stop the pulls.
    return cell.fetched_at is None or not timedelta(0) <= now - cell.fetched_at < fresh_for


def _place(cell: CellRecord) -> Place:
    return Place(cell.cell_id, cell.latitude_deg, cell.longitude_deg, cell.utc_offset_min, cell.elevation_m)


def _past_days(cells: Sequence[CellRecord], now: datetime) -> int:
    """Days back that close the longest gap since a cell was last served, or reach a history's end."""
    gaps = [(now - cell.fetched_at).days if cell.fetched_at else NEW_CELL_DAYS for cell in cells]
    return min(MOST_PAST_DAYS, PAST_DAYS + max(0, *gaps))


def season_start(cell: CellRecord, today: date) -> date:
    """Return the day the year's warmth is counted from: 1 January, or 1 July south of the equator."""
    if cell.latitude_deg >= 0:
        return date(today.year, 1, 1)
    return date(today.year if today.month >= 7 else today.year - 1, 7, 1)


def _history_first(cell: CellRecord, mown: dict[int, date], today: date) -> date:
    earliest = min(mown.get(cell.cell_id, today), season_start(cell, today))
    return max(earliest, today - timedelta(days=400))


def _lacks_history(cell: CellRecord, mown: dict[int, date], now: datetime) -> bool:
    today = local_date(cell, now)
    if cell.history_asked_on is not None and cell.history_asked_on >= today:
        return False
    if cell.history_from is None:
        return True
    return cell.cell_id in mown and cell.history_from > _history_first(cell, mown, today)


def _pull_history(
    store: Store,
    sources: WeatherSources,
    cells: Sequence[CellRecord],
    mown: dict[int, date],
    now: datetime,
) -> None:
    """Ask once for the season so far; a source that keeps no past leaves the soil to be assumed full."""
    if not cells:
        return
    today = min(local_date(cell, now) for cell in cells)
    first = min(_history_first(cell, mown, today) for cell in cells)
    last = today - timedelta(days=PAST_DAYS + 1)
    if first > last:
        return
    pulled = sources.history([_place(cell) for cell in cells], first=first, last=last, now=now)
    asked = [cell.cell_id for cell in cells]
    with store.begin() as work:
        work.weather.save_history(pulled.weather, asked=asked, on=today)
        work.weather.refuse(pulled.refused, at=now)
        work.stands.forget_growth([answer.place.cell_id for answer in pulled.weather])
        work.commit()
