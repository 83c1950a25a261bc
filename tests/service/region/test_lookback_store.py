"""A season looked back on from the store: one lawn's, a keeper's, a region's."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from builders import a_keeper, a_lawn_record
from keepers import START, Keeper, evening

from mowalert.domain.grasses import Turf
from mowalert.domain.lookback import FEWEST_LAWNS, Bite, HoldsTold, Told
from mowalert.domain.stand import StandKey
from mowalert.domain.words import HoldReason, KeeperKind, NoticeKind, Sun, Watering
from mowalert.errors import InputError
from mowalert.service.lawns.report import undo_last
from mowalert.service.ports import Work
from mowalert.service.records import AT_ENROLMENT, EventRecord, GuideRecord, SiteRecord, ToldRecord
from mowalert.service.region.lookback import (
    LAWNS_AT_ONCE,
    Asked,
    Grouping,
    LookBack,
    look_back_on_keeper,
    look_back_on_lawn,
    look_back_on_region,
)
from mowalert.store.engine import SqlStore

NOW = datetime(2026, 9, 30, 22, 5, tzinfo=UTC)
ALL_YEAR = Asked(date(2026, 1, 1), date(2026, 12, 31))
GUIDE = """guide = "north"
version = 1
title = "The north"
region = "north of the river"
adviser = "an adviser"

[[heights]]
grass = "kentucky_bluegrass"
season = ["01-01", "12-31"]
mm = [60, 80]
usual_mm = 65
"""


def a_round(work: Work) -> int:
    return work.rounds.ensure(
        daily_list=False, time_zone="America/New_York", weekdays=8, minute_of_day=1080, mixed=False
    )


def enrolled(
    work: Work,
    *,
    name: str = "Ann",
    kind: KeeperKind = KeeperKind.HOMEOWNER,
    lawns: int = 1,
    latitude_deg: float = 42.75,
    **changes: object,
) -> list[int]:
    """A keeper with lawns; the lawns' ids."""
    round_id = a_round(work)
    key = f"k{len(work.keepers.all())}"
    keeper_id = work.keepers.add(a_keeper(key=key, name=name, kind=kind, round_id=round_id))
    cell_id = work.weather.ensure_cell(latitude_deg, -73.75, -300)
    stand_id = work.stands.ensure(cell_id, StandKey("kentucky_bluegrass", "loam", 3, Sun.FULL, Watering.NONE))
    site, _ = work.keepers.ensure_site(
        SiteRecord(0, keeper_id, "home", "Home", "", latitude_deg, -73.75, cell_id)
    )
    record = a_lawn_record(site_id=site.site_id, keeper_id=keeper_id, round_id=round_id, stand_id=stand_id)
    return [
        work.lawns.add(replace(record, key=f"l{number}", name=f"l{number}", **changes))
        for number in range(lawns)
    ]


def mown(work: Work, lawn_id: int, on: date, before_mm: float | None = 100.0) -> None:
    by = "cli" if before_mm else AT_ENROLMENT
    work.lawns.happened([EventRecord(0, lawn_id, "mowing", on, 70.0, before_mm, False, by, evening(on))])


def told(
    work: Work,
    lawn_id: int,
    on: date,
    kind: NoticeKind,
    reason: str | None = None,
    best_on: date | None = None,
) -> None:
    facts: dict[str, object] = {"best_on": best_on.isoformat() if best_on else None}
    (lawn,) = work.lawns.get([lawn_id])
    record = ToldRecord(0, lawn.keeper_id, lawn_id, lawn.round_id, on, kind.value, reason, evening(on), facts)
    work.outbox.tell([record])


def names(back: LookBack, by: str) -> list[str | None]:
    return [row.name for row in grouping(back, by).rows]


def grouping(back: LookBack, by: str) -> Grouping:
    return next(group for group in back.groups if group.by == by)


def test_a_lawn_kept_for_weeks_has_its_season(store: SqlStore, turf: Turf) -> None:
    keeper = Keeper(store, turf)
    keeper.wait(5)
    first = keeper.mow()
    keeper.wait(9)
    second = keeper.mow()
    shown = look_back_on_lawn(store, 1, Asked(), now=evening(keeper.today)).total
    assert shown is not None
    # The cut the table told of is one of unknown share.
    assert (shown.lawns, shown.cuts, shown.share_unknown) == (1, 3, 1)
    assert shown.median_days_between == 7
    assert first.before_mm is not None
    assert second.before_mm is not None
    assert shown.grown_mm == pytest.approx(first.before_mm - 70 + second.before_mm - 70)
    assert shown.biggest_bite == Bite(
        pytest.approx(max(first.removed_fraction or 0, second.removed_fraction or 0)), keeper.today, 1
    )


def test_what_was_taken_back_never_happened(store: SqlStore, turf: Turf) -> None:
    keeper = Keeper(store, turf)
    keeper.wait(5)
    keeper.mow()
    before = look_back_on_keeper(store, "Ann", Asked(), now=evening(keeper.today))
    keeper.wait(5)
    keeper.mow()
    undo_last(store, turf, 1, now=evening(keeper.today))
    after = look_back_on_keeper(store, "Ann", Asked(), now=evening(keeper.today))
    assert (after.total, after.groups) == (before.total, before.groups)


