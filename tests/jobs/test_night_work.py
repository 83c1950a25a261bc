"""A night by shards: the same however it is cut, on whichever store, and wherever a worker died."""

import os
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from town import (
    EVENING,
    MORNING,
    NIGHTS,
    all_rows,
    copy_town,
    differing,
    run_inline,
    services_for,
    settings_for,
    sqlite_town,
)

from mowalert.jobs.night_work import SENT_AGAIN_AFTER, shards_to_give, work_on
from mowalert.service.nights.night import GIVEN_UP_AFTER
from mowalert.service.nights.shards import spans
from mowalert.service.ports_nights import NightState, ShardState
from mowalert.service.upkeep.status import status_of
from mowalert.store.work import SqlWork
from mowalert.wiring import Services

SHARDS = 4


@pytest.fixture
def town(tmp_path: Path) -> Iterator[Services]:
    services = services_for(
        settings_for(sqlite_town(tmp_path / "town.db"), tmp_path, JOBS__MOST_TRIES="1000")
    )
    yield services
    services.close()


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Rows after each night of a town that one process works on, in one shard."""
    folder = tmp_path_factory.mktemp("undisturbed")
    url = sqlite_town(folder / "town.db")
    services = services_for(settings_for(url, folder, JOBS__SHARD_CELLS="500"))
    rows = []
    for now in NIGHTS:
        run_inline(services, now)
        rows.append(dict(all_rows(url)))
    services.close()
    return rows


def by_shards(services: Services, now: datetime) -> None:
    """Give out a night and work on what there is, each shard twice, until it is done."""
    night_id = shards_to_give(services, now=now).night.night_id
    while left := _waiting(services, night_id):
        work_on(services, night_id, left[0])
        # Given twice, a shard is done once.
        assert not work_on(services, night_id, left[0]).messages
    with services.store.begin() as work:
        night = work.nights.get(night_id)
    assert night is not None
    assert night.state is NightState.DONE


def _waiting(services: Services, night_id: int) -> list[int]:
    with services.store.begin() as work:
        return [one.shard for one in work.nights.shards(night_id) if one.state is ShardState.WAITING]


class Died(BaseException):
    """A worker's end in the middle of its work."""


def test_spans_cover_every_cell_there_is_and_will_be() -> None:
    assert spans([3, 5, 9, 10, 12], 2) == [(0, 8), (9, 11), (12, 2**31 - 1)]
    assert spans([], 2) == [(0, 2**31 - 1)]


def test_the_town_is_told_of_everything(undisturbed: list[dict[str, Any]]) -> None:
    kinds = {row[4] for row in undisturbed[-1]["told"]}
    assert {"mow", "overgrown", "hold", "release"} <= kinds
    assert [len(rows["outbox"]) for rows in undisturbed] == [40, 45, 81]


def test_shards_tell_what_one_run_tells(undisturbed: list[dict[str, Any]], town: Services) -> None:
    for now, rows in zip(NIGHTS, undisturbed, strict=True):
        by_shards(town, now)
        assert differing(rows, all_rows(town.store.url)) == ""


