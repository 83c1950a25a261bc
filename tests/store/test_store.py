"""The store keeps its promises on SQLite and on PostgreSQL."""

import threading
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from builders import NOW, THURSDAY, a_keeper, a_lawn_record, a_message

from mowalert.domain.stand import StandKey
from mowalert.domain.weather import DayHours, Place, PlaceWeather, WeatherDay
from mowalert.domain.words import Channel, HoldReason, Sun, Watering
from mowalert.errors import StoreError
from mowalert.service.ports import Store, Work
from mowalert.service.records import AnchorUpdate, EventRecord, GrowthRecord, Said, SiteRecord
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.lawns import due_query
from mowalert.store.sql import by_index
from mowalert.store.tables import metadata
from mowalert.store.upgrade import downgrade, head, schema_version, upgrade

KEY = StandKey("kentucky_bluegrass", "loam", 3, Sun.FULL, Watering.NONE)


def a_growth(stand_id: int, *, g: float = 100.0, told_mask: int = 0, as_of: date = THURSDAY) -> GrowthRecord:
    return GrowthRecord(
        stand_id=stand_id,
        as_of=as_of,
        fetched_at=NOW,
        known_until=as_of + timedelta(days=9),
        settled_on=as_of - timedelta(days=5),
        settled=np.zeros(29).tobytes(),
        curve_from=as_of,
        curve=np.zeros((6, 10)).tobytes(),
        told_mask=told_mask,
        g=tuple(g + 4.0 * day for day in range(10)),
    )


def enrolled(work: Work, *, keepers: int = 1, lawns: int = 1, **changes: object) -> list[int]:
    """Keepers with lawns on one stand; the lawns' ids."""
    cell_id = work.weather.ensure_cell(42.75, -73.75, -300)
    stand_id = work.stands.ensure(cell_id, KEY)
    ids = []
    for number in range(keepers):
        round_id = work.rounds.ensure(
            daily_list=False, time_zone="America/New_York", weekdays=8, minute_of_day=1080, mixed=False
        )
        keeper_id = work.keepers.add(a_keeper(key=f"k{number}", round_id=round_id))
        site = SiteRecord(0, keeper_id, "home", "Home", "", 42.75, -73.75, cell_id)
        site, _ = work.keepers.ensure_site(site)
        for lawn in range(lawns):
            record = a_lawn_record(
                site_id=site.site_id,
                keeper_id=keeper_id,
                round_id=round_id,
                stand_id=stand_id,
                key=f"l{lawn}",
            )
            ids.append(work.lawns.add(replace(record, **changes)))
    return ids


def test_the_store_is_what_the_service_asks_for(store: SqlStore) -> None:
    asked: Store = store
    with asked.begin() as work:
        assert work.lawns.all_ids() == []


