"""Many rows at once do what they do one by one, on SQLite and on PostgreSQL."""

from dataclasses import replace

import pytest
import sqlalchemy as sa
from builders import NOW, THURSDAY, a_keeper, a_message

from mowalert.errors import StoreError
from mowalert.service.records import NewMessage
from mowalert.store.bulk import STREAMED_FROM, insert_new, update_all, upsert
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.tables import meta, sending_round

MANY = 3 * STREAMED_FROM


def keepers(store: SqlStore, count: int) -> list[int]:
    with store.begin() as work:
        round_id = work.rounds.ensure(
            daily_list=False, time_zone="UTC", weekdays=8, minute_of_day=1080, mixed=False
        )
        ids = [work.keepers.add(a_keeper(key=f"k{one}", round_id=round_id)) for one in range(count)]
        work.commit()
    return ids


def messages(keeper_ids: list[int]) -> list[NewMessage]:
    return [a_message(keeper_id=one, text=f"words for {one}") for one in keeper_ids]


@pytest.mark.parametrize("count", [3, MANY])
def test_a_message_is_queued_once_however_many_come_together(store: SqlStore, count: int) -> None:
    ids = keepers(store, count)
    first, second = messages(ids[: count // 2]), messages(ids)
    twice = replace(second[-1], text="again")
    with store.begin() as work:
        assert work.outbox.add_all(first) == first
        assert work.outbox.add_all([*second, twice]) == second[count // 2 :]
        work.commit()
    with store.begin() as work:
        leased = work.outbox.lease(now=NOW, until=NOW, limit=2 * count)
    assert [one.message for one in leased] == second
    assert [one.message_id for one in leased] == sorted(one.message_id for one in leased)


@pytest.mark.parametrize("count", [3, MANY])
def test_of_rows_with_one_key_the_later_counts(store: SqlStore, count: int) -> None:
    engine = open_engine(store.url)
    rows = [{"name": f"n{one}", "value": "old"} for one in range(count)]
    with engine.begin() as connection:
        upsert(connection, meta, rows)
        upsert(connection, meta, [{**row, "value": "new"} for row in (*rows[1:], rows[1])])
        upsert(connection, meta, [])
        kept = dict(map(tuple, connection.execute(sa.select(meta.c.name, meta.c.value))))
        connection.execute(meta.delete().where(meta.c.value.in_(("old", "new"))))
    engine.dispose()
    assert {name: kept[name] for name in ("n0", "n1", f"n{count - 1}")} == {
        "n0": "old",
        "n1": "new",
        f"n{count - 1}": "new",
    }


@pytest.mark.parametrize("count", [3, MANY])
def test_many_rows_are_changed_each_its_own_way(store: SqlStore, count: int) -> None:
    engine = open_engine(store.url)
    rounds = [
        {
            "daily_list": True,
            "time_zone": f"zone {one}",
            "weekdays": 127,
            "minute_of_day": one,
            "mixed": False,
        }
        for one in range(count)
    ]
    unique = ["daily_list", "time_zone", "weekdays", "minute_of_day", "mixed"]
    with engine.begin() as connection:
        assert insert_new(connection, sending_round, rounds, unique=unique) == [True] * count
        ids = list(connection.scalars(sa.select(sending_round.c.round_id).order_by("round_id")))
        changed = [{"round_id": one, "minute_of_day": 1000 + one, "done_on": THURSDAY} for one in ids[1:]]
        update_all(connection, sending_round, changed)
        update_all(connection, sending_round, [])
        columns = (sending_round.c.round_id, sending_round.c.minute_of_day, sending_round.c.done_on)
        kept = [tuple(row) for row in connection.execute(sa.select(*columns).order_by("round_id"))]
    engine.dispose()
    assert kept == [(ids[0], 0, None), *((one, 1000 + one, THURSDAY) for one in ids[1:])]


def test_what_a_stream_cannot_carry_is_one_clear_error_and_nothing_is_kept(postgres_store: str) -> None:
    store = SqlStore(postgres_store)
    said = messages(keepers(store, MANY))
    bad = [*said[:-1], replace(said[-1], text="no \x00 in a text")]
    with pytest.raises(StoreError, match=r"the store cannot be used: [^\n]+$"), store.begin() as work:
        work.outbox.add_all(bad)
    with store.begin() as work:
        assert work.outbox.states() == {}
        assert work.outbox.add_all(said) == said
    store.close()
