"""Whatever a weather service does, nobody is told anything from bad data, and all is well once it is well.

A town's evening round comes while its weather service is at fault in one, two or three ways. What is told
must be what a sound service would have let us say, or what is said without weather; and after the next sound
answer everything is as if nothing had been.
"""

import gzip
import json
from collections.abc import Callable, Iterator
from contextlib import suppress
from copy import deepcopy
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from math import cos, pi
from pathlib import Path
from random import Random
from typing import Any

import pytest
from budgets import DailyBudget
from builders import TURF
from faulty import FaultyServer, Reply, as_json
from ledger import note
from stores import contents, new_store

from mowalert.domain.notices import Digest, RenderedEmail
from mowalert.domain.words import Channel
from mowalert.service.lawns.enrol import enrol
from mowalert.service.nights.night import run_night
from mowalert.service.policy import Policy
from mowalert.service.reading.lawn_table import read_table
from mowalert.store.engine import SqlStore
from mowalert.weather.fallback import WeatherService
from mowalert.weather.http import Http
from mowalert.weather.open_meteo import OpenMeteo

THURSDAY = datetime(2026, 5, 7, 22, 5, tzinfo=UTC)
"""18:05 in New York: the round of weekend mowers has come."""
POLICY = Policy(frozenset(Channel), timedelta(hours=36))
TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm,watering,last_mown_on
Ann,homeowner,ann@example.org,42.0,-73.0,kentucky_bluegrass,65,regular,2026-04-30
Bob,homeowner,bob@example.org,42.4,-73.4,tall_fescue,85,none,2026-04-28
Coop,company,coop@example.org,42.0,-73.0,perennial_ryegrass,50,regular,2026-05-02
"""
PATIENT_S, HASTY_S = 20.0, 0.2
"""A busy machine's sound answers may take their time; a fault's silence is not waited out."""
PARTS = 2
"""Workers that may share the combinations."""
SAMPLE, MANY = 12, 1050
"""Combinations of the usual run, and of the long one."""
Body = Any
Fault = Callable[[Reply, Random], Reply]


class Words:
    """Says which lawns a digest is about, and what of them."""

    def email(self, digest: Digest) -> RenderedEmail:
        text = ", ".join(f"{one.lawn_id} {one.kind} {one.best_on}" for one in digest.notices)
        return RenderedEmail(digest.kind.value, text, f"<p>{text}</p>")

    def sms(self, digest: Digest) -> str:
        return digest.kind.value


def figures(on: date, hour: int) -> tuple[float, float]:
    """Temperature and rain of an hour in a mild and showery spring."""
    warm = 16.0 + 3.0 * cos(on.toordinal() * 1.7) - 7.0 * cos((hour - 3) * pi / 12)
    return round(warm, 1), 1.5 if on.toordinal() % 3 == 0 and 2 <= hour < 6 else 0.0


def place_of(latitude: float, longitude: float, first: date, days: int) -> Body:
    hours = [(first + timedelta(days=day), hour) for day in range(days) for hour in range(24)]
    told = [figures(on, hour) for on, hour in hours]
    return {
        "latitude": latitude,
        "longitude": longitude,
        "elevation": 120.0,
        "utc_offset_seconds": -18000,
        "hourly_units": {
            "temperature_2m": "°C", "relative_humidity_2m": "%", "dew_point_2m": "°C", "precipitation": "mm",
            "wind_speed_10m": "km/h", "shortwave_radiation": "W/m²",
        },
        "hourly": {
            "time": [f"{on}T{hour:02}:00" for on, hour in hours],
            "temperature_2m": [t_c for t_c, _ in told],
            "relative_humidity_2m": [65.0] * len(hours),
            "dew_point_2m": [7.0] * len(hours),
            "precipitation": [rain for _, rain in told],
            "wind_speed_10m": [8.0] * len(hours),
            "shortwave_radiation": [max(0.0, round(700 * -cos(hour * pi / 12))) for _, hour in hours],
        },
    }  # fmt: skip


def sound(path: str, now: datetime) -> Reply:
    """What a service in order answers."""
    query = dict(part.split("=", 1) for part in path.partition("?")[2].split("&"))
    latitudes, longitudes = (query[name].replace("%2C", ",").split(",") for name in ("latitude", "longitude"))
    today = (now - timedelta(hours=5)).date()
    if "start_date" in query:
        first, last = date.fromisoformat(query["start_date"]), date.fromisoformat(query["end_date"])
    else:
        first = today - timedelta(days=int(query["past_days"]))
        last = today + timedelta(days=int(query["forecast_days"]) - 1)
    places = zip(latitudes, longitudes, strict=True)
    told = [place_of(float(lat), float(lon), first, (last - first).days + 1) for lat, lon in places]
    return as_json(told if len(told) > 1 else told[0])


def changed(change: Callable[[Body, Random], None]) -> Fault:
    """A fault in what is told, not in how: every place's part is changed."""

    def fault(reply: Reply, random: Random) -> Reply:
        try:
            told = json.loads(reply.body)
        except (ValueError, RecursionError):
            return reply
        for place in told if isinstance(told, list) else [told]:
            if isinstance(place, dict) and isinstance(place.get("hourly"), dict):
                # A fault on top of another may find nothing left to spoil.
                with suppress(AttributeError, IndexError, KeyError, TypeError, ValueError):
                    change(place, random)
        return replace(reply, body=json.dumps(told).encode())

    return fault


