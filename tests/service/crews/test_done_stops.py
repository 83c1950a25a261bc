"""A day planned again: what is done stays on its crew's list, can be seen there and taken back."""

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from firm import MORNING, NAME, POLICY, TODAY, Firm, planned
from stores import new_store

from mowalert.channels.crew_calendar import crew_calendar
from mowalert.domain.crews import ChangeKind
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetReader
from mowalert.domain.travel import by_great_circle
from mowalert.domain.words import Units
from mowalert.office.day_map import day_map
from mowalert.office.day_table import COLUMNS, day_rows
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.crew_setup import keep_hours, retire_crew
from mowalert.service.crews.handing_out import change_day
from mowalert.service.crews.visits import Visit, report_visit, undo_visit

AT_TEN = MORNING + timedelta(hours=4, minutes=30)
READER = SheetReader(0, "", "en", Units.METRIC)


@pytest.fixture
def firm(tmp_path: Path) -> Firm:
    made = Firm(new_store(tmp_path / "firm.db"), count=16)
    for lawn_id in range(1, 17):
        made.minutes(lawn_id, 45.0)
    made.night()
    return made


def replanned(firm: Firm, crew: str = "South", *, now: datetime = AT_TEN) -> DaySheet:
    """Another version of today: a crew goes home at eleven."""
    keep_hours(firm.store, NAME, crew, TODAY, from_min=420, to_min=660)
    (made, *_) = change_day(firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=now, why="asked")
    return made


def told(firm: Firm, lawn_id: int, outcome: Outcome = Outcome.DONE) -> int:
    reason = SkipReason.DOG if outcome is Outcome.SKIPPED else None
    visit = Visit(lawn_id, TODAY, outcome, reason)
    now = AT_TEN - timedelta(minutes=5)
    return report_visit(firm.store, TURF, firm.keeper_id, visit, by="sam", now=now).visit.visit_id


def crew_of(sheet: DaySheet, name: str = "South") -> CrewSheet:
    return next(crew for crew in sheet.crews if crew.name == name)


def listed(crew: CrewSheet) -> list[int]:
    return [stop.lawn.lawn_id for stop in crew.listed]


def test_what_is_done_or_skipped_stays_on_the_list_and_out_of_the_way(firm: Firm) -> None:
    first, second, *rest = listed(crew_of(firm.sheet()))
    told(firm, first)
    told(firm, second, Outcome.SKIPPED)
    after = crew_of(replanned(firm))
    assert listed(after)[:2] == [first, second]
    assert [stop.outcome for stop in after.past] == ["done", "skipped"]
    assert not {first, second} & {stop.lawn.lawn_id for stop in after.stops}
    assert set(listed(after)) <= {first, second, *rest}
    assert [stop.order for stop in after.listed] == list(range(1, len(after.listed) + 1))


def test_it_stays_there_over_every_later_version(firm: Firm) -> None:
    first, *_ = listed(crew_of(firm.sheet()))
    told(firm, first)
    second = crew_of(replanned(firm)).stops[0].lawn.lawn_id
    told(firm, second)
    keep_hours(firm.store, NAME, "South", TODAY, from_min=420, to_min=620)
    keep_hours(firm.store, NAME, "North", TODAY, from_min=420, to_min=660)
    change_day(
        firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=AT_TEN + timedelta(minutes=2), why="asked"
    )
    assert firm.sheet().version == 3
    assert [stop.lawn.lawn_id for stop in crew_of(firm.sheet()).past] == [first, second]


@pytest.mark.parametrize("goes", ["home", "for good"])
def test_a_crew_that_works_no_more_keeps_what_it_did(firm: Firm, goes: str) -> None:
    first, *_ = listed(crew_of(firm.sheet()))
    told(firm, first)
    if goes == "home":
        keep_hours(firm.store, NAME, "South", TODAY, from_min=420, to_min=540)
    else:
        retire_crew(firm.store, NAME, "South")
    change_day(firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=AT_TEN, why="asked")
    south = crew_of(firm.sheet())
    assert (listed(south), south.stops) == ([first], ())
    assert f"{south.past[0].lawn.site_name}" in str(firm.mails("sam")[-1]["text"])


def test_what_was_taken_back_is_planned_again_or_said_to_be_dropped(firm: Firm) -> None:
    first, *_ = listed(crew_of(firm.sheet()))
    visit_id = told(firm, first)
    replanned(firm)
    undo_visit(firm.store, TURF, firm.keeper_id, visit_id, now=AT_TEN)
    keep_hours(firm.store, NAME, "North", TODAY, from_min=420, to_min=500)
    keep_hours(firm.store, NAME, "South", TODAY, from_min=420, to_min=500)
    change_day(
        firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=AT_TEN + timedelta(minutes=1), why="asked"
    )
    sheet = firm.sheet()
    assert first not in planned(sheet)
    assert ChangeKind.DROPPED in {one.kind for one in sheet.changes if one.lawn_id == first}


def test_the_crew_goes_on_from_where_it_was_last(firm: Firm) -> None:
    """A third version knows of the stops that the second has put behind it."""
    begun = [stop for stop in crew_of(firm.sheet()).stops if stop.starts_min <= 560]
    for stop in begun:
        told(firm, stop.lawn.lawn_id)
    now = AT_TEN - timedelta(minutes=45)
    replanned(firm, "North", now=now)
    keep_hours(firm.store, NAME, "North", TODAY, from_min=420, to_min=500)
    change_day(firm.store, TURF, POLICY, firm.office, firm.keeper_id, now=now, why="asked")
    assert firm.sheet().version == 3
    south = crew_of(firm.sheet())
    way = by_great_circle([begun[-1].lawn.position, south.stops[0].lawn.position, south.depot])
    assert south.stops[0].travel_km == pytest.approx(way.km[0, 1], abs=0.01)
    assert south.stops[0].travel_km != pytest.approx(way.km[2, 1], abs=0.01)


def test_every_hand_out_has_it_with_its_mark(firm: Firm) -> None:
    first, *_ = crew_of(firm.sheet()).listed
    told(firm, first.lawn.lawn_id)
    sheet = replanned(firm)
    south = crew_of(sheet)
    mails = (
        firm.office.words.whole_list(sheet, READER),
        firm.office.words.crew_list(sheet, south.crew_id, READER),
    )
    place = re.escape(first.lawn.site_name)
    for text in (text for mail in mails for text in (mail.text, mail.html)):
        assert re.search(rf"{place}(, lawn)?: (<strong>)?Done", text)
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in day_rows(sheet, south.crew_id)]
    states = [row["state"] for row in rows]
    assert states == ["done"] + ["planned"] * len(south.stops)
    points = [one["properties"] for one in day_map(sheet, south.crew_id)["features"]]
    assert [one["state"] for one in points if one["kind"] == "stop"] == states
    feed = crew_calendar([sheet], [south.crew_id], READER, name=NAME, host="x.org").decode()
    assert feed.count("BEGIN:VEVENT") == len(south.listed)
    assert feed.count("SUMMARY:Done: 1. ") == 1
