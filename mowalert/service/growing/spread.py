"""Grow stands on every member of an ensemble forecast, and judge past forecasts of growth."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import date, timedelta
from typing import Any, TypeVar

import numpy as np

from mowalert.domain.arrays import Floats, Ints
from mowalert.domain.doubt import no_errors, tally
from mowalert.domain.stand import StandFacts, StandState, StandWeather, grow
from mowalert.domain.weather import Ensemble
from mowalert.service.growing.outlook import unpack_curve
from mowalert.service.ports import Store, Work
from mowalert.service.records import GrowthRecord, KeptForecast

ROWS_AT_ONCE = 15_000
"""Members times stands computed at once; more would only cost memory."""
JUDGED_STANDS = 200
"""Stands whose forecasts are kept to be judged; neighbours err alike, so more would tell little more."""
Rows = TypeVar("Rows", StandFacts, StandWeather)


def member_gains(
    facts: StandFacts,
    weather: StandWeather,
    start: StandState,
    ensembles: Sequence[Ensemble | None],
    *,
    today: date,
    ahead_days: int,
) -> list[Floats | None]:
    """Compute growth from today's evening on for each member of each stand's ensemble.

    Parameters
    ----------
    facts : StandFacts
        Parameters, shape (stand,).
    weather : StandWeather
        What the one forecast says, shape (stand, day); it gives what members do not.
    start : StandState
        State before the first computed day.
    ensembles : Sequence[Ensemble | None]
        One a stand, or none.
    today : date
        The stands' day.
    ahead_days : int
        Days after today.

    Returns
    -------
    list[Floats | None]
        Shape (member, day) each; none where an ensemble is absent or ends too early. [mm]
    """
    gains: list[Floats | None] = [None] * len(ensembles)
    usable = [index for index, one in enumerate(ensembles) if one is not None and _reaches(one, today)]
    batch: list[int] = []
    for index in usable:
        batch.append(index)
        if sum(len(_of(ensembles, one).t_min_c) for one in batch) >= ROWS_AT_ONCE or index == usable[-1]:
            found = _grow_members(facts, weather, start, ensembles, batch, today, ahead_days)
            for place, gain in zip(batch, found, strict=True):
                gains[place] = gain
            batch = []
    return gains


def _reaches(ensemble: Ensemble, today: date) -> bool:
    return ensemble.first_on <= today + timedelta(days=1) <= _last_on(ensemble)


def _last_on(ensemble: Ensemble) -> date:
    return ensemble.first_on + timedelta(days=ensemble.t_min_c.shape[1] - 1)


def _of(ensembles: Sequence[Ensemble | None], index: int) -> Ensemble:
    found = ensembles[index]
    assert found is not None  # noqa: S101 - only usable ones are asked for
    return found


def _grow_members(
    facts: StandFacts,
    weather: StandWeather,
    start: StandState,
    ensembles: Sequence[Ensemble | None],
    batch: Sequence[int],
    today: date,
    ahead_days: int,
) -> list[Floats]:
    sizes = [len(_of(ensembles, index).t_min_c) for index in batch]
    rows = np.repeat(np.array(batch), sizes)
    fanned = _take(weather, rows)
    first = 0
    for index, size in zip(batch, sizes, strict=True):
        _put_members(fanned, slice(first, first + size), _of(ensembles, index), today)
        first += size
    curve = grow(_take(facts, rows), fanned, StandState.unpacked(start.packed()[rows]))
    column = (today - curve.first_on).days
    reached = curve.growth_mm[:, column : column + ahead_days + 1]
    gains = _to_horizon(reached[:, 1:] - reached[:, :1], ahead_days)
    return np.split(gains, np.cumsum(sizes)[:-1])


def _take(values: Rows, rows: Ints) -> Rows:
    """Copy rows of every array; a stand's row as often as it has members."""
    taken: dict[str, Any] = {
        field.name: value[rows] if isinstance(value, np.ndarray) else value
        for field in fields(values)
        for value in [getattr(values, field.name)]
    }
    return replace(values, **taken)


