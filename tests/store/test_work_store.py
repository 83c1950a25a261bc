"""Crews, contacts, plans, visits and the holds of turf classes come out of the store as they went in."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
import sqlalchemy as sa
from builders import NOW, THURSDAY, a_keeper, a_lawn_record, a_message
from stores import contents

from mowalert.domain.stand import StandKey
from mowalert.domain.words import Channel, Clippings, HoldReason, Sun, Watering
from mowalert.errors import StoreError
from mowalert.links import Links
from mowalert.service.crew_records import (
    ContactRecord,
    CrewDayRecord,
    CrewRecord,
    LawnWork,
    Outcome,
    PlanRecord,
    Role,
    SiteWork,
    SkipReason,
    VisitRecord,
)
from mowalert.service.keepers.privacy import erase, own_data
from mowalert.service.park_records import (
    ClassHoldRecord,
    ClassRule,
    HeatNotice,
    HeatPlan,
    HeldLawn,
    HoldLogRecord,
    HoldStep,
    RestrictionKind,
    RestrictionRecord,
    WateringOff,
)
from mowalert.service.ports import Work
from mowalert.service.records import SiteRecord
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import _run, downgrade, upgrade

EVER = {"first": date.min, "last": date.max}
TRIANGLE = ((((42.0, -73.0), (42.0, -72.0), (43.0, -72.5)),),)


def an_organisation(work: Work, key: str = "green") -> tuple[int, int, int]:
    """An organisation with one site and one lawn; keeper, site, lawn."""
    cell_id = work.weather.ensure_cell(42.75, -73.75, -300)
    stand_id = work.stands.ensure(cell_id, StandKey("kentucky_bluegrass", "loam", 3, Sun.FULL, Watering.NONE))
    round_id = work.rounds.ensure(
        daily_list=True, time_zone="America/New_York", weekdays=31, minute_of_day=330, mixed=False
    )
    keeper_id = work.keepers.add(a_keeper(key=key, round_id=round_id))
    site, _ = work.keepers.ensure_site(SiteRecord(0, keeper_id, "a", "A", "", 42.75, -73.75, cell_id))
    lawn_id = work.lawns.add(
        a_lawn_record(
            site_id=site.site_id, keeper_id=keeper_id, round_id=round_id, stand_id=stand_id, key="l"
        )
    )
    return keeper_id, site.site_id, lawn_id


def a_crew(keeper_id: int) -> CrewRecord:
    return CrewRecord(0, keeper_id, "north", "North", 42.7, -73.8, 31, 420, 930)


def a_contact(keeper_id: int) -> ContactRecord:
    return ContactRecord(
        contact_id=0,
        keeper_id=keeper_id,
        key="ana",
        name="Ana",
        role=Role.CREW_LEAD,
        crew_id=None,
        email="ana@example.org",
        phone=None,
        language="es",
        consent_at=NOW,
        consent_from="the office",
    )


def a_visit(keeper_id: int, lawn_id: int) -> VisitRecord:
    return VisitRecord(
        visit_id=0,
        keeper_id=keeper_id,
        lawn_id=lawn_id,
        crew_id=None,
        on=THURSDAY,
        outcome=Outcome.DONE,
        reason=None,
        note="",
        minutes=24.0,
        height_mm=75.0,
        clippings=Clippings.LEAVE,
        removed=0.3,
        event_id=None,
        reported_by="Ana",
        reported_at=NOW,
    )


def a_hold(keeper_id: int) -> ClassHoldRecord:
    return ClassHoldRecord(0, keeper_id, "sports", "North", HoldReason.HEAT, THURSDAY, THURSDAY)


def a_restriction(keeper_id: int, site_id: int) -> RestrictionRecord:
    return RestrictionRecord(
        restriction_id=0,
        keeper_id=keeper_id,
        kind=RestrictionKind.HEIGHT_CAP,
        name="Code 12-4",
        first_on=THURSDAY,
        last_on=None,
        height_cap_mm=200.0,
        note="",
        polygons=TRIANGLE,
        site_ids=(site_id,),
        said_at=NOW,
    )


def test_a_crew_of_the_same_name_is_changed_and_not_doubled(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, *_ = an_organisation(work)
        crew_id = work.crews.keep_crew(a_crew(keeper_id))
        assert work.crews.keep_crew(replace(a_crew(keeper_id), to_min=960)) == crew_id
        assert work.crews.crews(keeper_id) == [replace(a_crew(keeper_id), crew_id=crew_id, to_min=960)]
        day = CrewDayRecord(crew_id, THURSDAY, 0, 0, "training")
        work.crews.keep_hours(replace(day, note="?"))
        work.crews.keep_hours(day)
        assert work.crews.hours([crew_id], first=THURSDAY, last=THURSDAY) == [day]


def test_a_contact_who_is_removed_is_sent_nothing_that_waits(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, *_ = an_organisation(work)
        contact_id = work.crews.keep_contact(a_contact(keeper_id))
        known = replace(a_contact(keeper_id), contact_id=contact_id)
        assert work.crews.contacts(keeper_id) == [known]
        assert work.crews.contact(contact_id) == known
        assert work.crews.contacts_at(Channel.EMAIL, "ana@example.org") == [known]
        own, theirs = a_message(keeper_id=keeper_id), a_message(keeper_id=keeper_id, contact_id=contact_id)
        assert work.outbox.add(own)
        assert work.outbox.add(theirs), "one day's message to somebody else is another message"
        assert not work.outbox.add(theirs)
        assert work.crews.remove_contact(contact_id)
        assert not work.crews.remove_contact(contact_id)
        assert work.outbox.states() == {"ready": 1}


def test_a_suspended_contact_hears_nothing_while_the_keeper_still_does(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, *_ = an_organisation(work)
        contact_id = work.crews.keep_contact(a_contact(keeper_id))
        work.outbox.add(a_message(keeper_id=keeper_id))
        work.outbox.add(a_message(keeper_id=keeper_id, contact_id=contact_id))
        work.crews.suspend_contact(contact_id, Channel.EMAIL, "gone")
        found = work.crews.contact(contact_id)
        assert found is not None
        assert found.email_suspended == "gone"
        assert work.outbox.states() == {"ready": 1, "cancelled": 1}


def test_a_keeper_who_stops_does_not_stop_their_people(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, *_ = an_organisation(work)
        contact_id = work.crews.keep_contact(a_contact(keeper_id))
        work.outbox.add(a_message(keeper_id=keeper_id))
        work.outbox.add(a_message(keeper_id=keeper_id, contact_id=contact_id))
        assert work.outbox.cancel_waiting(keeper_id, {Channel.EMAIL}, at=NOW) == 1
        assert work.outbox.cancel_older([keeper_id], THURSDAY + timedelta(days=1), at=NOW) == 0
        assert work.outbox.states() == {"ready": 1, "cancelled": 1}


def test_what_is_known_of_the_work_comes_out(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, site_id, lawn_id = an_organisation(work)
        facts = SiteWork(site_id, keeper_id, "17", "A. Client", "by the lane", "4711", "friendly", "North")
        work.crews.keep_sites([SiteWork(site_id, keeper_id)])
        work.crews.keep_sites([facts])
        work.crews.keep_lawns([LawnWork(lawn_id, 35.0, 31.5, 4)])
        assert work.crews.sites(keeper_id) == {site_id: facts}
        assert work.crews.lawns([lawn_id, 99]) == {lawn_id: LawnWork(lawn_id, 35.0, 31.5, 4)}
        assert [site.site_id for site in work.crews.sites_of(keeper_id)] == [site_id]


def test_a_day_has_one_plan_of_a_version_and_the_newest_counts(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, *_ = an_organisation(work)
        first = PlanRecord(0, keeper_id, THURSDAY, 1, "morning", NOW, {"crews": []})
        assert work.crews.keep_plan(first)
        assert not work.crews.keep_plan(replace(first, why="again"))
        assert work.crews.keep_plan(replace(first, version=2, why="rain"))
        newest, oldest = work.crews.plan(keeper_id, THURSDAY), work.crews.plan(keeper_id, THURSDAY, version=1)
        assert newest is not None
        assert oldest is not None
        assert (newest.version, newest.why, oldest.facts) == (2, "rain", {"crews": []})
        assert work.crews.plans(keeper_id, first=THURSDAY, last=THURSDAY) == [newest]
        assert work.crews.plan(keeper_id, THURSDAY + timedelta(days=1)) is None


def test_a_visit_can_be_undone_once(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, _, lawn_id = an_organisation(work)
        skipped = replace(
            a_visit(keeper_id, lawn_id), outcome=Outcome.SKIPPED, reason=SkipReason.DOG, clippings=None
        )
        ids = work.crews.add_visits([a_visit(keeper_id, lawn_id), skipped])
        seen = work.crews.visits(keeper_id, **EVER, lawn_ids=[lawn_id])
        assert seen == [
            replace(a_visit(keeper_id, lawn_id), visit_id=ids[0]),
            replace(skipped, visit_id=ids[1]),
        ]
        assert work.crews.undo_visit(ids[0], at=NOW) == seen[0]
        assert work.crews.undo_visit(ids[0], at=NOW) is None
        assert work.crews.undo_visit(99, at=NOW) is None
        assert work.crews.visits(keeper_id, **EVER) == seen[1:]


def test_a_class_has_one_open_hold_in_a_district(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, _, lawn_id = an_organisation(work)
        hold_id = work.parks.open_hold(a_hold(keeper_id))
        work.parks.keep_held([HeldLawn(hold_id, lawn_id, HoldReason.HEAT, THURSDAY)])
        work.parks.keep_held([HeldLawn(hold_id, lawn_id, HoldReason.DROUGHT, THURSDAY, THURSDAY)])
        assert work.parks.held([hold_id]) == [
            HeldLawn(hold_id, lawn_id, HoldReason.DROUGHT, THURSDAY, THURSDAY)
        ]
        opened = replace(a_hold(keeper_id), hold_id=hold_id)
        assert work.parks.open_holds(keeper_id) == [opened]
        work.parks.change_hold(replace(opened, released_on=THURSDAY))
        assert work.parks.open_holds(keeper_id) == []
        assert work.parks.class_holds(keeper_id, **EVER) == [replace(opened, released_on=THURSDAY)]
        assert work.parks.open_hold(a_hold(keeper_id)) != hold_id
        work.commit()

    def open_another() -> None:
        with store.begin() as work:
            work.parks.open_hold(a_hold(keeper_id))

    with pytest.raises(StoreError):
        open_another()


def test_rules_log_restrictions_and_heat_come_out(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, site_id, lawn_id = an_organisation(work)
        rule = ClassRule(keeper_id, "sports", 30.0, 0.3, (HoldReason.COLD,), "watered turf, early", "Dana")
        work.parks.keep_rule(replace(rule, height_mm=None))
        work.parks.keep_rule(rule)
        assert work.parks.rules(keeper_id) == {"sports": rule}
        hold_id = work.parks.open_hold(a_hold(keeper_id))
        line = HoldLogRecord(
            0,
            keeper_id,
            lawn_id,
            hold_id,
            THURSDAY,
            HoldStep.STARTED,
            HoldReason.HEAT,
            ("Dana, email",),
            NOW,
            {},
        )
        work.parks.log([line, replace(line, step=HoldStep.RELEASED, told=())])
        logged = work.parks.hold_log(keeper_id, **EVER, lawn_ids=[lawn_id])
        assert [(one.step, one.told) for one in logged] == [
            (HoldStep.STARTED, ("Dana, email",)),
            (HoldStep.RELEASED, ()),
        ]
        number = work.parks.restrict(a_restriction(keeper_id, site_id))
        kept = replace(a_restriction(keeper_id, site_id), restriction_id=number)
        assert work.parks.restrictions([keeper_id], since=date.max) == {keeper_id: [kept]}
        kept_before = replace(a_restriction(keeper_id, site_id), polygons=TRIANGLE[0])
        outlines = work.parks.restrict(kept_before)
        assert work.parks.restrictions([keeper_id], since=date.max)[keeper_id][1].polygons == TRIANGLE
        work.parks.lift(replace(kept_before, restriction_id=outlines), last_on=date.min, at=NOW)
        lifted = replace(kept, last_on=kept.first_on + timedelta(days=3))
        assert work.parks.lift(kept, last_on=lifted.last_on, at=NOW) == lifted
        assert work.parks.restrictions([keeper_id], since=lifted.last_on) == {keeper_id: [lifted]}
        assert work.parks.restrictions([keeper_id], since=lifted.last_on + timedelta(days=1)) == {}
        never = work.parks.lift(kept, last_on=kept.first_on - timedelta(days=1), at=NOW)
        assert never == replace(kept, undone_at=NOW)
        assert work.parks.restrictions([keeper_id], since=date.min) == {}
        off = WateringOff(0, keeper_id, lawn_id, THURSDAY, None, "pump", NOW)
        off_id = work.parks.turn_off(off)
        assert work.parks.watering_off(None, since=date.max) == [replace(off, off_id=off_id)]
        ended = work.parks.turn_on(replace(off, off_id=off_id), last_on=THURSDAY, at=NOW)
        assert ended == replace(off, off_id=off_id, last_on=THURSDAY)
        assert work.parks.watering_off(keeper_id, since=THURSDAY) == [ended]
        assert work.parks.watering_off(keeper_id, since=THURSDAY + timedelta(days=1)) == []
        assert work.parks.heat_plan(keeper_id) is None
        work.parks.keep_heat_plan(HeatPlan(keeper_id, 85.0, None, "the binder", "555"))
        assert work.parks.heat_plan(keeper_id) == HeatPlan(keeper_id, 85.0, None, "the binder", "555")
        told = HeatNotice(keeper_id, THURSDAY, "evening", 96.5, True, NOW)
        assert work.parks.note_heat(told)
        assert not work.parks.note_heat(told)
        assert work.parks.heat_notices(keeper_id, **EVER) == [told]


def filled(work: Work, key: str) -> int:
    """An organisation of which there is something in every table of work."""
    keeper_id, site_id, lawn_id = an_organisation(work, key)
    crew_id = work.crews.keep_crew(a_crew(keeper_id))
    work.crews.keep_hours(CrewDayRecord(crew_id, THURSDAY, 0, 0))
    work.crews.keep_contact(replace(a_contact(keeper_id), crew_id=crew_id))
    work.crews.keep_sites([SiteWork(site_id, keeper_id)])
    work.crews.keep_lawns([LawnWork(lawn_id, crew_id=crew_id)])
    work.crews.keep_plan(PlanRecord(0, keeper_id, THURSDAY, 1, "morning", NOW, {}))
    work.crews.add_visits([replace(a_visit(keeper_id, lawn_id), crew_id=crew_id)])
    work.parks.keep_rule(ClassRule(keeper_id, "sports"))
    hold_id = work.parks.open_hold(a_hold(keeper_id))
    work.parks.keep_held([HeldLawn(hold_id, lawn_id, HoldReason.HEAT, THURSDAY)])
    work.parks.log(
        [
            HoldLogRecord(
                0, keeper_id, lawn_id, hold_id, THURSDAY, HoldStep.STARTED, HoldReason.HEAT, (), NOW, {}
            )
        ]
    )
    work.parks.restrict(a_restriction(keeper_id, site_id))
    work.parks.turn_off(WateringOff(0, keeper_id, lawn_id, THURSDAY, None, "pump", NOW))
    work.parks.keep_heat_plan(HeatPlan(keeper_id))
    work.parks.note_heat(HeatNotice(keeper_id, THURSDAY, "evening", 96.5, True, NOW))
    return keeper_id


OF_WORK = (
    "crew", "crew_day", "contact", "site_work", "lawn_work", "day_plan", "visit", "class_rule", "class_hold",
    "held_lawn", "hold_log", "restriction", "watering_off", "heat_plan", "heat_notice",
)  # fmt: skip


def test_whoever_leaves_takes_all_their_work_along(store: SqlStore) -> None:
    with store.begin() as work:
        keeper_id, other_id = filled(work, "green"), filled(work, "blue")
        work.commit()
    before = contents(store.url)
    assert all(len(before[name]) == 2 for name in OF_WORK)
    told = own_data(store, keeper_id)
    assert told is not None
    assert [contact["name"] for contact in told["contacts"]] == ["Ana"]
    assert all(
        told[name] for name in ("crews", "crew_hours", "visits", "hold_log", "heat_told", "restrictions")
    )
    assert erase(store, Links("", "secret"), keeper_id, at=NOW)
    after = contents(store.url)
    assert {name: len(after[name]) for name in OF_WORK} == dict.fromkeys(OF_WORK, 1)
    with store.begin() as work:
        assert len(work.crews.contacts(other_id)) == 1


def test_who_comes_after_somebody_was_erased_answers_to_none_of_their_links(store: SqlStore) -> None:
    with store.begin() as work:
        gone = filled(work, "green")
        lawns = {lawn.lawn_id for lawn in work.lawns.of_keepers([gone])}
        contacts = {contact.contact_id for contact in work.crews.contacts(gone)}
        sites = {site.site_id for site in work.crews.sites_of(gone)}
        work.commit()
    erase(store, Links("", "secret"), gone, at=NOW)
    with store.begin() as work:
        came = filled(work, "blue")
        assert came != gone
        assert not lawns & {lawn.lawn_id for lawn in work.lawns.of_keepers([came])}
        assert not contacts & {contact.contact_id for contact in work.crews.contacts(came)}
        assert not sites & {site.site_id for site in work.crews.sites_of(came)}
    assert lawns
    assert contacts
    assert sites


def test_a_store_of_before_is_brought_up_with_everything_in_it(store_url: str) -> None:
    upgrade(store_url)
    kept = SqlStore(store_url)
    with kept.begin() as work:
        keeper_id, *_ = an_organisation(work)
        work.outbox.add(a_message(keeper_id=keeper_id))
        work.commit()
    kept.close()
    downgrade(store_url, "0006")
    before = contents(store_url)
    assert "crew" not in before
    upgrade(store_url)
    after = contents(store_url)
    engine = open_engine(store_url)
    indexes = {one["name"] for one in sa.inspect(engine).get_indexes("outbox")}
    engine.dispose()
    assert {"ix_outbox_waiting", "ix_outbox_rfc_message_id"} <= indexes
    assert all(len(after[name]) == len(rows) for name, rows in before.items())
    kept = SqlStore(store_url)
    with kept.begin() as work:
        assert work.outbox.states() == {"ready": 1}
        filled(work, "after")
        work.commit()
    kept.close()


def test_tables_are_not_brought_up_over_a_broken_reference(tmp_path_factory: pytest.TempPathFactory) -> None:
    url = f"sqlite:///{tmp_path_factory.mktemp('broken') / 'mowalert.db'}"
    _run(url, "0006", __import__("alembic.command", fromlist=["upgrade"]).upgrade)
    engine = sa.create_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql(
            "INSERT INTO stand (cell_id, grass, soil, rooting, sun, watering)"
            " VALUES (9, 'a', 'b', 1, 'c', 'd')"
        )
    engine.dispose()
    with pytest.raises(StoreError, match="lost its cell"):
        upgrade(url)
