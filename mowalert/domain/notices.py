"""What is said to whom: the facts of a notice and of a digest, before any wording."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from mowalert.domain.warnings import OfficialWarning
from mowalert.domain.words import (
    Channel,
    Clippings,
    DigestKind,
    HoldReason,
    KeeperKind,
    NoticeKind,
    Units,
)


class DayReason(StrEnum):
    """Why this day was chosen and not another."""

    LAST_SAFE = "last_safe"
    RAIN_RESERVE = "rain_reserve"
    ONLY_DRY = "only_dry"
    AFTER_HOLD = "after_hold"
    OVERDUE = "overdue"
    LEAST_WET = "least_wet"


class DayPart(StrEnum):
    """The hours of the day to cut in."""

    MORNING = "morning"
    EARLY_MORNING = "early_morning"
    AFTERNOON = "afternoon"
    EVENING = "evening"


@dataclass(frozen=True, slots=True)
class HoldFacts:
    """One hold in force or just ended; ``facts`` are short name-number pairs that explain it.

    Names are those of the rule's own quantities, with units: ``t_max_c``, ``water_stress``,
    ``heat_load``, ``mean_10_days_c``, ``rain_48_h_mm``, ``days``. ``until`` is known for dated
    holds (treatment, event, nesting), ``expected_end_on`` is read off the forecast.
    """

    reason: HoldReason
    started_on: date
    facts: tuple[tuple[str, float], ...] = ()
    ended_on: date | None = None
    expected_end_on: date | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class PlannedCut:
    """One cut of a staged plan: when, from which height to which, and the share it removes."""

    on: date
    height_before_mm: float
    height_after_mm: float
    removed_fraction: float


@dataclass(frozen=True, slots=True)
class MowingPlan:
    """Staged cuts until the chosen height is reached.

    ``reaches_chosen`` is false when growth outruns the plan; then ``keepable_mm`` is the lowest
    height that can be kept at this growth.
    """

    cuts: tuple[PlannedCut, ...]
    reaches_chosen: bool
    keepable_mm: float | None = None


@dataclass(frozen=True, slots=True)
class GuideSaid:
    """Which region guide spoke of a lawn, and what: heights for its grass now, sentences.

    ``says`` are occasion or hold, language, and the sentence. Heights in mm; none where it has none.
    """

    guide_id: str
    version: int
    title: str
    low_mm: float | None = None
    high_mm: float | None = None
    says: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Notice:
    """What one message says about one lawn on one day. Heights in mm, dates local.

    ``window_on`` and ``limit_on`` are the first days, by the forecast, on which growth reaches a
    third of the chosen height and a cut would take more than a third; none if beyond it.
    ``wait_until`` is the next chance after ``best_on``; ``removed_if_waiting`` the share a cut
    would remove then. ``could_be_from`` and ``could_be_to`` say how early and late the limit may
    fall if the forecast errs. ``height_cap_mm`` is a legal maximum height, named beside a hold, and
    ``over_cap_on`` the first day on which it is forecast to be passed; ``third`` the largest share of the
    blade a cut may take.
    """

    lawn_id: int
    kind: NoticeKind
    on: date
    lawn_name: str
    site_name: str
    address: str
    grass_name: str
    turf_class: str
    chosen_height_mm: float
    height_mm: float
    last_cut_on: date | None
    last_cut_assumed: bool
    grown_mm: float
    gdd_c: float
    reason: HoldReason | None = None
    holds: tuple[HoldFacts, ...] = ()
    best_on: date | None = None
    best_part: DayPart = DayPart.MORNING
    day_reason: DayReason | None = None
    cut_to_mm: float | None = None
    removed_fraction: float | None = None
    window_on: date | None = None
    limit_on: date | None = None
    must_today: bool = False
    wait_until: date | None = None
    removed_if_waiting: float | None = None
    clippings: Clippings = Clippings.LEAVE
    plan: MowingPlan | None = None
    could_be_from: date | None = None
    could_be_to: date | None = None
    next_about: date | None = None
    height_cap_mm: float | None = None
    over_cap_on: date | None = None
    area_m2: float | None = None
    learned: float | None = None
    third: float = 1 / 3
    guide: GuideSaid | None = None


class ClassStep(StrEnum):
    """What a notice says of a class."""

    STARTED = "started"
    RELEASED = "released"
    ESCALATED = "escalated"
    OVER_CAP = "over_cap"


@dataclass(frozen=True, slots=True)
class ClassNotice:
    """What is said of a class in one district: a start, an end, that a hold runs long or breaks a height cap.

    ``lawns`` are names of its places. ``facts`` explain it in numbers; of a start they are its worst lawn's.
    ``height_cap_mm`` is a legal maximum, ``over_cap_on`` the day on which held grass is forecast to pass it.
    ``rules`` are restrictions of watering in force there: their names, and what is said of them.
    """

    step: ClassStep
    turf_class: str
    district: str
    reason: HoldReason
    started_on: date
    lawns: tuple[str, ...]
    facts: HoldFacts | None = None
    days: int = 0
    allowed: str = ""
    call: str = ""
    height_cap_mm: float | None = None
    over_cap_on: date | None = None
    rules: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class CrewHeat:
    """The crew's heat for one day: highest heat index in working hours, its hour, and the band.

    ``safest_from`` and ``safest_to`` are the coolest block of working hours.
    """

    on: date
    heat_index_f: float
    at_hour: int
    strong: bool
    safest_from: int
    safest_to: int


@dataclass(frozen=True, slots=True)
class WeatherStamp:
    """Where a digest's weather came from and how fresh it is."""

    sources: tuple[str, ...]
    fetched_at: datetime | None
    fresh: bool


@dataclass(frozen=True, slots=True)
class Recipient:
    """The person a digest is for, as far as wording needs it.

    Of somebody who works for the keeper ``contact_id`` is not 0: none of the keeper's own links is theirs,
    and ``stop_url`` is their own.
    """

    keeper_id: int
    name: str
    kind: KeeperKind
    units: Units
    time_zone: str
    language: str = "en"
    reads_email: bool = True
    link_version: int = 0
    contact_id: int = 0
    stop_url: str = ""


@dataclass(frozen=True, slots=True)
class Digest:
    """One message for one person about all of theirs: due first, then holds, then releases."""

    kind: DigestKind
    to: Recipient
    on: date
    notices: tuple[Notice, ...]
    weather: WeatherStamp
    crew_heat: CrewHeat | None = None
    first_message: bool = False
    warnings: tuple[OfficialWarning, ...] = ()
    classes: tuple[ClassNotice, ...] = ()


@dataclass(frozen=True, slots=True)
class RenderedEmail:
    """An e-mail's words."""

    subject: str
    text: str
    html: str


@dataclass(frozen=True, slots=True)
class OutgoingMessage:
    """One row of the outbox, ready to travel."""

    message_id: int
    keeper_id: int
    channel: Channel
    address: str
    subject: str
    text: str
    html: str
    rfc_message_id: str
    unsubscribe_url: str
    created_at: datetime
    useful_until: datetime
    attempts: int = 0
