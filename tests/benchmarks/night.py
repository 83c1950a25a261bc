"""Time one night of a country of lawns, step by step, and its search against reading every lawn.

    python tests/benchmarks/night.py --lawns 100000 --stands 5000 --due 2 --json

Prints seconds a step and ratios of one run on one machine; only the ratios travel to another.
"""

import argparse
import json
import sys
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import sqlalchemy as sa
from country import NIGHT, TODAY, Country, OneWeather, build

from mowalert.channels.messages import Messages
from mowalert.domain.grasses import Turf
from mowalert.domain.words import Channel
from mowalert.parameters import load_turf
from mowalert.service.grow import grow_stands
from mowalert.service.policy import Policy
from mowalert.service.pull import pull_weather
from mowalert.service.tell import tell_rounds
from mowalert.settings import config_file
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.tables import lawn, stand_growth
from mowalert.store.upgrade import upgrade

FIND = ("due_ids", "hold_ids", "untold_hold_ids")
AHEAD_DAYS = 9
"""From a Thursday to the first chance after the next round: Saturday of the week after."""
TARGETS = {"index_vs_all_lawns_numpy": 5.0}
REPEATS = 3


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


def time_night(store: SqlStore, sources: OneWeather, turf: Turf) -> tuple[dict[str, float], int]:
    """Run the night; seconds by step, and how many digests were written."""
    clock = Clock()
    words = Timed(Messages("Benchmark", "https://mow.example.org", "help@example.org"), clock, "outbox")
    policy = Policy(frozenset({Channel.EMAIL}), timedelta(hours=36), "mow.example.org")
    with clock.step("pull"):
        pull_weather(store, sources, now=NIGHT)
    with clock.step("grow"):
        grow_stands(store, turf, now=NIGHT)
    with clock.step("decide"):
        told = tell_rounds(TimedStore(store, clock), turf, words, policy, now=NIGHT)  # type: ignore[arg-type]
    return clock.seconds, told.digests


def time_search(store: SqlStore, engine: sa.Engine, turf: Turf) -> tuple[float, float, int]:
    """Seconds of the search in the index and of reading every lawn, and how many both found."""
    with store.begin() as work:
        round_ids = [record.round_id for record in work.rounds.all()]
        find = lambda: work.lawns.due_ids(  # noqa: E731
            round_ids, as_of=TODAY, limit_day=AHEAD_DAYS, window_day=None
        )
        by_index, seconds = _best(find)
    with engine.connect() as connection:
        by_numpy, all_seconds = _best(lambda: _evaluate_all(connection, turf))
    if by_index != by_numpy:
        raise SystemExit(f"the index found {len(by_index)} lawns, reading them all {len(by_numpy)}")
    return seconds, all_seconds, len(by_index)


def _best(work: Callable[[], list[int]]) -> tuple[list[int], float]:
    taken = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        found = work()
        taken.append(time.perf_counter() - start)
    return found, min(taken)


def _evaluate_all(connection: sa.Connection, turf: Turf) -> list[int]:
    """Read every lawn and every curve's value, and work out all heights with numpy."""
    ceilings = {name: grass.ceiling_mm for name, grass in turf.grasses.items()}
    values = connection.execute(sa.select(stand_growth.c.stand_id, stand_growth.c[f"g{AHEAD_DAYS}"]))
    reached = dict(map(tuple, values.all()))
    columns = ("lawn_id", "stand_id", "grass", "chosen_mm", "pace", "anchor_height_mm", "anchor_g_mm")
    rows = connection.execute(sa.select(*(lawn.c[name] for name in columns))).all()
    lawn_id, stand_id, grass, chosen_mm, pace, height_mm, g0_mm = zip(*rows, strict=True)
    ceiling_mm = np.array([ceilings[name] for name in grass])
    gained_mm = np.array([reached[key] for key in stand_id]) - np.array(g0_mm)
    start = np.arctanh(np.array(height_mm) / ceiling_mm)
    tall_mm = ceiling_mm * np.tanh(start + np.array(pace) * gained_mm / ceiling_mm)
    due = tall_mm >= 1.5 * np.array(chosen_mm)
    return sorted(np.array(lawn_id)[due].tolist())


@contextmanager
def an_empty_store(url: str | None) -> Iterator[str]:
    """A new SQLite file, or a new database beside the one named, gone afterwards."""
    if url is None or url.startswith("sqlite"):
        with tempfile.TemporaryDirectory() as folder:
            yield url or f"sqlite:///{Path(folder) / 'store.db'}"
        return
    admin = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    name = f"mowalert_benchmark_{uuid.uuid4().hex[:8]}"
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    try:
        yield sa.make_url(url).set(database=name).render_as_string(hide_password=False)
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
        admin.dispose()


def run(country: Country, url: str | None) -> dict[str, Any]:
    """Build a country, time its night and its search."""
    turf = load_turf(config_file("grasses.toml"))
    with an_empty_store(url) as store_url:
        upgrade(store_url)
        store, engine = SqlStore(store_url), open_engine(store_url)
        print(f"building {country.lawns} lawns on {country.stands} stands …", file=sys.stderr)
        sources = build(store, engine, turf, country)
        seconds, digests = time_night(store, sources, turf)
        index_s, numpy_s, due = time_search(store, engine, turf)
        store.close()
        engine.dispose()
    ratios = {"index_vs_all_lawns_numpy": numpy_s / index_s}
    return {
        "lawns": country.lawns,
        "stands": country.stands,
        "due": due,
        "digests": digests,
        "seconds": {step: round(seconds.get(step, 0.0), 4) for step in STEPS},
        "search_seconds": {"index": round(index_s, 5), "all_lawns_numpy": round(numpy_s, 5)},
        "ratios": {name: round(value, 2) for name, value in ratios.items()},
        "targets_met": {name: ratios[name] >= least for name, least in TARGETS.items()},
    }


STEPS = ("pull", "grow", "find", "decide", "outbox")


def main() -> None:
    """Read the command line, run, print."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--lawns", type=int, default=100_000)
    words.add_argument("--stands", type=int, default=None, help="default: one for 20 lawns")
    words.add_argument("--due", type=float, default=2.0, help="per cent of the lawns that are due")
    words.add_argument("--store", default=None, help="URL of a PostgreSQL server; default: SQLite")
    words.add_argument("--json", action="store_true")
    said = words.parse_args()
    stands = min(said.stands or max(1, said.lawns // 20), said.lawns)
    result = run(Country(said.lawns, stands, said.due / 100), said.store)
    if said.json:
        print(json.dumps(result, indent=1))
        return
    for step, taken in result["seconds"].items():
        print(f"{step:8} {taken:9.3f} s")
    for name, ratio in result["ratios"].items():
        met = "met" if result["targets_met"].get(name, True) else "missed"
        print(f"{name}: {ratio:.1f} × ({met})")


if __name__ == "__main__":
    main()
