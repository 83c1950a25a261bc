"""A company's day: crews, lawns they could cut, and the plan made of them.

Minutes count from local midnight.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Position:
    """A place on the ground. [°]"""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True)
class Crew:
    """A crew on one day: it leaves its depot not before ``from_min`` and is back by ``to_min``.

    ``starts_at`` is where it is when the plan begins, where that is not the depot.
    """

    crew_id: int
    name: str
    depot: Position
    from_min: int
    to_min: int
    starts_at: Position | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """A lawn a crew could cut today.

    ``minutes`` is the work there. ``removed`` is the share of the blade that a cut to the chosen
    height takes today and on each of the following days, ``limit`` the largest share a cut may take.
    Work begins not before ``from_min`` and ends by ``to_min``, where the site asks for hours.
    ``crew_id`` is the crew that must do it, where the office has said so. ``returns`` where its last visit
    was skipped.
    """

    lawn_id: int
    site_id: int
    position: Position
    minutes: float
    removed: tuple[float, ...]
    limit: float
    from_min: int | None = None
    to_min: int | None = None
    crew_id: int | None = None
    returns: bool = False


@dataclass(frozen=True, slots=True)
class Stop:
    """One lawn in a crew's day; ``travel_min`` and ``travel_km`` lead to it."""

    lawn_id: int
    starts_min: int
    ends_min: int
    travel_min: int
    travel_km: float


@dataclass(frozen=True, slots=True)
class Route:
    """A crew's day in driving order, from its depot and back; ``travel_km`` is the whole day's."""

    crew_id: int
    leaves_min: int
    back_min: int
    travel_km: float
    stops: tuple[Stop, ...]


class WhyLeft(StrEnum):
    """Why a lawn is in no crew's day."""

    NO_TIME = "no_time"
    TOO_FAR = "too_far"
    HOURS = "hours"
    NO_CREW = "no_crew"
    TOO_LONG = "too_long"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A lawn in no crew's day, and what waiting costs: share over the limit, summed over three days."""

    lawn_id: int
    why: WhyLeft
    waiting_cost: float


class ChangeKind(StrEnum):
    """How a new plan differs from the one before for one lawn."""

    ADDED = "added"
    DROPPED = "dropped"
    MOVED = "moved"
    RETIMED = "retimed"


@dataclass(frozen=True, slots=True)
class Change:
    """One lawn's change between two plans: crew and start before and after, none where it had none."""

    lawn_id: int
    kind: ChangeKind
    crew_before: int | None = None
    crew_after: int | None = None
    starts_before_min: int | None = None
    starts_after_min: int | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """Something in the crews or sites that cannot be planned with, in a few words, and what it concerns."""

    about: str
    what: str


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A day's routes, what does not fit, and what could not be planned with."""

    on: date
    routes: tuple[Route, ...]
    left_out: tuple[LeftOut, ...]
    faults: tuple[Fault, ...] = ()
