"""The service's work in a process that is hurt at it, and what must hold afterwards.

Nothing is lost, no text goes twice, and of mails the one in flight at most.
"""

import json
import os
import subprocess
import sys
import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import sqlalchemy as sa
from builders import TURF
from hard.victim import POLICY, WORK
from mail_server import Mailbox, receiving
from phones import MORNING
from rows import fill
from skies import Skies
from stores import contents, empty_store, migrate
from weather_server import WeatherServer

from mowalert.channels.messages import Messages
from mowalert.service.backup import back_up, restore
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.backup import SqlCopies
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import schema_version

EVENING = MORNING + timedelta(hours=8, minutes=5)
LEASE_OVER = timedelta(minutes=11)
OLD = "0003"
HEADER = "keeper,kind,email,phone,latitude,longitude,site,grass,height_mm,watering,last_mown_on"
PEOPLE = "\n".join(
    (
        HEADER,
        *(
            f"P{n},homeowner,p{n}@example.org,+1515555010{n},41.85,-93.15,Home,kentucky_bluegrass,65,regular,"
            f"2026-04-2{n}"
            for n in range(1, 6)
        ),
    )
)
NEWCOMERS = "\n".join(
    (HEADER, *(f"N{n},company,n{n}@example.com,,42.1,-93.3,Yard {n},tall_fescue,80,none," for n in range(30)))
)


class Victim:
    """The process that is forked from and its children killed."""

    def __init__(self) -> None:
        here = Path(__file__).resolve().parent
        path = os.pathsep.join([str(here.parent), str(here.parent.parent), os.environ.get("PYTHONPATH", "")])
        self._process = subprocess.Popen(
            [sys.executable, str(here / "victim.py")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "PYTHONPATH": path},
        )

    def run(self, **job: Any) -> dict[str, Any]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{json.dumps(job)}\n")
        self._process.stdin.flush()
        told: dict[str, Any] = json.loads(self._process.stdout.readline())
        assert "error" not in told or job.get("may_fail"), told["error"]
        return told

    def close(self) -> None:
        self._process.communicate()


@dataclass
class Place:
    """Where one run happens: a store, the world outside, and files."""

    url: str
    folder: Path
    victim: Victim
    mailbox: Mailbox
    gateway: WeatherServer

    def job(self, work: str, *, later: timedelta = timedelta(0)) -> dict[str, Any]:
        return {
            "work": work,
            "url": self.url,
            "now": (EVENING + later).isoformat(),
            "smtp_port": self.mailbox.port,
            "sms_url": f"{self.gateway.url}/sms",
            "said": str(self.folder / "said"),
            "lawns": [1, 2, 3, 4, 5],
            "table": NEWCOMERS,
            "path": str(self.folder / "kept.backup"),
        }

    def work(self, name: str, *, later: timedelta = timedelta(0), **kill: Any) -> dict[str, Any]:
        return self.victim.run(**self.job(name, later=later), **kill)

    def look(self, query: str) -> list[tuple[Any, ...]]:
        engine = open_engine(self.url, reads=True)
        try:
            with engine.connect() as connection:
                return [tuple(row) for row in connection.execute(sa.text(query))]
        finally:
            engine.dispose()

    @property
    def mails(self) -> Counter[str]:
        return Counter(str(mail["Message-ID"]) for mail in self.mailbox.mails)

    @property
    def texts(self) -> Counter[str]:
        return Counter(parse_qs(urlsplit(path).query)["id"][0] for path in self.gateway.asked)


@dataclass
class Harm:
    """What a kill cost."""

    lost: int = 0
    doubled: int = 0
    repeated: int = 0
    """Mails in flight that went again with their Message-ID, which is allowed once a kill."""


def after_night(place: Place) -> Harm:
    place.work("night")
    waiting = Counter(row[:2] for row in told_messages(place))
    wanted = {(keeper_id, channel) for keeper_id in range(1, 6) for channel in ("email", "sms")}
    return Harm(len(wanted - set(waiting)), sum(count - 1 for count in waiting.values()))


def told_messages(place: Place) -> list[tuple[Any, ...]]:
    return place.look("SELECT keeper_id, channel, state FROM outbox")


