"""A service company's day: properties, crews, the drives between them, and a crew's timetable.

Times are minutes of the local day, from midnight on. What waiting costs is counted in *lost growth*: the
share of the blade a cut would take above what it may take, summed over days; its unit is share days.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from mowalert.domain.arrays import Floats
from mowalert.domain.thirds import THIRD
from mowalert.domain.words import HoldReason
from mowalert.errors import InputError

DAYS_AHEAD = 3
"""Days over which waiting is counted: Friday's list still sees what Monday will find."""
EARTH_KM = 6371.0088
"""Mean radius of the earth (IUGG)."""
DETOUR = 1.3
"""Road over great circle. Countries lie between 1.1 and 2.1, most near 1.3: R. H. Ballou, H. Rahardja,
N. Sakai, "Selected country circuity factors for road travel distance estimation", Transp. Res. A 36, 2002,
doi:10.1016/S0965-8564(01)00044-1 (from memory)."""
SPEED_KMH = 30.0
"""A truck with a trailer in a town, stops and turns included; working value."""
DAY_MIN = 1440.0
HAIR = 1e-6
"""Minutes by which a sum of floats may err."""

Spell = tuple[float, float]
"""From and to, minutes of the local day."""


@dataclass(frozen=True, slots=True)
class Spot:
    """A position on the earth. [°]"""

    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True, slots=True)
class Property:
    """One customer's turf as the morning list sees it.

    ``minutes`` is how long a visit takes, ``removed`` the share of the blade a cut would take today and on
    each day after, uncut. ``limit_on`` is the first day on which that is too much, ``window_min`` when a
    crew may be at work there; none means any time. A property without a ``spot`` is named, never visited.
    """

    property_id: int
    name: str
    spot: Spot | None
    minutes: float
    removed: tuple[float, ...]
    limit_on: date | None = None
    must_today: bool = False
    hold: HoldReason | None = None
    window_min: Spell | None = None
    third: float = THIRD

    @property
    def window_open(self) -> bool:
        """Whether growth has reached a third of the chosen height, so that it may be cut."""
        # Grown by r of the chosen height, a cut takes r/(1 + r) of the blade.
        return self.removed[0] >= self.third / (1.0 + self.third) - 1e-9

    def removed_in(self, days: int) -> float:
        """Return the share a cut would take some days from now; beyond what is known, the last known."""
        return self.removed[min(days, len(self.removed) - 1)]


@dataclass(frozen=True, slots=True)
class Crew:
    """One crew: where it starts and ends its day, when it works, how fast it drives.

    ``working_days`` are weekdays, Monday 0; ``is_out`` says that it cannot work today at all.
    """

    crew_id: int
    name: str
    depot: Spot
    from_min: float
    to_min: float
    working_days: frozenset[int]
    speed_kmh: float = SPEED_KMH
    is_out: bool = False


def lost_growth(turf: Property, day: int = 0, *, days: int = DAYS_AHEAD) -> float:
    """Say what it costs not to visit a property on a day: its share over the limit on the days after.

    Parameters
    ----------
    turf : Property
        The property.
    day : int
        Days from now of the visit that does not happen; 0 is today. [d]
    days : int
        Days after it that count. [d]

    Returns
    -------
    float
        Nothing if the limit is not passed on any of them. [share d]
    """
    ahead = range(day + 1, day + 1 + days)
    return sum(max(0.0, turf.removed_in(each) - turf.third) for each in ahead)


@dataclass(frozen=True, slots=True, eq=False)
class DriveTable:
    """Minutes by road between spots, as a router gives them, shape (from, to).

    ``nan`` is not known and worked out by distance; ``inf`` is no way.
    """

    spots: tuple[Spot, ...]
    minutes: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Drives:
    """The drives of a day; ``km`` by road and ``table_min`` of a table have the shape (from, to)."""

    rows: Mapping[Spot, int]
    km: Floats
    table_min: Floats

    def minutes(self, start: Spot, end: Spot, speed_kmh: float) -> float:
        """Return how long a drive takes; a table's word goes before a speed. [min]"""
        row, column = self.rows[start], self.rows[end]
        told = float(self.table_min[row, column])
        return float(self.km[row, column]) / speed_kmh * 60.0 if told != told else told

    def matrix(self, spots: Sequence[Spot], speed_kmh: float) -> Floats:
        """Return all drives between spots, shape (from, to). [min]"""
        rows = np.ix_(*[[self.rows[spot] for spot in spots]] * 2)
        told = self.table_min[rows]
        return np.where(np.isnan(told), self.km[rows] / speed_kmh * 60.0, told)


