"""An organisation's lawns as a day's plan sees them: what could be cut, what is held, and by whom."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from mowalert.domain.crews import Job, Position
from mowalert.domain.day_sheet import SheetHeld, SheetLawn
from mowalert.domain.decide import Round, decide
from mowalert.domain.grasses import Turf
from mowalert.domain.notices import HoldFacts, Notice
from mowalert.domain.thirds import removed_fraction
from mowalert.domain.weather import DayHours
from mowalert.domain.words import NoticeKind
from mowalert.domain.work_minutes import usual_minutes
from mowalert.service.crew_records import LawnWork, Outcome, SiteWork, SkipReason, VisitRecord
from mowalert.service.crews.work_hours import clock_hours, clocks_ahead
from mowalert.service.lawns.look import SeenLawn, see_lawns
from mowalert.service.policy import Policy
from mowalert.service.ports import Work
from mowalert.service.reading.day_hours import DAY_MIN
from mowalert.service.records import KeeperRecord

SHARES_AHEAD_D = 6
"""Days after the planned one whose shares a job carries: two more days are planned after rain."""
SKIPS_COUNT_FOR = timedelta(days=10)
CAUTION_D = 3
"""A hold that begins within so many days is worth a word on the list."""
NONE_KNOWN = SiteWork(0, 0)


@dataclass(frozen=True, slots=True)
class DayLawns:
    """What a day's plan is made of: jobs, and every lawn spoken of as its people need it.

    ``cells`` says of each weather cell how far the clocks are ahead of it, in minutes.
    """

    jobs: tuple[Job, ...]
    lawns: Mapping[int, SheetLawn]
    held: tuple[SheetHeld, ...]
    seen: tuple[SeenLawn, ...]
    cells: Mapping[int, int]

    def hours_on(self, on: date) -> dict[int, DayHours]:
        """Hours of a day in each weather cell, by the clock on the wall; cells without are absent."""
        days = {case.stand.cell_id: case.stand.days.get(on) for case in self.seen}
        return {
            cell_id: clock_hours(day.hours, self.cells[cell_id])
            for cell_id, day in sorted(days.items())
            if day is not None and day.hours is not None
        }


def day_lawns(
    work: Work,
    turf: Turf,
    policy: Policy,
    keeper: KeeperRecord,
    *,
    on: date,
    now: datetime,
    seen: Sequence[SeenLawn] | None = None,
) -> DayLawns:
    """Look at every lawn of an organisation as it will stand on a day.

    Parameters
    ----------
    work : Work
        An open transaction.
    turf : Turf
        Grasses and soils.
    policy : Policy
        The age at which weather is too old.
    keeper : KeeperRecord
        The organisation.
    on : date
        The day, today or within the forecast.
    now : datetime
        The moment.
    seen : Sequence[SeenLawn] | None
        The organisation's lawns as they are seen at that moment, where another day has seen them already.

    Returns
    -------
    DayLawns
        Lawns whose window is open on that day are jobs; those under a hold are listed with it.
    """
    if seen is None:
        ids = [lawn.lawn_id for lawn in work.lawns.of_keepers([keeper.keeper_id])]
        seen = see_lawns(work, turf, policy, ids, now)
    known = _Known(
        work.crews.sites(keeper.keeper_id),
        work.crews.lawns([case.lawn.lawn_id for case in seen]),
        _last_visits(work, keeper.keeper_id, on),
    )
    jobs, lawns, held = [], {}, []
    for case in seen:
        if on.weekday() not in case.facts.mowing_days:
            continue
        notice = decide(replace(case.facts, told_hold=None), case.outlook, _round(on))
        # Old weather starts no cut: whoever was held when it was fresh may be held still.
        if notice is None or notice.kind is NoticeKind.NO_WEATHER:
            continue
        sheet = _sheet_lawn(case, notice, known, on)
        lawns[sheet.lawn_id] = sheet
        if notice.kind is NoticeKind.HOLD:
            held.append(SheetHeld(sheet, notice.holds))
        else:
            jobs.append(_job(case, sheet, known, on))
    cells = clocks_ahead(work, {case.stand.cell_id for case in seen}, keeper.time_zone, on)
    return DayLawns(tuple(jobs), lawns, tuple(held), tuple(seen), cells)


def _round(on: date) -> Round:
    return Round(on, on, on + timedelta(days=1), lists_window=True)


@dataclass(frozen=True, slots=True)
class _Known:
    """What the office and earlier visits have told."""

    sites: Mapping[int, SiteWork]
    lawns: Mapping[int, LawnWork]
    last: Mapping[int, VisitRecord]


def _last_visits(work: Work, keeper_id: int, on: date) -> dict[int, VisitRecord]:
    visits = work.crews.visits(keeper_id, first=on - SKIPS_COUNT_FOR, last=on)
    return {visit.lawn_id: visit for visit in visits}


def _sheet_lawn(case: SeenLawn, notice: Notice, known: _Known, on: date) -> SheetLawn:
    lawn, site = case.lawn, case.site
    office = known.sites.get(site.site_id, NONE_KNOWN)
    skip = known.last.get(lawn.lawn_id)
    skipped = skip is not None and skip.outcome is Outcome.SKIPPED
    today, tomorrow, after = _shares(case, on)[:3]
    staged = notice.plan.cuts if notice.plan else ()
    return SheetLawn(
        lawn_id=lawn.lawn_id,
        site_id=site.site_id,
        site_name=site.name,
        lawn_name=lawn.name,
        address=site.address,
        position=Position(site.latitude_deg, site.longitude_deg),
        number=office.number,
        client=office.client,
        access=office.access,
        gate=office.gate,
        dog=office.dog,
        grass_name=case.facts.grass.name,
        turf_class=lawn.turf_class,
        area_m2=lawn.area_m2,
        minutes=minutes_at(case, known.lawns.get(lawn.lawn_id)),
        chosen_mm=lawn.chosen_mm,
        height_mm=notice.height_mm,
        cut_to_mm=_cut_to_mm(case, notice),
        grown_mm=notice.grown_mm,
        last_cut_on=notice.last_cut_on,
        last_cut_assumed=notice.last_cut_assumed,
        removed=(today, tomorrow, after),
        limit=lawn.third,
        clippings=notice.clippings,
        limit_on=notice.limit_on,
        staged_next_on=staged[1].on if len(staged) > 1 else None,
        cautions=_cautions(case, on),
        skipped=skip.reason.value if skip and skipped and skip.reason else None,
        skipped_note=skip.note if skip and skipped else "",
        visit_from_min=office.visit_from_min,
        visit_to_min=office.visit_to_min,
    )


def minutes_at(case: SeenLawn, told: LawnWork | None) -> float:
    """Return how long a lawn takes, by whoever knows best. [min]"""
    return usual_minutes(
        case.lawn.area_m2,
        case.lawn.turf_class,
        said=told.minutes if told else None,
        learned=told.learned_minutes if told else None,
    )


def _cut_to_mm(case: SeenLawn, notice: Notice) -> float:
    """The chosen height, or as low as a third allows today."""
    lowest = notice.height_mm * (1 - case.lawn.third)
    return max(case.lawn.chosen_mm, min(notice.height_mm, lowest))


def _shares(case: SeenLawn, on: date) -> tuple[float, ...]:
    """Share a cut to the chosen height takes on a day and on those after it."""
    heights = case.facts.heights_at(case.outlook.growth_mm)
    columns = (case.outlook.at(on + timedelta(days=ahead)) for ahead in range(SHARES_AHEAD_D + 1))
    return tuple(max(0.0, removed_fraction(float(heights[at]), case.lawn.chosen_mm)) for at in columns)


def _cautions(case: SeenLawn, on: date) -> tuple[HoldFacts, ...]:
    """Dated holds that begin within a few days: a treatment tomorrow is a reason to mow today, or not."""
    soon = on + timedelta(days=CAUTION_D)
    return tuple(hold for hold in case.facts.dated_holds if on < hold.started_on <= soon)


def _job(case: SeenLawn, sheet: SheetLawn, known: _Known, on: date) -> Job:
    told = known.lawns.get(sheet.lawn_id)
    from_min = max(sheet.visit_from_min or 0, case.lawn.mow_from_h * 60)
    to_min = min(sheet.visit_to_min or DAY_MIN, case.lawn.mow_to_h * 60)
    return Job(
        lawn_id=sheet.lawn_id,
        site_id=sheet.site_id,
        position=sheet.position,
        minutes=sheet.minutes,
        removed=_shares(case, on),
        limit=sheet.limit,
        from_min=from_min or None,
        to_min=to_min if to_min < DAY_MIN else None,
        crew_id=told.crew_id if told else None,
        returns=_returns(known.last.get(sheet.lawn_id)),
    )


def _returns(last: VisitRecord | None) -> bool:
    """Whether a lawn has its place after a skipped visit; one that needed no cut goes by its growth alone."""
    skipped = last is not None and last.outcome is Outcome.SKIPPED
    return skipped and last is not None and last.reason is not SkipReason.NOT_NEEDED
