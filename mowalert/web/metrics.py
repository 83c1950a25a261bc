"""Figures for a monitoring system: requests are counted as they come, the rest is read when asked for."""

from collections import Counter as Tally
from collections.abc import Callable, Iterator, Mapping
from datetime import datetime, timedelta
from threading import Lock
from time import perf_counter

from prometheus_client import CollectorRegistry, Counter, Histogram, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector
from starlette.routing import Mount
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from mowalert.errors import StoreError
from mowalert.service.failures import FAILURES
from mowalert.service.nights.totals import DELIVERIES, NIGHT_WORK, NIGHTS, SHARDS, STEP_SECONDS
from mowalert.service.ports import Store
from mowalert.service.upkeep.overview import ages_by_source
from mowalert.service.upkeep.status import NO_LIMITS, NightStatus, Status, status_of

METHODS = frozenset({"DELETE", "GET", "HEAD", "OPTIONS", "PATCH", "POST", "PUT"})
ELSEWHERE = "none"
"""Route of a request that none takes."""
READ_AGAIN = timedelta(seconds=10)
"""A look counts whole tables: however often somebody asks, it is taken no more often than this."""
ROUNDS = 100


TOTALS = {
    STEP_SECONDS: ("mowalert_step_seconds", "Time of the steps of all nights and deliveries.", "step"),
    NIGHT_WORK: ("mowalert_work", "What the shards of all nights did.", "what"),
    SHARDS: ("mowalert_shards", "Shards by how they ended.", "state"),
    NIGHTS: ("mowalert_nights", "Nights by how they ended.", "state"),
    DELIVERIES: ("mowalert_deliveries", "Messages by what became of them.", "outcome"),
    FAILURES: ("mowalert_failures", "Ticks of the scheduler, and parts of nights, that failed.", "part"),
}
"""Of all processes together since the store was made: workers need no figures of their own."""


class Metrics:
    """The figures of one application, in a registry of its own.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    clock : Callable[[], datetime]
        Tells the moment.
    daily_calls : Mapping[str, float]
        Calls a day that each source of weather allows.
    """

    def __init__(
        self, store: Store, clock: Callable[[], datetime], daily_calls: Mapping[str, float] = NO_LIMITS
    ) -> None:
        self._registry = CollectorRegistry()
        self._registry.register(StoreFigures(store, clock, daily_calls))
        self._requests = Counter(
            "mowalert_requests",
            "Requests answered.",
            ("route", "method", "status"),
            registry=self._registry,
        )
        self._seconds = Histogram(
            "mowalert_request_seconds",
            "Time from a request to the end of its answer.",
            ("route",),
            registry=self._registry,
        )

    def count(self, route: str, method: str, status: int, seconds: float) -> None:
        """Count one request."""
        # Anybody can make up methods, and each would be kept for good.
        known = method if method in METHODS else "other"
        self._requests.labels(route, known, str(status)).inc()
        self._seconds.labels(route).observe(seconds)

    def text(self) -> bytes:
        """Return everything in the text format of Prometheus."""
        return generate_latest(self._registry)


class StoreFigures(Collector):
    """What the store says of the service.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    clock : Callable[[], datetime]
        Tells the moment.
    daily_calls : Mapping[str, float]
        Calls a day that each source of weather allows.
    """

    def __init__(
        self, store: Store, clock: Callable[[], datetime], daily_calls: Mapping[str, float] = NO_LIMITS
    ) -> None:
        self._store, self._clock, self._daily_calls = store, clock, daily_calls
        self._lock = Lock()
        self._kept: tuple[datetime, list[Metric]] | None = None

    def describe(self) -> list[Metric]:
        """Name nothing beforehand: that would ask the store while the pages start."""
        return []

    def collect(self) -> list[Metric]:
        """Return the figures; of a store that cannot be read, only that."""
        now = self._clock()
        with self._lock:
            if self._kept is None or not timedelta() <= now - self._kept[0] < READ_AGAIN:
                self._kept = now, list(self._look(now))
            return self._kept[1]

    def _look(self, now: datetime) -> Iterator[Metric]:
        try:
            status = status_of(self._store, now=now, latest=ROUNDS, daily_calls=self._daily_calls)
        except StoreError:
            yield _gauge("mowalert_store_readable", "Whether the store can be read.", 0)
            return
        yield _gauge("mowalert_store_readable", "Whether the store can be read.", 1)
        for name, count in status.counts.items():
            yield _gauge(f"mowalert_{name}s", f"How many {name}s are enrolled.", count)
        yield from _night_figures(status, now)
        if status.night is not None:
            yield from _shard_figures(status.night)
        yield from _weather_figures(status)
        yield from _total_figures(status)
        waits_s = 60 * (status.oldest_due_min or 0.0)
        says = "How long a message has waited that could go."
        yield _gauge("mowalert_oldest_message_wait_seconds", says, waits_s)
        yield _labelled("mowalert_messages", "Messages by state.", "state", status.outbox)
        outcomes = Tally(entry.outcome for entry in status.rounds)
        yield _labelled(
            "mowalert_newest_rounds", f"The {ROUNDS} newest rounds by outcome.", "outcome", outcomes
        )


