"""Keys are shown once and kept as digests; what is said with one counts once."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256

import pytest
import sqlalchemy as sa
from builders import TURF
from keepers import START, Keeper, evening

from mowalert.domain.grasses import Turf
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.links import Links
from mowalert.service.keepers.joining import ASKED
from mowalert.service.keepers.keys import (
    FAILURES_AN_HOUR,
    Asker,
    Refused,
    Scope,
    asker_of,
    list_keys,
    make_key,
    revoke_key,
)
from mowalert.service.keepers.own_reports import OwnReport, ReportKind, keep_off_own, report_own
from mowalert.service.records import AT_ENROLMENT
from mowalert.store.engine import SqlStore
from mowalert.store.tables import api_key

LINKS = Links("https://lawns.example.org", "a secret of the tests")
NOW = evening(START)
TWO = """keeper,kind,email,latitude,longitude,grass,height_mm
Ann,company,ann@example.org,42.0,-73.0,kentucky_bluegrass,70
Ann,homeowner,ann@example.org,42.0,-73.0,kentucky_bluegrass,70
"""


@pytest.fixture
def keeper(store: SqlStore, turf: Turf) -> Keeper:
    return Keeper(store, turf)


def asker(store: SqlStore, *scopes: Scope) -> Asker:
    made = make_key(store, "1", name="office", scopes=scopes or tuple(Scope), now=NOW)
    found = asked(store, made.key)
    assert isinstance(found, Asker)
    return found


def asked(store: SqlStore, key: str, *, sender: str = "192.0.2.7", later: int = 0) -> Asker | Refused:
    return asker_of(store, LINKS, key, sender=sender, now=NOW + timedelta(minutes=later))


def test_a_key_is_kept_as_a_digest_only(keeper: Keeper) -> None:
    made = make_key(keeper.store, "1", name=" the  office ", scopes=[Scope.REPORT, Scope.READ], now=NOW)
    assert made.key.startswith("mow_")
    assert len(made.key) == 47
    assert made.key not in repr(made)
    assert (made.record.name, made.record.scopes) == ("the office", ("read", "report"))
    engine = sa.create_engine(keeper.store.url)
    with engine.connect() as connection:
        (row,) = connection.execute(sa.select(api_key)).mappings()
    engine.dispose()
    assert row["digest"] == sha256(made.key.encode()).hexdigest()
    assert made.key not in str(dict(row))


def test_a_key_opens_for_its_keeper_until_it_is_revoked(keeper: Keeper) -> None:
    made = make_key(keeper.store, "ann@example.org", name="office", scopes=[Scope.READ], now=NOW)
    found = asked(keeper.store, made.key)
    assert isinstance(found, Asker)
    assert found.keeper.name == "Ann"
    assert (found.may(Scope.READ), found.may(Scope.ENROL)) == (True, False)
    revoked = revoke_key(keeper.store, made.record.key_id, now=NOW)
    again = revoke_key(keeper.store, made.record.key_id, now=NOW + timedelta(days=1))
    assert again == revoked
    assert asked(keeper.store, made.key) is Refused.WRONG_KEY
    ((listed, whose),) = list_keys(keeper.store)
    assert (listed, whose.name) == (revoked, "Ann")


def test_a_keeper_who_leaves_takes_their_keys_along(keeper: Keeper) -> None:
    made = make_key(keeper.store, "1", name="office", scopes=[Scope.READ], now=NOW)
    with keeper.store.begin() as work:
        work.keepers.erase(1)
        work.commit()
    assert asked(keeper.store, made.key) is Refused.WRONG_KEY
    assert list_keys(keeper.store) == []


def test_wrong_keys_are_counted_by_sender_and_forgiven_after_an_hour(keeper: Keeper) -> None:
    good = make_key(keeper.store, "1", name="office", scopes=[Scope.READ], now=NOW).key
    tries = [asked(keeper.store, f"mow_{number}") for number in range(FAILURES_AN_HOUR + 2)]
    assert tries == [Refused.WRONG_KEY] * FAILURES_AN_HOUR + [Refused.TOO_MANY] * 2
    assert asked(keeper.store, "mow_1", sender="192.0.2.8") is Refused.WRONG_KEY
    assert isinstance(asked(keeper.store, good), Asker)
    assert asked(keeper.store, "mow_1", later=61) is Refused.WRONG_KEY
    with keeper.store.begin() as work:
        assert work.signups.attempts("api key", "192.0.2.7", since=NOW - timedelta(days=1)) == 0


@pytest.mark.parametrize("key", ["", "mow_", "ä", "\x00", "\ud800", "x" * 100_000])
def test_whatever_is_shown_as_a_key_is_only_wrong(keeper: Keeper, key: str) -> None:
    assert asked(keeper.store, key) is Refused.WRONG_KEY


def test_what_no_key_can_be_made_for_is_explained(store: SqlStore, turf: Turf) -> None:
    keeper = Keeper(store, turf, TWO)
    said = {"name": "office", "scopes": [Scope.READ], "now": NOW}
    for whom in ("9", "0", "-1", "9" * 30, "nobody@example.org", "x"):
        with pytest.raises(InputError, match="there is no keeper"):
            make_key(store, whom, **said)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"1 \(Ann, company\), 2 \(Ann, homeowner\)"):
        make_key(store, "ann@example.org", **said)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="read, report, enrol"):
        make_key(store, "1", name="office", scopes=[], now=NOW)
    for name in ("", " ", "x" * 81, "a\x1bb"):
        with pytest.raises(InputError, match="give the key a name"):
            make_key(store, "1", name=name, scopes=[Scope.READ], now=NOW)
    with store.begin() as work:
        work.keepers.change(replace(work.keepers.get([1])[1], consent=ASKED))
        work.commit()
    with pytest.raises(InputError, match="has not confirmed"):
        make_key(store, "1", **said)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="there is no key 3"):
        revoke_key(keeper.store, 3, now=NOW)


def test_the_same_report_from_many_sides_at_once_counts_once(keeper: Keeper) -> None:
    said = asker(keeper.store)
    keeper.wait(1)

    def report(number: int) -> OwnReport:
        return report_own(
            keeper.store, TURF, said, 1, ReportKind.MOWING, height_mm=60, on=None, now=evening(keeper.today)
        )

    with ThreadPoolExecutor(6) as many:
        reports = list(many.map(report, range(6)))
    assert len({made.event.event_id for made in reports}) == 1
    assert sorted(made.repeated for made in reports) == [False, *[True] * 5]
    with keeper.store.begin() as work:
        assert [event.reported_by for event in work.lawns.events(1)] == [AT_ENROLMENT, "api"]


def test_a_report_taken_back_can_be_made_again(keeper: Keeper) -> None:
    said, now = asker(keeper.store), evening(START)
    first = report_own(keeper.store, TURF, said, 1, ReportKind.MOWING, height_mm=60, on=None, now=now)
    with keeper.store.begin() as work:
        work.lawns.undo_last(1, at=now)
        work.commit()
    again = report_own(keeper.store, TURF, said, 1, ReportKind.MOWING, height_mm=60, on=None, now=now)
    assert not again.repeated
    assert again.event.event_id != first.event.event_id


def test_days_said_in_other_words_are_other_days(keeper: Keeper) -> None:
    said = asker(keeper.store)

    def keep_off(note: str) -> bool:
        return keep_off_own(
            keeper.store,
            said,
            1,
            reason=HoldReason.EVENT,
            first_on=START,
            last_on=START,
            note=note,
            now=NOW,
        ).repeated

    assert [keep_off(note) for note in ("A concert.", "A concert.", "A fair.")] == [False, True, False]
