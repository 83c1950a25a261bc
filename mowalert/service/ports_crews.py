"""What the use cases of companies and parks ask of the store."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Protocol

from mowalert.domain.day_sheet import DaySheet, SheetReader, WeekSummary
from mowalert.domain.notices import RenderedEmail
from mowalert.domain.words import Channel, HoldReason
from mowalert.service.crew_records import (
    ContactRecord,
    CrewDayRecord,
    CrewRecord,
    LawnWork,
    PlanRecord,
    SiteWork,
    VisitRecord,
)
from mowalert.service.park_records import (
    ClassHoldRecord,
    ClassRule,
    HeatNotice,
    HeatPlan,
    HeldLawn,
    HoldLogRecord,
    HoldStep,
    RestrictionRecord,
    WateringOff,
)
from mowalert.service.records import SiteRecord


class CrewWords(Protocol):
    """Turns the facts of a company's day and week into messages."""

    def whole_list(self, sheet: DaySheet, to: SheetReader) -> RenderedEmail:
        """Word the whole day for a dispatcher."""

    def crew_list(self, sheet: DaySheet, crew_id: int, to: SheetReader) -> RenderedEmail:
        """Word one crew's day for its lead."""

    def crew_text(self, sheet: DaySheet, crew_id: int, to: SheetReader) -> str:
        """Word one crew's day as a short message."""

    def week(self, week: WeekSummary, to: SheetReader) -> RenderedEmail:
        """Word the weekly summary for an owner."""


class Crews(Protocol):
    """Crews, contacts, and what is known of the work at sites."""

    def keep_crew(self, crew: CrewRecord) -> int:
        """Keep a crew, newer over older of the same key; its id is given back."""

    def crews(self, keeper_id: int) -> list[CrewRecord]:
        """Crews of an organisation, in order of id, the retired ones too."""

    def keep_hours(self, day: CrewDayRecord) -> None:
        """Keep other hours of a crew for one day, newer over older."""

    def hours(self, crew_ids: Sequence[int], *, first: date, last: date) -> list[CrewDayRecord]:
        """Other hours of crews on some days, both included."""

    def keep_contact(self, contact: ContactRecord) -> int:
        """Keep a contact, newer over older of the same key; its id is given back."""

    def contacts(self, keeper_id: int) -> list[ContactRecord]:
        """Contacts of an organisation, in order of id."""

    def contact(self, contact_id: int) -> ContactRecord | None:
        """One contact."""

    def contacts_at(self, channel: Channel, address: str) -> list[ContactRecord]:
        """Contacts of any organisation with an e-mail address or a phone number, in order of id."""

    def suspend_contact(self, contact_id: int, channel: Channel, reason: str) -> None:
        """Send nothing more to a contact's address, and cancel what waits for it."""

    def remove_contact(self, contact_id: int) -> bool:
        """Forget a contact and what waits for them; ``False`` if there is none of that id."""

    def keep_sites(self, sites: Sequence[SiteWork]) -> None:
        """Keep what is known of the work at sites, newer over older."""

    def sites(self, keeper_id: int) -> dict[int, SiteWork]:
        """What is known of an organisation's sites, by site; those without are absent."""

    def sites_of(self, keeper_id: int) -> list[SiteRecord]:
        """Every site of an organisation, in order of id."""

    def keep_lawns(self, lawns: Sequence[LawnWork]) -> None:
        """Keep what is known of the work at lawns, newer over older."""

    def lawns(self, lawn_ids: Sequence[int]) -> dict[int, LawnWork]:
        """What is known of the work at lawns, by lawn; those without are absent."""

    def keep_plan(self, plan: PlanRecord) -> bool:
        """Keep a plan; ``False`` if the day has one of that version already."""

    def plan(self, keeper_id: int, on: date, *, version: int | None = None) -> PlanRecord | None:
        """A day's plan of a version, or the newest."""

    def plans(self, keeper_id: int, *, first: date, last: date) -> list[PlanRecord]:
        """The newest plan of each of some days, both included, in order of day."""

    def driving(self, keeper_id: int, *, first: date, last: date) -> list[tuple[float, int]]:
        """Minutes driven and stops of the newest plan of each of some days, both included."""

    def add_visits(self, visits: Sequence[VisitRecord]) -> list[int]:
        """Keep visits; their ids are given back in order."""

    def visit(self, visit_id: int) -> VisitRecord | None:
        """One visit."""

    def visits(
        self, keeper_id: int, *, first: date, last: date, lawn_ids: Sequence[int] | None = None
    ) -> list[VisitRecord]:
        """Visits on some days, both included, not undone; of all lawns of an organisation, or of some."""

    def undo_visit(self, visit_id: int, *, at: datetime) -> VisitRecord | None:
        """Undo a visit and return it as it was; none if there is none or it was undone before."""


