"""A day's plan as it is kept and handed out: versions of it, and back again."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from math import isnan

from pydantic import TypeAdapter, ValidationError

from mowalert.domain.crews import Change, ChangeKind, Crew, DayPlan, Fault, LeftOut, Route, Stop
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetLawn, SheetLeft, SheetStop
from mowalert.domain.notices import CrewHeat
from mowalert.domain.weather import DayHours
from mowalert.errors import InputError, StoreError
from mowalert.service.crew_records import PlanRecord, VisitRecord
from mowalert.service.crews.day_lawns import DayLawns
from mowalert.service.crews.heat_days import heat_by_cell, heat_plan_of, worst
from mowalert.service.crews.work_hours import whole_hours, working_crews
from mowalert.service.growing.outlook import weather_stamp
from mowalert.service.local.official import warnings_for
from mowalert.service.policy import Policy
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord

SHEET = TypeAdapter(DaySheet)


@dataclass(frozen=True, slots=True)
class Draft:
    """A plan that was just made, and what it was made of; ``faults`` beside those the plan tells itself."""

    plan: DayPlan
    lawns: DayLawns
    crews: Sequence[Crew]
    faults: Sequence[Fault]


def keep_version(
    work: Work,
    policy: Policy,
    keeper: KeeperRecord,
    draft: Draft,
    *,
    why: str,
    now: datetime,
    changes: tuple[Change, ...] = (),
    before: DaySheet | None = None,
) -> DaySheet:
    """Keep a new version of a day's plan.

    Parameters
    ----------
    work : Work
        An open transaction.
    policy : Policy
        The age at which weather is too old.
    keeper : KeeperRecord
        The organisation.
    draft : Draft
        The plan.
    why : str
        Why it was made.
    now : datetime
        The moment, aware.
    changes : tuple[Change, ...]
        How it differs from the version before.
    before : DaySheet | None
        The version before, where its lawns may be spoken of; its stops with an outcome stay on the list.

    Returns
    -------
    DaySheet
        The version as it is handed out.

    Raises
    ------
    InputError
        If somebody else has just kept a version.
    """
    plan, lawns = draft.plan, draft.lawns
    newest = work.crews.plan(keeper.keeper_id, plan.on)
    known = dict(lawns.lawns) | ({} if before is None else _lawns_of(before))
    hours = lawns.hours_on(plan.on)
    sheet = DaySheet(
        keeper_id=keeper.keeper_id,
        keeper_name=keeper.name,
        on=plan.on,
        version=newest.version + 1 if newest else 1,
        why=why,
        made_at=now,
        time_zone=keeper.time_zone,
        units=keeper.units,
        crews=_crew_sheets(draft, before),
        left_out=tuple(
            SheetLeft(lawns.lawns[one.lawn_id], one.why, one.waiting_cost) for one in plan.left_out
        ),
        held=lawns.held,
        faults=(*plan.faults, *draft.faults),
        changes=changes,
        weather=weather_stamp([case.stand for case in lawns.seen], now=now, max_age=policy.max_age),
        dropped=_dropped(changes, known),
        crew_heat=_heat_of(work, keeper.keeper_id, hours, draft.crews, plan.on),
        warnings=warnings_for(work, sorted(lawns.cells), now=now),
    )
    facts = {
        "sheet": SHEET.dump_python(sheet, mode="json"),
        "rain_mm": rain_by_cell(hours),
        "driving": _driving(sheet),
    }
    record = PlanRecord(0, keeper.keeper_id, plan.on, sheet.version, why, now, facts)
    if not work.crews.keep_plan(record):
        raise InputError(f"{keeper.name}: the plan for {plan.on} was changed by somebody else just now")
    return sheet


def _driving(sheet: DaySheet) -> dict[str, float]:
    """What a week looks back on, apart from the sheet: it need not be read for it."""
    crews = [crew for crew in sheet.crews if crew.stops]
    minutes = sum(crew.back_min - crew.leaves_min - crew.work_min for crew in crews)
    return {"minutes": minutes, "stops": sum(len(crew.stops) for crew in crews)}


def rain_by_cell(hours: Mapping[int, DayHours]) -> dict[str, list[float]]:
    """Return the rain of a day's hours as a plan keeps it, by weather cell; 0 where none is known. [mm]"""
    return {
        str(cell_id): [0.0 if isnan(mm) else mm for mm in told.rain_mm] for cell_id, told in hours.items()
    }


def newest_sheets(work: Work, keeper_id: int, *, first: date, last: date) -> list[DaySheet]:
    """Return the newest plan of each of some days, both included, in order of day."""
    return [sheet_of(record) for record in work.crews.plans(keeper_id, first=first, last=last)]


