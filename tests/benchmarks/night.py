"""Time one night of a country of lawns, step by step, beside programs that only move the same bytes.

    python tests/benchmarks/night.py --lawns 100000 --stands 6000 --due 5 --store URL --runner celery --json

Prints seconds a step, the worker's peak memory, and ratios of one run on one machine; only the ratios travel
to another. The night runs in a process of its own, so that its memory is its own.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from country import Country, build
from night_bytes import baselines, search_seconds
from night_run import peak_mib, run_inline

from mowalert.domain.grasses import Turf
from mowalert.parameters import load_turf
from mowalert.settings import config_file
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import upgrade

MOST_MIB = 250.0
WITHOUT_INDEX = ("numpy", "heights", "model")
LEAST = {"index_vs_all_lawns_numpy": 5.0, "index_vs_all_lawns_model": 1000.0}
MOST = {
    "tell_vs_same_bytes": 1.5,
    "grow_vs_same_bytes": 1.3,
    "tell_ten_times_the_lawns": 2.0,
    "tell_ten_times_the_due": 10.5,
    "peak_ten_times_the_lawns": 1.1,
}
STEPS = ("pull", "grow", "silence", "find", "decide", "outbox", "tell", "end")


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


def night_in_a_process(url: str, runner: str) -> dict[str, Any]:
    """Run the night in a process of its own; its seconds, digests and peak memory."""
    command = [sys.executable, __file__, "--work", url, "--runner", runner]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    run = subprocess.run(command, stdout=subprocess.PIPE, check=True, env=environment)
    found: dict[str, Any] = json.loads(run.stdout)
    return found


def work(url: str, runner: str) -> None:
    """Run the night here, and print what it took."""
    turf = load_turf(config_file("grasses.toml"))
    if runner == "celery":
        from night_workers import run_celery

        found = run_celery(url)
    else:
        found = run_inline(url, turf)
    found.setdefault("peak_mib", peak_mib())
    print(json.dumps(found))


def tell_seconds(seconds: dict[str, float]) -> float:
    """Seconds from finding lawns to their messages in the outbox. [s]"""
    return sum(seconds[step] for step in ("find", "decide", "outbox", "tell") if step in seconds)


def beside(country: Country, night: dict[str, Any], url: str | None, runner: str) -> dict[str, float]:
    """Compare with a country of a tenth of the lawns and as many due, and one of which a tenth is due."""
    few_lawns = replace(country, lawns=country.lawns // 10, due_share=country.due_share * 10)
    few_due = replace(country, due_share=country.due_share / 10)
    fewer, quieter = (_night_alone(one, url, runner) for one in (few_lawns, few_due))
    tell_s = tell_seconds(night["seconds"])
    return {
        "tell_ten_times_the_lawns": tell_s / tell_seconds(fewer["seconds"]),
        "tell_ten_times_the_due": tell_s / tell_seconds(quieter["seconds"]),
        "peak_ten_times_the_lawns": night["peak_mib"] / fewer["peak_mib"],
    }


def _night_alone(country: Country, url: str | None, runner: str) -> dict[str, Any]:
    with built(country, url, load_turf(config_file("grasses.toml"))) as (store, _):
        return night_in_a_process(store.url, runner)


@contextmanager
def built(country: Country, url: str | None, turf: Turf) -> Iterator[tuple[SqlStore, sa.Engine]]:
    """Build a country in a store of its own, gone afterwards."""
    with an_empty_store(url) as store_url:
        upgrade(store_url)
        store, engine = SqlStore(store_url), open_engine(store_url)
        began = time.perf_counter()
        print(f"building {country.lawns} lawns on {country.stands} stands …", file=sys.stderr)
        build(store, engine, turf, country)
        print(f"built in {time.perf_counter() - began:.0f} s; the night …", file=sys.stderr)
        yield store, engine
        store.close()
        engine.dispose()


def run(country: Country, url: str | None, runner: str, *, scaling: bool = False) -> dict[str, Any]:
    """Build a country, time its night, its search, and programs that only move the same bytes."""
    turf = load_turf(config_file("grasses.toml"))
    with built(country, url, turf) as (store, engine):
        night = night_in_a_process(store.url, runner)
        print("the same bytes …", file=sys.stderr)
        search_s, due = search_seconds(store, engine, turf)
        bytes_s = baselines(engine)
    seconds = {step: taken for step in STEPS if (taken := night["seconds"].get(step)) is not None}
    ratios = {f"index_vs_all_lawns_{way}": search_s[way] / search_s["index"] for way in WITHOUT_INDEX}
    ratios["tell_vs_same_bytes"] = tell_seconds(night["seconds"]) / bytes_s["tell"]
    ratios["grow_vs_same_bytes"] = seconds["grow"] / bytes_s["grow"]
    if scaling:
        print("a tenth of the lawns, and of those due …", file=sys.stderr)
        ratios |= beside(country, night, url, runner)
    return {
        "lawns": country.lawns,
        "stands": country.stands,
        "store": store.url.partition(":")[0],
        "runner": runner,
        "due": due,
        "digests": night["digests"],
        "seconds": {step: round(taken, 3) for step, taken in seconds.items()},
        "night_seconds": round(night["night_seconds"], 3),
        "bytes_seconds": {name: round(taken, 3) for name, taken in bytes_s.items()},
        "search_seconds": {way: round(taken, 5) for way, taken in search_s.items()},
        "peak_mib": night["peak_mib"],
        "ratios": {name: round(value, 2) for name, value in ratios.items()},
        "targets_met": {
            **{name: ratios[name] >= least for name, least in LEAST.items()},
            **{name: ratios[name] <= most for name, most in MOST.items() if name in ratios},
            "peak_mib": night["peak_mib"] <= MOST_MIB,
        },
    }


def main() -> None:
    """Read the command line, run, print."""
    words = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    words.add_argument("--lawns", type=int, default=100_000)
    words.add_argument("--stands", type=int, default=None, help="default: one for 20 lawns")
    words.add_argument("--due", type=float, default=5.0, help="per cent of the lawns that are due")
    words.add_argument("--store", default=None, help="URL of a PostgreSQL server; default: SQLite")
    words.add_argument("--runner", choices=("inline", "celery"), default="inline")
    words.add_argument(
        "--scaling", action="store_true", help="also nights of a tenth of the lawns, of the due"
    )
    words.add_argument("--json", action="store_true")
    words.add_argument("--work", default=None, help=argparse.SUPPRESS)
    said = words.parse_args()
    if said.work:
        work(said.work, said.runner)
        return
    stands = min(said.stands or max(1, said.lawns // 20), said.lawns)
    if said.scaling and (said.due > 10 or stands > said.lawns // 10):
        words.error("--scaling takes at most 10 % due, and ten lawns a stand or more")
    country = Country(said.lawns, stands, said.due / 100)
    result = run(country, said.store, said.runner, scaling=said.scaling)
    if said.json:
        print(json.dumps(result, indent=1))
        return
    for step, taken in result["seconds"].items():
        print(f"{step:8} {taken:9.3f} s")
    print(f"peak     {result['peak_mib']:9.1f} MiB")
    for name, ratio in result["ratios"].items():
        met = "met" if result["targets_met"].get(name, True) else "missed"
        print(f"{name}: {ratio:.1f} × ({met})")


if __name__ == "__main__":
    main()
