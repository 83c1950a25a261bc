"""A disk that is full, lets nobody write, or loses its power: a reason is given, nothing lost or doubled."""

from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from builders import TURF
from hard.disks import Image, full, read_only, small_disk
from hard.ledger import note
from hard.victim import POLICY
from hard.victims import EVENING, Harm, Place, Stores, hurt_once
from weather_server import WeatherServer

from mowalert.channels.email import FileTransport
from mowalert.channels.sms import FileSms
from mowalert.domain.words import Channel
from mowalert.errors import SourceError
from mowalert.service.sending.deliver import DeliveryReport, SmsPolicy, deliver
from mowalert.store.engine import SqlStore
from mowalert.weather.http import Http

SHORT = ("deliver",)
IN_A_STORE = ("deliver", "import", "migrate", "night", "report", "restore")
FAULTS: dict[str, Callable[[Path], AbstractContextManager[None]]] = {
    "disk full": full,
    "disk read-only": read_only,
}
POWER_CUTS = 8
"""In each work."""


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_files_that_cannot_be_written_are_written_once_they_can(
    fault: str, patterns: dict[str, Path | None], server: WeatherServer, tmp_path: Path
) -> None:
    store = SqlStore(Stores(tmp_path, None).copy(patterns["deliver"]))
    server.says("/", {})
    with small_disk(tmp_path / "var") as disk:
        mails, texts = FileTransport(disk / "mail", sender="lawns@example.org"), FileSms(disk / "sms")
        http = Http(contact="", cache=disk / "weather-cache.db")

        def send(now: datetime) -> DeliveryReport:
            ways = {Channel.EMAIL: mails, Channel.SMS: texts}
            return deliver(store, ways, TURF, POLICY, SmsPolicy(), now=now)

        with FAULTS[fault](disk):
            first = send(EVENING)
            with pytest.raises(SourceError, match="the cache cannot be used: "):
                http.get_json("nws", server.url)
        left = [path for path in disk.rglob("*") if path.is_file() and path.parent != disk]
        second = send(EVENING + timedelta(minutes=5))
        written = Counter(path.parent.name for path in disk.rglob("*.*") if path.parent != disk)
        note(f"{fault}, folders", 10, second.sent, 10 - second.sent, 0)
        assert http.get_json("nws", server.url) == (200, {})
    store.close()
    # After some mails that could not go to a domain the next wait their turn.
    assert (first.retried + first.deferred, first.failed, first.unknown) == (10, 0, 0)
    assert "mail: cannot be written: " in first.errors[0]
    assert left == []
    assert written == {"mail": 5, "sms": 5}


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_a_store_that_cannot_be_written_gives_a_reason_and_goes_on_once_it_can(
    fault: str, place: Place, patterns: dict[str, Path | None], tmp_path: Path, hard: bool
) -> None:
    with small_disk(tmp_path / "disk") as disk:
        for work in IN_A_STORE if hard else SHORT:
            ended, harm = hurt_once(
                work, Stores(disk, None), place, patterns[work], {"may_fail": True}, FAULTS[fault](disk)
            )
            note(f"{fault}, {work}", 1, harm == Harm(), harm.lost, harm.doubled)
            assert ended.get("error", "").startswith("StoreError: "), (work, ended)
            assert "\n" not in ended["error"]
            assert harm == Harm(), work


def test_a_power_cut_takes_back_nothing_that_was_done(
    place: Place, patterns: dict[str, Path | None], tmp_path: Path, hard: bool
) -> None:
    random = Random(5)
    for work in IN_A_STORE if hard else SHORT:
        unharmed, _ = hurt_once(work, Stores(tmp_path, None), place, patterns[work], {})
        for run in range(POWER_CUTS if hard else 1):
            folder = tmp_path / f"{work}{run}"
            folder.mkdir()
            with Image(folder).running() as disk:
                late = random.randint(unharmed["steps"] // 2, unharmed["steps"] * 9 // 10)
                cut = {"at_step": late, **disk.power_cut}
                ended, harm = hurt_once(
                    work, Stores(disk.folder, None), place, patterns[work], cut, disk.under_power()
                )
            note(f"power cut, {work}", 1, not (harm.lost or harm.doubled), harm.lost, harm.doubled)
            assert ended["exit"] == -9
            assert (harm.lost, harm.doubled) == (0, 0), work
