"""Guides are kept by version: the newest speaks, the past stays as it was told."""

from datetime import date, timedelta

import pytest
from builders import TURF
from keepers import POLICY, START, Keeper, evening
from telling import tell_rounds

from mowalert.channels.messages import Messages
from mowalert.domain.grasses import Turf
from mowalert.domain.words import HoldReason, NoticeKind
from mowalert.errors import InputError
from mowalert.service.lawns.look import held_now
from mowalert.service.records import ToldRecord
from mowalert.service.region.guides import (
    allow_again,
    follow_guides,
    guide_of,
    guides_now,
    keep_guide,
    keep_off,
    treated,
)
from mowalert.service.telling.why import notices_of, why
from mowalert.store.engine import SqlStore

GUIDE = """
guide = "hill"
version = {version}
title = "Hill country"
region = "hills"
adviser = "an adviser"
[[heights]]
grass = "kentucky_bluegrass"
season = ["03-01", "05-31"]
mm = [60, 80]
usual_mm = 70
[[heights]]
grass = "kentucky_bluegrass"
season = ["06-01", "02-29"]
mm = [70, 90]
usual_mm = 85
[rules]
one_third = {third}
[rules.treatments.weed_control]
before_days = 2
after_days = {after}
[says.mow]
en = "{sentence}"
"""
TABLE = """keeper,kind,email,latitude,longitude,grass,height_mm,guide,watering,last_mown_on,last_height_mm
Ann,{kind},ann@example.org,42.0,-73.0,kentucky_bluegrass,{height},hill,regular,2026-05-04,70
"""


def text(version: int = 1, *, third: float = 1 / 3, after: int = 2, sentence: str = "Sharp blades.") -> str:
    return GUIDE.format(version=version, third=third, after=after, sentence=sentence)


def keep(store: SqlStore, guide: str) -> None:
    keep_guide(store, TURF, guide, name="hill.toml", now=evening(START))


@pytest.fixture
def keeper(store: SqlStore, turf: Turf) -> Keeper:
    """A company with a guided lawn that follows the guide's heights."""
    keep(store, text())
    return Keeper(store, turf, TABLE.format(height="", kind="company"))


def tell(keeper: Keeper) -> tuple[ToldRecord, ...]:
    now = evening(keeper.today) - timedelta(hours=2)
    return tell_rounds(keeper.store, TURF, Messages("T"), POLICY, now=now).told


def told_until_due(keeper: Keeper) -> ToldRecord:
    for _ in range(20):
        keeper.wait(1)
        if told := tell(keeper):
            return told[0]
    raise AssertionError("nothing was told")


def test_a_kept_version_is_never_changed(store: SqlStore) -> None:
    keep(store, text(2))
    again = keep_guide(store, TURF, text(2), name="hill.toml", now=evening(START))
    assert not again.new
    with pytest.raises(InputError, match=r"version 2 of hill is kept already.*give this one version 3"):
        keep(store, text(2, sentence="Other words."))
    with pytest.raises(InputError, match="give this one version 3"):
        keep(store, text(1))
    keep(store, text(3))
    with store.begin() as work:
        assert guides_now(work, TURF)["hill"].version == 3
        assert guide_of(work, TURF, "hill", 2) is not None
        assert guide_of(work, TURF, "hill", 1) is None


def test_a_lawn_told_no_height_follows_the_guide_through_the_seasons(keeper: Keeper) -> None:
    assert keeper.lawn.chosen_mm == 70
    assert follow_guides(keeper.store, TURF, today=date(2026, 5, 31)) == 0
    assert follow_guides(keeper.store, TURF, today=date(2026, 6, 1)) == 1
    lawn = keeper.lawn
    assert lawn.chosen_mm == 85
    assert lawn.pace > 1.0
    assert follow_guides(keeper.store, TURF, today=date(2026, 6, 2)) == 0


def test_a_lawn_told_its_height_keeps_it(store: SqlStore, turf: Turf) -> None:
    keep(store, text())
    keeper = Keeper(store, turf, TABLE.format(height="75", kind="company"))
    assert follow_guides(store, TURF, today=date(2026, 7, 1)) == 0
    assert keeper.lawn.chosen_mm == 75