def _put_members(weather: StandWeather, rows: slice, ensemble: Ensemble, today: date) -> None:
    """Let members say the days after today; what they do not say stays the one forecast's."""
    first_on = max(ensemble.first_on, today + timedelta(days=1))
    last = weather.t_min_c.shape[1]
    here = (first_on - weather.first_on).days
    there = (first_on - ensemble.first_on).days
    days = min(last - here, ensemble.t_min_c.shape[1] - there)
    for name in ("t_min_c", "t_max_c", "rain_mm"):
        getattr(weather, name)[rows, here : here + days] = getattr(ensemble, name)[:, there : there + days]


def _to_horizon(gains: Floats, ahead_days: int) -> Floats:
    """Let growth go on at its mean pace where the forecast is shorter than the horizon."""
    lacking = ahead_days - gains.shape[1]
    if lacking <= 0 or not gains.shape[1]:
        return gains
    pace = gains[:, -1:] / gains.shape[1]
    return np.concatenate([gains, gains[:, -1:] + pace * np.arange(1, lacking + 1)], axis=1)


def pack_members(gains: Floats | None) -> bytes | None:
    """Fold members' growths into bytes for the store."""
    return None if gains is None else np.ascontiguousarray(gains, dtype="<f4").tobytes()


def judge_forecasts(store: Store) -> int:
    """Keep today's forecasts of some stands, and add up how far earlier ones lay off; how many were judged.

    A forecast is judged up to yesterday: today's growth is still one itself. Each night counts once,
    however many stands it has, since neighbours err alike.
    """
    with store.begin() as work:
        cells = [cell.cell_id for cell in work.weather.cells()]
        stands = _one_a_cell(work, cells)
        growth = work.stands.growth(stands)
        today = max((record.as_of for record in growth.values()), default=None)
        if today is None:
            return 0
        kept = work.stands.kept_forecasts(stands)
        new = work.stands.keep_forecasts(
            [_kept(record) for record in growth.values()],
            forget_before=today - timedelta(days=len(next(iter(growth.values())).g)),
        )
        seen, judged = _judged(kept, {stand_id: growth[stand_id] for stand_id in new})
        if judged:
            work.stands.add_forecast_errors(seen)
        work.commit()
    return judged


def _one_a_cell(work: Work, cell_ids: Sequence[int]) -> list[int]:
    chosen: dict[int, int] = {}
    for stand in work.stands.of_cells(cell_ids[:JUDGED_STANDS]):
        chosen.setdefault(stand.cell_id, stand.stand_id)
    return sorted(chosen.values())


def _kept(record: GrowthRecord) -> KeptForecast:
    return KeptForecast(record.stand_id, record.as_of, tuple(value - record.g[0] for value in record.g[1:]))


def _judged(kept: Sequence[KeptForecast], growth: Mapping[int, GrowthRecord]) -> tuple[Floats, int]:
    """Tallies of the forecasts that can be judged, the mean over stands for each lead, and how many."""
    leads = len(kept[0].gains_mm) if kept else 0
    pairs: list[list[tuple[float, float]]] = [[] for _ in range(leads)]
    for forecast in kept:
        record = growth.get(forecast.stand_id)
        lead = 0 if record is None else (record.as_of - timedelta(days=1) - forecast.as_of).days
        if record is None or not 1 <= lead <= leads:
            continue
        start = (forecast.as_of - record.curve_from).days
        if start >= 0:
            curve = unpack_curve(record.curve)[0]
            pairs[lead - 1].append((forecast.gains_mm[lead - 1], float(curve[start + lead] - curve[start])))
    seen = no_errors(leads)
    for lead, of_lead in enumerate(pairs):
        if of_lead:
            said_mm, true_mm = np.array(of_lead).T
            seen[lead] = tally(said_mm, true_mm) / len(of_lead)
    return seen, sum(map(len, pairs))
