"""Workers of the town's service, processes of their own, which die by a signal where they are told to.

Where is a step, and the number of a statement or commit in it, counted in that process, such as ``grow:3``.
"""

import json
import os
import signal
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
import structlog
from town import EVENING, services_for, settings_for, sqlite_town

from mowalert import wiring
from mowalert.jobs.engine import Engine
from mowalert.jobs.night_work import shards_to_give, work_on
from mowalert.service.nights.shards import StepClock
from mowalert.settings import load_settings
from mowalert.wiring import Services

STEPS = ("pull", "grow", "silence", "tell", "deliver", "last", "mornings", "bulletins")
"""In the order a lone worker comes to them."""


class TownEngine(Engine):
    """An engine under the town's sky; messages go at the evening's moment."""

    def _open(self) -> Services:
        return services_for(self._settings)


class Steps:
    """Counts what the store is asked for in each step, and may end the process there."""

    def __init__(self, dies: str = "") -> None:
        self.counts: Counter[str] = Counter()
        step, _, number = dies.partition(":")
        self._dies = (step, int(number)) if dies else None
        self._now = ""

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        before, self._now = self._now, name
        try:
            yield
        finally:
            self._now = before

    def listen(self) -> None:
        """Hear of every statement and commit of this process."""
        sa.event.listen(sa.Engine, "before_cursor_execute", self._seen)
        sa.event.listen(sa.Engine, "commit", self._seen)
        timed, sends = StepClock.step, wiring.deliver

        @contextmanager
        def step(clock: StepClock, name: str) -> Iterator[None]:
            with timed(clock, name), self.step(name):
                yield

        def deliver(*given: Any, **named: Any) -> Any:
            with self.step("deliver"):
                return sends(*given, **named)

        StepClock.step = step  # type: ignore[method-assign]
        wiring.deliver = deliver

    def _seen(self, *what: Any) -> None:
        # Only SQLite is told of a transaction's beginning.
        if not self._now or "BEGIN" in str(what[2:3]):
            return
        self.counts[self._now] += 1
        if self._dies == (self._now, self.counts[self._now]):
            os.kill(os.getpid(), signal.SIGKILL)


def count(folder: Path) -> Counter[str]:
    """Count how often each step of a night asks the store."""
    steps = Steps()
    steps.listen()
    services = services_for(settings_for(sqlite_town(folder / "counted.db"), folder / "counted"))
    night = shards_to_give(services, now=EVENING).night
    for shard in range(night.shards + 1):
        work_on(services, night.night_id, shard)
    services.deliver(now=EVENING)
    return steps.counts


def work(dies: str, broker_url: str) -> None:
    """Work until stopped or dead."""
    Steps(dies).listen()
    environ = dict(os.environ)
    if broker_url:
        environ["MOWALERT_JOBS__BROKER_URL"] = broker_url
    engine = TownEngine(load_settings(None, environ=environ), clock=lambda: EVENING)
    raise SystemExit(engine.work(processes=1, pool="solo"))


def main() -> None:
    """Count, or start a worker for each line of words: where it dies, and its way to the broker."""
    log = structlog.get_logger()
    structlog.configure(
        processors=[structlog.contextvars.merge_contextvars, structlog.processors.JSONRenderer()],
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
    )
    if sys.argv[1:2] == ["count"]:
        sys.stdout.write(json.dumps(count(Path(sys.argv[2]))))
        return
    for line in iter(sys.stdin.readline, ""):
        # Loading the program takes longer than what it is killed in: that is done once, here.
        pid = os.fork()
        if pid == 0:
            work(*line.rstrip("\n").split("\t"))
        log.info("worker started", pid=pid)
        _, status = os.waitpid(pid, 0)
        log.info("worker ended", code=os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
