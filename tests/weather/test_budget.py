"""No provider is asked more than it allows, however many workers ask, and whatever is left waits."""

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mowalert.domain.weather import Place, PlaceWeather, WeatherDay
from mowalert.service.growing.pull import FORECASTS_SHARE, spacing
from mowalert.service.ports import CallBucket
from mowalert.service.upkeep.status import status_of
from mowalert.settings import load_settings
from mowalert.store.engine import SqlStore
from mowalert.weather import met_norway, open_meteo
from mowalert.weather.budget import HOUR_S, Limits, SharedBudget, drawn
from mowalert.weather.fallback import WeatherService
from mowalert.wiring import call_limits, open_services

NOW = datetime(2026, 7, 16, 10, tzinfo=UTC)
TODAY = date(2026, 7, 16)


class Clock:
    """Time that passes when somebody waits for it."""

    def __init__(self) -> None:
        self.now = NOW
        self.waited_s: list[float] = []

    def wait(self, seconds: float) -> None:
        self.waited_s.append(seconds)
        self.now += timedelta(seconds=seconds)


def budget(store: SqlStore, limits: Limits, clock: Clock | None = None) -> SharedBudget:
    clock = clock or Clock()
    return SharedBudget(store, {"sky": limits}, clock=lambda: clock.now, wait=clock.wait)


