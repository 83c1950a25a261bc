"""Each of these breaks the program on purpose, and the test that guards it must notice."""

from collections.abc import Callable
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Any

import pytest
import test_mail_faults
import test_strangers
import test_time
from stores import new_store

from mowalert.channels import email
from mowalert.channels.smtp import RefusedError
from mowalert.cli import lawns
from mowalert.domain import rounds
from mowalert.errors import DeliveryError
from mowalert.service.keepers import joining

Check = Callable[[Path], None]


@pytest.fixture(autouse=True)
def _no_ledger(monkeypatch: pytest.MonkeyPatch) -> None:
    for module in (test_mail_faults, test_strangers, test_time):
        monkeypatch.setattr(module, "note", lambda *told: None)


def with_store(check: Callable[[Any], None]) -> Check:
    return lambda folder: check(new_store(folder / "store.db"))


def blamed(refusal: RefusedError) -> DeliveryError:
    return DeliveryError("no", permanent=refusal.code >= 500, channel="email", code=str(refusal.code))


def without_zone(table: rounds.Timetable, on: Any) -> datetime:
    at = time(table.minute_of_day // 60, table.minute_of_day % 60)
    return datetime.combine(on, at, UTC)


BREAKS: dict[str, tuple[Any, str, Any, Check]] = {
    "a phone beside a mailbox is not counted": (
        joining,
        "_may_text",
        lambda *told, **named: True,
        with_store(test_strangers.test_many_mailboxes_cannot_flood_one_phone),
    ),
    "a stop holds for one name only": (
        joining,
        "_may_text",
        lambda *told, **named: True,
        with_store(test_strangers.test_a_phone_that_said_stop_is_texted_in_nobodys_name),
    ),
    "each name of a mailbox is one": (
        joining,
        "_mailbox",
        str,
        with_store(test_strangers.test_many_names_of_one_mailbox_are_one_mailbox),
    ),
    "an export writes texts as they are": (
        lawns,
        "_cell",
        lambda found: found,
        with_store(test_strangers.test_what_was_exported_changes_nothing_when_it_is_imported),
    ),
    "rounds come by UTC": (
        rounds,
        "moment_of",
        without_zone,
        lambda folder: test_time.test_no_change_of_clocks_skips_a_round_or_doubles_it(False),
    ),
    "every refusal blames the address": (
        email,
        "_refused",
        blamed,
        lambda folder: test_mail_faults.test_a_refusal_that_is_not_of_the_address_does_not_blame_it(
            "DATA", folder
        ),
    ),
}


@pytest.mark.parametrize("name", sorted(BREAKS))
def test_what_is_broken_on_purpose_is_noticed(
    name: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    place, attribute, broken, check = BREAKS[name]
    monkeypatch.setattr(place, attribute, broken)
    with pytest.raises(AssertionError):
        check(tmp_path)
