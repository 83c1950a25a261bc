"""What a company's people are handed for a day and a week: facts only, before any wording.

Minutes count from local midnight, heights are in mm, shares are of the blade.
"""

from dataclasses import dataclass
from datetime import date, datetime

from mowalert.domain.crews import Change, Fault, Position, WhyLeft
from mowalert.domain.notices import CrewHeat, HoldFacts, WeatherStamp
from mowalert.domain.warnings import OfficialWarning
from mowalert.domain.words import Clippings, Units


@dataclass(frozen=True, slots=True)
class SheetLawn:
    """One lawn as whoever cuts it needs it.

    ``removed`` are the shares a cut to the chosen height takes today, tomorrow and in two days, ``limit``
    the largest share a cut may take. ``cut_to_mm`` is above the chosen height where the cut has to be
    staged; ``staged_next_on`` is then the day of the next one. ``skipped`` is the reason of the last visit
    where that was skipped, ``skipped_note`` what was said of it. ``cautions`` are holds that begin within
    the next days or passed recently, treatments, events.
    """

    lawn_id: int
    site_id: int
    site_name: str
    lawn_name: str
    address: str
    position: Position
    number: str
    client: str
    access: str
    gate: str
    dog: str
    grass_name: str
    turf_class: str
    area_m2: float | None
    minutes: float
    chosen_mm: float
    height_mm: float
    cut_to_mm: float
    grown_mm: float
    last_cut_on: date | None
    last_cut_assumed: bool
    removed: tuple[float, float, float]
    limit: float
    clippings: Clippings
    limit_on: date | None = None
    staged_next_on: date | None = None
    cautions: tuple[HoldFacts, ...] = ()
    skipped: str | None = None
    skipped_note: str = ""
    visit_from_min: int | None = None
    visit_to_min: int | None = None


@dataclass(frozen=True, slots=True)
class SheetStop:
    """A lawn in its place in a crew's day; ``order`` counts from 1.

    ``outcome`` is what was said of that day's visit, ``reason`` why it was skipped; none before.
    """

    order: int
    lawn: SheetLawn
    starts_min: int
    ends_min: int
    travel_min: int
    travel_km: float
    outcome: str | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class CrewSheet:
    """A crew's day in driving order, from its depot and back.

    ``past`` are stops that were done or skipped before this version was made, with the times they had:
    they stand on the list, and the way leads on without them.
    """

    crew_id: int
    name: str
    depot: Position
    from_min: int
    to_min: int
    leaves_min: int
    back_min: int
    travel_km: float
    stops: tuple[SheetStop, ...]
    past: tuple[SheetStop, ...] = ()

    @property
    def listed(self) -> tuple[SheetStop, ...]:
        """Every stop of the list: those that are past, then those to come."""
        return (*self.past, *self.stops)

    @property
    def work_min(self) -> float:
        """Minutes of mowing, without the driving."""
        return sum(stop.lawn.minutes for stop in self.stops)


@dataclass(frozen=True, slots=True)
class SheetLeft:
    """A lawn that does not fit today, why, and what waiting costs."""

    lawn: SheetLawn
    why: WhyLeft
    waiting_cost: float


@dataclass(frozen=True, slots=True)
class SheetHeld:
    """A lawn that is not to be mown today, and why."""

    lawn: SheetLawn
    holds: tuple[HoldFacts, ...]


@dataclass(frozen=True, slots=True)
class DaySheet:
    """An organisation's day: each crew's list, what does not fit, what is held, and what changed.

    ``why`` is why this version was made: ``morning``, ``rain``, ``asked``. Names of lawns and crews
    in ``changes`` are found by their ids in this sheet or, for what was dropped, in ``dropped``.
    """

    keeper_id: int
    keeper_name: str
    on: date
    version: int
    why: str
    made_at: datetime
    time_zone: str
    units: Units
    crews: tuple[CrewSheet, ...]
    left_out: tuple[SheetLeft, ...]
    held: tuple[SheetHeld, ...]
    faults: tuple[Fault, ...]
    changes: tuple[Change, ...]
    weather: WeatherStamp
    dropped: tuple[SheetLawn, ...] = ()
    crew_heat: CrewHeat | None = None
    warnings: tuple[OfficialWarning, ...] = ()

    def crew(self, crew_id: int) -> CrewSheet | None:
        """Return one crew's part; none if it does not work that day."""
        return next((crew for crew in self.crews if crew.crew_id == crew_id), None)


@dataclass(frozen=True, slots=True)
class WeekDay:
    """One day of the week ahead: hours that fall due by the growth curves against hours the crews have.

    ``due`` lawns reach their window's middle that day if cut in order of growth, ``must`` would pass
    their limit if not cut by its evening. Hours include the usual driving.
    """

    on: date
    due: int
    must: int
    needed_h: float
    must_h: float
    crew_h: float
    rain_mm: float | None = None


@dataclass(frozen=True, slots=True)
class WeekAhead:
    """Seven days of hours needed against hours there are; ``short_on`` is the first day they fall short."""

    keeper_id: int
    keeper_name: str
    from_on: date
    days: tuple[WeekDay, ...]
    short_on: date | None
    weather: WeatherStamp


@dataclass(frozen=True, slots=True)
class WeekSummary:
    """What an owner hears once a week: last week's work, and the week ahead."""

    keeper_id: int
    keeper_name: str
    from_on: date
    to_on: date
    done: int
    skipped: tuple[tuple[str, int], ...]
    on_time: int
    over_limit: int
    largest_removed: float | None
    worked_h: float
    crew_h: float
    ahead: WeekAhead


@dataclass(frozen=True, slots=True)
class SheetReader:
    """Who reads a sheet, as far as wording needs it; ``page_url`` opens it where there are pages."""

    contact_id: int
    name: str
    language: str
    units: Units
    page_url: str = ""
    stop_url: str = ""
