"""Weather on demand: a source of our own port whose days a test sets."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from mowalert.domain.weather import Ensemble, Place, PlaceWeather, WeatherDay
from mowalert.service.ports import Pulled

NAME = "nws"
Day = Callable[[Place, date], WeatherDay | None]


def a_day(on: date, *, t_min_c: float = 10.0, t_max_c: float = 20.0, rain_mm: float = 0.0) -> WeatherDay:
    return WeatherDay(on, t_min_c, t_max_c, rain_mm, NAME, radiation_mj_m2=18.0, wind_2m_ms=2.0)


def growing_weather(place: Place, on: date) -> WeatherDay:
    """Mild days with rain on every third: grass grows and nothing holds it."""
    return a_day(on, rain_mm=9.0 if on.toordinal() % 3 == 0 else 0.0)


@dataclass
class Skies:
    """Serves the days of ``day``; serves nobody while ``down``; ``keeps_past`` days back at the most."""

    day: Day = growing_weather
    down: bool = False
    keeps_past: int = 400
    pulls: int = 0
    spans: list[tuple[date, date]] = field(default_factory=list)

    def pull(self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime) -> Pulled:
        self.pulls += 1
        past_days = min(past_days, self.keeps_past)
        return self._served(
            places,
            lambda today: (today - timedelta(days=past_days), today + timedelta(days=forecast_days - 1)),
            now,
        )

    def history(self, places: Sequence[Place], *, first: date, last: date, now: datetime) -> Pulled:
        return self._served(places, lambda today: (max(first, today - timedelta(self.keeps_past)), last), now)

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        return []

    def _served(
        self, places: Sequence[Place], span: Callable[[date], tuple[date, date]], now: datetime
    ) -> Pulled:
        if self.down:
            return Pulled((), tuple(places), ())
        answers = []
        for place in places:
            first, last = span((now + timedelta(minutes=place.utc_offset_min)).date())
            self.spans.append((first, last))
            dates = (first + timedelta(days=ahead) for ahead in range((last - first).days + 1))
            days = tuple(day for on in dates if (day := self.day(place, on)) is not None)
            if days:
                answers.append(PlaceWeather(place, days, now, NAME, 200.0))
        return Pulled(tuple(answers), (), ())
