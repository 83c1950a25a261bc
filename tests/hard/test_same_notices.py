"""A country's notices are the same, whichever store holds it and whoever works on it."""

import os
import uuid
from pathlib import Path
from typing import Any

import pytest
from benchmarks.country import NIGHT, Country, OneWeather, build
from here_engine import an_engine, here
from stores import new_store
from town import all_rows, broker, copy_rows, differing, run_inline, settings_for

from mowalert.domain.grasses import Turf
from mowalert.store.engine import open_engine
from mowalert.wiring import Services, open_services

LAWNS = int(os.environ.get("MOWALERT_SAME_LAWNS", "20000"))


def services_for(url: str, folder: Path, **more: str) -> Services:
    """The program's own services under one weather, in many small shards."""
    services = open_services(settings_for(url, folder, JOBS__SHARD_CELLS="9", **more))
    services.__dict__.update(sources=OneWeather(), warning_sources=())
    return services


def test_notices_are_the_same_on_either_store_and_by_either_runner(
    hard: bool, turf: Turf, postgres_store: str, tmp_path: Path
) -> None:
    if not hard:
        pytest.skip("a country of many lawns: bash tests/run.sh --hard")
    before, url = tmp_path / "before.db", f"sqlite:///{tmp_path / 'town.db'}"
    store, engine = new_store(before), open_engine(f"sqlite:///{before}")
    build(store, engine, turf, Country(LAWNS, LAWNS // 20, 0.05))
    store.close()
    engine.dispose()
    (tmp_path / "town.db").write_bytes(before.read_bytes())
    wanted = _after_inline(services_for(url, tmp_path / "sqlite"))
    assert len(wanted["outbox"]) > LAWNS * 0.04
    copy_rows(f"sqlite:///{before}", postgres_store)
    assert differing(wanted, _after_inline(services_for(postgres_store, tmp_path / "postgres"))) == ""
    copy_rows(f"sqlite:///{before}", postgres_store)
    queue = f"mowalert-test-{uuid.uuid4().hex[:8]}"
    jobs = {
        "JOBS__RUNNER": "celery",
        "JOBS__QUEUE": queue,
        "JOBS__BROKER_URL": broker(),
        "EMAIL__TRANSPORT": "file",
    }
    with an_engine(services_for(postgres_store, tmp_path / "celery", **jobs), NIGHT) as workers:
        workers.begin_delivery = lambda **moment: None  # type: ignore[method-assign]
        with here(workers):
            assert workers.begin_night(workers.services, now=NIGHT) > 1
            workers.wait_for_its_end()
    assert differing(wanted, all_rows(postgres_store)) == ""


def _after_inline(services: Services) -> dict[str, list[tuple[Any, ...]]]:
    run_inline(services, NIGHT)
    rows = dict(all_rows(services.store.url))
    services.close()
    return rows
