"""What the store keeps, as plain values."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from mowalert.domain.stand import StandKey
from mowalert.domain.thirds import THIRD
from mowalert.domain.words import Channel, Clippings, HoldReason, KeeperKind, Silence, Units


@dataclass(frozen=True, slots=True)
class RoundRecord:
    """A local moment at which digests go out; ``weekdays`` has bit 0 for Monday.

    ``mixed`` rounds have keepers whose lawns are mown on other days than the rest of theirs.
    """

    round_id: int
    daily_list: bool
    time_zone: str
    weekdays: int
    minute_of_day: int
    mixed: bool
    done_on: date | None = None


@dataclass(frozen=True, slots=True)
class KeeperRecord:
    """Who looks after turf, how to reach them, and what they agreed to."""

    keeper_id: int
    key: str
    name: str
    kind: KeeperKind
    email: str | None
    phone: str | None
    time_zone: str
    units: Units
    language: str
    silence: Silence
    tells_all_holds: bool
    round_id: int
    consent: str
    consent_at: datetime
    consent_from: str
    email_suspended: str | None = None
    phone_suspended: str | None = None
    paused_until: date | None = None
    no_weather_on: date | None = None
    greeted: bool = False
    link_version: int = 0

    def today(self, now: datetime) -> date:
        """Return the date it is where they live."""
        return now.astimezone(ZoneInfo(self.time_zone)).date()

    def is_paused(self, on: date) -> bool:
        """Whether they wish for silence on a day."""
        return self.paused_until is not None and on <= self.paused_until


@dataclass(frozen=True, slots=True)
class CellRecord:
    """A weather cell and how far its weather is known."""

    cell_id: int
    latitude_deg: float
    longitude_deg: float
    utc_offset_min: int
    elevation_m: float | None = None
    fetched_at: datetime | None = None
    source: str | None = None
    history_from: date | None = None
    history_asked_on: date | None = None


@dataclass(frozen=True, slots=True)
class SiteRecord:
    """A place that holds lawns."""

    site_id: int
    keeper_id: int
    key: str
    name: str
    address: str
    latitude_deg: float
    longitude_deg: float
    cell_id: int


@dataclass(frozen=True, slots=True)
class StandRecord:
    """A stand and the cell whose weather it has."""

    stand_id: int
    cell_id: int
    key: StandKey


TOLD_TODAY = 255
"""Bits of a curve's ``told_mask`` that are today's."""


@dataclass(frozen=True, slots=True)
class GrowthRecord:
    """A stand's curve as last computed, packed for the store.

    ``g`` holds the curve's value on ``as_of`` and the days after it; ``told_mask`` the told holds
    of today, and those of tomorrow shifted by eight bits. ``members`` are growths from ``as_of`` on,
    one an ensemble member, packed; none where only one forecast is known.
    """

    stand_id: int
    as_of: date
    fetched_at: datetime
    known_until: date
    settled_on: date
    settled: bytes
    curve_from: date
    curve: bytes
    told_mask: int
    g: tuple[float, ...]
    members: bytes | None = None


@dataclass(frozen=True, slots=True)
class KeptForecast:
    """Growth a stand was forecast to make from the evening of a day on, one value a day. [mm]"""

    stand_id: int
    as_of: date
    gains_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class LawnRecord:
    """One lawn: what it is, where it stands on its stand's curve, and what was last said of it."""

    lawn_id: int
    site_id: int
    keeper_id: int
    round_id: int
    stand_id: int
    key: str
    name: str
    grass: str
    chosen_mm: float
    nitrogen: float | None
    area_m2: float | None
    turf_class: str
    mowing_days: int
    mow_from_h: int
    mow_to_h: int
    clippings: Clippings
    learned: float
    pace: float
    anchored_on: date
    anchor_height_mm: float
    anchor_g_mm: float | None
    anchor_assumed: bool
    window_g_mm: float | None = None
    limit_g_mm: float | None = None
    told_hold: HoldReason | None = None
    told_hold_on: date | None = None
    advised_on: date | None = None
    advised_mm: float | None = None
    learned_spread: float | None = None
    learned_reports: int = 0
    guide: str | None = None
    follows_guide: bool = False
    third: float = THIRD


