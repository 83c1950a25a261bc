"""The whole chain through the command line, on recorded weather, with a real SMTP server."""

import json
import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from mail_server import Mailbox, receiving
from weather_server import WeatherServer

from mowalert.channels.gsm import sms_size

ALBANY = """keeper,kind,email,phone,latitude,longitude,site,lawn,grass,height_mm,last_mown_on,last_height_mm
Ann Example,homeowner,ann@example.org,5555550101,42.745,-73.752,Home,front,kentucky_bluegrass,65,2026-07-08,65
Ann Example,homeowner,ann@example.org,5555550101,42.745,-73.752,Home,back,tall_fescue,90,2026-07-07,90
Bob Example,homeowner,bob@example.org,,42.745,-73.752,Home,lawn,fine_fescue,90,2026-07-15,90
"""
CREW = """keeper,kind,email,latitude,longitude,site,grass,height_mm,last_mown_on
Corner Crew,company,crew@example.com,42.745,-73.752,1 Elm Yard,perennial_ryegrass,50,2026-07-06
Corner Crew,company,crew@example.com,42.745,-73.752,2 Elm Yard,perennial_ryegrass,50,2026-07-15
"""
PARKS = """keeper,kind,email,latitude,longitude,site,grass,height_mm,turf_class,mowing_days
River Parks,parks,parks@example.org,-27.5,153.0,River Oval,bermudagrass,25,sports,mon tue wed thu fri sat sun
River Parks,parks,parks@example.org,-27.5,153.0,Hill Green,zoysiagrass,40,lawn,mon tue wed thu fri sat sun
"""
THURSDAY = "2026-07-16T22:05Z"
FRIDAY = "2026-07-17T22:05Z"


@dataclass
class Program:
    """Runs commands as a user would."""

    folder: Path
    environment: dict[str, str]

    def __call__(self, *words: str, expect: int = 0) -> str:
        ran = subprocess.run(
            [sys.executable, "-m", "mowalert", *words],
            capture_output=True,
            text=True,
            cwd=self.folder,
            env=self.environment,
            check=False,
            timeout=120,
        )
        assert ran.returncode == expect, ran.stdout + ran.stderr
        assert "Traceback" not in ran.stderr
        return ran.stdout + ran.stderr

    def json(self, *words: str) -> Any:
        return json.loads(self(*words, "--json"))

    def enrol(self, table: str, at: str) -> str:
        (self.folder / "lawns.csv").write_text(table)
        return self("lawns", "import", "lawns.csv", "--at", at)


@pytest.fixture
def inbox() -> Iterator[Mailbox]:
    with receiving() as mailbox:
        yield mailbox


@pytest.fixture
def program(tmp_path: Path, store_url: str, server: WeatherServer, inbox: Mailbox) -> Program:
    environment = {name: text for name, text in os.environ.items() if not name.startswith("MOWALERT_")}
    environment |= inbox.settings | {
        "MOWALERT_STORE__URL": store_url,
        "MOWALERT_SERVICE__DATA_DIR": str(tmp_path / "var"),
        "MOWALERT_SERVICE__BASE_URL": "https://lawns.example.org",
        "MOWALERT_WEATHER__OPEN_METEO__URL": server.url,
        "MOWALERT_WEATHER__OPEN_METEO__ARCHIVE_URL": server.url,
        "MOWALERT_WEATHER__NWS__URL": server.url,
        "MOWALERT_WEATHER__MET_NORWAY__URL": server.url,
        "MOWALERT_WEATHER__CONTACT": "operator@example.org",
        "MOWALERT_SMS__TRANSPORT": "file",
    }
    return Program(tmp_path, environment)


@pytest.fixture
def albany(server: WeatherServer, payloads: Path) -> None:
    """Open-Meteo is over its limit; the National Weather Service answers."""
    server.says("/v1/", (payloads / "open_meteo/error_429_daily_limit.json").read_bytes(), 429)
    server.says("/points/", (payloads / "nws/points_albany_ny.json").read_bytes())
    server.says("/gridpoints/", (payloads / "nws/gridpoint_raw_albany_summer.json").read_bytes())


@pytest.mark.usefixtures("albany")
def test_a_weekend_notice_reaches_whom_it_concerns_and_a_cut_starts_the_lawn_again(
    program: Program, inbox: Mailbox, server: WeatherServer
) -> None:
    received = inbox
    assert "3 added" in program.enrol(ALBANY, "2026-07-16T12:00Z")
    night = program.json("night", "--at", THURSDAY)
    assert night["tell"]["digests"] == 1
    assert "1 sent" not in program("deliver", "--at", "2026-07-16T22:06Z")
    # One digest for Ann's two lawns, none for Bob whose lawn is not due.
    assert [str(mail["To"]) for mail in received.mails] == ["ann@example.org"]
    mail = received.mails[0]
    assert "front" in received.text()
    assert "back" in received.text()
    assert "National Weather Service" in received.text()
    assert len(str(mail["Subject"])) <= 60
    assert str(mail["List-Unsubscribe"]).startswith("<https://lawns.example.org/")
    assert str(mail["List-Unsubscribe-Post"]) == "List-Unsubscribe=One-Click"
    texts = sorted((program.folder / "var" / "sms").glob("*.txt"))
    assert len(texts) == 1
    assert sms_size(texts[0].read_text().split("\n", 1)[1].strip()).parts == 1
    assert any("operator@example.org" in agent for agent in server.agents)

    # The same night again, and another delivery: nothing twice.
    program("night", "--at", THURSDAY)
    program("deliver", "--at", "2026-07-16T22:10Z")
    assert len(received.mails) == 1

    told = program("mowed", "1", "65", "--at", FRIDAY)
    assert "cut to 65 mm on 2026-07-17" in told
    program("night", "--at", FRIDAY)
    outlook = program.json("outlook", "1", "--at", FRIDAY)
    assert outlook["days"][0]["height_mm"] == pytest.approx(65.0, abs=0.01)
    program("mowed", "1", "--undo", "--at", FRIDAY)
    back = program.json("outlook", "1", "--at", FRIDAY)
    assert back["days"][0]["height_mm"] > 90