class Parks(Protocol):
    """Turf classes, their holds and log, restrictions, irrigation and the crews' heat."""

    def keep_rule(self, rule: ClassRule) -> None:
        """Keep how a turf class is kept, newer over older."""

    def rules(self, keeper_id: int) -> dict[str, ClassRule]:
        """Rules of an organisation by turf class in small letters."""

    def ignoring(self, keeper_ids: Sequence[int]) -> dict[tuple[int, str], tuple[HoldReason, ...]]:
        """Holds that classes ignore, by organisation and class in small letters, where there are any."""

    def with_open_holds(self, round_ids: Sequence[int]) -> list[int]:
        """Organisations of some rounds whose classes have holds that were not released."""

    def open_hold(self, hold: ClassHoldRecord) -> int:
        """Keep a new hold of a class; its id is given back."""

    def change_hold(self, hold: ClassHoldRecord) -> None:
        """Keep a changed hold."""

    def open_holds(self, keeper_id: int) -> list[ClassHoldRecord]:
        """Holds of an organisation's classes that were not released, in order of id."""

    def class_holds(self, keeper_id: int, *, first: date, last: date) -> list[ClassHoldRecord]:
        """Holds of an organisation that touch some days, both included, in order of id."""

    def keep_held(self, lawns: Sequence[HeldLawn]) -> None:
        """Keep lawns of holds, newer over older."""

    def held(self, hold_ids: Sequence[int]) -> list[HeldLawn]:
        """Lawns of holds, by hold and lawn."""

    def log(self, lines: Sequence[HoldLogRecord]) -> None:
        """Add lines to the hold log."""

    def logged(self, hold_id: int, step: HoldStep) -> set[int]:
        """Ids of lawns of which a hold's log has a step."""

    def hold_log(
        self, keeper_id: int, *, first: date, last: date, lawn_ids: Sequence[int] | None = None
    ) -> list[HoldLogRecord]:
        """The hold log of some days, both included, in order."""

    def restrict(self, restriction: RestrictionRecord) -> int:
        """Keep a restriction; its number is given back."""

    def lift(self, rule: RestrictionRecord, *, last_on: date, at: datetime) -> RestrictionRecord:
        """End a restriction on a day; one that ends before it begins is taken back and not found any more."""

    def restrictions(
        self, keeper_ids: Sequence[int] | None, *, since: date
    ) -> dict[int, list[RestrictionRecord]]:
        """Restrictions by organisation that do not end before a date; of all where none are named."""

    def turn_off(self, off: WateringOff) -> int:
        """Keep that a lawn's irrigation is off; the number is given back."""

    def turn_on(self, off: WateringOff, *, last_on: date, at: datetime) -> WateringOff:
        """End that on a day, as a restriction is ended."""

    def watering_off(self, keeper_id: int | None, *, since: date) -> list[WateringOff]:
        """Irrigation that is off, of one organisation or of all, and does not end before a date."""

    def dry_lawns(self) -> list[int]:
        """Ids of lawns whose stands have days without the usual watering."""

    def keep_heat_plan(self, plan: HeatPlan) -> None:
        """Keep an employer's thresholds, newer over older."""

    def heat_plan(self, keeper_id: int) -> HeatPlan | None:
        """An employer's thresholds; none where they never said any."""

    def note_heat(self, notice: HeatNotice) -> bool:
        """Remember that a day's heat was told; ``False`` if that step was told before."""

    def heat_notices(self, keeper_id: int, *, first: date, last: date) -> list[HeatNotice]:
        """What was told of the heat of some days, both included, in order."""
