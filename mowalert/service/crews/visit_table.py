"""Visits as an office uploads them: a table, every bad row named, all good ones kept together or none."""

from dataclasses import dataclass
from datetime import date, datetime

from mowalert.domain.grasses import Turf
from mowalert.domain.units import mm_from_inches
from mowalert.errors import InputError
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.visits import Visit, report_visit
from mowalert.service.known import organisation
from mowalert.service.ports import Store, Work
from mowalert.service.reading.lawn_rows import Problem
from mowalert.service.reading.sheet import Sheet
from mowalert.service.within import Within

NEEDED = ("date", "outcome")


@dataclass(frozen=True, slots=True)
class VisitsTaken:
    """How an upload went: visits kept, known already, and every problem; nothing is kept with problems."""

    kept: int
    known: int
    problems: tuple[Problem, ...]


def take_visits(
    store: Store, turf: Turf, keeper: str, sheet: Sheet, *, by: str, now: datetime, despite: bool = False
) -> VisitsTaken:
    """Keep the visits of a table.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    keeper : str
        The organisation.
    sheet : Sheet
        Columns ``date``, ``outcome`` (done or skipped), and ``lawn_id`` or ``number`` or ``site`` (with
        ``lawn`` where a site has several); ``reason``, ``minutes``, ``height_mm`` or ``height_in``, ``note``.
    by : str
        Who says so.
    now : datetime
        The moment, aware.
    despite : bool
        Keep the good rows although others are bad.

    Returns
    -------
    VisitsTaken
        Without ``despite`` one bad row keeps all of them out.

    Raises
    ------
    InputError
        If a needed column is missing.
    """
    names = {name.casefold(): name for name in sheet.header}
    if missing := [name for name in NEEDED if name not in names]:
        raise InputError(f"the table lacks the columns {', '.join(missing)}")
    problems, kept, known = list(sheet.problems), 0, 0
    bad = {problem.line for problem in problems}
    with store.begin() as work:
        of = organisation(work, keeper)
        lawns = _lawns(work, of.keeper_id)
        for row in (row for row in sheet.rows if row.line not in bad):
            cells = {name: row.cells.get(theirs, "") for name, theirs in names.items()}
            try:
                visit = _visit(cells, lawns)
                taken = report_visit(Within(work), turf, of.keeper_id, visit, by=by, now=now)
            except InputError as error:
                problems.append(Problem(row.line, "row", cells["date"], str(error)))
                continue
            kept, known = kept + (not taken.repeated), known + taken.repeated
        if problems and not despite:
            return VisitsTaken(0, known, tuple(problems))
        work.commit()
    return VisitsTaken(kept, known, tuple(problems))


def _lawns(work: Work, keeper_id: int) -> dict[str, list[tuple[str, int]]]:
    """Lawns by every name their site goes by: number, name; each with the lawn's own name."""
    numbers = {one.site_id: one.number for one in work.crews.sites(keeper_id).values()}
    names = {one.site_id: one.name for one in work.crews.sites_of(keeper_id)}
    found: dict[str, list[tuple[str, int]]] = {}
    for lawn in work.lawns.of_keepers([keeper_id]):
        for key in {str(lawn.lawn_id), numbers.get(lawn.site_id, ""), names[lawn.site_id]} - {""}:
            found.setdefault(key.casefold(), []).append((lawn.name.casefold(), lawn.lawn_id))
    return found


def _visit(cells: dict[str, str], lawns: dict[str, list[tuple[str, int]]]) -> Visit:
    where = cells.get("lawn_id") or cells.get("number") or cells.get("site") or ""
    here = lawns.get(where.casefold(), [])
    if cells.get("lawn"):
        here = [one for one in here if one[0] == cells["lawn"].casefold()]
    if len(here) != 1:
        raise InputError(f"{where!r} names {len(here)} lawns; say number or lawn_id, and lawn where several")
    try:
        on = date.fromisoformat(cells["date"])
        outcome = Outcome(cells["outcome"].casefold())
        reason = SkipReason(cells["reason"].casefold()) if cells.get("reason") else None
        minutes = float(cells["minutes"]) if cells.get("minutes") else None
        height = float(cells["height_mm"]) if cells.get("height_mm") else None
        if height is None and cells.get("height_in"):
            height = float(mm_from_inches(float(cells["height_in"])))
    except ValueError as error:
        raise InputError(f"cannot be read: {error}") from error
    return Visit(here[0][1], on, outcome, reason, cells.get("note", ""), minutes, height)