def road_km(starts: Sequence[Spot], ends: Sequence[Spot], *, detour: float = DETOUR) -> Floats:
    """Distances by road, estimated from the great circle.

    Parameters
    ----------
    starts : Sequence[Spot]
        Where drives begin.
    ends : Sequence[Spot]
        Where they end.
    detour : float
        Road over great circle. [-]

    Returns
    -------
    Floats
        Shape (start, end). [km]

    References
    ----------
    .. [1] R. W. Sinnott, "Virtues of the haversine", Sky and Telescope 68, 1984.
    """
    (lat, lon), (to_lat, to_lon) = _radians(starts), _radians(ends)
    half_lat, half_lon = (to_lat - lat[:, None]) / 2, (to_lon - lon[:, None]) / 2
    chord = np.sin(half_lat) ** 2 + np.cos(lat)[:, None] * np.cos(to_lat) * np.sin(half_lon) ** 2
    return np.asarray(2 * EARTH_KM * detour * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0))))


def _radians(spots: Sequence[Spot]) -> Floats:
    degrees = [(spot.latitude_deg, spot.longitude_deg) for spot in spots]
    return np.asarray(np.radians(np.array(degrees, dtype=np.float64).reshape(-1, 2).T))


def drives_between(
    spots: Iterable[Spot], *, detour: float = DETOUR, table: DriveTable | None = None
) -> Drives:
    """Work out the drives between the spots of a day.

    Parameters
    ----------
    spots : Iterable[Spot]
        Depots and properties; one may come twice.
    detour : float
        Road over great circle, where no table speaks. [-]
    table : DriveTable | None
        Known drives; spots that it lacks are reached by distance.

    Returns
    -------
    Drives
        Between any two of the spots.

    Raises
    ------
    InputError
        If the table is not square over its spots, or a drive in it takes less than no time.
    """
    each = tuple(dict.fromkeys(spots))
    known = np.full((len(each), len(each)), np.nan)
    rows = {spot: row for row, spot in enumerate(each)}
    if table is not None:
        _check_table(table)
        places = [(place, rows[spot]) for place, spot in enumerate(table.spots) if spot in rows]
        theirs, ours = [place for place, _ in places], [row for _, row in places]
        known[np.ix_(ours, ours)] = table.minutes[np.ix_(theirs, theirs)]
    np.fill_diagonal(known, 0.0)
    return Drives(rows, road_km(each, each, detour=detour), known)


def _check_table(table: DriveTable) -> None:
    count = len(table.spots)
    if table.minutes.shape != (count, count):
        raise InputError(f"the table of drives must have {count} rows and columns, one for each of its places")
    if np.any(table.minutes < 0):
        raise InputError("the table of drives has a drive of less than 0 minutes")


@dataclass(frozen=True, slots=True)
class Start:
    """Where a crew stands and from when on it is free."""

    spot: Spot
    free_min: float


@dataclass(frozen=True, slots=True)
class Visit:
    """One property on a route: when the crew sets off to it, arrives and begins, and leaves it."""

    property_id: int
    off_min: float
    arrive_min: float
    leave_min: float

    @property
    def drive_min(self) -> float:
        """Minutes of the drive to it."""
        return self.arrive_min - self.off_min


@dataclass(frozen=True, slots=True)
class Route:
    """One crew's visits in order, from where it starts until it is ``back`` at its depot."""

    crew_id: int
    start: Start
    visits: tuple[Visit, ...]
    home_min: float
    back_min: float

    @property
    def depart_min(self) -> float:
        """When the crew sets off."""
        return self.visits[0].off_min if self.visits else self.start.free_min

    @property
    def drive_min(self) -> float:
        """Minutes on the road, the way home included."""
        return self.home_min + sum(visit.drive_min for visit in self.visits)

    @property
    def work_min(self) -> float:
        """Minutes at work."""
        return sum(visit.leave_min - visit.arrive_min for visit in self.visits)

    @property
    def total_min(self) -> float:
        """Minutes from setting off to being back."""
        return self.back_min - self.depart_min

    @property
    def wait_min(self) -> float:
        """Minutes of them that are neither drive nor work: before a window, or in the rain."""
        return self.total_min - self.drive_min - self.work_min


class WaitReason(StrEnum):
    """Why a property whose window is open is not on today's list."""

    NOT_URGENT = "not_urgent"
    DAY_FULL = "day_full"
    CREWS_OFF = "crews_off"
    RAIN = "rain"
    WINDOW = "window"
    TOO_LONG = "too_long"
    TOO_FAR = "too_far"
    NO_POSITION = "no_position"


