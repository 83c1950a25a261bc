"""Plays a season of the invented town through the real service: nights, digests, deliveries, reports."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random

from mowalert.channels.email import FileTransport
from mowalert.channels.messages import Messages
from mowalert.channels.sms import FileSms
from mowalert.channels.wording import wording_in
from mowalert.demo.town import (
    COMPANY,
    GUIDE,
    LATITUDE_DEG,
    LONGITUDE_DEG,
    PEOPLE,
    TOWN,
    ZONE,
    lawns_csv,
)
from mowalert.demo.weather import InventedWeather
from mowalert.demo.work import CUTS, crews_work
from mowalert.domain.crews import Position
from mowalert.domain.grasses import Turf
from mowalert.domain.notices import Notice
from mowalert.domain.words import Channel, HoldReason, NoticeKind, Units
from mowalert.links import Links
from mowalert.parameters import load_turf
from mowalert.service.crews.crew_setup import keep_contact, keep_crew
from mowalert.service.crews.handing_out import Office
from mowalert.service.crews.morning import Dispatch
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.ports import Transport
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.records import KeeperRecord, ToldRecord
from mowalert.service.region.guides import guides_now, keep_guide
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.service.telling.remembering import FACTS
from mowalert.settings import config_file
from mowalert.store.engine import SqlStore
from mowalert.store.upgrade import upgrade
from mowalert.wiring import plans_days

YEAR, SEED = 2026, 11
FIRST, LAST = date(YEAR, 4, 1), date(YEAR, 11, 30)
MORNING, EVENING = time(5, 35), time(18, 5)
NIGHT_POLICY = Policy(frozenset({Channel.EMAIL, Channel.SMS}), timedelta(hours=36), "example.org")


@dataclass(frozen=True, slots=True)
class Spell:
    """A part of the season worth looking at."""

    name: str
    first: date
    last: date
    kinds: frozenset[NoticeKind]
    reason: HoldReason | None = None


HOLDS = frozenset({NoticeKind.HOLD})
SPELLS = (
    Spell("a spring week", date(YEAR, 5, 4), date(YEAR, 5, 10), CUTS),
    Spell("heat and drought", date(YEAR, 7, 1), date(YEAR, 8, 17), HOLDS),
    Spell("release", date(YEAR, 8, 18), date(YEAR, 9, 10), frozenset({NoticeKind.RELEASE})),
    Spell("autumn stop", date(YEAR, 10, 15), date(YEAR, 11, 30), HOLDS, HoldReason.COLD),
)


@dataclass(frozen=True, slots=True)
class Told:
    """One line of the demo's table."""

    spell: str
    on: date
    who: str
    lawn: str
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class Season:
    """What a demo left behind: what was told, how often by kind, and where the messages are."""

    told: tuple[Told, ...]
    by_kind: Mapping[str, int]
    lawns: int
    cuts_reported: int
    mails: int
    texts: int
    folder: Path


def play_season(folder: Path, *, progress: Callable[[int, int], None]) -> Season:
    """Play the season into a folder.

    Parameters
    ----------
    folder : Path
        Store and messages are written here; what an earlier demo left is replaced.
    progress : Callable[[int, int], None]
        Told days done and days in all.

    Returns
    -------
    Season
        What happened.
    """
    _clear(folder)
    store = _open(folder / "demo.db")
    turf = load_turf(config_file("grasses.toml"))
    weather = InventedWeather(YEAR, seed=SEED, latitude_deg=LATITUDE_DEG)
    words = Messages(f"{TOWN} Lawns", contact="turf@example.org")
    transports = _transports(folder)
    _enrol_town(store, turf, now=_moment(FIRST, MORNING))
    office = _office(store, now=_moment(FIRST, MORNING)) if plans_days() else None
    policy = replace(NIGHT_POLICY, plans_days=office is not None)
    everything: list[ToldRecord] = []
    cuts = 0
    random = Random(SEED)  # noqa: S311 - a seeded play
    days = (LAST - FIRST).days + 1
    for index in range(days):
        on = FIRST + timedelta(days=index)
        for now in _ticks(on):
            night = run_night(store, weather, turf, words, policy, now=now, office=office)
            everything += night.tell.told
            deliver(store, transports, turf, NIGHT_POLICY, SmsPolicy(), now=now + timedelta(minutes=5))
            if now == _moment(on, MORNING):
                cuts += crews_work(store, turf, night.tell.told, random, now=now)
        progress(index + 1, days)
    return _season(store, everything, cuts, folder)


