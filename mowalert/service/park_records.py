"""What the store keeps of parks: rules of turf classes, their holds and log, restrictions, irrigation."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any

from mowalert.domain.crew_heat import FIRST_CAUTION_F, STRONG_CAUTION_F
from mowalert.domain.words import HoldReason


@dataclass(frozen=True, slots=True)
class ClassRule:
    """How an organisation keeps one turf class.

    ``height_mm`` and ``third`` are given to the class's lawns; none leaves each its own. Holds in
    ``ignores`` are not told of the class. ``allowed`` says what may still be done while a hold lasts,
    ``call`` whom to ask.
    """

    keeper_id: int
    turf_class: str
    height_mm: float | None = None
    third: float | None = None
    ignores: tuple[HoldReason, ...] = ()
    allowed: str = ""
    call: str = ""


@dataclass(frozen=True, slots=True)
class ClassHoldRecord:
    """One hold of a turf class in a district, from its first lawn's start to its last lawn's end.

    ``told_on`` is the day its start was told, ``released_on`` that of its end, ``escalated_on`` the day it
    was told that it runs long; none where that has not happened.
    """

    hold_id: int
    keeper_id: int
    turf_class: str
    district: str
    reason: HoldReason
    started_on: date
    told_on: date
    expected_end_on: date | None = None
    released_on: date | None = None
    escalated_on: date | None = None


@dataclass(frozen=True, slots=True)
class HeldLawn:
    """One lawn of a class's hold: why, since when, and the day it was held no more."""

    hold_id: int
    lawn_id: int
    reason: HoldReason
    joined_on: date
    left_on: date | None = None


class HoldStep(StrEnum):
    """What a line of the hold log tells."""

    STARTED = "started"
    JOINED = "joined"
    CHANGED = "changed"
    LEFT = "left"
    RELEASED = "released"
    ESCALATED = "escalated"
    OVER_CAP = "over_cap"


@dataclass(frozen=True, slots=True)
class HoldLogRecord:
    """One line of a lawn's hold log: what happened on which day, and who was told of it, when.

    ``told`` are names and channels, such as ``Dana Ruiz, email``; empty where nobody had to be told.
    """

    log_id: int
    keeper_id: int
    lawn_id: int
    hold_id: int
    on: date
    step: HoldStep
    reason: HoldReason
    told: tuple[str, ...]
    at: datetime
    facts: dict[str, Any]


Polygon = tuple[tuple[tuple[float, float], ...], ...]


class RestrictionKind(StrEnum):
    """What a rule of the place restricts."""

    WATERING_OFF = "watering_off"
    WATERING_LIMITED = "watering_limited"
    HEIGHT_CAP = "height_cap"


@dataclass(frozen=True, slots=True)
class RestrictionRecord:
    """A dated rule of the place: where it holds is a list of sites, or polygons.

    A polygon is its outline and its holes, each corners of (latitude, longitude); polygons may overlap.

    ``name`` is the rule's own name or number, ``note`` what the notice says of it. A height cap has
    ``height_cap_mm``. Without ``last_on`` it holds until it is taken back.
    """

    restriction_id: int
    keeper_id: int
    kind: RestrictionKind
    name: str
    first_on: date
    last_on: date | None
    height_cap_mm: float | None
    note: str
    polygons: tuple[Polygon, ...]
    site_ids: tuple[int, ...]
    said_at: datetime
    undone_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class WateringOff:
    """Days on which a lawn's irrigation is off, both included; without ``last_on`` until further notice."""

    off_id: int
    keeper_id: int
    lawn_id: int
    first_on: date
    last_on: date | None
    note: str
    said_at: datetime
    undone_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class HeatPlan:
    """An employer's own thresholds of the heat index, in °F, and what their plan says.

    None leaves the published default. ``call`` is whom to call, ``plan`` where the heat plan is found.
    """

    keeper_id: int
    first_f: float | None = None
    strong_f: float | None = None
    plan: str = ""
    call: str = ""

    @property
    def first_caution_f(self) -> float:
        """The first caution that counts."""
        return FIRST_CAUTION_F if self.first_f is None else self.first_f

    @property
    def strong_caution_f(self) -> float:
        """The strong caution that counts."""
        return STRONG_CAUTION_F if self.strong_f is None else self.strong_f


class HeatStep(StrEnum):
    """Which of a day's two notices it is: its first, or the one that says that it got worse."""

    EVENING = "evening"
    WORSE = "worse"


@dataclass(frozen=True, slots=True)
class HeatNotice:
    """That somebody was told of a working day's heat: the worst index then, how strong a caution."""

    keeper_id: int
    on: date
    step: str
    heat_index_f: float
    strong: bool
    told_at: datetime