def test_a_notice_names_guide_and_version_and_a_later_version_leaves_the_past(keeper: Keeper) -> None:
    said = told_until_due(keeper)
    assert said.facts["guide"]["version"] == 1  # type: ignore[index]
    keep(keeper.store, text(2, sentence="Quite other words."))
    told_id = notices_of(keeper.store, 1)[0].told_id
    chain = why(keeper.store, TURF, POLICY, told_id)
    assert chain.moved == ()
    assert chain.notice.guide is not None
    assert chain.notice.guide.says == (("mow", "en", "Sharp blades."),)
    keeper.wait(1)
    (later,) = tell(keeper)
    assert later.facts["guide"]["version"] == 2  # type: ignore[index]


def test_a_new_share_moves_the_limit_of_the_guides_lawns(keeper: Keeper) -> None:
    before = keeper.lawn
    keep(keeper.store, text(2, third=0.25))
    after = keeper.lawn
    assert after.third == 0.25
    assert (after.limit_g_mm or 0) < (before.limit_g_mm or 0)
    told = told_until_due(keeper)
    chain = why(keeper.store, TURF, POLICY, notices_of(keeper.store, 1)[0].told_id)
    assert chain.limit_height_mm == pytest.approx(70 / 0.75)
    assert chain.moved == ()
    assert told.facts["third"] == 0.25


def test_a_treatment_holds_the_lawn_for_the_guides_interval_and_a_new_version_does_not_move_it(
    keeper: Keeper,
) -> None:
    days = treated(
        keeper.store, TURF, 1, kind="Weed control", on=date(2026, 5, 20), now=evening(keeper.today)
    )
    assert (days.first_on, days.last_on) == (date(2026, 5, 18), date(2026, 5, 22))
    keep(keeper.store, text(2, after=9))
    while keeper.today < date(2026, 5, 22):
        keeper.wait(1)
    held = held_now(keeper.store, TURF, POLICY, now=evening(keeper.today))
    assert [notice.reason for notice in held] == [HoldReason.TREATMENT]
    assert "version 1" in held[0].holds[0].note
    keeper.wait(1)
    assert held_now(keeper.store, TURF, POLICY, now=evening(keeper.today)) == []


def test_dates_are_told_once_and_released_once(store: SqlStore, turf: Turf) -> None:
    keep(store, text())
    keeper = Keeper(store, turf, TABLE.format(height="", kind="parks"))
    keep_off(
        store,
        1,
        reason=HoldReason.EVENT,
        first_on=date(2026, 5, 7),
        last_on=date(2026, 5, 9),
        note="A concert.",
        now=evening(START),
    )
    kinds = []
    for _ in range(9):
        keeper.wait(1)
        kinds += [(record.kind, record.reason) for record in tell(keeper)]
    assert kinds.count((NoticeKind.HOLD, HoldReason.EVENT)) == 1
    assert kinds.count((NoticeKind.RELEASE, HoldReason.EVENT)) == 1


def test_days_can_be_taken_back(keeper: Keeper) -> None:
    days = keep_off(
        keeper.store,
        1,
        reason=HoldReason.EVENT,
        first_on=START,
        last_on=START,
        note="",
        now=evening(START),
    )
    assert len(held_now(keeper.store, TURF, POLICY, now=evening(START))) == 1
    allow_again(keeper.store, days.kept_off_id, now=evening(START))
    assert held_now(keeper.store, TURF, POLICY, now=evening(START)) == []
    with pytest.raises(InputError, match="no such days"):
        allow_again(keeper.store, days.kept_off_id, now=evening(START))


def test_what_cannot_be_is_refused(keeper: Keeper) -> None:
    later, now = START + timedelta(days=1), evening(START)
    refuse = {"reason": HoldReason.EVENT, "note": "", "now": now}
    with pytest.raises(InputError, match="lies before the first"):
        keep_off(keeper.store, 1, first_on=later, last_on=START, **refuse)
    with pytest.raises(InputError, match="longer than"):
        keep_off(keeper.store, 1, first_on=START, last_on=date(2030, 1, 1), **refuse)
    with pytest.raises(InputError, match="there is no lawn 9"):
        keep_off(keeper.store, 9, first_on=START, last_on=later, **refuse)
    with pytest.raises(InputError, match="it knows weed_control"):
        treated(keeper.store, TURF, 1, kind="rain dance", on=START, now=now)
