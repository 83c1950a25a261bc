"""Stands grown on an ensemble, and forecasts that are judged, in a real store."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from mowalert.demo.weather import InventedWeather
from mowalert.domain.doubt import error_quantiles, no_errors
from mowalert.domain.grasses import Turf
from mowalert.domain.weather import Ensemble, Place
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.outlook import load_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.growing.spread import judge_forecasts
from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.engine import SqlStore

START = datetime(2026, 4, 28, 22, 5, tzinfo=UTC)
TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm,watering
Ann,homeowner,ann@example.org,42.0,-73.0,kentucky_bluegrass,75,regular
"""


@dataclass
class WithEnsemble(InventedWeather):
    """Invented weather with an ensemble: the truth, and colder and warmer members."""

    shifts_c: Sequence[float] = (-4.0, -2.0, 0.0, 2.0, 4.0)
    asked: list[datetime] = field(default_factory=list)

    def __init__(self, shifts_c: Sequence[float] = (-4.0, -2.0, 0.0, 2.0, 4.0)) -> None:
        super().__init__(2026, seed=3, latitude_deg=42.0)
        self.shifts_c, self.asked = shifts_c, []

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        self.asked.append(now)
        return [self._members(place, forecast_days, now) for place in places if self.shifts_c]

    def _members(self, place: Place, days: int, now: datetime) -> Ensemble:
        first = (now + timedelta(minutes=place.utc_offset_min)).date()
        told = self.pull([place], past_days=0, forecast_days=days, now=now).weather[0].days
        shift = np.array(self.shifts_c)[:, None]
        low, high = (np.array([getattr(day, name) for day in told]) for name in ("t_min_c", "t_max_c"))
        rain = np.repeat([[day.rain_mm for day in told]], len(shift), axis=0)
        return Ensemble(place, first, low + shift, high + shift, rain, now, "invented")


def a_store(store: SqlStore, turf: Turf) -> SqlStore:
    rows, report = read_table(TABLE, turf, now=START)
    enrol(store, turf, rows, report, source="a test", cell_degrees=0.1, now=START)
    return store


def grow(store: SqlStore, turf: Turf, weather: InventedWeather, now: datetime) -> None:
    pull_weather(store, weather, now=now)
    grow_stands(store, turf, now=now)


def gains_of(store: SqlStore) -> np.ndarray:  # type: ignore[type-arg]
    with store.begin() as work:
        (stand,) = load_stands(work, [work.lawns.get(work.lawns.all_ids())[0].stand_id]).values()
    return stand.gains_mm


def test_each_member_gets_a_curve_of_its_own(store: SqlStore, turf: Turf) -> None:
    grow(a_store(store, turf), turf, WithEnsemble(), START)
    gains = gains_of(store)
    assert gains.shape == (5, 9)
    # In April below the optimum: the warmer the member, the more it grows.
    assert list(np.argsort(gains[:, -1])) == [0, 1, 2, 3, 4]
    assert gains[4, -1] > 1.3 * gains[0, -1]


def test_the_member_that_is_the_forecast_grows_as_the_forecast(store: SqlStore, turf: Turf) -> None:
    grow(a_store(store, turf), turf, WithEnsemble(), START)
    with store.begin() as work:
        (record,) = work.stands.growth([work.lawns.get(work.lawns.all_ids())[0].stand_id]).values()
    assert gains_of(store)[2] == pytest.approx(np.array(record.g[1:]) - record.g[0], abs=1e-3)


def test_an_ensemble_is_asked_for_once_a_day(store: SqlStore, turf: Turf) -> None:
    a_store(store, turf)
    weather = WithEnsemble()
    for hours in (0, 4, 8, 25):
        grow(store, turf, weather, START + timedelta(hours=hours))
    assert weather.asked == [START, START + timedelta(hours=25)]


def test_without_an_ensemble_the_spread_comes_from_past_errors(store: SqlStore, turf: Turf) -> None:
    grow(a_store(store, turf), turf, WithEnsemble(shifts_c=()), START)
    assert gains_of(store).shape == (31, 9)


def test_an_old_ensemble_is_no_longer_used(store: SqlStore, turf: Turf) -> None:
    a_store(store, turf)
    weather = WithEnsemble()
    grow(store, turf, weather, START)
    weather.shifts_c = ()
    grow(store, turf, weather, START + timedelta(days=3))
    assert gains_of(store).shape == (31, 9)


class Boastful(WithEnsemble):
    """Says every coming day is much warmer than it turns out."""

    def _told(self, today: date, on: date):  # type: ignore[no-untyped-def]
        true = self._days[on]
        off_c = 5.0 if on > today else 0.0
        return replace(true, t_min_c=true.t_min_c + off_c, t_max_c=true.t_max_c + off_c)


def test_a_forecaster_that_promises_too_much_is_found_out(store: SqlStore, turf: Turf) -> None:
    a_store(store, turf)
    weather = Boastful(shifts_c=())
    for night in range(14):
        now = START - timedelta(days=14 - night)
        grow(store, turf, weather, now)
        judged = judge_forecasts(store)
        assert judged == min(max(night - 1, 0), 9)
        assert judge_forecasts(store) == 0, "a second night of a day judges nothing"
    with store.begin() as work:
        seen = work.stands.forecast_errors()
        kept = work.stands.kept_forecasts([work.lawns.get(work.lawns.all_ids())[0].stand_id])
    assert len(kept) <= 11
    assert np.all(seen.sum(axis=1)[:8] > 0)
    usual, learned = error_quantiles(no_errors(9)), error_quantiles(seen)
    assert np.median(learned[:, 3]) < np.median(usual[:, 3]) - 0.01