def series(place: Body) -> Body:
    return place["hourly"]


def in_fahrenheit(place: Body, random: Random) -> None:
    for name in ("temperature_2m", "dew_point_2m"):
        series(place)[name] = [t if t is None else round(t * 9 / 5 + 32, 1) for t in series(place)[name]]


def labelled_fahrenheit(place: Body, random: Random) -> None:
    in_fahrenheit(place, random)
    place["hourly_units"] |= {"temperature_2m": "°F", "dew_point_2m": "°F"}


def unknown_unit(place: Body, random: Random) -> None:
    place["hourly_units"]["temperature_2m"] = random.choice(["°R", "", None, "mm", 7])


def a_day_again(place: Body, random: Random) -> None:
    """A day's hours come twice, the second time as the next day's."""
    start = 24 * random.randrange(3, 8)
    for name in series(place):
        row = series(place)[name]
        row[start + 24 : start + 24] = row[start : start + 24]
        del row[-24:]


def stuck(place: Body, random: Random) -> None:
    start = 24 * random.randrange(2, 6)
    for name in ("temperature_2m", "precipitation", "shortwave_radiation"):
        row = series(place)[name]
        row[start:] = [row[start]] * (len(row) - start)


ABSURD = (
    ("temperature_2m", 99.9),
    ("temperature_2m", -273.0),
    ("temperature_2m", 1e308),
    ("precipitation", -5.0),
    ("precipitation", 9e9),
)


def absurd(place: Body, random: Random) -> None:
    name, number = random.choice(ABSURD)
    row = series(place)[name]
    for index in range(24 * random.randrange(3, 8), len(row)):
        row[index] = number


def other_types(place: Body, random: Random) -> None:
    name = random.choice(list(series(place)))
    series(place)[name] = random.choice(
        [None, "none", 5, {}, [[1.0]], ["x"] * 24, [True] * len(series(place)["time"]), []]
    )


def emptied(place: Body, random: Random) -> None:
    row = series(place)["temperature_2m"]
    start = random.randrange(len(row))
    row[start:] = [None] * (len(row) - start)


def elsewhere(place: Body, random: Random) -> None:
    place["latitude"] = random.choice([0.0, -place["latitude"], None, "42", 200.0, place["latitude"] + 3])


def another_offset(place: Body, random: Random) -> None:
    place["utc_offset_seconds"] = random.choice([-18000.5, "x", None, 90_000, 10**12, [], True])


def no_hours(place: Body, random: Random) -> None:
    place["hourly"] = random.choice([None, [], "x", {"time": None}, {"time": ["yesterday"]}, {}])