def _night_figures(status: Status, now: datetime) -> Iterator[GaugeMetricFamily]:
    yield _gauge("mowalert_nights_overdue", "Whether nights have stopped.", status.overdue)
    if status.last_night_at is not None:
        age = now - datetime.fromisoformat(status.last_night_at)
        yield _gauge("mowalert_newest_night_age_seconds", "Age of the newest night.", age.total_seconds())


def _shard_figures(night: NightStatus) -> Iterator[GaugeMetricFamily]:
    yield _labelled("mowalert_night_shards", "Shards of the newest night by state.", "state", night.shards)
    yield _gauge("mowalert_night_most_tries", "Most tries of one shard of it.", night.most_tries)
    yield _labelled(
        "mowalert_night_step_seconds", "Time of its steps, over all shards.", "step", night.seconds
    )
    yield _labelled("mowalert_night_work", "What its shards did.", "what", night.work)


def _weather_figures(status: Status) -> Iterator[GaugeMetricFamily]:
    oldest = {one.source: one.oldest_h * 3600 for one in ages_by_source(status.weather)}
    yield _labelled("mowalert_weather_age_seconds", "Age of a source's oldest cell.", "source", oldest)
    without = sum(cell.age_h is None for cell in status.weather)
    yield _gauge("mowalert_cells_without_weather", "Cells in use that never had weather.", without)
    calls = {one.source: one.calls for one in status.calls}
    yield _labelled("mowalert_weather_calls", "Calls made of a source on this UTC day.", "source", calls)
    most = {one.source: one.most for one in status.calls if one.most is not None}
    yield _labelled("mowalert_weather_calls_limit", "Calls a day that it allows.", "source", most)


def _total_figures(status: Status) -> Iterator[CounterMetricFamily]:
    for figure, (name, says, label) in TOTALS.items():
        family = CounterMetricFamily(name, says, labels=[label])
        for key, value in status.totals.get(figure, {}).items():
            family.add_metric([key], value)
        yield family


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(name, says, value=float(value))


def _labelled(name: str, says: str, label: str, values: Mapping[str, float]) -> GaugeMetricFamily:
    family = GaugeMetricFamily(name, says, labels=[label])
    for key, value in sorted(values.items()):
        family.add_metric([key], float(value))
    return family


class CountRequests:
    """Counts each request under the template of its route, never under its path: that holds secrets.

    Parameters
    ----------
    app : ASGIApp
        What answers.
    metrics : Metrics
        Where they are counted.
    """

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app, self._metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, and count it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began, status, ended = perf_counter(), 500, 0.0

        async def watched(message: Message) -> None:
            nonlocal status, ended
            await send(message)
            if message["type"] == "http.response.start":
                status = message["status"]
            # What is done after the answer, such as sending a mail, makes nobody wait.
            elif not message.get("more_body", False):
                ended = perf_counter()

        try:
            await self._app(scope, receive, watched)
        finally:
            seconds = (ended or perf_counter()) - began
            self._metrics.count(route_of(scope), scope["method"], status, seconds)


def route_of(scope: Scope) -> str:
    """Return the template of the route that took a request, such as ``/my/{token}``."""
    route = scope.get("route")
    within = "" if isinstance(route, Mount) else getattr(route, "path", "")
    # A mounted application's routes know only the rest of the way.
    mounted = str(scope.get("root_path", "")) if "app_root_path" in scope else ""
    return mounted.removeprefix(str(scope.get("app_root_path", ""))) + within or ELSEWHERE