@pytest.mark.usefixtures("albany")
def test_silence_counts_as_a_cut_the_day_after_the_advised_day(program: Program) -> None:
    program.enrol(ALBANY, "2026-07-16T12:00Z")
    night = program.json("night", "--at", THURSDAY)
    advised = next(record["facts"] for record in night["tell"]["told"] if record["lawn_id"] == 1)
    assert advised["best_on"] in ("2026-07-18", "2026-07-19")
    monday = program.json("night", "--at", "2026-07-20T14:00Z")
    assert monday["assumed"] == 2
    lawn = program.json("lawns", "show", "1")[0]
    assert lawn["assumed"] is True
    assert lawn["last_mown_on"] == advised["best_on"]


@pytest.mark.usefixtures("albany")
def test_a_company_gets_its_morning_list_and_silence_is_no_cut(program: Program, inbox: Mailbox) -> None:
    program.enrol(CREW, "2026-07-15T12:00Z")
    program("night", "--at", "2026-07-16T09:35Z")
    program("deliver", "--at", "2026-07-16T09:36Z")
    received = inbox
    assert len(received.mails) == 1
    assert "1 must be cut today" in str(received.mails[0]["Subject"])
    assert "1 Elm Yard" in received.text()
    assert "2 Elm Yard" not in received.text()
    program("night", "--at", "2026-07-17T09:35Z")
    program("deliver", "--at", "2026-07-17T09:36Z")
    assert len(received.mails) == 2


def test_parks_hear_once_of_a_hold_and_once_of_its_end(
    program: Program, inbox: Mailbox, server: WeatherServer, payloads: Path
) -> None:
    server.says("/v1/", b"<html>down for maintenance</html>", 200)
    server.says("/points/", (payloads / "nws/problem_404_invalid_point.json").read_bytes(), 404)
    body = (payloads / "met_norway/locationforecast_compact_brisbane.json").read_bytes()
    server.says("/weatherapi/", body)
    program.enrol(PARKS, "2025-10-30T00:00Z")
    received = inbox
    kinds = []
    # 05:35 local on six mornings, each night run twice.
    for day in ("2025-10-29", "2025-10-30", "2025-10-31", "2025-11-01", "2025-11-02", "2025-11-03"):
        at = f"{day}T19:35Z"
        night = program.json("night", "--at", at)
        again = program.json("night", "--at", at)
        assert again["tell"]["digests"] == 0
        kinds += [(record["kind"], record["lawn_id"]) for record in night["tell"]["told"]]
        program("deliver", "--at", at)
    for lawn_id in (1, 2):
        assert kinds.count(("hold", lawn_id)) == 1
        assert kinds.count(("release", lawn_id)) == 1
    holds = [mail for mail in received.mails if "hold starts" in str(mail["Subject"]).casefold()]
    ends = [mail for mail in received.mails if "hold ends" in str(mail["Subject"]).casefold()]
    assert len(holds) == len(ends) == 1
    body_text = holds[0].get_body(("plain",))
    assert body_text is not None
    told = body_text.get_content()
    assert "River Oval" in told
    assert "Hill Green" in told
    assert "MET Norway" in told


@pytest.mark.usefixtures("albany")
def test_without_any_weather_people_with_something_due_hear_so_once(
    program: Program, inbox: Mailbox, server: WeatherServer
) -> None:
    program.environment["MOWALERT_WEATHER__MAX_AGE_H"] = "12"
    program.enrol(ALBANY, "2026-07-15T20:00Z")
    program("night", "--at", "2026-07-15T20:00Z")
    server.answers.clear()
    night = program.json("night", "--at", THURSDAY)
    assert [record["kind"] for record in night["tell"]["told"]] == ["no_weather", "no_weather"]
    again = program.json("night", "--at", "2026-07-17T10:05Z")
    assert again["tell"]["digests"] == 0
    program("deliver", "--at", "2026-07-16T22:30Z")
    received = inbox
    assert [str(mail["To"]) for mail in received.mails] == ["ann@example.org"]
    assert "could not get fresh weather" in received.text()
    assert "Mow:" not in received.text()


@pytest.mark.usefixtures("albany")
def test_advice_follows_when_the_weather_is_back_in_time(
    program: Program, inbox: Mailbox, server: WeatherServer
) -> None:
    program.environment["MOWALERT_WEATHER__MAX_AGE_H"] = "12"
    program.enrol(ALBANY, "2026-07-15T20:00Z")
    program("night", "--at", "2026-07-15T20:00Z")
    working = dict(server.answers)
    server.answers.clear()
    program("night", "--at", THURSDAY)
    server.answers.update(working)
    program("night", "--at", "2026-07-17T01:05Z")
    program("deliver", "--at", "2026-07-17T01:06Z")
    subjects = [str(mail["Subject"]) for mail in inbox.to("ann@example.org")]
    assert subjects[0].startswith("No fresh weather")
    assert len(subjects) == 2
    assert "Sunday" in subjects[1] or "Saturday" in subjects[1]