def other_dates(place: Body, random: Random) -> None:
    shift = timedelta(days=random.choice([-365, -20, 20, 3650]))
    series(place)["time"] = [
        (datetime.fromisoformat(text) + shift).isoformat(timespec="minutes") for text in series(place)["time"]
    ]


def nested(reply: Reply, random: Random) -> Reply:
    return replace(reply, body=b"[" * 100_000 + b"]" * 100_000)


def status(reply: Reply, random: Random) -> Reply:
    code = random.choice([304, 400, 401, 403, 404, 418, 429, 500, 502, 503, 504])
    wait = random.choice(["3600", "-1", "soon", "Wed, 21 Oct 2099 07:28:00 GMT"])
    body = random.choice([b"", b'{"error": true, "reason": "no"}', b"<html>", b"null", reply.body])
    return replace(reply, status=code, headers={"Retry-After": wait}, body=body)


def page(reply: Reply, random: Random) -> Reply:
    return replace(
        reply, body=b"<!doctype html><title>Sign in</title>", headers={"Content-Type": "text/html"}
    )


def elsewhere_sent(reply: Reply, random: Random) -> Reply:
    target = random.choice(
        ["http://127.0.0.2:9/x", "https://example.org/", "file:///etc/passwd", "//", "http://["]
    )
    return replace(reply, status=random.choice([301, 302, 307, 308]), headers={"Location": target}, body=b"")


def huge(reply: Reply, random: Random) -> Reply:
    bomb = gzip.compress(b" " * 5_000_000 + reply.body)
    return replace(reply, body=bomb, headers={"Content-Encoding": "gzip"})


def cut_packed(reply: Reply, random: Random) -> Reply:
    whole = gzip.compress(reply.body)
    return replace(
        reply, body=whole[: random.randrange(10, len(whole))], headers={"Content-Encoding": "gzip"}
    )


def skewed(reply: Reply, random: Random) -> Reply:
    expires = random.choice(["Wed, 21 Oct 2099 07:28:00 GMT", "Thu, 01 Jan 1970 00:00:00 GMT", "0", "never"])
    return replace(reply, headers={**reply.headers, "Expires": expires, "Cache-Control": "max-age=99999999"})


FAULTS: dict[str, Fault] = {
    "silence": lambda reply, random: replace(reply, silent_s=0.3),
    "slow drip": lambda reply, random: replace(reply, drips=True),
    "reset": lambda reply, random: replace(reply, cut=random.randrange(2000), resets=True),
    "cut short": lambda reply, random: replace(reply, cut=random.randrange(2000)),
    "nothing": lambda reply, random: replace(reply, raw=b""),
    "garbage": lambda reply, random: replace(reply, raw=random.randbytes(300)),
    "truncated gzip": cut_packed,
    "huge body": huge,
    "deep nesting": nested,
    "HTML with 200": page,
    "status and Retry-After": status,
    "redirect elsewhere": elsewhere_sent,
    "skewed Expires": skewed,
    "°F taken for °C": changed(in_fahrenheit),
    "°F, and says so": changed(labelled_fahrenheit),
    "unknown unit": changed(unknown_unit),
    "a day repeated": changed(a_day_again),
    "a sensor stuck": changed(stuck),
    "absurd figures": changed(absurd),
    "wrong types": changed(other_types),
    "gaps": changed(emptied),
    "another place": changed(elsewhere),
    "another offset": changed(another_offset),
    "no hours": changed(no_hours),
    "other dates": changed(other_dates),
}
HARMLESS = {"°F, and says so", "skewed Expires"}
"""What a careful reader understands all the same."""