class IdleReason(StrEnum):
    """Why a crew has no route today."""

    DAY_OFF = "day_off"
    OUT = "out"
    NO_HOURS = "no_hours"


@dataclass(frozen=True, slots=True)
class Waiting:
    """A property not visited today, why, and what that costs in share days.

    ``removed_tomorrow`` is the share of the blade a cut would take a day later.
    """

    property_id: int
    reason: WaitReason
    lost_growth: float
    removed_tomorrow: float
    limit_on: date | None = None


@dataclass(frozen=True, slots=True)
class Held:
    """A property that would be on the list if nothing held it; its cost is told, not counted as missed."""

    property_id: int
    reason: HoldReason
    lost_growth: float


@dataclass(frozen=True, slots=True)
class IdleCrew:
    """A crew without a route, and why."""

    crew_id: int
    reason: IdleReason


@dataclass(frozen=True, slots=True)
class DayPlan:
    """A company's day: a route for each crew at work, what waits (the dearest first), what is held.

    ``rain_min`` are hours without mowing that were planned around, ``done`` what was reported done before.
    """

    on: date
    routes: tuple[Route, ...]
    waiting: tuple[Waiting, ...]
    held: tuple[Held, ...]
    idle: tuple[IdleCrew, ...]
    rain_min: tuple[Spell, ...] = ()
    done: frozenset[int] = frozenset()

    @property
    def lost_growth(self) -> float:
        """What all that waits costs. [share d]"""
        return sum(each.lost_growth for each in self.waiting)

    @property
    def cannot_fit(self) -> tuple[Waiting, ...]:
        """What should be cut today and is not: all that waits but what is not urgent."""
        return tuple(each for each in self.waiting if each.reason is not WaitReason.NOT_URGENT)


@dataclass(frozen=True, slots=True)
class Shift:
    """One crew's day from where it stands; the first ``under_way`` visits of its order stay where they are."""

    crew: Crew
    start: Start
    under_way: int = 0

    @staticmethod
    def whole(crew: Crew) -> "Shift":
        """Return a day from the depot on."""
        return Shift(crew, Start(crew.depot, crew.from_min))


def begins(turf: Property, rain_min: Sequence[Spell] = ()) -> list[Spell]:
    """Say when work at a property may begin so that it ends within its window and before rain.

    Parameters
    ----------
    turf : Property
        The property.
    rain_min : Sequence[Spell]
        Hours without mowing. [min]

    Returns
    -------
    list[Spell]
        Earliest and latest beginnings, in order; none if its work fits nowhere. [min]
    """
    free_from, until = turf.window_min or (0.0, DAY_MIN)
    spells = []
    for rain_from, rain_to in sorted(rain_min):
        spells.append((free_from, min(rain_from, until) - turf.minutes))
        free_from = max(free_from, rain_to)
    spells.append((free_from, until - turf.minutes))
    return [(first, last) for first, last in spells if first <= last + HAIR]


def timetable(
    shift: Shift, stops: Sequence[Property], drives: Drives, *, rain_min: Sequence[Spell] = ()
) -> Route | None:
    """Give a crew's visits their times; it sets off late rather than wait at a gate.

    Parameters
    ----------
    shift : Shift
        The crew and where it starts.
    stops : Sequence[Property]
        Properties in their order.
    drives : Drives
        Drives between all spots of the day.
    rain_min : Sequence[Spell]
        Hours without mowing. [min]

    Returns
    -------
    Route | None
        None where a window is missed or the crew would be back too late. Without stops there is always one.
    """
    crew, at, free_min = shift.crew, shift.start.spot, shift.start.free_min
    visits = []
    for turf in stops:
        if turf.spot is None:
            return None
        drive_min = drives.minutes(at, turf.spot, crew.speed_kmh)
        arrive_min = _begin(turf, free_min + drive_min, rain_min)
        if arrive_min is None:
            return None
        visits.append(
            Visit(turf.property_id, arrive_min - drive_min, arrive_min, arrive_min + turf.minutes)
        )
        at, free_min = turf.spot, arrive_min + turf.minutes
    home_min = drives.minutes(at, crew.depot, crew.speed_kmh)
    if visits and free_min + home_min > crew.to_min + HAIR:
        return None
    return Route(crew.crew_id, shift.start, tuple(visits), home_min, free_min + home_min)


def _begin(turf: Property, from_min: float, rain_min: Sequence[Spell]) -> float | None:
    for first, last in begins(turf, rain_min):
        if from_min <= last + HAIR:
            return max(first, from_min)
    return None
