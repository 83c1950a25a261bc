"""Ask the configured sources in their order; what one cannot serve the next is asked for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Protocol

from mowalert.domain.weather import Ensemble, Place, PlaceWeather, Refusal
from mowalert.errors import SourceError
from mowalert.service.growing.pull import FORECASTS_SHARE
from mowalert.service.ports import Pulled
from mowalert.weather.budget import Budget
from mowalert.weather.days import UNREADABLE
from mowalert.weather.open_meteo import ENSEMBLE_CALLS, OpenMeteo
from mowalert.weather.quality import checked

FEWEST_DAYS_AHEAD = 3
ENSEMBLE_PLACES_AT_ONCE = 50
FAULTS_TO_GIVE_UP = 2
"""Faults in one pull after which a source is left alone for its rest."""


class Source(Protocol):
    """A weather source."""

    name: str
    attribution: str
    max_places: int

    def calls(self, places: int, days: int) -> float:
        """What a request costs of the day's budget."""

    def fetch(
        self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime
    ) -> list[PlaceWeather]:
        """Ask for recent and coming days."""


Ask = Callable[[Sequence[Place]], list[PlaceWeather]]


@dataclass(slots=True)
class _Pull:
    """One pull under way."""

    served: list[PlaceWeather]
    refused: list[tuple[int | None, Refusal]]


class WeatherService:
    """All sources in their order.

    Parameters
    ----------
    sources : Sequence[Source]
        First asked first.
    budget : Budget
        Calls left.
    """

    def __init__(self, sources: Sequence[Source], budget: Budget) -> None:
        self._sources = sources
        self._budget = budget

    def pull(self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime) -> Pulled:
        """Ask for recent and coming days; a place is served by the first source that has enough of it.

        Parameters
        ----------
        places : Sequence[Place]
            Places to serve.
        past_days : int
            Days before today.
        forecast_days : int
            Days from today on.
        now : datetime
            The moment.

        Returns
        -------
        Pulled
            Checked weather, places left without, and everything refused.
        """
        pull, left = _Pull([], []), list(places)
        for source in self._sources:
            if not left:
                break

            def ask(batch: Sequence[Place], source: Source = source) -> list[PlaceWeather]:
                return source.fetch(batch, past_days=past_days, forecast_days=forecast_days, now=now)

            first = now.date() - timedelta(days=500)
            self._ask_source(source, ask, left, past_days + forecast_days, first, now, pull, _is_enough)
            served = {answer.place.cell_id for answer in pull.served}
            left = [place for place in left if place.cell_id not in served]
        return Pulled(tuple(pull.served), tuple(left), tuple(pull.refused))

    def history(self, places: Sequence[Place], *, first: date, last: date, now: datetime) -> Pulled:
        """Ask the archive for past days, where a configured source keeps one.

        Parameters
        ----------
        places : Sequence[Place]
            Places to serve.
        first : date
            First day.
        last : date
            Last day.
        now : datetime
            The moment.

        Returns
        -------
        Pulled
            As ``pull``; any checked day is better than none.
        """
        pull = _Pull([], [])
        for source in self._sources:
            if not isinstance(source, OpenMeteo):
                continue

            def ask(batch: Sequence[Place], source: OpenMeteo = source) -> list[PlaceWeather]:
                return source.fetch_archive(batch, first=first, last=last, now=now)

            days = (last - first).days + 1
            # A season costs as much as two dozen forecasts, and waits better than they do.
            keep = FORECASTS_SHARE
            self._ask_source(source, ask, list(places), days, first, now, pull, _has_days, keep)
        served = {answer.place.cell_id for answer in pull.served}
        left = tuple(place for place in places if place.cell_id not in served)
        return Pulled(tuple(pull.served), left, tuple(pull.refused))

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        """Ask for many equally likely forecasts; places that nobody has one for are left out.

        Parameters
        ----------
        places : Sequence[Place]
            Places to ask for.
        forecast_days : int
            Days from today on.
        now : datetime
            The moment.

        Returns
        -------
        list[Ensemble]
            What was found; a fault only costs the spread, so it is passed over.
        """
        found: list[Ensemble] = []
        for source in self._sources:
            if not isinstance(source, OpenMeteo) or not source.has_ensemble:
                continue
            size = self._size(source, ENSEMBLE_CALLS, ENSEMBLE_PLACES_AT_ONCE)
            for start in range(0, len(places), size):
                batch = places[start : start + size]
                calls = ENSEMBLE_CALLS * len(batch)
                # The forecast itself comes first, now and later in the day.
                if self._budget.take(source.name, calls, keep=FORECASTS_SHARE):
                    return found
                try:
                    found += source.fetch_ensemble(batch, forecast_days=forecast_days, now=now)
                except UNREADABLE:
                    return found
        return found

    def _ask_source(
        self,
        source: Source,
        ask: Ask,
        places: Sequence[Place],
        days: int,
        first: date,
        now: datetime,
        pull: _Pull,
        enough: Callable[[PlaceWeather, datetime], bool],
        keep: float = 0.0,
    ) -> None:
        faults = 0
        size = self._size(source, source.calls(1, days), source.max_places)
        for start in range(0, len(places), size):
            batch = places[start : start + size]
            if spent := self._budget.take(source.name, source.calls(len(batch), days), keep=keep):
                pull.refused.append((None, Refusal(source.name, spent)))
                return
            try:
                answers = ask(batch)
            except UNREADABLE as error:
                pull.refused.append((None, Refusal(source.name, _reason(error))))
                faults += 1
                if getattr(error, "permanent", False) or faults >= FAULTS_TO_GIVE_UP:
                    return
                continue
            for answer in answers:
                self._take(source, answer, first, now, pull, enough)

    def _size(self, source: Source, calls: float, most: int) -> int:
        """How many places to ask for at once, each of so many calls."""
        return int(max(1, min(most, self._budget.most(source.name) // calls if calls else most)))

    def _take(
        self,
        source: Source,
        answer: PlaceWeather,
        first: date,
        now: datetime,
        pull: _Pull,
        enough: Callable[[PlaceWeather, datetime], bool],
    ) -> None:
        cell_id = answer.place.cell_id
        today = _today(answer.place, now)
        good, refused = checked(
            answer.days,
            source=source.name,
            first=first,
            last=today + timedelta(days=17),
        )
        pull.refused += [(cell_id, refusal) for refusal in (*answer.refused, *refused)]
        answer = replace(answer, days=good)
        if enough(answer, now):
            pull.served.append(answer)
        elif not answer.refused:
            pull.refused.append((cell_id, Refusal(source.name, "too few good days from today on")))


def _reason(error: Exception) -> str:
    return str(error) if isinstance(error, SourceError) else f"cannot be read: {type(error).__name__}"


def _today(place: Place, now: datetime) -> date:
    return (now + timedelta(minutes=place.utc_offset_min)).date()


def _has_days(answer: PlaceWeather, now: datetime) -> bool:
    return bool(answer.days)


def _is_enough(answer: PlaceWeather, now: datetime) -> bool:
    """Whether today and the next days are there without a gap."""
    today = _today(answer.place, now)
    known = {day.on for day in answer.days}
    return all(today + timedelta(days=ahead) in known for ahead in range(FEWEST_DAYS_AHEAD + 1))
