"""What nobody asks for any more is forgotten in small steps; what waits, and what records need, is not."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from town import EVENING, copy_town, run_inline, services_for, settings_for, sqlite_town

from mowalert.domain.words import NoticeKind
from mowalert.jobs.delivery import send_batch
from mowalert.service.ports_past import Old
from mowalert.service.upkeep.retention import forget_daily, forget_old, old_rows
from mowalert.store.crew_tables import visit
from mowalert.store.engine import open_engine
from mowalert.store.tables import cell_day, outbox, refusal, round_log, told
from mowalert.wiring import Services

LATER = EVENING + timedelta(days=600)
ENDED = ("sent", "failed", "expired", "unknown", "cancelled")


@pytest.fixture(params=["sqlite", "postgresql"])
def town(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Services]:
    """A town that was told and sent its messages once, long ago."""
    path = tmp_path / "town.db"
    url = (
        sqlite_town(path)
        if request.param == "sqlite"
        else copy_town(path, request.getfixturevalue("postgres_store"))
    )
    services = services_for(settings_for(url, tmp_path))
    run_inline(services, EVENING)
    send_batch(services, now=EVENING)
    yield services
    services.close()


def rows(services: Services, query: Any) -> list[Any]:
    engine = open_engine(services.store.url)
    with engine.begin() as connection:
        found = connection.execute(query)
        seen = list(found) if found.returns_rows else []
    engine.dispose()
    return seen


def count(services: Services, table: sa.Table, *where: Any) -> int:
    return int(rows(services, sa.select(sa.func.count()).select_from(table).where(*where))[0][0])


def days(**changes: int) -> dict[Old, int]:
    return dict.fromkeys(Old, 10_000) | {Old(name): kept for name, kept in changes.items()}


@pytest.mark.parametrize("at_once", [3, 5000])
def test_messages_that_met_their_end_go_and_the_newest_stays(town: Services, at_once: int) -> None:
    before = count(town, outbox)
    assert before > 10
    report = forget_old(town.store, days(messages=400), now=LATER, at_once=at_once)
    assert report.whole
    assert report.rows[Old.MESSAGES] == before - 1
    assert count(town, outbox) == 1


@pytest.mark.parametrize("state", ["ready", "leased", "sending"])
def test_a_message_that_waits_never_goes(town: Services, state: str) -> None:
    ids = [row[0] for row in rows(town, sa.select(outbox.c.message_id).order_by(outbox.c.message_id))]
    waiting = ids[:3]
    rows(town, sa.update(outbox).where(outbox.c.message_id.in_(waiting)).values(state=state))
    forget_old(town.store, days(messages=62), now=LATER, at_once=2)
    left = {row[0] for row in rows(town, sa.select(outbox.c.message_id))}
    assert left == {*waiting, ids[-1]}


def test_young_messages_stay(town: Services) -> None:
    before = count(town, outbox)
    assert (
        forget_old(town.store, days(messages=400), now=EVENING + timedelta(days=399)).rows[Old.MESSAGES] == 0
    )
    assert count(town, outbox) == before


def test_told_holds_outlive_other_notices_for_the_records_of_a_season(town: Services) -> None:
    holds = told.c.kind.in_([NoticeKind.HOLD.value, NoticeKind.RELEASE.value])
    assert count(town, told, holds) > 0
    others = count(town, told, ~holds)
    assert others > 0
    kept = count(town, told, holds)
    forget_old(town.store, days(notices=400, records=700), now=LATER)
    assert count(town, told, holds) == kept
    assert count(town, told, ~holds) <= 1
    forget_old(town.store, days(records=400), now=LATER)
    assert count(town, told) <= 2


def test_visits_are_kept_as_long_as_records_are(town: Services) -> None:
    (lawn_id, keeper_id) = rows(town, sa.text("SELECT lawn_id, keeper_id FROM lawn LIMIT 1"))[0]
    for on in (date(2025, 5, 1), date(2026, 7, 1), date(2026, 7, 8)):
        values = {
            "keeper_id": keeper_id,
            "lawn_id": lawn_id,
            "on": on,
            "outcome": "done",
            "note": "",
            "reported_by": "a test",
            "reported_at": datetime(on.year, on.month, on.day, tzinfo=UTC),
        }
        rows(town, sa.insert(visit).values(**values))
    forget_old(town.store, days(records=400), now=EVENING)
    left = [row[0] for row in rows(town, sa.select(visit.c.on).order_by(visit.c.on))]
    assert left == [date(2026, 7, 1), date(2026, 7, 8)]


def test_weather_rounds_and_refusals_go_by_their_own_days(town: Services) -> None:
    rows(town, sa.insert(refusal).values(source="sky", reason="no number", at=EVENING))
    rows(town, sa.insert(refusal).values(source="sky", reason="no number", at=LATER))
    young = LATER.date() - timedelta(days=590)
    expected = count(town, cell_day, cell_day.c.on < young)
    assert expected > 0
    report = forget_old(town.store, days(weather=590, rounds=100, refusals=30), now=LATER)
    assert report.rows[Old.WEATHER] == expected
    assert count(town, cell_day, cell_day.c.on < young) == 0
    assert (count(town, round_log), count(town, refusal)) == (1, 1)


def test_a_dry_run_counts_and_keeps(town: Services) -> None:
    before = count(town, outbox)
    found = old_rows(town.store, days(messages=400), now=LATER)
    assert found.rows[Old.MESSAGES] == before - 1
    assert count(town, outbox) == before


def test_a_run_ends_after_so_many_rows_and_the_next_goes_on(town: Services) -> None:
    kept = days(messages=400, rounds=100)
    assert forget_old(town.store, kept, now=LATER, most=4, at_once=2).whole is False
    left = count(town, outbox)
    assert forget_daily(town.store, kept, now=LATER) is not None
    assert count(town, outbox) < left
    assert forget_daily(town.store, kept, now=LATER) is None
    assert forget_daily(town.store, kept, now=LATER + timedelta(days=1)) is not None


def test_a_night_tells_the_same_after_the_past_is_forgotten(town: Services) -> None:
    again = EVENING + timedelta(days=7)
    forget_old(town.store, days(messages=0, notices=0, rounds=0, refusals=0), now=again)
    run_inline(town, again)
    assert count(town, outbox, outbox.c.state == "ready") > 0
    assert count(town, outbox, outbox.c.local_date == again.date() - timedelta(days=7)) <= 1


def test_what_is_kept_how_long_is_a_setting(town: Services) -> None:
    assert town.kept_days == {
        Old.MESSAGES: 400,
        Old.NOTICES: 1100,
        Old.RECORDS: 1830,
        Old.PLANS: 400,
        Old.ROUNDS: 100,
        Old.REFUSALS: 30,
        Old.WEATHER: 1100,
    }
