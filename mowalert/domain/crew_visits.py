"""Jobs made into visits: what cannot be planned is named, and lawns of one site are cut in one go."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from math import ceil, isfinite

from mowalert.domain.crews import Crew, Fault, Job, LeftOut, Position, WhyLeft
from mowalert.domain.travel import TravelOf

DAYS_COUNTED = 3
"""Days over which waiting is counted."""
SPARE_WORTH = 1e-3
"""Of a lawn that is due but not soon over its limit: spare time is used, and never at another's cost."""

PLACE_WORTH = 0.05
"""Share of the blade by which something must be worthier to take the place of a lawn that has one: by a
plan in force, or because its visit was skipped. Working value."""


@dataclass(frozen=True, slots=True)
class Visit:
    """Lawns of one site cut in one go, in order. Minutes from midnight; ``worth`` is what it saves.

    ``returns`` where one of them was skipped the last time.
    """

    jobs: tuple[Job, ...]
    minutes: int
    worth: float
    from_min: int
    to_min: int
    crew_id: int | None
    returns: bool = False

    @property
    def position(self) -> Position:
        """Where it is."""
        return self.jobs[0].position

    @property
    def lawn_ids(self) -> tuple[int, ...]:
        """Its lawns."""
        return tuple(job.lawn_id for job in self.jobs)


def waiting_cost(job: Job) -> float:
    """Return what leaving a lawn today costs: the share over its limit, summed over the next days."""
    return sum(max(0.0, share - job.limit) for share in job.removed[1 : DAYS_COUNTED + 1])


def worth(job: Job) -> float:
    """Return what cutting a lawn today is worth: what waiting would cost, and a little for being due.

    A lawn that was skipped had its place, and is worth as much more.
    """
    due = SPARE_WORTH * min(1.0, max(0.0, job.removed[0]) / job.limit)
    return waiting_cost(job) + due + (PLACE_WORTH if job.returns else 0.0)


def later(job: Job, days: int) -> Job:
    """Return the job as it stands some days later, if it is left alone until then."""
    removed = job.removed[days:] or job.removed[-1:]
    return replace(job, removed=removed)


def usable_crews(crews: Iterable[Crew]) -> tuple[list[Crew], list[Fault]]:
    """Sort out crews that cannot work: without hours, or with a depot that is nowhere.

    Parameters
    ----------
    crews : Iterable[Crew]
        The day's crews.

    Returns
    -------
    tuple[list[Crew], list[Fault]]
        Those to plan with, by id, and a fault for each of the others.
    """
    usable, faults = [], []
    for crew in sorted(crews, key=lambda crew: crew.crew_id):
        if crew.from_min >= crew.to_min:
            faults.append(Fault(crew.name, "no working hours"))
        elif not is_somewhere(crew.depot):
            faults.append(Fault(crew.name, "its depot has no position"))
        else:
            usable.append(crew)
    return usable, faults


def is_somewhere(place: Position) -> bool:
    """Whether a position can be one; 0/0 is how offices write that they do not know."""
    latitude, longitude = place.latitude_deg, place.longitude_deg
    known = isfinite(latitude) and isfinite(longitude) and (latitude, longitude) != (0.0, 0.0)
    return known and abs(latitude) <= 90 and abs(longitude) <= 180


def visits_of(
    jobs: Iterable[Job], crews: Sequence[Crew], travel_of: TravelOf
) -> tuple[list[Visit], list[LeftOut]]:
    """Make jobs into visits that some crew could do alone; the others are left out with their reason.

    Parameters
    ----------
    jobs : Iterable[Job]
        What could be cut.
    crews : Sequence[Crew]
        Crews that work.
    travel_of : TravelOf
        How far apart places are.

    Returns
    -------
    tuple[list[Visit], list[LeftOut]]
        Visits in order of site and lawn, and what no crew could do even as its only stop.
    """
    ordered = sorted(jobs, key=lambda job: (job.site_id, job.lawn_id))
    reach = _Reach(crews, ordered, travel_of)
    left = [LeftOut(job.lawn_id, why, waiting_cost(job)) for job in ordered if (why := reach.why_not(job))]
    out = {one.lawn_id for one in left}
    visits: list[Visit] = []
    for _, group in groupby((job for job in ordered if job.lawn_id not in out), key=_alike):
        visits += _in_one_go(list(group), reach)
    return visits, left


