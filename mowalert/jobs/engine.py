"""The distributed runner: shards of a night and batches of the outbox as tasks of Celery.

A task only names what the store holds, so that it may be lost, given twice, or killed at any moment: it is
acknowledged when it is done, taken back from a worker that died, and given out again by the scheduler.
"""

import os
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import Any

import structlog
from celery import Celery
from kombu.exceptions import OperationalError
from structlog.contextvars import bound_contextvars

from mowalert.errors import BrokerError
from mowalert.jobs.delivery import send_batch
from mowalert.jobs.night_work import Done, shards_to_give, work_on
from mowalert.service.nights.shards import run_of
from mowalert.service.sending.deliver import DeliveryReport
from mowalert.settings import Settings
from mowalert.wiring import Services, open_services, settle_in

LONGEST_WAIT_S = 120
AT_ONCE = 500
"""Messages of one task; what is left goes with the next."""
log = structlog.get_logger()


def make_app(settings: Settings) -> Celery:
    """Return Celery as this service uses it: late acknowledgement, no results, one task at a time."""
    jobs = settings.jobs
    app = Celery("mowalert", broker=jobs.broker_url.get_secret_value())
    app.conf.update(
        task_default_queue=jobs.queue,
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        task_ignore_result=True,
        task_serializer="json",
        accept_content=["json"],
        task_time_limit=int(jobs.time_limit_min * 60),
        worker_prefetch_multiplier=1,
        worker_enable_remote_control=False,
        worker_hijack_root_logger=False,
        worker_redirect_stdouts=False,
        # A task that goes on without its broker does no harm: its shard is locked, and done once.
        worker_cancel_long_running_tasks_on_connection_loss=False,
        broker_connection_retry_on_startup=True,
        broker_connection_max_retries=None,
        broker_transport_options={"confirm_publish": True},
    )
    return app


class Engine:
    """Gives work to the workers, and is what a worker runs.

    Parameters
    ----------
    settings : Settings
        Checked settings.
    clock : Callable[[], datetime]
        Tells the moment messages are sent at.
    """

    def __init__(
        self, settings: Settings, *, clock: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self._settings, self._clock = settings, clock
        self._services: dict[int, Services] = {}
        self.app = make_app(settings)

        # Functions, since a bound method would not be told its task.
        def shard(task: Any, night_id: int, number: int) -> None:
            self._run_shard(task, night_id, number)

        def outbox(task: Any, at: str | None) -> None:
            self._run_deliver(task, at)

        register = partial(self.app.task, bind=True, max_retries=None, shared=False)
        self._shard: Any = register(shard, name="mowalert.shard")
        self._deliver: Any = register(outbox, name="mowalert.deliver")

    def begin_night(self, services: Services, *, now: datetime) -> int:
        """Give out the shards of a night that no worker has; how many."""
        give = shards_to_give(services, now=now)
        for shard in give.shards:
            self._give(self._shard, give.night.night_id, shard)
        with services.store.begin() as work:
            work.nights.sent(give.night.night_id, give.shards, now)
            work.commit()
        return len(give.shards)

    def begin_delivery(self, *, now: datetime | None = None) -> None:
        """Let a worker send what the outbox holds; now, or at another moment."""
        self._give(self._deliver, now.isoformat() if now else None)

    def _give(self, task: Any, *given: object) -> None:
        try:
            task.delay(*given)
        except OperationalError as error:
            raise BrokerError(f"the broker cannot be reached: {error}") from error

    def work(self, *, processes: int, pool: str = "prefork") -> int:
        """Work until stopped; the exit code."""
        worker = self.app.Worker(
            concurrency=processes,
            pool_cls=pool,
            loglevel="WARNING",
            without_gossip=True,
            without_mingle=True,
            quiet=True,
        )
        worker.start()
        return int(worker.exitcode or 0)

    def close(self) -> None:
        """Let go of the broker."""
        self.app.close()

    def _run_shard(self, task: Any, night_id: int, shard: int) -> None:
        with bound_contextvars(run=run_of(night_id, shard)):
            self._next(night_id, self._tried(task, lambda: work_on(self._mine(), night_id, shard)))

    def _next(self, night_id: int, done: Done) -> None:
        for shard in done.shards:
            self._give(self._shard, night_id, shard)
        if done.messages:
            self.begin_delivery()

    def _run_deliver(self, task: Any, at: str | None) -> None:
        now = datetime.fromisoformat(at) if at else self._clock()
        run = f"delivery.{task.request.id}"

        def send() -> DeliveryReport:
            return send_batch(self._mine(), now=now, most=AT_ONCE, run=run)

        with bound_contextvars(run=run):
            report: DeliveryReport = self._tried(task, send)
        if report.taken >= AT_ONCE:
            self._give(self._deliver, at)

    def _tried(self, task: Any, what: Callable[[], Any]) -> Any:
        """Do something; whatever goes wrong, the task is given out again, later each time."""
        try:
            return what()
        except Exception as error:
            wait_s = min(LONGEST_WAIT_S, 2 ** (task.request.retries + 1))
            log.error("task failed", task=task.name, reason=f"{type(error).__name__}: {error}"[:400])
            raise task.retry(exc=error, countdown=wait_s) from error

    def _mine(self) -> Services:
        """What this process works with: connections do not survive a fork."""
        pid = os.getpid()
        if pid not in self._services:
            self._services[pid] = self._open()
            settle_in()
        return self._services[pid]

    def _open(self) -> Services:
        return open_services(self._settings)
