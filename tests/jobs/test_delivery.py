"""What workers did is counted in the store, once, and every line of a log tells its run."""

import logging
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import orjson
import pytest
import structlog
from town import EVENING, run_inline, services_for, settings_for, sqlite_town

from mowalert.domain.weather import Place
from mowalert.jobs.delivery import send_batch
from mowalert.jobs.logs import log_to_stderr
from mowalert.jobs.night_work import shards_to_give, work_on
from mowalert.service.ports_nights import ShardState
from mowalert.service.upkeep.status import status_of
from mowalert.wiring import Services

SHARDS = 4


@pytest.fixture
def town(tmp_path: Path) -> Iterator[Services]:
    services = services_for(settings_for(sqlite_town(tmp_path / "town.db"), tmp_path))
    yield services
    services.close()


@pytest.fixture
def logged() -> Iterator[None]:
    """Logs as the program sets them up, for one test."""
    root = logging.getLogger()
    before = root.level, list(root.handlers)
    yield
    structlog.reset_defaults()
    root.setLevel(before[0])
    root.handlers[:] = before[1]


def totals(services: Services) -> dict[str, dict[str, float]]:
    with services.store.begin() as work:
        return {figure: dict(labels) for figure, labels in work.tallies.all().items()}


def test_a_night_and_its_delivery_are_counted(town: Services) -> None:
    before = totals(town)
    run_inline(town, EVENING)
    sent = send_batch(town, now=EVENING)
    after = totals(town)
    assert after["shards"]["done"] - before["shards"]["done"] == SHARDS
    assert after["nights"]["done"] - before["nights"]["done"] == 1
    assert {"pull", "grow", "silence", "tell", "last", "mornings", "bulletins", "deliver"} == set(
        after["step_seconds"]
    )
    assert sent.sent > 0
    assert after["deliveries"] == {"sent": sent.sent}
    newest = status_of(town.store, now=EVENING).night
    assert newest is not None
    assert after["night_work"]["stands"] - before["night_work"]["stands"] == newest.work["stands"]


def test_a_shard_given_twice_is_counted_once(town: Services) -> None:
    before = totals(town)["shards"]["done"]
    give = shards_to_give(town, now=EVENING)
    for shard in (*give.shards, *give.shards):
        work_on(town, give.night.night_id, shard)
    assert totals(town)["shards"]["done"] - before == len(give.shards) == SHARDS


def test_a_shard_that_is_given_up_is_counted_as_failed(town: Services) -> None:
    give = shards_to_give(town, now=EVENING)
    with town.store.begin() as work:
        for _ in range(town.settings.jobs.most_tries):
            work.nights.tried(give.night.night_id, 0)
        work.commit()
    work_on(town, give.night.night_id, 0)
    assert totals(town)["shards"][ShardState.FAILED.value] == 1


class Noisy:
    """Weather that complains as a library would, and gives nothing."""

    def pull(self, places: list[Place], **_: Any) -> Any:
        logging.getLogger("urllib3.connectionpool").warning("retrying %s", "something")
        structlog.get_logger().warning("no sky", places=len(places))
        raise ValueError("no sky today")


@pytest.mark.usefixtures("logged")
def test_every_line_of_a_night_tells_its_run(town: Services, capsys: pytest.CaptureFixture[str]) -> None:
    log_to_stderr()
    town.__dict__["sources"] = Noisy()
    with pytest.raises(ValueError, match="no sky"):
        run_inline(town, EVENING)
    with town.store.begin() as work:
        night = work.nights.newest()
    assert night is not None
    lines = lines_of(capsys)
    assert [line["event"] for line in lines] == ["retrying something", "no sky"]
    assert {line["run"] for line in lines} == {f"{night.night_id}.0"}
    assert lines[0]["logger"] == "urllib3.connectionpool"
    assert all(line["timestamp"] and line["level"] == "warning" for line in lines)


def lines_of(capsys: pytest.CaptureFixture[str]) -> list[dict[str, Any]]:
    out, err = capsys.readouterr()
    assert out == ""
    return [orjson.loads(line) for line in err.splitlines()]


@pytest.mark.usefixtures("logged")
def test_a_delivery_has_a_run_of_its_own(town: Services, capsys: pytest.CaptureFixture[str]) -> None:
    log_to_stderr()
    send_batch(town, now=EVENING)
    send_batch(town, now=EVENING, run="delivery.given")
    first, second = (line["run"] for line in lines_of(capsys))
    assert first.startswith("delivery.")
    assert (second, first != second) == ("delivery.given", True)


@pytest.mark.usefixtures("logged")
def test_a_command_says_only_what_went_wrong(town: Services, capsys: pytest.CaptureFixture[str]) -> None:
    log_to_stderr(least=logging.WARNING)
    send_batch(town, now=EVENING)
    assert lines_of(capsys) == []
