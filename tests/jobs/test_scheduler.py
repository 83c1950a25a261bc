"""The long-running process: one tick at a time, none lost to a failure, a clean stop."""

import json
import logging
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import pytest
from builders import TURF
from weather_server import WeatherServer

from mowalert.errors import StoreError
from mowalert.jobs.scheduler import run_scheduler
from mowalert.service.failures import note_failure
from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.upkeep.status import note_scheduler, status_of
from mowalert.store.engine import SqlStore
from mowalert.store.upgrade import upgrade

NOW = datetime(2026, 5, 7, 22, 5, tzinfo=UTC)
SOON_MIN = 1e-5
LAWN = """keeper,kind,email,latitude,longitude,grass,height_mm
Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65
"""


@pytest.fixture
def a_store(tmp_path: Path) -> Iterator[SqlStore]:
    url = f"sqlite:///{tmp_path / 'mowalert.db'}"
    upgrade(url)
    store = SqlStore(url)
    rows, report = read_table(LAWN, TURF, now=NOW)
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=NOW)
    yield store
    store.close()


def stop() -> None:
    os.kill(os.getpid(), signal.SIGTERM)


def test_a_tick_gets_the_moment_and_a_signal_ends_the_run() -> None:
    moments: list[datetime] = []

    def tick(now: datetime) -> None:
        moments.append(now)
        if len(moments) == 3:
            stop()

    before = signal.getsignal(signal.SIGTERM)
    run_scheduler(tick, every_min=SOON_MIN)
    assert len(moments) >= 3
    assert moments == sorted(moments)
    assert all(moment.tzinfo is UTC for moment in moments)
    assert signal.getsignal(signal.SIGTERM) is before


def test_a_tick_due_while_another_runs_waits_its_turn(
    caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    another_was_due = Event()
    running = most = done = 0

    class Listening(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            if "maximum number of running instances" in record.getMessage():
                another_was_due.set()

    def tick(now: datetime) -> None:
        nonlocal running, most, done
        running += 1
        most = max(most, running)
        assert another_was_due.wait(30)
        running -= 1
        done += 1
        stop()

    listening, log = Listening(), logging.getLogger("apscheduler.scheduler")
    # Whatever ran before in this process may have silenced it.
    monkeypatch.setattr(log, "disabled", False)
    caplog.set_level(logging.WARNING, log.name)
    log.addHandler(listening)
    try:
        run_scheduler(tick, every_min=SOON_MIN)
    finally:
        log.removeHandler(listening)
    assert most == 1
    assert done >= 1


@pytest.mark.parametrize("error", [StoreError("the disk is full"), ZeroDivisionError("nothing left")])
def test_a_failing_tick_ends_nothing_and_is_told(error: Exception) -> None:
    told: list[tuple[datetime, str]] = []
    ticks = 0

    def tick(now: datetime) -> None:
        nonlocal ticks
        ticks += 1
        if ticks == 1:
            raise error
        stop()

    run_scheduler(tick, every_min=SOON_MIN, failed=lambda at, reason: told.append((at, reason)))
    assert ticks >= 2
    assert len(told) == 1
    assert str(error) in told[0][1]


def test_a_failure_that_cannot_be_kept_ends_nothing_either() -> None:
    ticks = 0

    def tick(now: datetime) -> None:
        nonlocal ticks
        ticks += 1
        if ticks == 2:
            stop()
        raise StoreError("the store is gone")

    def failed(at: datetime, reason: str) -> None:
        raise StoreError("the store is gone")

    run_scheduler(tick, every_min=SOON_MIN, failed=failed)
    assert ticks >= 2


def test_a_failing_tick_shows_in_the_status(a_store: SqlStore) -> None:
    assert status_of(a_store, now=NOW).last_failure is None
    note_failure(a_store, NOW, "StoreError: database is locked: try again")
    seen = status_of(a_store, now=NOW).last_failure
    assert seen is not None
    assert (seen.at, seen.reason) == (NOW, "StoreError: database is locked: try again")


def test_nights_that_stopped_show_in_the_status(a_store: SqlStore) -> None:
    assert status_of(a_store, now=NOW).overdue
    with a_store.begin() as work:
        work.set_meta("last_night_at", NOW.isoformat())
        work.commit()
    assert not status_of(a_store, now=NOW + timedelta(hours=30)).overdue
    assert status_of(a_store, now=NOW + timedelta(hours=40)).overdue
    note_scheduler(a_store, 10.0)
    assert not status_of(a_store, now=NOW + timedelta(minutes=29)).overdue
    assert status_of(a_store, now=NOW + timedelta(minutes=31)).overdue
    note_scheduler(a_store, None)
    assert status_of(a_store, now=NOW + timedelta(hours=1)).scheduler_every_min is None


Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def start(tmp_path: Path, a_store: SqlStore, server: WeatherServer) -> Iterator[Start]:
    """Start the program's own scheduler on the store; its log is JSON lines on stderr."""
    environment = {name: text for name, text in os.environ.items() if not name.startswith("MOWALERT_")}
    environment |= {
        "MOWALERT_SERVICE__DATA_DIR": str(tmp_path),
        "MOWALERT_WEATHER__SOURCES": "nws",
        "MOWALERT_WEATHER__NWS__URL": server.url,
        "PYTHONUNBUFFERED": "1",
    }
    started = []

    def popen(*words: str) -> "subprocess.Popen[str]":
        command = [sys.executable, "-m", "mowalert", "scheduler", *words]
        process = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment, cwd=tmp_path)
        started.append(process)
        return process

    yield popen
    for process in started:
        process.kill()
        process.communicate()


def until(process: "subprocess.Popen[str]", event: str) -> list[str]:
    """Read the log up to an event; what happened till then."""
    assert process.stderr is not None
    seen = []
    for line in process.stderr:
        seen.append(json.loads(line)["event"])
        if seen[-1] == event:
            return seen
    raise AssertionError(f"the scheduler ended without {event!r}: {seen}")


def rest(process: "subprocess.Popen[str]") -> list[str]:
    _, text = process.communicate(timeout=60)
    return [json.loads(line)["event"] for line in text.splitlines()]


def test_the_process_stops_cleanly_between_ticks(start: Start, a_store: SqlStore) -> None:
    process = start("--every-min", "60")
    assert until(process, "tick done") == ["scheduler started", "delivered", "tick done"]
    seen = status_of(a_store, now=datetime.now(UTC))
    assert seen.scheduler_every_min == 60
    assert seen.last_night_at is not None
    process.send_signal(signal.SIGTERM)
    assert rest(process) == ["scheduler stopping", "scheduler stopped"]
    assert process.returncode == 0
    assert status_of(a_store, now=datetime.now(UTC)).scheduler_every_min is None


def test_the_process_finishes_the_tick_it_is_in(start: Start, server: WeatherServer) -> None:
    asked, answer_now = Event(), Event()

    def slowly(path: str) -> tuple[int, bytes]:
        asked.set()
        answer_now.wait(60)
        return 404, b"{}"

    server.asks("/", slowly)
    process = start("--every-min", "60")
    assert asked.wait(60)
    process.send_signal(signal.SIGTERM)
    assert until(process, "scheduler stopping") == ["scheduler started", "scheduler stopping"]
    answer_now.set()
    assert rest(process) == ["delivered", "tick done", "scheduler stopped"]
    assert process.returncode == 0
