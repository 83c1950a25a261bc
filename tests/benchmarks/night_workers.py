"""One night by workers on a broker, each a process of its own, under the benchmark's one weather."""

import json
import os
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import structlog
from country import NIGHT, OneWeather
from night_run import peak_mib

from mowalert.jobs.engine import Engine
from mowalert.settings import Settings, load_settings
from mowalert.wiring import Services, open_services

WORKERS = 2
ENDING = ("last", "mornings", "bulletins")
log = structlog.get_logger()


class BenchmarkEngine(Engine):
    """An engine under one weather, whose workers tell how large they are; messages stay in the outbox."""

    def begin_delivery(self, *, now: Any = None) -> None:
        """Leave them there."""

    def _run_shard(self, task: Any, night_id: int, shard: int) -> None:
        super()._run_shard(task, night_id, shard)
        log.info("shard done", peak_mib=peak_mib())

    def _open(self) -> Services:
        return services_for(self._settings)


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
    workers = _workers({**os.environ, **values})
    _until(workers, "workers ready")
    began = time.perf_counter()
    engine.begin_night(services, now=NIGHT)
    with services.store.begin() as work:
        night = work.nights.open()
    assert night is not None
    while not _is_over(services, night.night_id):
        time.sleep(0.2)
    taken = time.perf_counter() - began
    peak = _stop(workers)
    with services.store.begin() as work:
        shards = work.nights.shards(night.night_id)
    seconds = by_the_clock([shard.report.get("seconds", {}) for shard in shards], taken)
    with engine.app.connection_for_write() as connection:
        connection.default_channel.queue_delete(settings.jobs.queue)
    digests = sum(count for shard in shards for count in shard.digests.values())
    return {"seconds": seconds, "night_seconds": taken, "digests": digests, "peak_mib": peak}


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


def _workers(environment: Mapping[str, str]) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, __file__],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env=environment,
    )


def _lines(workers: "subprocess.Popen[str]") -> Iterator[dict[str, Any]]:
    assert workers.stdout is not None
    return (json.loads(line) for line in workers.stdout if line.startswith("{"))


def _until(workers: "subprocess.Popen[str]", event: str) -> None:
    if all(line["event"] != event for line in _lines(workers)):
        raise SystemExit(f"the workers ended before {event!r}")


def _stop(workers: "subprocess.Popen[str]") -> float:
    """Stop the workers; how large the largest of them was. [MiB]"""
    workers.terminate()
    peaks = [float(line["peak_mib"]) for line in _lines(workers) if "peak_mib" in line]
    workers.wait()
    return max(peaks)


def main() -> None:
    """Work until stopped."""
    from celery.signals import worker_ready

    structlog.configure(
        processors=[structlog.processors.JSONRenderer()],
        logger_factory=structlog.PrintLoggerFactory(sys.stdout),
    )
    worker_ready.connect(lambda **_: log.info("workers ready"), weak=False)
    BenchmarkEngine(load_settings(None, environ=os.environ)).work(processes=WORKERS)


if __name__ == "__main__":
    main()
