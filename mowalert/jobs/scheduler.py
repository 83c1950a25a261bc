"""The long-running process: a tick pulls weather, runs the rounds that have come, and delivers.

One tick at a time. A service that was down catches up in its first tick: rounds that are still
worth sending go out, the others are recorded as skipped.
"""

import signal
from collections.abc import Callable
from datetime import UTC, datetime
from threading import Event
from types import FrameType

import structlog
from apscheduler.schedulers.background import BackgroundScheduler

from mowalert.errors import MowalertError

EVERY_MIN = 10
log = structlog.get_logger()


def run_scheduler(tick: Callable[[datetime], None], *, every_min: float = EVERY_MIN) -> None:
    """Run ticks until SIGTERM or SIGINT; a tick under way is finished first.

    Parameters
    ----------
    tick : Callable[[datetime], None]
        One round of work at a moment.
    every_min : float
        Minutes from one tick to the next.
    """
    scheduler = BackgroundScheduler(timezone=UTC)
    scheduler.add_job(
        _safely,
        "interval",
        args=[tick],
        minutes=every_min,
        next_run_time=datetime.now(UTC),
        max_instances=1,
        coalesce=True,
        misfire_grace_time=None,
    )
    stopping = _stop_signal()
    scheduler.start()
    log.info("scheduler started", every_min=every_min)
    stopping()
    scheduler.shutdown(wait=True)
    log.info("scheduler stopped")


def _safely(tick: Callable[[datetime], None]) -> None:
    """Run one tick; a failure is logged and the next tick tries again."""
    try:
        tick(datetime.now(UTC))
    except MowalertError as error:
        log.error("tick failed", reason=str(error))
    except Exception:
        log.exception("tick failed")


def _stop_signal() -> Callable[[], None]:
    """Catch the stop signals; the function returned waits for one."""
    stop = Event()

    def ask_to_stop(number: int, frame: FrameType | None) -> None:
        stop.set()

    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, ask_to_stop)
    return lambda: _wait(stop.wait)


def _wait(wait: Callable[[float], bool]) -> None:
    # A bare wait would not let the signal's handler run on every platform.
    while not wait(1.0):
        pass