def test_days_outside_and_heights_are_no_cuts(store: SqlStore, turf: Turf) -> None:
    keeper = Keeper(store, turf)
    keeper.cycle()
    since = Asked(first_on=START + timedelta(days=1))
    shown = look_back_on_lawn(store, 1, since, now=evening(keeper.today)).total
    assert shown is not None
    assert shown.cuts == 0


def test_a_keeper_has_a_row_a_lawn_and_a_total(store: SqlStore) -> None:
    with store.begin() as work:
        front, back = enrolled(work, lawns=2)
        mown(work, front, date(2026, 5, 1), None)
        mown(work, front, date(2026, 5, 9), 150.0)
        mown(work, back, date(2026, 5, 4), 100.0)
        told(work, back, date(2026, 5, 3), NoticeKind.MOW, best_on=date(2026, 5, 3))
        told(work, back, date(2026, 6, 3), NoticeKind.OVERGROWN, best_on=date(2026, 6, 5))
        told(work, back, date(2026, 7, 1), NoticeKind.HOLD, "heat")
        told(work, back, date(2026, 7, 11), NoticeKind.RELEASE, "heat", date(2026, 7, 12))
        work.commit()
    shown = look_back_on_keeper(store, "ann", ALL_YEAR, now=NOW)
    assert (shown.of, shown.first_on, shown.last_on) == ("Ann", date(2026, 1, 1), NOW.date())
    (lawns,) = shown.groups
    assert [(row.name, row.lawn_id) for row in lawns.rows] == [("Home, l0", front), ("Home, l1", back)]
    assert [row.figures.cuts for row in lawns.rows] == [2, 1]
    total = shown.total
    assert total is not None
    assert (total.cuts, total.severe, total.on_time, total.share_unknown) == (3, 1, 1, 1)
    assert (total.mow_notices, total.mow_followed) == (2, 1)
    assert total.holds == (HoldsTold(HoldReason.HEAT, 1, 10),)
    assert total.biggest_bite == Bite(pytest.approx(1 - 70 / 150), date(2026, 5, 9), front)


def test_a_keeper_is_named_or_numbered(store: SqlStore) -> None:
    with store.begin() as work:
        for name in ("Ann", "Bob", "Ann"):
            enrolled(work, name=name)
        work.commit()
    assert look_back_on_keeper(store, " bob ", Asked(), now=NOW).of == "Bob"
    assert look_back_on_keeper(store, "3", Asked(), now=NOW).of == "Ann"
    with pytest.raises(InputError, match=r"2 keepers are called 'Ann'.*: 1 \(homeowner\), 3 \(homeowner\)"):
        look_back_on_keeper(store, "Ann", Asked(), now=NOW)
    for unknown in ("Zoe", "4", "9" * 30):
        with pytest.raises(InputError, match="there is no keeper"):
            look_back_on_keeper(store, unknown, Asked(), now=NOW)


def test_the_usual_days_are_those_of_the_lawns_hemisphere(store: SqlStore) -> None:
    with store.begin() as work:
        north, south = enrolled(work) + enrolled(work, latitude_deg=-37.75)
        work.commit()
    year = look_back_on_lawn(store, north, Asked(), now=NOW)
    months = look_back_on_lawn(store, south, Asked(), now=NOW)
    assert (year.first_on, year.last_on) == (date(2026, 1, 1), date(2026, 9, 30))
    assert (months.first_on, months.last_on) == (date(2025, 10, 1), date(2026, 9, 30))


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        (Asked(date(2026, 10, 1)), "2026-10-01 is still to come"),
        (Asked(date(2026, 5, 2), date(2026, 5, 1)), "2026-05-01, lies before the first, 2026-05-02"),
    ],
)
def test_days_that_cannot_be_are_refused(store: SqlStore, turf: Turf, asked: Asked, why: str) -> None:
    with store.begin() as work:
        enrolled(work)
        work.commit()
    for look in (
        lambda: look_back_on_lawn(store, 1, asked, now=NOW),
        lambda: look_back_on_keeper(store, "Ann", asked, now=NOW),
        lambda: look_back_on_region(store, turf, None, asked, now=NOW),
    ):
        with pytest.raises(InputError, match=why):
            look()


def test_an_unknown_lawn_or_guide_is_refused(store: SqlStore, turf: Turf) -> None:
    with pytest.raises(InputError, match="there is no lawn 7"):
        look_back_on_lawn(store, 7, Asked(), now=NOW)
    with pytest.raises(InputError, match="there is no guide 'south'"):
        look_back_on_region(store, turf, "south", Asked(), now=NOW)