class Sky:
    """A source that has good weather everywhere and counts what it is asked."""

    attribution = "a test's"

    def __init__(self, name: str = "sky", max_places: int = 500) -> None:
        self.name, self.max_places = name, max_places
        self.asked: list[int] = []

    def calls(self, places: int, days: int) -> float:
        return places * max(1.0, days / 14)

    def fetch(
        self, places: list[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        self.asked.append(len(places))
        days = tuple(
            WeatherDay(TODAY + timedelta(days=ahead), 10.0 + ahead / 10, 20.0 + ahead / 10, 0.0, self.name)
            for ahead in range(forecast_days)
        )
        return [PlaceWeather(place, days, now, self.name) for place in places]


def pulled_from(sources: list[Sky], shared: SharedBudget, places: int, past_days: int = 4) -> list[str]:
    service = WeatherService(sources, shared)
    found = service.pull(
        [Place(cell_id, 42.75, -73.75, -300) for cell_id in range(1, places + 1)],
        past_days=past_days,
        forecast_days=10,
        now=NOW,
    )
    assert len(found.weather) + len(found.unserved) == places
    return [refusal.reason for _, refusal in found.refused]


@given(
    requests=st.lists(st.tuples(st.floats(0, 4000), st.floats(0.5, 30)), max_size=60),
    limit=st.floats(60, 1000),
)
def test_no_span_sees_more_calls_than_it_allows(requests: list[tuple[float, float]], limit: float) -> None:
    bucket, moment, made = CallBucket(limit / 2, NOW), NOW, []
    for after_s, calls in requests:
        moment += timedelta(seconds=after_s)
        bucket, wait_s = drawn(bucket, calls, span_s=HOUR_S, limit=limit, now=moment)
        made.append((moment + timedelta(seconds=wait_s), calls))
    for begin, _ in made:
        end = begin + timedelta(seconds=HOUR_S)
        assert sum(calls for at, calls in made if begin <= at < end) <= limit + 1e-3


def test_half_a_minutes_calls_go_at_once_and_the_rest_as_it_fills(store: SqlStore) -> None:
    clock = Clock()
    shared = budget(store, Limits(minute=600), clock)
    assert [shared.take("sky", 150) for _ in range(4)] == [None] * 4
    # 300 a minute come back: 150 calls every 30 seconds.
    assert clock.waited_s == [pytest.approx(30), pytest.approx(30)]


def test_who_would_wait_too_long_is_told_so_and_nothing_is_counted(store: SqlStore) -> None:
    shared = budget(store, Limits(hour=1000, day=9000))
    assert shared.take("sky", 500) is None
    assert shared.take("sky", 500) == "the hour's budget of calls is spent"
    assert spent(store) == 500


def test_whoever_is_in_a_hurry_waits_less(store: SqlStore) -> None:
    clock = Clock()
    limits = {"sky": Limits(minute=600)}
    shared = SharedBudget(store, limits, clock=lambda: clock.now, wait=clock.wait, longest_wait_s=5)
    assert shared.take("sky", 300) is None
    assert shared.take("sky", 20) is None
    assert shared.take("sky", 30) == "the minute's budget of calls is spent"
    assert clock.waited_s == [pytest.approx(4)]


def spent(store: SqlStore) -> float:
    with store.begin() as work:
        return work.weather.spent(TODAY)["sky"]


def test_requests_are_cut_to_what_the_minute_allows(store: SqlStore) -> None:
    sky = Sky()
    # 24 days count as 1.7 calls a place: 175 places are 300 calls.
    pulled_from([sky], budget(store, Limits(minute=600)), places=400, past_days=14)
    assert sky.asked == [175, 175, 50]


def test_when_the_days_budget_is_spent_the_next_source_is_asked(store: SqlStore) -> None:
    first, second = Sky(max_places=50), Sky("other", max_places=50)
    reasons = pulled_from([first, second], budget(store, Limits(day=120)), places=200)
    assert (sum(first.asked), sum(second.asked)) == (100, 100)
    assert reasons == ["the day's budget of calls is spent"]


def test_cells_that_are_left_are_served_on_the_next_day(store: SqlStore) -> None:
    clock, sky = Clock(), Sky(max_places=50)
    shared = budget(store, Limits(day=100), clock)
    assert pulled_from([sky], shared, places=150) == ["the day's budget of calls is spent"]
    clock.now += timedelta(days=1)
    assert pulled_from([sky], shared, places=50) == []


def test_the_status_says_what_is_spent(store: SqlStore) -> None:
    budget(store, Limits(day=100)).take("sky", 98)
    (seen,) = status_of(store, now=NOW, daily_calls={"sky": 100}).calls
    assert (seen.source, seen.calls, seen.most, seen.spent) == ("sky", 98, 100, True)
    (free,) = status_of(store, now=NOW).calls
    assert not free.spent
    assert status_of(store, now=NOW + timedelta(days=1)).calls == ()


def test_workers_share_a_day_and_an_hour_without_passing_them(postgres_store: str) -> None:
    def work(number: int) -> int:
        store = SqlStore(postgres_store)
        shared = budget(store, Limits(hour=400, day=150))
        taken = sum(shared.take("sky", 3) is None for _ in range(25))
        store.close()
        return taken

    with ThreadPoolExecutor(4) as workers:
        taken = sum(workers.map(work, range(4)))
    assert taken == 50
    store = SqlStore(postgres_store)
    assert spent(store) == 150
    store.close()


def test_the_free_services_limits_count_where_nothing_else_is_set() -> None:
    usual = call_limits(load_settings(None, environ={}).weather)
    assert usual == {
        "open_meteo": Limits(minute=540, hour=4500, day=9000),
        "met_norway": Limits(minute=1080),
    }
    assert (open_meteo.FREE.hour, met_norway.FREE.minute) == (4500, 1080)


def test_an_address_or_a_key_of_ones_own_has_the_limits_that_are_set() -> None:
    own = {
        "MOWALERT_WEATHER__OPEN_METEO__URL": "https://weather.example.org",
        "MOWALERT_WEATHER__OPEN_METEO__DAILY_CALLS": "500000",
        "MOWALERT_WEATHER__NWS__MINUTE_CALLS": "60",
    }
    limits = call_limits(load_settings(None, environ=own).weather)
    assert (limits["open_meteo"], limits["nws"]) == (Limits(day=500000), Limits(minute=60))
    paid = {"MOWALERT_WEATHER__OPEN_METEO__API_KEY": "paid-for"}
    assert call_limits(load_settings(None, environ=paid).weather)["open_meteo"] == Limits(day=9000)


def test_the_spread_and_a_seasons_past_leave_two_thirds_of_a_day_to_forecasts(store: SqlStore) -> None:
    clock = Clock()
    clock.now = datetime(2026, 7, 16, tzinfo=UTC)
    shared = budget(store, Limits(day=900), clock)
    assert shared.take("sky", 290, keep=FORECASTS_SHARE) is None
    assert shared.take("sky", 20, keep=FORECASTS_SHARE) == "the day's budget of calls is spent"
    assert shared.take("sky", 290) is None
    clock.now += timedelta(hours=12)
    # Half the day is over, and half of what forecasts need.
    assert shared.take("sky", 20, keep=FORECASTS_SHARE) is None
    assert shared.take("sky", 290) is None
    assert shared.take("sky", 20) == "the day's budget of calls is spent"


@pytest.mark.parametrize(
    ("cells", "daily_calls", "hours"),
    [
        (2000, None, 3),
        (10, 9000, 3),
        (750, 9000, 3),
        (2000, 9000, 8),
        (50_000, 9000, 24),
        (0, 9000, 3),
        (5, 0, 3),
    ],
)
def test_a_days_calls_last_all_day(cells: int, daily_calls: float | None, hours: float) -> None:
    assert spacing(cells, daily_calls) == timedelta(hours=hours)


def test_the_first_sources_limit_spaces_the_pulls(tmp_path: Path) -> None:
    environ = {"MOWALERT_SERVICE__DATA_DIR": str(tmp_path)}
    services = open_services(load_settings(None, environ=environ))
    assert services.policy.daily_calls == 9000
    services.close()
