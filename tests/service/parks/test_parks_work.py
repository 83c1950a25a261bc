"""A park's own rules: heat told ahead, caps and bans by area, irrigation off, classes kept their way."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from builders import TURF
from hypothesis import given
from hypothesis import strategies as st
from parks import MORNING, NAME, OUTLINE, POLICY, SQUARE, TODAY, Parks, dry, hot

from mowalert.domain.clock import by_the_clock, summer_min
from mowalert.domain.restrictions import is_in_force, lies_in
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError
from mowalert.service.crew_records import Role, SiteWork
from mowalert.service.crews.crew_setup import NewContact, keep_contact
from mowalert.service.growing.dry_stands import follow_watering
from mowalert.service.growing.watering import turn_off, turn_on
from mowalert.service.lawns.look import see_lawns
from mowalert.service.local.restrictions import NewRestriction, holds_for, lift, read_area, restrict
from mowalert.service.local.where import Where
from mowalert.service.park_records import ClassRule, HeatPlan, RestrictionKind
from mowalert.service.parks.class_rules import close, keep_class

WIDE = [[-73.95, 42.60], [-73.78, 42.60], [-73.78, 42.80], [-73.95, 42.80], [-73.95, 42.60]]
HOLE = [[[-73.81, 42.69], [-73.79, 42.69], [-73.79, 42.71], [-73.81, 42.71], [-73.81, 42.69]]]
SWAPPED = {"type": "Polygon", "coordinates": [[place[::-1] for place in OUTLINE]]}
ZONES = {"America/New_York": -300, "Australia/Adelaide": 570, "Europe/London": 0, "America/Phoenix": -420}


@pytest.fixture
def parks(tmp_path: Path) -> Parks:
    return Parks(tmp_path / "parks.db")


def test_heat_is_told_once_the_evening_before_by_the_clock(parks: Parks) -> None:
    parks.skies.day = hot(34.0)
    assert parks.night(MORNING + timedelta(hours=11)).heat_notices == 0, "four in the afternoon is too early"
    evening = MORNING + timedelta(hours=12)
    assert parks.night(evening).heat_notices == 1
    assert parks.night(evening + timedelta(hours=2)).heat_notices == 0
    (mail,) = parks.mails("Heat on")
    # Standard hour 14 is three in the afternoon by the clock in July.
    assert "about 3:00 pm" in str(mail["subject"])
    assert "Wednesday" in str(mail["subject"])
    assert "employer's heat plan and the law come first" in str(mail["text"])


def test_worse_heat_is_told_once_more_and_milder_heat_is_not(parks: Parks) -> None:
    parks.skies.day = hot(31.0)
    evening = MORNING + timedelta(hours=12)
    parks.night(evening)
    parks.skies.day = hot(30.0)
    assert parks.night(evening + timedelta(hours=5)).heat_notices == 0
    parks.skies.day = hot(38.0)
    next_morning = MORNING + timedelta(days=1)
    assert parks.night(next_morning).heat_notices == 1
    assert parks.night(next_morning + timedelta(hours=3, minutes=30)).heat_notices == 0
    assert len(parks.mails("Hotter than told")) == 1


def test_the_employers_own_thresholds_decide(parks: Parks) -> None:
    parks.skies.day = hot(34.0)
    with parks.store.begin() as work:
        work.parks.keep_heat_plan(HeatPlan(parks.keeper_id, 120.0, 125.0, "the binder", "Kim"))
        work.commit()
    assert parks.night(MORNING + timedelta(hours=12)).heat_notices == 0
    with parks.store.begin() as work:
        work.parks.keep_heat_plan(HeatPlan(parks.keeper_id, 85.0, 90.0, "the binder", "Kim"))
        work.commit()
    assert parks.night(MORNING + timedelta(hours=12)).heat_notices == 1
    (mail,) = parks.mails("Heat on")
    assert "the binder" in str(mail["text"])
    assert "Kim" in str(mail["text"])


def test_old_weather_says_nothing_of_heat(parks: Parks) -> None:
    parks.skies.day = hot(40.0)
    parks.night()
    parks.skies.down = True
    two_days_on = MORNING + timedelta(days=2, hours=12)
    assert parks.night(two_days_on).heat_notices == 0


def test_a_day_off_has_no_heat(parks: Parks) -> None:
    parks.skies.day = hot(40.0)
    friday_evening = datetime(2026, 7, 10, 22, 0, tzinfo=UTC)
    assert parks.night(friday_evening).heat_notices == 0


def test_a_supervisor_reads_of_heat_in_their_language(parks: Parks) -> None:
    person = NewContact("Rosa", Role.SUPERVISOR, email="rosa@example.org", language="es")
    keep_contact(parks.store, NAME, person, now=MORNING)
    parks.skies.day = hot(36.0)
    parks.night(MORNING + timedelta(hours=12))
    (mail,) = parks.mails("Calor el")
    assert mail["address"] == "rosa@example.org"


@given(st.sampled_from(sorted(ZONES)), st.dates(date(2026, 1, 1), date(2027, 12, 30)))
def test_clocks_are_an_hour_ahead_in_summer_or_not_at_all(zone: str, on: date) -> None:
    assert summer_min(zone, ZONES[zone], on) in ((0,) if zone == "America/Phoenix" else (0, 60))


def test_hours_move_with_the_clock() -> None:
    hours = tuple(float(hour) for hour in range(24))
    assert by_the_clock(hours, 0) == hours
    assert by_the_clock(hours, 60)[1:] == hours[:-1]
    assert by_the_clock(hours, 60)[0] != by_the_clock(hours, 60)[0], (
        "midnight to one belongs to the day before"
    )


def test_a_place_lies_in_an_area_and_not_in_its_holes() -> None:
    outline = ((0.0, 0.0), (0.0, 10.0), (10.0, 10.0), (10.0, 0.0))
    hole = ((4.0, 4.0), (4.0, 6.0), (6.0, 6.0), (6.0, 4.0))
    assert lies_in((2.0, 2.0), [outline, hole])
    assert not lies_in((5.0, 5.0), [outline, hole])
    assert not lies_in((11.0, 5.0), [outline, hole])
    assert lies_in((0.0, 5.0), [outline]), "an edge is in"
    over_the_date_line = ((0.0, 179.0), (0.0, -179.0), (2.0, -179.0), (2.0, 179.0))
    assert lies_in((1.0, 180.0), [over_the_date_line])
    assert not lies_in((1.0, 0.0), [over_the_date_line])


@given(st.dates(), st.dates(), st.dates())
def test_a_rule_is_in_force_from_its_first_day_to_its_last(first: date, last: date, on: date) -> None:
    assert is_in_force(first, last, on=on) == (first <= on <= last)
    assert is_in_force(first, None, on=on) == (first <= on)


@pytest.mark.parametrize(
    ("area", "why"),
    [
        ({}, "Polygon"),
        ({"type": "Point", "coordinates": [0, 0]}, "Polygon"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 1], [0, 0]]]}, "at least four"),
        ({"type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 1]]]}, "repeats the first"),
        ({"type": "Polygon", "coordinates": [[[200, 0], [1, 0], [1, 1], [200, 0]]]}, "longitude comes first"),
        ({"type": "Polygon", "coordinates": [[["a", 0], [1, 0], [1, 1], ["a", 0]]]}, "no position"),
        ({"type": "Polygon", "coordinates": "x"}, "a list"),
        ({"type": "FeatureCollection", "features": []}, "no polygon"),
        ({"type": "Feature", "geometry": None}, "Polygon"),
        ({"type": "Feature", "geometry": {"type": "Feature", "geometry": SQUARE}}, "found 'Feature'"),
        ({"type": "MultiPolygon", "coordinates": []}, "no polygon"),
        ({"type": "Polygon", "coordinates": []}, "no polygon"),
        ({"type": "Polygon", "coordinates": [[]]}, "at least four"),
        ({"type": "Polygon", "coordinates": [[[float("nan"), 0]] * 4]}, "no position"),
        (
            {
                "type": "Polygon",
                "coordinates": [[[42.7, -173.8], [42.8, -173.8], [42.8, -173], [42.7, -173.8]]],
            },
            "longitude comes first",
        ),
        ([], "Polygon"),
    ],
)
def test_an_area_that_is_none_is_named(area: object, why: str) -> None:
    with pytest.raises(InputError, match=why):
        read_area(area)


@pytest.mark.parametrize(
    ("polygons", "capped"),
    [
        ([[OUTLINE]], {"Oval"}),
        ([[OUTLINE], [OUTLINE]], {"Oval"}),
        ([[OUTLINE], [WIDE]], {"Oval", "Hill"}),
        ([[OUTLINE, *HOLE], [WIDE]], {"Oval", "Hill"}),
        ([[WIDE, *HOLE]], {"Hill"}),
    ],
)
def test_a_rule_holds_in_each_polygon_of_its_area_but_not_in_its_holes(
    parks: Parks, polygons: list[object], capped: set[str]
) -> None:
    area = read_area({"type": "MultiPolygon", "coordinates": polygons})
    rule = NewRestriction(RestrictionKind.HEIGHT_CAP, "Code 12-4", TODAY, height_cap_mm=60.0, area=area)
    restrict(parks.store, NAME, rule, now=MORNING)
    with parks.store.begin() as work:
        rules = work.parks.restrictions([parks.keeper_id], since=TODAY)[parks.keeper_id]
        sites = work.crews.sites_of(parks.keeper_id)
    assert {site.name for site in sites if holds_for(rules[0], site, on=TODAY)} == capped


def test_an_area_comes_as_geojson_has_it() -> None:
    feature = {
        "type": "FeatureCollection",
        "features": [{"type": "Feature", "geometry": SQUARE, "properties": {}}],
    }
    assert read_area(feature) == read_area(SQUARE)
    both = {"type": "MultiPolygon", "coordinates": [SQUARE["coordinates"], SQUARE["coordinates"]]}
    assert len(read_area(both)) == 2
    ((outline,),) = read_area(SQUARE)
    assert lies_in((42.70, -73.80), [outline])
    with_hole = {"type": "Polygon", "coordinates": [OUTLINE, *HOLE]}
    assert [len(polygon) for polygon in read_area(with_hole)] == [2]


def test_a_cap_of_an_area_is_said_beside_a_hold(parks: Parks) -> None:
    rule = NewRestriction(
        RestrictionKind.HEIGHT_CAP, "Code 12-4", TODAY, height_cap_mm=60.0, area=read_area(SQUARE)
    )
    kept = restrict(parks.store, NAME, rule, now=MORNING)
    parks.night()
    with parks.store.begin() as work:
        seen = {case.site.name: case for case in see_lawns(work, TURF, POLICY, parks.lawn_ids(), MORNING)}
    assert seen["Oval"].facts.height_cap_mm == 60.0
    assert seen["Hill"].facts.height_cap_mm is None
    heat = hot(41.0)
    parks.skies.day = lambda place, on: heat(place, on) if on > TODAY else dry(place, on)
    told = parks.night(MORNING + timedelta(days=1))
    assert told.tell.messages >= 1
    said = [str(mail["text"]) for mail in parks.mails("hold starts")]
    assert any(
        "maximum height" in text and ("both apply" in text or "applies as well" in text) for text in said
    )
    lift(parks.store, NAME, kept.restriction_id, first_free_on=TODAY, now=MORNING)
    with pytest.raises(InputError, match="no restriction"):
        lift(parks.store, NAME, kept.restriction_id, first_free_on=TODAY, now=MORNING)


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"kind": RestrictionKind.HEIGHT_CAP}, "height cap is"),
        ({"sites": ()}, "say where"),
        ({"sites": ("Nowhere",)}, "no site 'Nowhere'"),
        ({"sites": ("",)}, "no site ''"),
        ({"sites": ("Oval", " ")}, "no site ' '"),
        ({"area": read_area(SWAPPED), "sites": ()}, "no site of River Parks lies in the area"),
        ({"name": ""}, "a name"),
        ({"last_on": TODAY - timedelta(days=1)}, "before"),
        ({"height_cap_mm": 50.0}, "only a height cap"),
    ],
)
def test_a_rule_that_cannot_be_is_refused(parks: Parks, changed: dict[str, object], why: str) -> None:
    fine = NewRestriction(RestrictionKind.WATERING_OFF, "Stage 3", TODAY, sites=("Oval",))
    rule = replace(fine, **changed)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=why):
        restrict(parks.store, NAME, rule, now=MORNING)


def test_grass_without_water_grows_on_from_where_it_stands_and_then_less(parks: Parks) -> None:
    parks.night()
    before = parks.heights(1)
    kept = turn_off(
        parks.store, NAME, Where(sites=("Oval",)), first_on=TODAY, last_on=None, note="pump", now=MORNING
    )
    parks.night(MORNING + timedelta(minutes=30))
    after = parks.heights(1)
    assert after[0] == pytest.approx(before[0], abs=0.1)
    assert all(dry <= wet + 0.05 for dry, wet in zip(after, before, strict=True))
    for ahead in range(1, 21):
        parks.night(MORNING + timedelta(days=ahead))
    now = MORNING + timedelta(days=20)
    with parks.store.begin() as work:
        lawns = {lawn.lawn_id: lawn for lawn in work.lawns.get(parks.lawn_ids())}
    assert lawns[1].told_hold in (HoldReason.DROUGHT, HoldReason.DORMANT, HoldReason.HEAT)
    assert lawns[2].told_hold is None, "what is watered grows on"
    before = parks.heights(1, now=now)
    turn_on(parks.store, NAME, [kept[0].off_id], first_wet_on=TODAY + timedelta(days=21), now=now)
    parks.night(now + timedelta(minutes=30))
    after = parks.heights(1, now=now + timedelta(minutes=30))
    assert after[0] == pytest.approx(before[0], abs=0.1)
    assert after[-1] > before[-1] + 5


def test_a_lawn_is_moved_once_and_comes_back_long_after_the_end(parks: Parks) -> None:
    parks.night()
    last = TODAY + timedelta(days=3)
    turn_off(parks.store, NAME, Where(), first_on=TODAY, last_on=last, note="", now=MORNING)
    assert follow_watering(parks.store, TURF, today=TODAY) == 2
    assert follow_watering(parks.store, TURF, today=TODAY) == 0
    assert follow_watering(parks.store, TURF, today=last + timedelta(days=45)) == 0
    assert follow_watering(parks.store, TURF, today=last + timedelta(days=46)) == 2


def test_a_watering_ban_dries_what_lies_in_its_area(parks: Parks) -> None:
    parks.night()
    rule = NewRestriction(
        RestrictionKind.WATERING_OFF, "Stage 3", TODAY, note="No sprinklers.", area=read_area(SQUARE)
    )
    restrict(parks.store, NAME, rule, now=MORNING)
    assert follow_watering(parks.store, TURF, today=TODAY) == 1
    for ahead in range(21):
        parks.night(MORNING + timedelta(days=ahead))
    assert any("Stage 3. No sprinklers." in str(mail["text"]) for mail in parks.mails("hold starts"))


def test_irrigation_that_is_not_there_cannot_be_off(parks: Parks) -> None:
    with pytest.raises(InputError, match="no such lawn is watered"):
        turn_off(
            parks.store, NAME, Where(sites=("Verge",)), first_on=TODAY, last_on=None, note="", now=MORNING
        )
    with pytest.raises(InputError, match="before"):
        turn_off(
            parks.store,
            NAME,
            Where(),
            first_on=TODAY,
            last_on=TODAY - timedelta(days=1),
            note="",
            now=MORNING,
        )
    with pytest.raises(InputError, match="no irrigation off"):
        turn_on(parks.store, NAME, [7], first_wet_on=TODAY, now=MORNING)


def test_a_class_is_kept_its_way_and_grows_on_from_where_it_stands(parks: Parks) -> None:
    parks.night()
    before = parks.heights(1)[0]
    kept, changed = keep_class(parks.store, TURF, NAME, ClassRule(0, "sports", 40.0, 0.25, call="Dana"))
    assert (kept.height_mm, changed) == (40.0, 1)
    parks.night(MORNING + timedelta(minutes=30))
    with parks.store.begin() as work:
        lawn = work.lawns.get([1])[0]
    assert (lawn.chosen_mm, lawn.third) == (40.0, 0.25)
    assert parks.heights(1)[0] == pytest.approx(before, rel=0.2)
    assert keep_class(parks.store, TURF, NAME, ClassRule(0, "sports", 40.0, 0.25))[1] == 0


@pytest.mark.parametrize(
    ("rule", "why"),
    [
        (ClassRule(0, "sports", 40.0, 0.5), "limit of 0.5"),
        (ClassRule(0, "sports", 5.0), "is kept at"),
        (ClassRule(0, "pitch", 40.0), "no such lawn"),
        (ClassRule(0, "", 40.0), "which turf class"),
    ],
)
def test_a_class_that_cannot_be_kept_so_is_refused_whole(parks: Parks, rule: ClassRule, why: str) -> None:
    with pytest.raises(InputError, match=why):
        keep_class(parks.store, TURF, NAME, rule)
    with parks.store.begin() as work:
        assert work.parks.rules(parks.keeper_id) == {}
        assert work.lawns.get([1])[0].chosen_mm == 50.0


def test_a_class_that_ignores_a_hold_is_mown_on(parks: Parks) -> None:
    ignored = (HoldReason.DROUGHT, HoldReason.DORMANT, HoldReason.HEAT)
    keep_class(parks.store, TURF, NAME, ClassRule(0, "road_verge", ignores=ignored))
    for ahead in range(40):
        parks.night(MORNING + timedelta(days=ahead))
    with parks.store.begin() as work:
        held = {line.lawn_id for line in work.parks.hold_log(parks.keeper_id, first=date.min, last=date.max)}
    assert 3 not in held


def test_closed_days_are_kept_for_every_lawn_or_none(parks: Parks) -> None:
    with parks.store.begin() as work:
        sites = work.crews.sites_of(parks.keeper_id)
        work.crews.keep_sites([SiteWork(one.site_id, parks.keeper_id, district="North") for one in sites[:2]])
        work.commit()
    days = {
        "reason": HoldReason.EVENT,
        "first_on": TODAY,
        "last_on": TODAY + timedelta(days=2),
        "note": "concert",
    }
    kept = close(parks.store, NAME, Where(district="north"), now=MORNING, **days)
    assert len(kept) == 2
    days["last_on"] = TODAY - timedelta(days=9)
    with pytest.raises(InputError):
        close(parks.store, NAME, Where(), now=MORNING, **days)
    with parks.store.begin() as work:
        assert len(work.lawns.kept_off(parks.lawn_ids(), since=date.min)) == 2