def test_leaving_without_commit_rolls_back(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
    with store.begin() as work:
        assert work.lawns.all_ids() == []
        enrolled(work)
        work.commit()
    with store.begin() as work:
        assert len(work.lawns.all_ids()) == 1


def test_what_goes_in_comes_out(store: SqlStore) -> None:
    with store.begin() as work:
        (lawn_id,) = enrolled(work, told_hold=HoldReason.HEAT, told_hold_on=THURSDAY)
        work.commit()
    with store.begin() as work:
        lawn = work.lawns.get([lawn_id])[0]
        keeper = work.keepers.get([lawn.keeper_id])[lawn.keeper_id]
        assert lawn.told_hold is HoldReason.HEAT
        assert keeper.consent_at == NOW
        assert work.keepers.by_key("k0") == keeper
        assert work.lawns.by_key(lawn.site_id, "l0") == lawn
        assert work.stands.get([lawn.stand_id])[lawn.stand_id].key == KEY


def test_due_lawns_are_found_by_limit_and_by_window(store: SqlStore) -> None:
    with store.begin() as work:
        soon, later, never = enrolled(work, lawns=3)
        update = AnchorUpdate(soon, THURSDAY, 75.0, 90.0, False, 99.0, 110.0)
        work.lawns.anchor(
            [
                update,
                replace(update, lawn_id=later, window_g_mm=105.0, limit_g_mm=130.0),
                replace(update, lawn_id=never, window_g_mm=None, limit_g_mm=None),
            ]
        )
        stand_id = work.lawns.get([soon])[0].stand_id
        work.stands.save_growth([a_growth(stand_id)])
        round_id = work.rounds.all()[0].round_id
        find = work.lawns.due_ids
        assert find([round_id], as_of=THURSDAY, limit_day=2, window_day=None) == []
        assert find([round_id], as_of=THURSDAY, limit_day=3, window_day=None) == [soon]
        assert find([round_id], as_of=THURSDAY, limit_day=0, window_day=0) == [soon]
        assert find([round_id], as_of=THURSDAY, limit_day=9, window_day=9) == [soon, later]
        assert find([round_id + 1], as_of=THURSDAY, limit_day=9, window_day=9) == []
        assert find([round_id], as_of=THURSDAY + timedelta(days=1), limit_day=9, window_day=9) == []


def a_town(work: Work, *, stands: int, lawns: int) -> None:
    """Many stands with many lawns each, whose limits are spread out; few of them due."""
    (first,) = enrolled(work)
    record = work.lawns.get([first])[0]
    cell_id = work.stands.get([record.stand_id])[record.stand_id].cell_id
    ids = [work.stands.ensure(cell_id, replace(KEY, grass_id=f"grass{number}")) for number in range(stands)]
    work.stands.save_growth([a_growth(stand_id) for stand_id in ids])
    for stand_id in ids:
        for number in range(lawns):
            limit = 90.0 + 10 * number
            work.lawns.add(replace(record, stand_id=stand_id, key=f"{stand_id}.{number}", limit_g_mm=limit))


def test_the_search_stays_in_the_index(store: SqlStore) -> None:
    with store.begin() as work:
        a_town(work, stands=40, lawns=50)
        work.commit()
    engine = open_engine(store.url)
    sql = str(due_query([1], THURSDAY, 2, None).compile(engine, compile_kwargs={"literal_binds": True}))
    try:
        with engine.begin() as connection:
            connection.exec_driver_sql("ANALYZE")
            explain = "EXPLAIN" if engine.dialect.name == "postgresql" else "EXPLAIN QUERY PLAN"
            with by_index(connection):
                plan = str(connection.exec_driver_sql(f"{explain} {sql}").all())
    finally:
        engine.dispose()
    assert "ix_lawn_limit" in plan
    assert "COVERING INDEX" in plan or "Index Only Scan" in plan or "Index Scan" in plan


def test_advice_to_the_planner_ends_with_its_search(postgres: str) -> None:
    names = ("enable_hashjoin", "enable_mergejoin", "enable_seqscan", "parallel_tuple_cost")
    engine = open_engine(postgres)

    def settings() -> list[object]:
        return [connection.exec_driver_sql(f"SHOW {name}").scalar() for name in names]

    try:
        with engine.begin() as connection:
            before = settings()
            with by_index(connection):
                assert all(one != other for one, other in zip(settings(), before, strict=True))
            assert settings() == before
    finally:
        engine.dispose()


def test_holds_are_found_told_and_untold(store: SqlStore) -> None:
    with store.begin() as work:
        told, untold = enrolled(work, lawns=2)
        work.lawns.said([Said(told, HoldReason.HEAT, THURSDAY, None, None)])
        lawn = work.lawns.get([told])[0]
        work.stands.save_growth([a_growth(lawn.stand_id, told_mask=4)])
        assert work.lawns.hold_ids([lawn.round_id]) == [told]
        assert work.lawns.untold_hold_ids([lawn.round_id]) == []
        keeper = work.keepers.get([lawn.keeper_id])[lawn.keeper_id]
        work.keepers.change(replace(keeper, tells_all_holds=True))
        assert work.lawns.untold_hold_ids([lawn.round_id]) == [untold]
        work.stands.save_growth([a_growth(lawn.stand_id, told_mask=4 << 8)])
        assert work.lawns.untold_hold_ids([lawn.round_id]) == []


def test_five_thousand_curves_are_kept_and_replaced(store: SqlStore) -> None:
    with store.begin() as work:
        cell_id = work.weather.ensure_cell(1.0, 2.0, 0)
        grasses = [f"grass{number}" for number in range(5000)]
        ids = [work.stands.ensure(cell_id, replace(KEY, grass_id=name)) for name in grasses]
        work.stands.save_growth([a_growth(stand_id) for stand_id in ids])
        work.stands.save_growth([a_growth(stand_id, g=7.0) for stand_id in ids])
        found = work.stands.growth(ids)
        assert len(found) == 5000
        assert {record.g[0] for record in found.values()} == {7.0}


def a_day(on: date, **changes: object) -> WeatherDay:
    return replace(WeatherDay(on, 5.0, 15.0, 1.0, "nws"), **changes)


def test_newer_weather_replaces_older_but_a_partial_day_never_a_whole_one(store: SqlStore) -> None:
    hours = DayHours((1.5,) * 24, (float("nan"),) * 24, (0.25,) * 24)
    with store.begin() as work:
        cell_id = work.weather.ensure_cell(42.75, -73.75, -300)
        place = Place(cell_id, 42.75, -73.75, -300)
        first = PlaceWeather(place, (a_day(THURSDAY, hours=hours),), NOW, "nws", 12.0)
        work.weather.save([first])
        work.weather.save([replace(first, days=(a_day(THURSDAY, t_max_c=30.0, partial=True),))])
        kept = work.weather.days([cell_id], first=THURSDAY, last=THURSDAY)[cell_id][0]
        assert kept.t_max_c == 15.0
        assert kept.hours is not None
        assert kept.hours.t_c == hours.t_c
        assert np.isnan(kept.hours.rel_humidity_pct[3])
        work.weather.save([replace(first, days=(a_day(THURSDAY, t_max_c=17.0),), source="met_norway")])
        assert work.weather.days([cell_id], first=THURSDAY, last=THURSDAY)[cell_id][0].t_max_c == 17.0
        cell = work.weather.cells([cell_id])[0]
        assert (cell.source, cell.elevation_m, cell.fetched_at) == ("met_norway", 12.0, NOW)
        earlier = THURSDAY - timedelta(days=30)
        past = replace(first, days=(a_day(earlier), a_day(THURSDAY, t_max_c=1.0, t_min_c=0.0)))
        work.weather.save_history([past], asked=[cell_id], on=THURSDAY)
        assert work.weather.days([cell_id], first=THURSDAY, last=THURSDAY)[cell_id][0].t_max_c == 17.0
        assert work.weather.cells([cell_id])[0].history_from == earlier


def test_a_message_is_queued_once_a_day_for_each_kind(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        assert work.outbox.add(a_message())
        assert not work.outbox.add(a_message(text="again"))
        assert work.outbox.add(a_message(kind="no_weather"))
        assert work.outbox.add(a_message(channel=Channel.SMS))
        work.commit()


def test_two_workers_that_decide_one_night_make_one_message(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        work.commit()
    added: list[bool] = []

    def decide_it() -> None:
        with store.begin() as work:
            added.append(work.outbox.add(a_message()))
            work.commit()

    threads = [threading.Thread(target=decide_it) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(added) == [False, False, False, True]


def test_a_leased_message_is_nobody_elses_until_the_lease_ends(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        work.outbox.add(a_message())
        work.commit()
    until = NOW + timedelta(minutes=10)
    with store.begin() as work:
        (taken,) = work.outbox.lease(now=NOW, until=until, limit=10)
        work.commit()
    assert not taken.interrupted
    assert taken.message == a_message()
    with store.begin() as work:
        assert work.outbox.lease(now=NOW + timedelta(minutes=5), until=until, limit=10) == []
        again = work.outbox.lease(now=until + timedelta(seconds=1), until=until, limit=10)
        assert [message.interrupted for message in again] == [False]
        assert not work.outbox.mark_sending(again[0].message_id, attempts=1), "that lease is over"
        assert work.outbox.mark_sending(again[0].message_id, attempts=2)
        late = until + timedelta(days=1)
        (lost,) = work.outbox.lease(now=late, until=late, limit=10)
        assert lost.interrupted
        assert again[0].attempts == 2


def test_a_message_is_not_taken_before_its_time_nor_after_it_is_useful(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        work.outbox.add(a_message(not_before=NOW + timedelta(hours=1)))
        lease = work.outbox.lease
        assert lease(now=NOW, until=NOW, limit=5) == []
        assert lease(now=NOW + timedelta(days=3), until=NOW, limit=5) == []
        assert work.outbox.expire(now=NOW + timedelta(days=3)) == 1
        assert work.outbox.states() == {"expired": 1}


def test_messages_are_settled_retried_and_cancelled(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        for day in range(4):
            work.outbox.add(a_message(local_date=THURSDAY + timedelta(days=day), lawn_ids=(day + 1,)))
        work.outbox.settle(1, "sent", at=NOW)
        work.outbox.retry(2, next_try_at=NOW + timedelta(hours=1), error="busy")
        assert work.outbox.cancel_for_lawn(2, 3, at=NOW) == 0
        assert work.outbox.cancel_for_lawn(1, 3, at=NOW) == 1
        assert work.outbox.cancel_older([1], THURSDAY + timedelta(days=2), at=NOW) == 1
        assert work.outbox.states() == {"sent": 1, "cancelled": 2, "ready": 1}


def test_the_newest_report_is_undone_first_and_assumptions_are_none(store: SqlStore) -> None:
    with store.begin() as work:
        (lawn_id,) = enrolled(work)
        event = EventRecord(0, lawn_id, "mowing", THURSDAY, 75.0, 100.0, False, "cli", NOW)
        work.lawns.happened([event, replace(event, on=THURSDAY + timedelta(days=3), assumed=True)])
        undone = work.lawns.undo_last(lawn_id, at=NOW)
        assert undone is not None
        assert undone.on == THURSDAY
        assert work.lawns.undo_last(lawn_id, at=NOW) is None
        assert [left.assumed for left in work.lawns.events(lawn_id)] == [True]


def test_a_lawn_without_a_site_is_refused(store: SqlStore) -> None:
    def add_one() -> None:
        with store.begin() as work:
            work.lawns.add(a_lawn_record(site_id=99))
            work.commit()

    with pytest.raises(StoreError):
        add_one()


def test_a_moment_without_a_zone_is_refused(store: SqlStore) -> None:
    naive = datetime(2026, 5, 7)  # noqa: DTZ001 - that is the point

    def add_one() -> None:
        with store.begin() as work:
            enrolled(work)
            work.outbox.add(a_message(created_at=naive))

    with pytest.raises(StoreError):
        add_one()


def test_migrations_make_just_the_tables_of_this_program(store_url: str) -> None:
    assert schema_version(store_url) is None
    upgrade(store_url)
    assert schema_version(store_url) == head()
    engine = open_engine(store_url)
    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), metadata) == []
    downgrade(store_url, "base")
    with engine.connect() as connection:
        left = set(sa.inspect(connection).get_table_names()) - {"alembic_version"}
        assert left == set()
    engine.dispose()


def test_a_store_that_cannot_be_opened_is_said_in_one_line() -> None:
    with pytest.raises(StoreError, match="cannot be"):
        open_engine("nonsense://")
    with pytest.raises(StoreError):
        schema_version("postgresql+psycopg://nobody@127.0.0.1:1/none")


def test_moments_come_back_with_their_zone(store: SqlStore) -> None:
    with store.begin() as work:
        enrolled(work)
        round_id = work.rounds.all()[0].round_id
        work.rounds.done([round_id], THURSDAY, at=NOW, outcome="done", digests=3)
        assert work.rounds.last_log(1) == [(round_id, THURSDAY, NOW, "done", 3)]
        assert NOW.tzinfo is UTC
