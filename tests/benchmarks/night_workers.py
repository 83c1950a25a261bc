"""One night by workers on a broker, each a process of its own, under the benchmark's one weather."""

import json
import os
import subprocess
import sys
import time
import uuid
from collections.abc import Mapping, Sequence
from typing import Any

import structlog
from country import NIGHT, OneWeather
from night_run import peak_mib

from mowalert.jobs.engine import Engine
from mowalert.settings import Settings, load_settings
from mowalert.wiring import Services, open_services

WORKERS = 2
ENDING = ("last", "mornings", "bulletins")


class BenchmarkEngine(Engine):
    """An engine under one weather; messages stay in the outbox."""

    def begin_delivery(self, *, now: Any = None) -> None:
        """Leave them there."""

    def _mine(self) -> Services:
        if not self._services:
            self._services[0] = services_for(self._settings)
        return self._services[0]


def services_for(settings: Settings) -> Services:
    """The program's own services under the benchmark's weather."""
    services = open_services(settings)
    services.__dict__.update(sources=OneWeather(), warning_sources=())
    return services


def run_celery(url: str) -> dict[str, Any]:
    """Give a night to workers; seconds until it is done, and the largest peak of a worker."""
    values = {
        "MOWALERT_STORE__URL": url,
        "MOWALERT_JOBS__RUNNER": "celery",
        "MOWALERT_JOBS__QUEUE": f"mowalert-benchmark-{uuid.uuid4().hex[:8]}",
        "MOWALERT_SERVICE__BASE_URL": "https://mow.example.org",
        "MOWALERT_SERVICE__CONTACT_EMAIL": "help@example.org",
    }
    settings = load_settings(None, environ=values)
    services, engine = services_for(settings), BenchmarkEngine(settings)
    environment = {**os.environ, **values}
    workers = [_worker(environment) for _ in range(WORKERS)]
    for worker in workers:
        _until(worker, "worker ready")
    began = time.perf_counter()
    engine.begin_night(services, now=NIGHT)
    with services.store.begin() as work:
        night = work.nights.open()
    assert night is not None
    while not _is_over(services, night.night_id):
        time.sleep(0.2)
    taken = time.perf_counter() - began
    peaks = [_stop(worker) for worker in workers]
    with services.store.begin() as work:
        shards = work.nights.shards(night.night_id)
    seconds = by_the_clock([shard.report.get("seconds", {}) for shard in shards], taken)
    with engine.app.connection_for_write() as connection:
        connection.default_channel.queue_delete(settings.jobs.queue)
    digests = sum(count for shard in shards for count in shard.digests.values())
    return {"seconds": seconds, "night_seconds": taken, "digests": digests, "peak_mib": max(peaks)}


def by_the_clock(reports: Sequence[Mapping[str, float]], taken_s: float) -> dict[str, float]:
    """Share a night's seconds out to its steps, as workers at it at once spent theirs; what waited is in it.

    Parameters
    ----------
    reports : Sequence[Mapping[str, float]]
        Each shard's seconds by step.
    taken_s : float
        Seconds by the clock, from the night's beginning to its end.

    Returns
    -------
    dict[str, float]
        Seconds by step; together they are what the night took.
    """
    spent: dict[str, float] = {}
    for step, seconds in (item for report in reports for item in report.items()):
        name = "end" if step in ENDING else step
        spent[name] = spent.get(name, 0.0) + seconds
    at_once = sum(spent.values()) / taken_s
    return {step: seconds / at_once for step, seconds in spent.items()}


def _is_over(services: Services, night_id: int) -> bool:
    with services.store.begin() as work:
        night = work.nights.get(night_id)
    return night is None or not night.is_open


def _worker(environment: dict[str, str]) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, __file__],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment,
    )


def _until(worker: "subprocess.Popen[str]", event: str) -> dict[str, Any]:
    assert worker.stdout is not None
    for line in worker.stdout:
        if line.startswith("{") and json.loads(line)["event"] == event:
            found: dict[str, Any] = json.loads(line)
            return found
    raise SystemExit(f"a worker ended before {event!r}")


def _stop(worker: "subprocess.Popen[str]") -> float:
    worker.terminate()
    peak = float(_until(worker, "worker stopped")["peak_mib"])
    worker.wait()
    return peak


def main() -> None:
    """Work until stopped."""
    from celery.signals import worker_ready

    structlog.configure(
        processors=[structlog.processors.JSONRenderer()],
        logger_factory=structlog.PrintLoggerFactory(sys.stdout),
    )
    log = structlog.get_logger()
    worker_ready.connect(lambda **_: log.info("worker ready"), weak=False)
    BenchmarkEngine(load_settings(None, environ=os.environ)).work(processes=1, pool="solo")
    log.info("worker stopped", peak_mib=peak_mib())


if __name__ == "__main__":
    main()