def a_region(work: Work, guide: str | None = None) -> None:
    """25 bluegrass lawns of homeowners, 12 tall fescue ones of a park, 4 of them sports turf."""
    for lawn_id in enrolled(work, lawns=25, guide=guide):
        mown(work, lawn_id, date(2026, 5, 1), 100.0)
    park = {"name": "Park", "kind": KeeperKind.PARKS, "grass": "tall_fescue", "guide": guide}
    for lawn_id in enrolled(work, lawns=8, **park) + enrolled(work, lawns=4, turf_class="sports", **park):
        mown(work, lawn_id, date(2026, 5, 1), 150.0)


def test_a_region_has_groups_but_none_of_few_lawns(store: SqlStore, turf: Turf) -> None:
    with store.begin() as work:
        a_region(work)
        work.commit()
    shown = look_back_on_region(store, turf, None, ALL_YEAR, now=NOW)
    assert shown.total is not None
    assert (shown.of, shown.total.lawns, shown.total.cuts, shown.total.severe) == ("all lawns", 37, 37, 12)
    assert names(shown, "grass") == ["Kentucky bluegrass", "tall fescue"]
    assert names(shown, "keeper_kind") == ["homeowner", "parks"]
    # The 33 other lawns and the total would tell of the four that are sports turf.
    assert names(shown, "turf_class") == []
    assert [group.some_hidden for group in shown.groups] == [False, True, False]


def test_a_region_shows_no_biggest_bite(store: SqlStore, turf: Turf) -> None:
    with store.begin() as work:
        a_region(work)
        work.commit()
    shown = look_back_on_region(store, turf, None, ALL_YEAR, now=NOW)
    rows = [row.figures for group in shown.groups for row in group.rows]
    assert shown.total is not None
    assert [figures.biggest_bite for figures in (*rows, shown.total)] == [None] * (len(rows) + 1)


@pytest.mark.parametrize("lawns", [0, 1, FEWEST_LAWNS - 1])
def test_too_few_lawns_have_no_figures(store: SqlStore, turf: Turf, lawns: int) -> None:
    with store.begin() as work:
        enrolled(work, lawns=lawns)
        work.commit()
    shown = look_back_on_region(store, turf, None, ALL_YEAR, now=NOW)
    assert shown.too_few_lawns
    assert (shown.total, shown.groups) == (None, ())


def test_a_guides_region_has_its_own_lawns_only(store: SqlStore, turf: Turf) -> None:
    with store.begin() as work:
        work.guides.keep(GuideRecord("north", 1, GUIDE, NOW))
        a_region(work, "north")
        enrolled(work, lawns=15)
        work.commit()
    shown = look_back_on_region(store, turf, "north", ALL_YEAR, now=NOW)
    assert shown.total is not None
    assert (shown.of, shown.total.lawns) == ("The north", 37)


def test_a_region_of_many_pages_is_counted_whole(store: SqlStore, turf: Turf) -> None:
    with store.begin() as work:
        first, *_, last = enrolled(work, lawns=LAWNS_AT_ONCE + 1)
        for lawn_id in (first, last):
            mown(work, lawn_id, date(2026, 5, 1))
        work.commit()
    total = look_back_on_region(store, turf, None, ALL_YEAR, now=NOW).total
    assert total is not None
    assert (total.lawns, total.cuts) == (LAWNS_AT_ONCE + 1, 2)


def test_lawns_come_page_by_page(store: SqlStore) -> None:
    with store.begin() as work:
        one, two, three = enrolled(work) + enrolled(work, guide="north", lawns=2)
        page = work.lawns.page
        assert [lawn.lawn_id for lawn in page(after=0, limit=2)] == [one, two]
        assert [lawn.lawn_id for lawn in page(after=two, limit=2)] == [three]
        assert [lawn.lawn_id for lawn in page(after=0, limit=2, guide="north")] == [two, three]
        assert page(after=three, limit=2) == []


def test_events_and_notices_come_by_lawn_within_the_days(store: SqlStore) -> None:
    first, last = date(2026, 5, 2), date(2026, 5, 4)
    with store.begin() as work:
        one, two = enrolled(work, lawns=2)
        for day in range(1, 6):
            mown(work, one, date(2026, 5, day))
            told(work, two, date(2026, 5, day), NoticeKind.HOLD, "heat")
            told(work, two, date(2026, 5, day), NoticeKind.MOW, best_on=date(2026, 5, 9))
        work.lawns.undo_last(one, at=NOW)
        many = [one, two, *range(1000, 3000)]
        events = work.lawns.events_between(many, first=first, last=last)
        said = work.outbox.told_between(many, [NoticeKind.MOW], first=first, last=last)
        assert [event.on.day for event in events.pop(one)] == [2, 3, 4]
        assert _days(said.pop(two)) == [
            (2, NoticeKind.MOW, 9),
            (3, NoticeKind.MOW, 9),
            (4, NoticeKind.MOW, 9),
        ]
        assert (events, said) == ({}, {})
        assert work.lawns.events_between([one], first=date(2026, 5, 5), last=date(2026, 5, 5)) == {}


def _days(told: Sequence[Told]) -> list[tuple[int, NoticeKind, int | None]]:
    return [(said.on.day, said.kind, said.advised_on and said.advised_on.day) for said in told]