def after_delivery(place: Place) -> Harm:
    place.work("deliver", later=LEASE_OVER)
    place.work("deliver", later=2 * LEASE_OVER)
    mails, texts = place.mails, place.texts
    fates = Counter(row[1:] for row in told_messages(place))
    unknown = fates["sms", "unknown"]
    assert set(fates) <= {("email", "sent"), ("sms", "sent"), ("sms", "unknown")}
    # One text may be of unknown fate, and says so; it went or it did not.
    lost = (5 - len(mails)) + max(0, 5 - len(texts) - unknown) + max(0, unknown - 1)
    repeated = sum(mails.values()) - len(mails)
    return Harm(lost, sum(texts.values()) - len(texts) + max(0, repeated - 1), min(repeated, 1))


def after_reports(place: Place) -> Harm:
    said = place.folder / "said"
    taken = {int(line) for line in said.read_text().split()} if said.exists() else set()
    kept = Counter(
        row[0]
        for row in place.look("SELECT lawn_id FROM event WHERE kind = 'mowing' AND reported_by = 'cli'")
    )
    anchored = {row[0] for row in place.look("SELECT lawn_id FROM lawn WHERE anchored_on = '2026-05-07'")}
    # A report and its lawn's new height are kept together or not at all.
    halves = len(set(kept) ^ anchored)
    return Harm(len(taken - set(kept)) + halves, sum(count - 1 for count in kept.values()))


def after_import(place: Place) -> Harm:
    half = place.look("SELECT count(*) FROM keeper WHERE key LIKE '%n%@example.com%'")[0][0]
    place.work("import")
    rows = place.look(
        "SELECT keeper.key FROM lawn JOIN keeper USING (keeper_id) WHERE keeper.email LIKE 'n%@example.com'"
    )
    keys = Counter(row[0] for row in rows)
    return Harm((30 - len(keys)) + (half not in (0, 30)), sum(count - 1 for count in keys.values()))


def after_migration(place: Place) -> Harm:
    place.work("migrate")
    counts = {name: len(rows) for name, rows in contents(place.url).items()}
    kept = [counts[name] for name in ("keeper", "lawn", "event", "outbox", "told", "stand_growth")]
    return Harm(sum(3 - count for count in kept if count < 3), sum(count - 3 for count in kept if count > 3))


def after_backup(place: Place) -> Harm:
    path = place.folder / "kept.backup"
    harm = Harm()
    if path.exists():
        harm.lost += not restores(place, path)
        path.unlink()
    place.work("backup")
    harm.lost += not restores(place, path)
    return harm


def restores(place: Place, path: Path) -> bool:
    """Whether a backup has all that its store has."""
    fresh = place.folder / f"{uuid.uuid4().hex}.db"
    place.victim.run(**place.job("restore") | {"url": f"sqlite:///{fresh}", "path": str(path)})
    there = {name: len(rows) for name, rows in contents(f"sqlite:///{fresh}").items()}
    return there == {name: len(rows) for name, rows in contents(place.url).items()}


def after_restore(place: Place) -> Harm:
    half = schema_version(place.url) is not None
    if not half:
        place.work("restore")
    lawns = place.look("SELECT count(*) FROM lawn")[0][0]
    return Harm(5 - lawns if lawns < 5 else 0, lawns - 5 if lawns > 5 else 0)


CHECKS: dict[str, Callable[[Place], Harm]] = {
    "night": after_night,
    "deliver": after_delivery,
    "report": after_reports,
    "import": after_import,
    "migrate": after_migration,
    "backup": after_backup,
    "restore": after_restore,
}
assert set(CHECKS) == set(WORK)


def town(folder: Path) -> tuple[Path, Path]:
    """A store before the evening's round, and one after it."""
    before, after = folder / "before.db", folder / "after.db"
    before.write_bytes(empty_store())
    store = SqlStore(f"sqlite:///{before}")
    rows, report = read_table(PEOPLE, TURF, now=MORNING)
    assert not report.problems
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=MORNING)
    run_night(store, Skies(), TURF, Messages("Turf Line"), POLICY, now=MORNING)
    store.close()
    after.write_bytes(before.read_bytes())
    store = SqlStore(f"sqlite:///{after}")
    run_night(store, Skies(), TURF, Messages("Turf Line"), POLICY, now=EVENING)
    store.close()
    return before, after


def old_store(url: str) -> str:
    """Make a store of an old version, with rows in all tables."""
    migrate(url, OLD)
    fill(url, OLD)
    return url


