"""One night in this process, shard by shard, with the seconds of each step."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from country import NIGHT, OneWeather

from mowalert.channels.messages import Messages
from mowalert.domain.grasses import Turf
from mowalert.domain.words import Channel
from mowalert.service.growing.grow import grow_stands
from mowalert.service.growing.pull import pull_weather
from mowalert.service.lawns.silence import assume_cuts
from mowalert.service.nights.night import begin_night, end_night
from mowalert.service.nights.shards import tell_shard
from mowalert.service.policy import Policy
from mowalert.service.ports_nights import ShardState
from mowalert.store.engine import SqlStore
from mowalert.wiring import settle_in

FIND = ("due_ids", "hold_ids", "untold_hold_ids", "kept_off_ids", "guided_ids", "owners")
POLICY = Policy(frozenset({Channel.EMAIL}), timedelta(hours=36), "mow.example.org")
WORDS = ("Benchmark", "https://mow.example.org", "help@example.org")


class Clock:
    """Seconds by step; a step inside another takes its time off the outer one."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._running: list[str] = []
        self._since = time.perf_counter()

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time what happens inside."""
        self._turn()
        self._running.append(name)
        try:
            yield
        finally:
            self._turn()
            self._running.pop()

    def _turn(self) -> None:
        now = time.perf_counter()
        if self._running:
            name = self._running[-1]
            self.seconds[name] = self.seconds.get(name, 0.0) + now - self._since
        self._since = now


class Timed:
    """Anything, with some of its calls timed under a step's name."""

    def __init__(self, inner: Any, clock: Clock, step: str, names: tuple[str, ...] | None = None) -> None:
        self._inner, self._clock, self._step, self._names = inner, clock, step, names

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._inner, name)
        if not callable(found) or (self._names is not None and name not in self._names):
            return found

        def timed(*args: Any, **kwargs: Any) -> Any:
            with self._clock.step(self._step):
                return found(*args, **kwargs)

        return timed


class TimedStore:
    """A store whose searches count as ``find`` and whose outbox counts as ``outbox``."""

    def __init__(self, store: SqlStore, clock: Clock) -> None:
        self._store, self._clock = store, clock

    @contextmanager
    def begin(self) -> Iterator[Any]:
        """Begin a transaction with timed parts."""
        with self._store.begin() as work:
            work.lawns = Timed(work.lawns, self._clock, "find", FIND)  # type: ignore[assignment]
            work.outbox = Timed(work.outbox, self._clock, "outbox")  # type: ignore[assignment]
            yield Timed(work, self._clock, "outbox", ("commit",))


def peak_mib() -> float:
    """Largest resident size of this process so far; ``ru_maxrss`` would count the process it came from. [MiB]"""
    (line,) = (one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM"))
    return round(int(line.split()[1]) / 1024, 1)


def run_inline(url: str, turf: Turf) -> dict[str, Any]:
    """Run the night; its seconds in all and by step, and how many digests were written."""
    store, sources, clock, digests = SqlStore(url), OneWeather(), Clock(), 0
    settle_in()
    words: Any = Timed(Messages(*WORDS), clock, "outbox")
    timed: Any = TimedStore(store, clock)
    began = time.perf_counter()
    night = begin_night(store, turf, now=NIGHT)
    for number in range(night.shards):
        with store.begin() as work:
            shard = work.nights.shard(night.night_id, number)
            cells = work.weather.used_ids(shard.cells)
        with clock.step("pull"):
            pull_weather(store, sources, now=NIGHT, cell_ids=cells)
        with clock.step("grow"):
            grow_stands(store, turf, now=NIGHT, cell_ids=cells)
        with clock.step("silence"):
            assume_cuts(store, turf, now=NIGHT, within=shard.cells)
        with clock.step("decide"):
            told, left = tell_shard(timed, turf, words, POLICY, night, shard)
        digests += told.digests
        with store.begin() as work:
            work.nights.close(night.night_id, number, ShardState.DONE, left_lawns=left)
            work.commit()
    with clock.step("end"):
        end_night(store, turf, Messages(*WORDS), POLICY, night)
    taken = time.perf_counter() - began
    store.close()
    return {"seconds": clock.seconds, "night_seconds": taken, "digests": digests}
