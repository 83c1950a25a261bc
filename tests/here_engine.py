"""An engine whose worker is a thread of this process, on a queue of its own."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from threading import Event
from typing import Any

from celery.contrib.testing.worker import start_worker

from mowalert.jobs.engine import Engine
from mowalert.wiring import Services

LONGEST_NIGHT_S = 1200


class HereEngine(Engine):
    """An engine whose worker uses the services of this process."""

    def __init__(self, services: Services, now: datetime) -> None:
        super().__init__(services.settings, clock=lambda: now)
        self.services = services
        self._ended = Event()

    def wait_for_its_end(self) -> None:
        """Wait until the night that is open has ended."""
        assert self._ended.wait(LONGEST_NIGHT_S)
        self._ended.clear()

    def _mine(self) -> Services:
        return self.services

    def _run_shard(self, task: Any, night_id: int, shard: int) -> None:
        super()._run_shard(task, night_id, shard)
        with self.services.store.begin() as work:
            night = work.nights.get(night_id)
        if night is not None and shard == night.shards and not night.is_open:
            self._ended.set()


@contextmanager
def an_engine(services: Services, now: datetime) -> Iterator[HereEngine]:
    """An engine that sends at a moment; its queue is gone afterwards."""
    engine = HereEngine(services, now)
    try:
        yield engine
        with engine.app.connection_for_write() as connection:
            connection.default_channel.queue_delete(services.settings.jobs.queue)
    finally:
        engine.close()
        services.close()


def here(engine: HereEngine) -> AbstractContextManager[Any]:
    """Work in a thread for as long as a block lasts."""
    worker: AbstractContextManager[Any] = start_worker(
        engine.app, pool="solo", concurrency=1, perform_ping_check=False, shutdown_timeout=90.0
    )
    return worker