class Stores:
    """Copies of stores in one kind of database, for a work to be killed in."""

    def __init__(self, folder: Path, admin_url: str | None) -> None:
        self._folder, self._admin_url = folder, admin_url
        self._patterns: dict[str, str] = {}

    @property
    def kind(self) -> str:
        """Which database it is."""
        return "PostgreSQL" if self._admin_url else "SQLite"

    def copy(self, pattern: Path | None) -> str:
        """Return a copy's URL; of no pattern, an empty database's."""
        if self._admin_url is None:
            path = self._folder / f"{uuid.uuid4().hex}.db"
            if pattern is not None:
                path.write_bytes(pattern.read_bytes())
            return f"sqlite:///{path}"
        if pattern is None or pattern.name == OLD:
            # A restore would bring an old one up to date.
            url = self._database(None)
            return old_store(url) if pattern else url
        return self._database(self._pattern(pattern))

    def drop(self, url: str) -> None:
        if self._admin_url is not None:
            self._say(f"DROP DATABASE {sa.make_url(url).database} WITH (FORCE)")

    def close(self) -> None:
        for url in self._patterns.values():
            self.drop(url)

    def _pattern(self, path: Path) -> str:
        """A PostgreSQL store with the rows of a SQLite one."""
        if path.name not in self._patterns:
            url = self._database(None)
            kept = self._folder / f"{path.name}.backup"
            back_up(SqlCopies(f"sqlite:///{path}"), kept, at=MORNING)
            restore(SqlCopies(url), kept, at=MORNING, nothing_since=True, replace=False)
            self._patterns[path.name] = url
        return str(sa.make_url(self._patterns[path.name]).database)

    def _database(self, pattern: str | None) -> str:
        name = f"mowalert_{uuid.uuid4().hex[:12]}"
        self._say(f"CREATE DATABASE {name}" + (f" TEMPLATE {pattern}" if pattern else ""))
        assert self._admin_url is not None
        return sa.make_url(self._admin_url).set(database=name).render_as_string(hide_password=False)

    def _say(self, command: str) -> None:
        assert self._admin_url is not None
        engine = sa.create_engine(self._admin_url, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.exec_driver_sql(command)
        engine.dispose()


@pytest.fixture(scope="session")
def victim() -> Iterator[Victim]:
    victim = Victim()
    yield victim
    victim.close()


@pytest.fixture(scope="session")
def patterns(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path | None]:
    """The store each work begins with."""
    folder = tmp_path_factory.mktemp("patterns")
    before, after = town(folder)
    old_store(f"sqlite:///{folder / OLD}")
    return dict.fromkeys(WORK, before) | {"deliver": after, "migrate": folder / OLD, "restore": None}


@pytest.fixture(scope="session")
def stores_on(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[str], Stores]]:
    """Copies of stores in a kind of database, of which each is made ready once."""
    made: dict[str, Stores] = {}

    def ready(database: str) -> Stores:
        if database not in made:
            admin_url = request.getfixturevalue("postgres") if database == "postgresql" else None
            made[database] = Stores(tmp_path_factory.mktemp(database), admin_url)
        return made[database]

    yield ready
    for stores in made.values():
        stores.close()


@pytest.fixture(scope="session")
def whole() -> dict[str, dict[str, Any]]:
    """How many steps each work takes unharmed in each database, and how long; measured once."""
    return {}


@pytest.fixture(scope="session")
def inbox() -> Iterator[Mailbox]:
    with receiving() as mailbox:
        yield mailbox


@pytest.fixture
def place(
    tmp_path: Path, victim: Victim, inbox: Mailbox, server: WeatherServer, patterns: dict[str, Path | None]
) -> Place:
    inbox.mails.clear()
    server.says("/sms", b"taken")
    before = patterns["backup"]
    back_up(SqlCopies(f"sqlite:///{before}"), tmp_path / "to-restore.backup", at=MORNING)
    return Place("", tmp_path, victim, inbox, server)


def hurt_once(
    work: str,
    stores: Stores,
    place: Place,
    pattern: Path | None,
    kill: dict[str, Any],
    around: AbstractContextManager[object] | None = None,
) -> tuple[dict[str, Any], Harm]:
    """Do a work that is hurt as told, within what is broken around it; how it ended, and what that cost."""
    place.mailbox.mails.clear()
    place.gateway.asked.clear()
    for name in ("said", "kept.backup"):
        (place.folder / name).unlink(missing_ok=True)
    if work == "restore":
        (place.folder / "kept.backup").write_bytes((place.folder / "to-restore.backup").read_bytes())
    place.url = stores.copy(pattern)
    try:
        with around or nullcontext():
            ended = place.work(work, **kill)
        harm = CHECKS[work](place)
    finally:
        url = place.url
        stores.drop(url)
    assert kill or harm == Harm(), "without a kill there must be no harm"
    return ended, harm