@pytest.mark.parametrize("seed", range(8) if os.environ.get("MOWALERT_HARD") else [1])
def test_a_worker_that_dies_at_any_commit_changes_nothing(
    seed: int, undisturbed: list[dict[str, Any]], town: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    random, commit = Random(seed), SqlWork.commit
    deaths, calm = 0, False

    def dying(work: SqlWork) -> None:
        nonlocal deaths
        fate = 0.5 if calm else random.random()
        if fate < 0.2:
            deaths += 1
            raise Died
        commit(work)
        if fate > 0.8:
            deaths += 1
            raise Died

    monkeypatch.setattr(SqlWork, "commit", dying)
    for now, rows in zip(NIGHTS[:2], undisturbed, strict=False):
        calm = True
        night = shards_to_give(town, now=now).night
        calm = False
        while left := _waiting(town, night.night_id):
            with suppress(Died):
                work_on(town, night.night_id, random.choice(left))
        assert differing(rows, all_rows(town.store.url)) == ""
    assert deaths > 20


def test_postgresql_tells_what_sqlite_tells(
    undisturbed: list[dict[str, Any]], postgres_store: str, tmp_path: Path
) -> None:
    services = services_for(settings_for(copy_town(tmp_path / "town.db", postgres_store), tmp_path))
    try:
        for now, rows in zip(NIGHTS, undisturbed, strict=True):
            run_inline(services, now)
            assert differing(rows, all_rows(postgres_store)) == ""
    finally:
        services.close()


def test_an_open_night_is_gone_on_with_and_given_out_again_only_when_late(town: Services) -> None:
    give = shards_to_give(town, now=EVENING)
    assert give.shards == tuple(range(SHARDS))
    with town.store.begin() as work:
        work.nights.sent(give.night.night_id, give.shards, EVENING)
        work.commit()
    work_on(town, give.night.night_id, 0)
    soon = shards_to_give(town, now=EVENING + SENT_AGAIN_AFTER / 2)
    assert (soon.night.night_id, soon.shards) == (give.night.night_id, ())
    seen = status_of(town.store, now=EVENING).night
    assert seen is not None
    assert (seen.state, seen.shards, seen.most_tries) == ("open", {"done": 1, "waiting": 4}, 1)
    assert seen.seconds.keys() == {"pull", "grow", "silence", "tell"}
    late = shards_to_give(town, now=EVENING + SENT_AGAIN_AFTER)
    assert late.shards == (1, 2, 3)


def test_a_night_that_never_ended_is_left_and_nobody_hears_twice(
    undisturbed: list[dict[str, Any]], town: Services
) -> None:
    first = shards_to_give(town, now=EVENING).night
    work_on(town, first.night_id, 0)
    told = all_rows(town.store.url)["told"]
    assert told
    later = EVENING + GIVEN_UP_AFTER
    by_shards(town, later)
    assert work_on(town, first.night_id, 1).messages is False
    rows = all_rows(town.store.url)
    assert len(rows["outbox"]) == len(undisturbed[0]["outbox"])
    assert {row[:3] for row in rows["told"]} == {row[:3] for row in undisturbed[0]["told"]}
    assert len(rows["told"]) == len(undisturbed[0]["told"])


def test_a_night_begun_under_a_clock_that_was_put_back_is_left(town: Services) -> None:
    ahead = shards_to_give(town, now=EVENING + timedelta(days=365)).night
    assert shards_to_give(town, now=EVENING).night.night_id != ahead.night_id


def test_a_shard_that_always_fails_is_given_up_and_told_by_the_next_night(
    undisturbed: list[dict[str, Any]], town: Services, monkeypatch: pytest.MonkeyPatch
) -> None:
    give = shards_to_give(town, now=EVENING)
    night_id = give.night.night_id
    with town.store.begin() as work:
        for _ in range(town.settings.jobs.most_tries):
            work.nights.tried(night_id, 2)
        work.commit()
    done = [work_on(town, night_id, shard) for shard in (0, 1, 2, 3)]
    assert [one.shards for one in done] == [(), (), (), (SHARDS,)]
    work_on(town, night_id, SHARDS)
    with town.store.begin() as work:
        assert work.nights.shard(night_id, 2).state is ShardState.FAILED
        assert all(one.done_on != EVENING.date() for one in work.rounds.all() if not one.daily_list)
    told = len(all_rows(town.store.url)["outbox"])
    assert 0 < told < len(undisturbed[0]["outbox"])
    by_shards(town, EVENING.replace(minute=30))
    assert len(all_rows(town.store.url)["outbox"]) == len(undisturbed[0]["outbox"])


def test_rounds_are_counted_shard_by_shard(town: Services) -> None:
    by_shards(town, EVENING)
    by_shards(town, MORNING)
    with town.store.begin() as work:
        counted = [digests for _, _, _, outcome, digests in work.rounds.last_log(9) if outcome == "done"]
    assert sum(counted) == 45