class Town:
    """Three keepers, a store and a weather service that can be at fault."""

    def __init__(self, server: FaultyServer, store: SqlStore) -> None:
        self.server, self.store = server, store

    def _sources(self, patience_s: float) -> WeatherService:
        http = Http(contact="", timeout_s=patience_s, tries=2, backoff_s=0.0, within_s=1.5 * patience_s)
        http.most = 3_000_000
        client = OpenMeteo(http, url=self.server.url, archive_url=f"{self.server.url}/v1/archive")
        return WeatherService([client], DailyBudget({}))

    def night(
        self, now: datetime, reply: Callable[[str], Reply], *, patience_s: float = PATIENT_S
    ) -> set[tuple[Any, ...]]:
        """Run a night; what was told in it."""
        self.server.reply = reply
        sources = self._sources(patience_s)
        report = run_night(self.store, sources, TURF, Words(), POLICY, now=now)
        return {(one.lawn_id, one.kind, one.facts["best_on"], one.on) for one in report.tell.told}

    def standing(self) -> dict[str, Any]:
        """Where curves and lawns stand."""
        kept = contents(self.store.url)
        return {"stands": kept["stand_growth"], "lawns": kept["lawn"], "outbox": len(kept["outbox"])}


@pytest.fixture(scope="module")
def server() -> Iterator[FaultyServer]:
    with FaultyServer(lambda path: Reply()).running() as running:
        yield running


@pytest.fixture(scope="module")
def morning_before(server: FaultyServer, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The town's store on Thursday morning, with everything in order."""
    path = tmp_path_factory.mktemp("before") / "town.db"
    store = new_store(path)
    now = THURSDAY - timedelta(hours=12)
    rows, report = read_table(TABLE, TURF, now=now)
    assert report.problems == []
    enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=now)
    Town(server, store).night(now, lambda path: sound(path, now))
    store.close()
    return path.read_bytes()


def town_of(server: FaultyServer, folder: Path, kept: bytes) -> Town:
    path = folder / "town.db"
    for old in folder.glob("town.db*"):
        old.unlink()
    path.write_bytes(kept)
    return Town(server, SqlStore(f"sqlite:///{path}"))


def down(path: str) -> Reply:
    return Reply(b"{}", status=503)


Town2 = tuple[set[tuple[Any, ...]], dict[str, Any]]


def played(town: Town, reply: Callable[[str], Reply], *, patience_s: float = PATIENT_S) -> Town2:
    """An evening with a service that answers so, and a morning with one in order."""
    morning = THURSDAY + timedelta(hours=11)
    try:
        told = town.night(THURSDAY, reply, patience_s=patience_s)
        told_after = town.night(morning, lambda path: sound(path, morning))
        return told | told_after, town.standing()
    finally:
        town.store.close()


@pytest.mark.parametrize("part", range(PARTS))
def test_nobody_is_told_anything_from_bad_weather(
    server: FaultyServer, morning_before: bytes, tmp_path: Path, hard: bool, part: int
) -> None:
    well, standing = played(town_of(server, tmp_path, morning_before), lambda path: sound(path, THURSDAY))
    without, _ = played(town_of(server, tmp_path, morning_before), down)
    assert any(kind == "mow" for _, kind, *_ in well), "there must be something to get wrong"
    wrong: list[Any] = []
    for seed in range(part, MANY if hard else SAMPLE, PARTS):
        random = Random(seed)
        names = [sorted(FAULTS)[seed % len(FAULTS)], *random.sample(sorted(FAULTS), random.randrange(3))]

        def at_fault(path: str, names: list[str] = names, random: Random = random) -> Reply:
            reply = deepcopy(sound(path, THURSDAY))
            for name in names:
                reply = FAULTS[name](reply, random)
            return reply

        harmless = set(names) <= HARMLESS
        town = town_of(server, tmp_path, morning_before)
        told, after = played(town, at_fault, patience_s=PATIENT_S if harmless else HASTY_S)
        may_be = (well,) if harmless else (well, without)
        survived = told in may_be and after == standing
        lost, doubled = len(standing["lawns"]) - len(after["lawns"]), after["outbox"] - standing["outbox"]
        note(f"weather: {names[0]}", 1, int(survived), max(0, lost), max(0, doubled))
        if not survived:
            wrong.append((seed, names, told - well))
    assert wrong == []
