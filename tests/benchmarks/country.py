"""An invented country of any size, written straight into a store: the day before a night is timed."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
from sqlalchemy import Connection, Engine, Table, insert

from mowalert.demo.weather import InventedWeather
from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import Due, due_after
from mowalert.domain.stand import StandKey, rooting_class
from mowalert.domain.weather import Ensemble, Place, PlaceWeather, WeatherDay
from mowalert.domain.words import Sun, Watering
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.outlook import unpack_curve
from mowalert.service.ports import Pulled
from mowalert.service.records import GrowthRecord
from mowalert.store.engine import SqlStore
from mowalert.store.tables import cell, keeper, lawn, sending_round, site, stand

NIGHT = datetime(2026, 10, 8, 22, 5, tzinfo=UTC)
"""A Thursday evening in autumn, when a lawn cut low last week is not due for another."""
TODAY = date(2026, 10, 8)
CHOSEN_MM = (80.0, 85.0, 90.0)
HELD_AT = ("loam", "clay_loam", "sandy_loam", "sand", "clay")
GRASSES = ("kentucky_bluegrass", "perennial_ryegrass", "tall_fescue", "fine_fescue")
STANDS_A_CELL = 10
RECENT_SHARE = 0.3
"""Lawns cut in the days whose weather still gets corrected: they are placed on the curve again."""
ROWS_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class Country:
    """How large: lawns, stands, and the share of lawns that are due."""

    lawns: int
    stands: int
    due_share: float


class OneWeather:
    """One invented year for every place, a little warmer or cooler from cell to cell."""

    def __init__(self) -> None:
        self._year = InventedWeather(TODAY.year, seed=7, latitude_deg=42.0)

    def pull(self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime) -> Pulled:
        """Tell recent and coming days."""
        (told,) = self._year.pull(
            [replace(places[0], utc_offset_min=0)], past_days=past_days, forecast_days=forecast_days, now=now
        ).weather
        return self._everywhere(places, told.days, now)

    def history(self, places: Sequence[Place], *, first: date, last: date, now: datetime) -> Pulled:
        """Tell past days, without their hours."""
        (told,) = self._year.history(places[:1], first=first, last=last, now=now).weather
        return self._everywhere(places, [replace(day, hours=None) for day in told.days], now)

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        """Have only one forecast."""
        return []

    def _everywhere(self, places: Sequence[Place], days: Sequence[WeatherDay], now: datetime) -> Pulled:
        answers = []
        for place in places:
            off_c = (place.cell_id % 21 - 10) / 10
            here = tuple(replace(d, t_min_c=d.t_min_c + off_c, t_max_c=d.t_max_c + off_c) for d in days)
            answers.append(PlaceWeather(place, here, now, "invented", 200.0))
        return Pulled(tuple(answers), (), ())


def build(store: SqlStore, engine: Engine, turf: Turf, country: Country) -> OneWeather:
    """Write the country as it stands the evening before, and return its weather."""
    sources = OneWeather()
    yesterday = NIGHT - timedelta(days=1)
    with engine.begin() as connection:
        keys = _write_stands(connection, country)
    with store.begin() as work:
        cells = work.weather.cells(range(1, -(-country.stands // STANDS_A_CELL) + 1))
        places = [Place(c.cell_id, c.latitude_deg, c.longitude_deg, 0, 200.0) for c in cells]
        first = TODAY - timedelta(days=60)
        past = sources.history(places, first=first, last=TODAY - timedelta(days=6), now=yesterday)
        work.weather.save_history(past.weather, asked=[c.cell_id for c in cells], on=TODAY)
        work.weather.save(sources.pull(places, past_days=5, forecast_days=10, now=yesterday).weather)
        work.commit()
    with engine.begin() as connection:
        _write_keepers(connection, country)
        # One lawn a stand, so that the stands are in use; the others come once the curves are known.
        _write(connection, lawn, (_lawn_row(i, i, keys[i], Due(None, None)) for i in range(country.stands)))
    grow_stands(store, turf, now=yesterday)
    with store.begin() as work:
        growth = work.stands.growth(range(1, country.stands + 1))
    with engine.begin() as connection:
        connection.execute(lawn.delete())
        _write(connection, lawn, _placed(growth, turf, country, keys))
    analyze(engine)
    return sources


def analyze(engine: Engine) -> None:
    """Let the database count what it holds, as its housekeeping would in time."""
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("VACUUM ANALYZE" if engine.dialect.name == "postgresql" else "ANALYZE")


def _write_stands(connection: Connection, country: Country) -> list[StandKey]:
    cells = -(-country.stands // STANDS_A_CELL)
    rows = (
        {
            "cell_id": index + 1,
            "latitude_deg": 38.0 + (index // 100) * 0.1,
            "longitude_deg": -100.0 + (index % 100) * 0.1,
            "utc_offset_min": 0,
            "elevation_m": 200.0,
        }
        for index in range(cells)
    )
    _write(connection, cell, rows)
    keys = [_key(index) for index in range(country.stands)]
    _write(connection, stand, (_stand_row(index, key) for index, key in enumerate(keys)))
    return keys


def _key(index: int) -> StandKey:
    within = index % STANDS_A_CELL
    grass, soil = GRASSES[within % 4], HELD_AT[within // 2]
    return StandKey(grass, soil, rooting_class(CHOSEN_MM[0]), Sun.FULL, Watering.REGULAR)


def _stand_row(index: int, key: StandKey) -> dict[str, Any]:
    return {
        "stand_id": index + 1,
        "cell_id": index // STANDS_A_CELL + 1,
        "grass": key.grass_id,
        "soil": key.soil,
        "rooting": key.rooting,
        "sun": key.sun.value,
        "watering": key.watering.value,
    }


def _write_keepers(connection: Connection, country: Country) -> None:
    """Write weekend mowers, one lawn each, all of one round."""
    round_row = {
        "round_id": 1,
        "daily_list": False,
        "time_zone": "UTC",
        "weekdays": 1 << 3,
        "minute_of_day": 18 * 60,
        "mixed": False,
    }
    _write(connection, sending_round, [round_row])
    _write(connection, keeper, (_keeper_row(index) for index in range(country.lawns)))
    _write(connection, site, (_site_row(index, country) for index in range(country.lawns)))


def _keeper_row(index: int) -> dict[str, Any]:
    return {
        "keeper_id": index + 1,
        "key": f"keeper {index}",
        "name": f"Keeper {index}",
        "kind": "homeowner",
        "email": f"keeper{index}@example.org",
        "time_zone": "UTC",
        "units": "metric",
        "language": "en",
        "silence": "cut",
        "tells_all_holds": False,
        "round_id": 1,
        "consent": "operator",
        "consent_at": NIGHT,
        "consent_from": "benchmark",
        "greeted": True,
    }


def _site_row(index: int, country: Country) -> dict[str, Any]:
    return {
        "site_id": index + 1,
        "keeper_id": index + 1,
        "key": "home",
        "name": "Home",
        "address": f"{index} Elm Lane",
        "latitude_deg": 40.0,
        "longitude_deg": -95.0,
        "cell_id": index % country.stands // STANDS_A_CELL + 1,
    }


def _lawn_row(index: int, stand_index: int, key: StandKey, due: Due, **anchor: Any) -> dict[str, Any]:
    return {
        "lawn_id": index + 1,
        "site_id": index + 1,
        "keeper_id": index + 1,
        "round_id": 1,
        "stand_id": stand_index + 1,
        "key": "lawn",
        "name": "lawn",
        "grass": key.grass_id,
        "chosen_mm": CHOSEN_MM[index % 3],
        "mowing_days": 0b1100000,
        "mow_from_h": 9,
        "mow_to_h": 18,
        "clippings": "leave",
        "learned": 1.0,
        "pace": 1.0,
        "anchored_on": TODAY,
        "anchor_height_mm": 70.0,
        "anchor_g_mm": None,
        "anchor_assumed": False,
        "window_g_mm": due.window_g_mm,
        "limit_g_mm": due.limit_g_mm,
        **anchor,
    }


def _placed(
    growth: Mapping[int, GrowthRecord], turf: Turf, country: Country, keys: Sequence[StandKey]
) -> Iterator[dict[str, Any]]:
    """Lawns with their place on the curve: some near the limit, the others freshly cut."""
    random = np.random.default_rng(1)
    first = {stand_id: record.curve_from for stand_id, record in growth.items()}
    curves = {stand_id: unpack_curve(record.curve)[0] for stand_id, record in growth.items()}
    need: dict[tuple[str, float, float], Due] = {}
    for index in range(country.lawns):
        stand_index = index % country.stands
        key, chosen_mm = keys[stand_index], CHOSEN_MM[index % 3]
        is_due, recent = random.random() < country.due_share, random.random() < RECENT_SHARE
        height_mm = round(chosen_mm * (1.42 if is_due else 0.8), 1)
        on = TODAY - timedelta(days=int(random.integers(1, 4) if recent else random.integers(7, 10)))
        combination = (key.grass_id, chosen_mm, height_mm)
        if combination not in need:
            need[combination] = due_after(
                turf.grasses[key.grass_id], chosen_mm, pace=1.0, from_height_mm=height_mm, from_growth_mm=0.0
            )
        g_mm = float(curves[stand_index + 1][(on - first[stand_index + 1]).days])
        due = need[combination]
        shifted = Due(_after(g_mm, due.window_g_mm), _after(g_mm, due.limit_g_mm))
        anchor = {"anchored_on": on, "anchor_height_mm": height_mm, "anchor_g_mm": g_mm}
        yield _lawn_row(index, stand_index, key, shifted, **anchor)


def _after(g_mm: float, need_mm: float | None) -> float | None:
    return None if need_mm is None else g_mm + need_mm


def _write(connection: Connection, table: Table, rows: Any) -> None:
    batch: list[dict[str, Any]] = []
    for row in rows:
        batch.append(row)
        if len(batch) == ROWS_AT_ONCE:
            connection.execute(insert(table), batch)
            batch = []
    if batch:
        connection.execute(insert(table), batch)