def _alike(job: Job) -> tuple[object, ...]:
    return (
        job.site_id,
        job.position.latitude_deg,
        job.position.longitude_deg,
        job.from_min,
        job.to_min,
        job.crew_id,
    )


def _in_one_go(jobs: Sequence[Job], reach: "_Reach") -> list[Visit]:
    """One visit of a site's lawns; as many as it takes where one day is too short for all."""
    made: list[list[Job]] = []
    for job in jobs:
        if made and reach.why_not_minutes(job, sum(minutes_of(one) for one in (*made[-1], job))) is None:
            made[-1].append(job)
        else:
            made.append([job])
    return [_visit(group) for group in made]


def _visit(jobs: Sequence[Job]) -> Visit:
    first = jobs[0]
    return Visit(
        jobs=tuple(jobs),
        minutes=sum(minutes_of(job) for job in jobs),
        worth=sum(worth(job) for job in jobs),
        from_min=first.from_min if first.from_min is not None else 0,
        to_min=first.to_min if first.to_min is not None else 24 * 60,
        crew_id=first.crew_id,
        returns=any(job.returns for job in jobs),
    )


def minutes_of(job: Job) -> int:
    """Return a job's minutes as they are planned: whole ones, and at least one."""
    return max(1, ceil(job.minutes))


class _Reach:
    """What each crew could do if it did nothing else."""

    def __init__(self, crews: Sequence[Crew], jobs: Sequence[Job], travel_of: TravelOf) -> None:
        self._crews = crews
        places = {job.position for job in jobs if is_somewhere(job.position)}
        self._minutes = _trips(crews, sorted(places, key=_order), travel_of)

    def why_not(self, job: Job) -> WhyLeft | None:
        return self.why_not_minutes(job, minutes_of(job))

    def why_not_minutes(self, job: Job, minutes: int) -> WhyLeft | None:
        """Why no crew can do so much there; none if one can."""
        crews = [crew for crew in self._crews if job.crew_id in (None, crew.crew_id)]
        if not crews:
            return WhyLeft.NO_CREW
        if not is_somewhere(job.position):
            return WhyLeft.TOO_FAR
        reasons = [self._why_not_by(crew, job, minutes) for crew in crews]
        if None in reasons:
            return None
        return min((reason for reason in reasons if reason), key=list(WhyLeft).index)

    def _why_not_by(self, crew: Crew, job: Job, minutes: int) -> WhyLeft | None:
        hours = crew.to_min - crew.from_min
        if minutes > hours:
            return WhyLeft.TOO_LONG
        there, back = self._minutes[crew.crew_id, job.position]
        if there + minutes + back > hours:
            return WhyLeft.TOO_FAR
        begins = max(crew.from_min + there, job.from_min if job.from_min is not None else 0)
        ends = begins + minutes
        late = job.to_min is not None and ends > job.to_min
        return WhyLeft.HOURS if late or ends + back > crew.to_min else None


def _order(place: Position) -> tuple[float, float]:
    return place.latitude_deg, place.longitude_deg


def _trips(
    crews: Sequence[Crew], places: Sequence[Position], travel_of: TravelOf
) -> dict[tuple[int, Position], tuple[int, int]]:
    """Minutes from where each crew starts to each place, and from there to its depot."""
    starts = [crew.starts_at or crew.depot for crew in crews]
    ends = [crew.depot for crew in crews]
    minutes = travel_of([*starts, *ends, *places]).minutes
    count = len(crews)
    return {
        (crew.crew_id, place): (
            int(minutes[row, 2 * count + column]),
            int(minutes[2 * count + column, count + row]),
        )
        for row, crew in enumerate(crews)
        for column, place in enumerate(places)
    }