def plan_of(sheet: DaySheet) -> DayPlan:
    """Return a sheet's plan, bare; what is past comes first."""
    routes = tuple(
        Route(
            crew.crew_id,
            crew.leaves_min,
            crew.back_min,
            crew.travel_km,
            tuple(
                Stop(stop.lawn.lawn_id, stop.starts_min, stop.ends_min, stop.travel_min, stop.travel_km)
                for stop in crew.listed
            ),
        )
        for crew in sheet.crews
    )
    left = tuple(LeftOut(one.lawn.lawn_id, one.why, one.waiting_cost) for one in sheet.left_out)
    return DayPlan(sheet.on, routes, left, sheet.faults)


def sheet_of(record: PlanRecord) -> DaySheet:
    """Return a kept plan as it was handed out; StoreError where it cannot be read."""
    try:
        return SHEET.validate_python(record.facts["sheet"])
    except (KeyError, ValidationError) as error:
        raise StoreError(f"keeper {record.keeper_id}: the plan for {record.on} cannot be read") from error


def with_visits(sheet: DaySheet, visits: Iterable[VisitRecord]) -> DaySheet:
    """Return a sheet whose stops say what became of them; of several visits to a lawn, the last.

    Parameters
    ----------
    sheet : DaySheet
        The day.
    visits : Iterable[VisitRecord]
        Visits in the order they were told; other days' are left out.

    Returns
    -------
    DaySheet
        Stops without a visit have no outcome, whatever they had.
    """
    told = {visit.lawn_id: visit for visit in visits if visit.on == sheet.on}

    def with_visit(stop: SheetStop) -> SheetStop:
        visit = told.get(stop.lawn.lawn_id)
        if visit is None:
            return replace(stop, outcome=None, reason=None)
        reason = visit.reason.value if visit.reason else None
        return replace(stop, outcome=visit.outcome.value, reason=reason)

    crews = (
        replace(crew, past=tuple(map(with_visit, crew.past)), stops=tuple(map(with_visit, crew.stops)))
        for crew in sheet.crews
    )
    return replace(sheet, crews=tuple(crews))


def _dropped(told: Sequence[Change], known: dict[int, SheetLawn]) -> tuple[SheetLawn, ...]:
    gone = [one.lawn_id for one in told if one.kind is ChangeKind.DROPPED]
    return tuple(known[lawn_id] for lawn_id in gone if lawn_id in known)


def _lawns_of(sheet: DaySheet) -> dict[int, SheetLawn]:
    planned = [stop.lawn for crew in sheet.crews for stop in crew.listed]
    return {lawn.lawn_id: lawn for lawn in (*planned, *(left.lawn for left in sheet.left_out))}


def _crew_sheets(draft: Draft, before: DaySheet | None) -> tuple[CrewSheet, ...]:
    """The crews' lists, with what is past; a crew that works no more keeps what it has done."""
    known = before.crews if before else ()
    past = {crew.crew_id: _past(crew) for crew in known}
    working = working_crews(draft.crews)
    made = [_crew_sheet(crew, draft.plan, draft.lawns.lawns, past.get(crew.crew_id, ())) for crew in working]
    at_work = {crew.crew_id for crew in working}
    made += [
        replace(crew, travel_km=0.0, stops=(), past=past[crew.crew_id])
        for crew in known
        if past[crew.crew_id] and crew.crew_id not in at_work
    ]
    return tuple(sorted(made, key=lambda crew: crew.crew_id))


def _past(crew: CrewSheet) -> tuple[SheetStop, ...]:
    told = [stop for stop in crew.listed if stop.outcome]
    return tuple(replace(stop, order=order) for order, stop in enumerate(told, 1))


def _crew_sheet(
    crew: Crew, plan: DayPlan, lawns: Mapping[int, SheetLawn], past: tuple[SheetStop, ...]
) -> CrewSheet:
    route = next((route for route in plan.routes if route.crew_id == crew.crew_id), None)
    stops = route.stops if route else ()
    return CrewSheet(
        crew_id=crew.crew_id,
        name=crew.name,
        depot=crew.depot,
        from_min=crew.from_min,
        to_min=crew.to_min,
        leaves_min=route.leaves_min if route else crew.from_min,
        back_min=route.back_min if route else crew.from_min,
        travel_km=route.travel_km if route else 0.0,
        stops=tuple(
            SheetStop(
                order, lawns[stop.lawn_id], stop.starts_min, stop.ends_min, stop.travel_min, stop.travel_km
            )
            for order, stop in enumerate(stops, len(past) + 1)
        ),
        past=past,
    )


def _heat_of(
    work: Work, keeper_id: int, cells: Mapping[int, DayHours], crews: Sequence[Crew], on: date
) -> CrewHeat | None:
    """The hottest cell's heat within the hours that crews work."""
    if not crews:
        return None
    return worst(heat_by_cell(cells, on, whole_hours(crews), heat_plan_of(work, keeper_id)).values())
