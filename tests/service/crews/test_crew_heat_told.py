"""The crews' heat in a parks department's own list: by the clock, in its hours, by its thresholds."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from builders import TURF
from parks import MORNING, NAME, POLICY, TODAY, Parks, hot

from mowalert.domain.crews import Position
from mowalert.domain.warnings import OfficialWarning, PlacedWarning, Severity, WarningKind
from mowalert.service.crew_records import Role
from mowalert.service.crews.crew_setup import NewContact, keep_contact, keep_crew
from mowalert.service.crews.heat_days import heat_of_day
from mowalert.service.lawns.report import report_height
from mowalert.service.park_records import HeatNotice, HeatPlan
from mowalert.service.ports import PulledWarnings

WARM_C = 30.0
"""Too warm for people to work without a thought, and not for grass to be cut."""
DANGER_C = 40.0


@pytest.fixture
def parks(tmp_path: Path) -> Parks:
    found = Parks(tmp_path / "parks.db")
    for lawn_id, height_mm in ((1, 70.0), (2, 112.0)):
        # Long enough that there is a list for the heat to stand in.
        before = TODAY - timedelta(days=1)
        report_height(
            found.store, TURF, lawn_id, height_mm=height_mm, on=before, today=TODAY, now=MORNING, by="page"
        )
    found.skies.day = hot(WARM_C)
    return found


def listed(parks: Parks) -> str:
    (mail,) = parks.mails("cut")
    return str(mail["text"])


def noted(parks: Parks) -> list[HeatNotice]:
    with parks.store.begin() as work:
        return work.parks.heat_notices(parks.keeper_id, first=TODAY, last=TODAY)


def with_plan(parks: Parks, first_f: float, strong_f: float) -> None:
    with parks.store.begin() as work:
        work.parks.keep_heat_plan(HeatPlan(parks.keeper_id, first_f, strong_f))
        work.commit()


def test_a_list_tells_the_hour_that_the_clock_shows(parks: Parks) -> None:
    parks.night()
    # Standard hour 14 is three in the afternoon by the clock in July; work ends at five.
    assert "at 15:00" in listed(parks)
    assert "Coolest hours 7:00 to 11:00" in listed(parks)


def test_a_list_keeps_to_the_employers_thresholds(parks: Parks) -> None:
    with_plan(parks, 140.0, 145.0)
    parks.night()
    assert "Crew heat" not in listed(parks)
    assert noted(parks) == []


@pytest.mark.parametrize(("strong_f", "strong"), [(85.0, True), (140.0, False)])
def test_what_a_list_told_is_as_strong_as_the_employer_says(
    parks: Parks, strong_f: float, *, strong: bool
) -> None:
    with_plan(parks, 82.0, strong_f)
    parks.night()
    assert [one.strong for one in noted(parks)] == [strong]


def test_a_list_that_a_supervisor_does_not_read_tells_them_nothing(parks: Parks) -> None:
    person = NewContact("Rosa", Role.SUPERVISOR, email="rosa@example.org")
    keep_contact(parks.store, NAME, person, now=MORNING)
    assert parks.night().heat_notices == 1
    assert "rosa@example.org" in {mail["address"] for mail in parks.mails("Heat on")}
    assert parks.night(MORNING + timedelta(hours=1)).heat_notices == 0


def test_what_everybody_read_in_a_list_is_told_once(parks: Parks) -> None:
    assert parks.night().heat_notices == 0
    assert len(noted(parks)) == 1


def an_alert(event: str, kind: WarningKind, begins_h: float, ends_h: float) -> PlacedWarning:
    """A warning of one place; hours from this morning on."""
    begins, ends = MORNING + timedelta(hours=begins_h), MORNING + timedelta(hours=ends_h)
    severity = Severity.UNKNOWN if kind is WarningKind.AIR else Severity.SEVERE
    headline = f"{event} issued by the Invented Weather Office, “in its own words”"
    warning = OfficialWarning(event, "Invented Weather Office", event, kind, severity, headline, begins, ends)
    return PlacedWarning(warning, (1,))


AIR = an_alert("Air Quality Alert", WarningKind.AIR, 0, 40)
FREEZE = an_alert("Freeze Watch", WarningKind.FREEZE, 10, 30)
SOON_OVER = an_alert("Wind Advisory", WarningKind.STORM, 0, 14)


def warn(parks: Parks, *found: PlacedWarning) -> None:
    with parks.store.begin() as work:
        work.warnings.keep(PulledWarnings("nws", (1,), found, frozenset(), ()))
        work.commit()


def test_air_quality_and_freeze_stand_in_a_list_in_their_own_words(parks: Parks) -> None:
    warn(parks, AIR, FREEZE)
    parks.night()
    for placed in (AIR, FREEZE):
        assert f"Invented Weather Office: {placed.warning.headline}" in listed(parks)


def test_the_evenings_notice_carries_what_holds_on_its_day(parks: Parks) -> None:
    warn(parks, AIR, SOON_OVER)
    assert parks.night(MORNING + timedelta(hours=12)).heat_notices == 1
    (mail,) = parks.mails("Heat on")
    assert AIR.warning.headline in str(mail["text"])
    assert SOON_OVER.warning.headline not in str(mail["text"]), "it is over before the working day"


def heat_on(parks: Parks, on: date) -> tuple[int, int, int] | None:
    with parks.store.begin() as work:
        keeper = work.keepers.get([parks.keeper_id])[parks.keeper_id]
        found = heat_of_day(work, keeper, on, max_age=POLICY.max_age, now=MORNING)
    return None if found is None else (found.heat.at_hour, found.heat.safest_from, found.heat.safest_to)


def test_without_crews_work_is_when_the_lawns_may_be_mown(parks: Parks) -> None:
    parks.skies.day = hot(DANGER_C)
    parks.night()
    with parks.store.begin() as work:
        for lawn in work.lawns.get(parks.lawn_ids()):
            work.lawns.change(replace(lawn, mow_from_h=5, mow_to_h=12))
        work.commit()
    assert heat_on(parks, TODAY) == (11, 5, 9)
    assert heat_on(parks, TODAY + timedelta(days=4)) is None, "nothing is mown on a Saturday"


def test_crews_work_their_own_hours(parks: Parks) -> None:
    parks.skies.day = hot(DANGER_C)
    parks.night()
    hours = {"depot": Position(42.7, -73.8), "weekdays": 0b11111, "from_min": 360, "to_min": 630}
    keep_crew(parks.store, NAME, "Red", **hours)  # type: ignore[arg-type]
    assert heat_on(parks, TODAY) == (10, 6, 10)
