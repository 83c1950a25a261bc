"""A process that does the service's work and is killed at it.

It has everything loaded and forks for each job that it reads from stdin, a line of JSON; what became of
the job is written to stdout. At a given step (a statement, a commit, a message going out) something happens
to a job: it is killed, or loses its database or its power. Or it is killed after a given time, or its files
may not grow past a size.
"""

import json
import os
import resource
import select
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

import psycopg
from builders import TURF
from skies import Skies
from sqlalchemy import Engine, event, make_url

from mowalert.channels.email import SmtpTransport
from mowalert.channels.messages import Messages
from mowalert.channels.sms import HttpSms
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.service.backup import back_up, restore
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.report import report_mowing
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.ports import Transport
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.store.backup import SqlCopies, tables_of
from mowalert.store.engine import SqlStore
from mowalert.store.upgrade import head, upgrade

POLICY = Policy(frozenset(Channel), timedelta(hours=36))
Job = Mapping[str, Any]


class Steps:
    """Counts what the job does, and lets something happen at the step it was told."""

    def __init__(self, at: int | None, happens: Callable[[], None]) -> None:
        self.done, self._at, self._happens = 0, at, happens

    def take(self, *whatever: object) -> None:
        self.done += 1
        if self.done == self._at:
            self._happens()

    def watch(self) -> None:
        event.listen(Engine, "before_cursor_execute", lambda *told: self.take())
        event.listen(Engine, "after_cursor_execute", lambda *told: self.take())
        event.listen(Engine, "commit", lambda connection: self.take())


def die(job: Job) -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def lose_power(job: Job) -> None:
    """Keep what of a disk has come to rest by now, and die."""
    shutil.copyfile(job["image"], job["at_rest"])
    die(job)


def lose_connections(job: Job) -> None:
    """The server ends every connection to the job's database."""
    there = make_url(job["url"])
    with psycopg.connect(
        host=there.host, port=there.port, user=there.username, dbname="postgres", autocommit=True
    ) as server:
        ours = "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = %s"
        server.execute(ours, [there.database])


def lose_server(job: Job) -> None:
    """The database's server starts again, without a word to whom it serves."""
    subprocess.run(job["restart"], check=True, stdout=subprocess.DEVNULL)


HAPPENINGS: Mapping[str, Callable[[Job], None]] = {
    "killed": die,
    "no power": lose_power,
    "no connection": lose_connections,
    "no server": lose_server,
}


@dataclass
class Watched:
    """A way out with a step before and after each message."""

    way: Transport
    steps: Steps

    @property
    def channel(self) -> Channel:
        return self.way.channel

    def send(self, message: OutgoingMessage) -> None:
        self.steps.take()
        self.way.send(message)
        self.steps.take()

    def close(self) -> None:
        self.way.close()


def night(job: Job, steps: Steps) -> None:
    store = SqlStore(job["url"])
    run_night(store, Skies(), TURF, Messages("Turf Line"), POLICY, now=now_of(job))


def send(job: Job, steps: Steps) -> None:
    mail = SmtpTransport("127.0.0.1", job["smtp_port"], sender="lawns@example.org")
    text = HttpSms(job["sms_url"], method="GET", fields={"id": "{id}", "to": "{to}"})
    ways = {way.channel: Watched(way, steps) for way in (mail, text)}
    store = SqlStore(job["url"])
    deliver(store, ways, TURF, POLICY, SmsPolicy(), now=now_of(job), random=Random(1))


def report(job: Job, steps: Steps) -> None:
    """Report cuts, and say of each that it was taken."""
    store, now = SqlStore(job["url"]), now_of(job)
    with Path(job["said"]).open("ab", buffering=0) as said:
        for lawn_id in job["lawns"]:
            on = now.date()
            report_mowing(store, TURF, lawn_id, height_mm=None, on=on, today=on, now=now, by="cli")
            said.write(f"{lawn_id}\n".encode())


def bring_in(job: Job, steps: Steps) -> None:
    rows, found = read_table(job["table"], TURF, now=now_of(job))
    enrol(SqlStore(job["url"]), TURF, rows, found, source="a test", cell_degrees=0.1, now=now_of(job))


def migrate(job: Job, steps: Steps) -> None:
    upgrade(job["url"])


def keep(job: Job, steps: Steps) -> None:
    back_up(SqlCopies(job["url"]), Path(job["path"]), at=now_of(job))


def bring_back(job: Job, steps: Steps) -> None:
    copies = SqlCopies(job["url"])
    restore(copies, Path(job["path"]), at=now_of(job), nothing_since=True, replace=False)


WORK: Mapping[str, Callable[[Job, Steps], None]] = {
    "night": night,
    "deliver": send,
    "report": report,
    "import": bring_in,
    "migrate": migrate,
    "backup": keep,
    "restore": bring_back,
}


def now_of(job: Job) -> datetime:
    return datetime.fromisoformat(job["now"])


def run(job: Job) -> dict[str, Any]:
    """Fork, do the job, and tell how it ended: its exit, the steps it took, and how long."""
    reading, writing = os.pipe()
    began = time.monotonic()
    child = os.fork()
    if not child:
        os.close(reading)
        os._exit(_do(job, writing))
    os.close(writing)
    watched = os.pidfd_open(child)
    if not select.select([watched], [], [], job.get("kill_after_s"))[0]:
        with suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    os.close(watched)
    with os.fdopen(reading) as pipe:
        told = pipe.read()
    took_s = time.monotonic() - began
    return {"exit": os.waitstatus_to_exitcode(status), "took_s": took_s, **json.loads(told or "{}")}


def _do(job: Job, writing: int) -> int:
    steps = Steps(job.get("at_step"), partial(HAPPENINGS[job.get("happens", "killed")], job))
    steps.watch()
    if most := job.get("file_bytes"):
        # What a disk that is full does to a file that grows, without a disk of one's own.
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    try:
        WORK[job["work"]](job, steps)
    except BaseException as error:
        os.write(writing, json.dumps({"error": f"{type(error).__name__}: {error}"[:2000]}).encode())
        return 1
    os.write(writing, json.dumps({"steps": steps.done}).encode())
    return 0


if __name__ == "__main__":
    tables_of(head())
    for line in sys.stdin:
        sys.stdout.write(f"{json.dumps(run(json.loads(line)))}\n")
        sys.stdout.flush()
