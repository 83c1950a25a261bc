"""What the store keeps of a company's or a park's work: crews, contacts, plans, visits."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from mowalert.domain.words import Clippings


class Role(StrEnum):
    """What a contact of an organisation is sent.

    A dispatcher gets the whole list, a crew lead their crew's part, an owner the weekly summary and holds
    that run long, a supervisor holds, releases and the crews' heat.
    """

    DISPATCHER = "dispatcher"
    CREW_LEAD = "crew_lead"
    OWNER = "owner"
    SUPERVISOR = "supervisor"


@dataclass(frozen=True, slots=True)
class ContactRecord:
    """A person of an organisation who is written to; ``key`` is their name without regard to case.

    ``crew_id`` is the crew a lead leads. ``link_version`` makes their older links void.
    """

    contact_id: int
    keeper_id: int
    key: str
    name: str
    role: Role
    crew_id: int | None
    email: str | None
    phone: str | None
    language: str
    consent_at: datetime
    consent_from: str
    email_suspended: str | None = None
    phone_suspended: str | None = None
    link_version: int = 0


@dataclass(frozen=True, slots=True)
class CrewRecord:
    """A crew: its depot in degrees, its weekdays (bit 0 Monday), its hours in minutes from local midnight."""

    crew_id: int
    keeper_id: int
    key: str
    name: str
    latitude_deg: float
    longitude_deg: float
    weekdays: int
    from_min: int
    to_min: int
    retired: bool = False


@dataclass(frozen=True, slots=True)
class CrewDayRecord:
    """Other hours of a crew on one day; none at all where ``from_min`` equals ``to_min``."""

    crew_id: int
    on: date
    from_min: int
    to_min: int
    note: str = ""


@dataclass(frozen=True, slots=True)
class SiteWork:
    """What people who work at a site must know, and when they may come; ``number`` is the office's own."""

    site_id: int
    keeper_id: int
    number: str = ""
    client: str = ""
    access: str = ""
    gate: str = ""
    dog: str = ""
    district: str = ""
    visit_from_min: int | None = None
    visit_to_min: int | None = None


@dataclass(frozen=True, slots=True)
class LawnWork:
    """How long a lawn takes and who cuts it.

    ``minutes`` is what the office says; ``learned_minutes`` the mean of ``learned_visits`` recorded
    visits. ``crew_id`` is the crew that must do it.
    """

    lawn_id: int
    minutes: float | None = None
    learned_minutes: float | None = None
    learned_visits: int = 0
    crew_id: int | None = None


@dataclass(frozen=True, slots=True)
class PlanRecord:
    """One version of an organisation's plan for a day, as plain values, and why it was made."""

    plan_id: int
    keeper_id: int
    on: date
    version: int
    why: str
    made_at: datetime
    facts: dict[str, Any]


class Outcome(StrEnum):
    """What became of a visit."""

    DONE = "done"
    SKIPPED = "skipped"


class SkipReason(StrEnum):
    """Why a visit was skipped."""

    RAIN = "rain"
    NO_TIME = "no_time"
    LOCKED = "locked"
    DOG = "dog"
    TOO_WET = "too_wet"
    HELD = "held"
    CLIENT = "client"
    MACHINE = "machine"
    NOT_NEEDED = "not_needed"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class VisitRecord:
    """A visit to a lawn: done or skipped, and why. Minutes and height in mm where they were told.

    ``event_id`` is the mowing it made known, ``removed`` the share of the blade that took by the model.
    """

    visit_id: int
    keeper_id: int
    lawn_id: int
    crew_id: int | None
    on: date
    outcome: Outcome
    reason: SkipReason | None
    note: str
    minutes: float | None
    height_mm: float | None
    clippings: Clippings | None
    removed: float | None
    event_id: int | None
    reported_by: str
    reported_at: datetime
    undone_at: datetime | None = None
