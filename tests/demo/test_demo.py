"""The demo: a season of an invented town, without a network."""

import email
import socket
from email.policy import default
from pathlib import Path
from typing import Any

import pytest

from mowalert.channels.gsm import sms_size
from mowalert.demo.play import Season, play_season
from mowalert.domain.words import KeeperKind
from mowalert.store.engine import SqlStore


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def season(folder: Path) -> Season:
    patch = pytest.MonkeyPatch()

    def no_network(*args: Any, **kwargs: Any) -> None:
        raise AssertionError("the demo asked the network")

    patch.setattr(socket.socket, "connect", no_network)
    try:
        return play_season(folder, progress=lambda done, total: None)
    finally:
        patch.undo()


def test_a_household_a_company_and_a_parks_department_have_forty_lawns_of_six_grasses(
    season: Season, folder: Path
) -> None:
    store = SqlStore(f"sqlite:///{folder / 'demo.db'}")
    with store.begin() as work:
        kinds = {keeper.kind for keeper in work.keepers.all()}
        lawns = work.lawns.get(work.lawns.all_ids())
    store.close()
    assert kinds == set(KeeperKind)
    assert len(lawns) == season.lawns >= 40
    assert len({lawn.grass for lawn in lawns}) >= 6


def test_every_message_is_a_file_that_can_be_read(season: Season, folder: Path) -> None:
    mails, texts = list((folder / "mail").glob("*.eml")), list((folder / "sms").glob("*.txt"))
    assert (len(mails), len(texts)) == (season.mails, season.texts)
    assert season.mails > 50
    assert season.texts > 5
    for path in mails[:20]:
        mail = email.message_from_bytes(path.read_bytes(), policy=default)
        assert str(mail["To"]).endswith(("example.org", "example.com"))
        assert not mail.defects
    assert all(sms_size(path.read_text().splitlines()[1]).parts == 1 for path in texts)


def test_the_season_has_a_spring_a_dry_spell_a_release_and_an_autumn_stop(season: Season) -> None:
    spells = {line.spell for line in season.told}
    assert {"heat and drought", "release", "autumn stop"} <= spells
    told = {line.what for line in season.told}
    for words in ("cut ", "drought hold starts", "hold ends", "cold hold starts"):
        assert any(words in line for line in told), words
    assert all(line.why for line in season.told)


def test_the_owner_hears_each_week_what_the_crews_did(season: Season, folder: Path) -> None:
    weeks = [
        mail for mail in mails_to(folder, "owner@example.com") if str(mail["Subject"]).startswith("Week:")
    ]
    done = [int(str(mail["Subject"]).split()[1]) for mail in weeks]
    assert len(weeks) > 30
    assert sum(done) > 200
    assert any("Skipped" in mail.get_body(("plain",)).get_content() for mail in weeks)


def mails_to(folder: Path, address: str) -> list[Any]:
    mails = (
        email.message_from_bytes(path.read_bytes(), policy=default)
        for path in sorted((folder / "mail").glob("*.eml"))
    )
    return [mail for mail in mails if mail["To"] == address]