class Owner(NamedTuple):
    """Whose a lawn is; ``waits`` where its keeper can only be told once other cells are known as well."""

    keeper_id: int
    lawn_id: int
    waits: bool


class LawnPlace(NamedTuple):
    """Of a lawn only what its place on its stand's curve follows from."""

    lawn_id: int
    stand_id: int
    grass: str
    chosen_mm: float
    pace: float
    anchored_on: date
    anchor_height_mm: float
    anchor_g_mm: float | None
    anchor_assumed: bool
    third: float


@dataclass(frozen=True, slots=True)
class AnchorUpdate:
    """A lawn's new place on its curve."""

    lawn_id: int
    anchored_on: date
    anchor_height_mm: float
    anchor_g_mm: float | None
    anchor_assumed: bool
    window_g_mm: float | None
    limit_g_mm: float | None


@dataclass(frozen=True, slots=True)
class Said:
    """What was told of a lawn, to be remembered on it."""

    lawn_id: int
    told_hold: HoldReason | None
    told_hold_on: date | None
    advised_on: date | None
    advised_mm: float | None


AT_ENROLMENT = "enrolment"
"""Who reported the last cut of a lawn as it was enrolled."""


@dataclass(frozen=True, slots=True)
class EventRecord:
    """Something that happened to a lawn: a mowing, a measured height, or what was learned being forgotten.

    A measured height keeps the interval it closed as it was seen then: the height it began at and
    how well that was known, how much the stand grew, and the lawn's pace without anything learned.
    """

    event_id: int
    lawn_id: int
    kind: str
    on: date
    height_mm: float | None
    before_mm: float | None
    assumed: bool
    reported_by: str
    reported_at: datetime
    undone_at: datetime | None = None
    from_height_mm: float | None = None
    from_doubt_mm: float | None = None
    stand_growth_mm: float | None = None
    pace: float | None = None


@dataclass(frozen=True, slots=True)
class NewMessage:
    """A message on its way into the outbox; ``contact_id`` is 0 for the keeper's own address."""

    keeper_id: int
    channel: Channel
    kind: str
    local_date: date
    address: str
    subject: str
    text: str
    html: str
    rfc_message_id: str
    unsubscribe_url: str
    lawn_ids: tuple[int, ...]
    round_id: int
    created_at: datetime
    not_before: datetime
    useful_until: datetime
    contact_id: int = 0


@dataclass(frozen=True, slots=True)
class LeasedMessage:
    """A message taken out of the outbox to be sent; ``interrupted`` if a try before was cut off."""

    message_id: int
    attempts: int
    interrupted: bool
    message: NewMessage


@dataclass(frozen=True, slots=True)
class ToldRecord:
    """One notice as it was decided, for the answer page."""

    told_id: int
    keeper_id: int
    lawn_id: int
    round_id: int
    on: date
    kind: str
    reason: str | None
    decided_at: datetime
    facts: dict[str, object]


@dataclass(frozen=True, slots=True)
class GuideRecord:
    """One version of a region guide, as its adviser wrote it."""

    guide_id: str
    version: int
    text: str
    kept_at: datetime


@dataclass(frozen=True, slots=True)
class KeptOff:
    """Days on which a lawn is not mown, both included, as somebody said."""

    kept_off_id: int
    lawn_id: int
    reason: HoldReason
    first_on: date
    last_on: date
    note: str
    said_at: datetime
    undone_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class SignupRecord:
    """What somebody told when they asked to join; ``facts`` are the form's answers by name."""

    signup_id: int
    keeper_id: int
    facts: dict[str, str]
    created_at: datetime
    confirmed_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class BulletinRecord:
    """One week's bulletin of a region guide: its facts as plain values, and what the adviser adds.

    ``said_at`` is when the adviser last said something; none if never.
    """

    guide_id: str
    week_on: date
    facts: dict[str, Any]
    made_at: datetime
    said: str = ""
    said_at: datetime | None = None

    @property
    def changed_at(self) -> datetime:
        """When a reader last had something new to read."""
        return self.said_at or self.made_at