def _enrol_town(store: SqlStore, turf: Turf, *, now: datetime) -> None:
    guide = config_file("guides") / f"{GUIDE}.toml"
    keep_guide(store, turf, guide.read_text(encoding="utf-8"), name=guide.name, now=now)
    with store.begin() as work:
        guides = guides_now(work, turf)
    rows, report = read_table(lawns_csv(), turf, now=now, guides=guides)
    enrol(store, turf, rows, report, source="demo", cell_degrees=0.1, now=now)


def _office(store: SqlStore, *, now: datetime) -> Office:
    """Give the company crews and people, and what their days are planned with."""
    from mowalert.channels.crew_sheets import CrewSheets
    from mowalert.planning.routes import SolvedRoutes

    depot = Position(LATITUDE_DEG, LONGITUDE_DEG)
    for name in ("Red crew", "Blue crew"):
        keep_crew(store, COMPANY, name, depot=depot, weekdays=31, from_min=7 * 60, to_min=15 * 60)
    for person in PEOPLE:
        keep_contact(store, COMPANY, person, now=now)
    return Office(Dispatch(SolvedRoutes()), CrewSheets(f"{TOWN} Lawns"), Links("", "demo"))


def _clear(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for old in [*folder.glob("demo.db*"), *folder.glob("mail/*.eml"), *folder.glob("sms/*.txt")]:
        old.unlink()


def _open(path: Path) -> SqlStore:
    url = f"sqlite:///{path}"
    upgrade(url)
    return SqlStore(url)


def _transports(folder: Path) -> dict[Channel, Transport]:
    return {
        Channel.EMAIL: FileTransport(folder / "mail", sender=f"{TOWN} Lawns <turf@example.org>"),
        Channel.SMS: FileSms(folder / "sms"),
    }


def _ticks(on: date) -> Iterator[datetime]:
    yield _moment(on, MORNING)
    if on.weekday() == 3:
        yield _moment(on, EVENING)


def _moment(on: date, at: time) -> datetime:
    return datetime.combine(on, at, ZONE).astimezone(UTC)


def _season(store: SqlStore, everything: list[ToldRecord], cuts: int, folder: Path) -> Season:
    with store.begin() as work:
        lawns, keepers = work.lawns.counts()["lawn"], {one.keeper_id: one for one in work.keepers.all()}
    store.close()
    kinds = [record.kind for record in everything]
    return Season(
        told=tuple(_lines(everything, keepers)),
        by_kind={kind.value: kinds.count(kind) for kind in NoticeKind if kinds.count(kind)},
        lawns=lawns,
        cuts_reported=cuts,
        mails=len(list((folder / "mail").glob("*.eml"))),
        texts=len(list((folder / "sms").glob("*.txt"))),
        folder=folder,
    )


def _lines(told: list[ToldRecord], keepers: Mapping[int, KeeperRecord]) -> Iterator[Told]:
    for spell in SPELLS:
        for record in told:
            in_it = spell.first <= record.on <= spell.last and record.kind in spell.kinds
            if in_it and spell.reason in (None, record.reason):
                yield _line(spell, record, keepers[record.keeper_id])


def _line(spell: Spell, record: ToldRecord, keeper: KeeperRecord) -> Told:
    said = FACTS.validate_python(record.facts)
    place = f"{said.site_name}, {said.lawn_name}" if said.lawn_name != "lawn" else said.site_name
    return Told(spell.name, record.on, keeper.name, f"{place} ({said.grass_name})", _what(said), _why(said))


def _what(said: Notice) -> str:
    if said.best_on is not None and said.cut_to_mm is not None and said.kind in CUTS:
        return f"cut {_day(said.best_on)} to {said.cut_to_mm:.0f} mm"
    return f"{said.reason} hold {'starts' if said.kind is NoticeKind.HOLD else 'ends'}"


def _why(said: Notice) -> str:
    if said.holds:
        return wording_in("en").hold_reason(said.holds[0], Units.METRIC)
    limit = f"limit {_day(said.limit_on)}" if said.limit_on else "limit beyond ten days"
    return f"{said.height_mm:.0f} mm tall, kept at {said.chosen_height_mm:.0f}, {limit}"


def _day(on: date) -> str:
    return f"{on:%a} {on.day} {on:%b}"
