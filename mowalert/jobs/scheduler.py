"""The long-running process: a tick pulls weather, runs the rounds that have come, and delivers.

One tick at a time. A service that was down catches up in its first tick: rounds that are still
worth sending go out, the others are recorded as skipped.
"""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from threading import Event
from types import FrameType

import structlog
from apscheduler.schedulers.background import BackgroundScheduler

from mowalert.errors import MowalertError

EVERY_MIN = 10
log = structlog.get_logger()


def run_scheduler(
    tick: Callable[[datetime], None],
    *,
    every_min: float = EVERY_MIN,
    failed: Callable[[datetime, str], None] = lambda at, reason: None,
) -> None:
    """Run ticks until SIGTERM or SIGINT; a tick under way is finished first.

    Parameters
    ----------
    tick : Callable[[datetime], None]
        One round of work at a moment.
    every_min : float
        Minutes from one tick to the next.
    failed : Callable[[datetime, str], None]
        Told of each tick that failed: its moment and why.
    """
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        _safely,
        "interval",
        args=[tick, failed],
        minutes=every_min,
        next_run_time=datetime.now(UTC),
        max_instances=1,
        coalesce=True,
        misfire_grace_time=None,
    )
    with _stop_signal() as stop:
        scheduler.start()
        log.info("scheduler started", every_min=every_min)
        stop.wait()
        log.info("scheduler stopping")
        scheduler.shutdown(wait=True)
    log.info("scheduler stopped")


def _safely(tick: Callable[[datetime], None], failed: Callable[[datetime, str], None]) -> None:
    """Run one tick; a failure is logged and told, and the next tick tries again."""
    now = datetime.now(UTC)
    try:
        tick(now)
    except MowalertError as error:
        log.error("tick failed", reason=str(error))
        _tell(failed, now, str(error))
    except Exception as error:
        log.exception("tick failed")
        _tell(failed, now, f"{type(error).__name__}: {error}")


def _tell(failed: Callable[[datetime, str], None], now: datetime, reason: str) -> None:
    try:
        failed(now, reason)
    except MowalertError as error:
        # Most often the store is what failed, and cannot be told either.
        log.error("failure not kept", reason=str(error))


@contextmanager
def _stop_signal() -> Iterator[Event]:
    """Catch the stop signals while the scheduler runs; the event is set by the first."""
    stop = Event()

    def ask_to_stop(number: int, frame: FrameType | None) -> None:
        stop.set()

    before = {number: signal.signal(number, ask_to_stop) for number in (signal.SIGTERM, signal.SIGINT)}
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
