"""Enrol lawns from a table: keepers, sites, stands and lawns; a second time changes nothing."""

import csv
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from enum import StrEnum
from io import StringIO

from mowalert.domain.cells import cell_of
from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import pace_of
from mowalert.domain.rounds import as_weekdays, timetable_for, weekdays_in
from mowalert.domain.stand import StandKey, rooting_class
from mowalert.domain.words import KeeperKind
from mowalert.errors import InputError
from mowalert.service.anchoring import place, restarted
from mowalert.service.lawn_rows import COLUMNS, LawnRow, Problem, missing_columns, read_row
from mowalert.service.places import standard_offset_min, time_zone_at
from mowalert.service.ports import Store, Work
from mowalert.service.records import EventRecord, KeeperRecord, LawnRecord, SiteRecord

OPERATOR = "operator"
"""Consent as the operator's statement: they say their keepers agreed."""


class Outcome(StrEnum):
    """What became of one row."""

    ADDED = "added"
    CHANGED = "changed"
    UNCHANGED = "unchanged"


@dataclass(slots=True)
class ImportReport:
    """How a table went: rows by outcome, every problem, and columns nobody asked for."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    refused_rows: int = 0
    problems: list[Problem] = field(default_factory=list)
    extra_columns: list[str] = field(default_factory=list)
    stored: bool = True


def read_table(text: str, turf: Turf, *, now: datetime) -> tuple[list[LawnRow], ImportReport]:
    """Read a table's text: the good rows, and a report of the others.

    Parameters
    ----------
    text : str
        Comma-separated values with a header; a byte-order mark is harmless.
    turf : Turf
        Grasses and soils.
    now : datetime
        The moment, for dates of last cuts.

    Returns
    -------
    tuple[list[LawnRow], ImportReport]
        Rows in order of the file, and what was wrong.

    Raises
    ------
    InputError
        If the header lacks a needed column or the text is no table.
    """
    table = csv.DictReader(StringIO(text.lstrip("\ufeff")), strict=True)
    header = [name.strip() for name in table.fieldnames or []]
    if missing := missing_columns(header):
        raise InputError(f"the table lacks the column {', '.join(missing)}")
    report = ImportReport(extra_columns=[name for name in header if name not in COLUMNS])
    rows = [row for row in _rows(table, header, turf, now, report) if row is not None]
    good = _without_twins(rows, report)
    report.refused_rows = len({problem.line for problem in report.problems})
    return good, report


def _rows(
    table: "csv.DictReader[str]", header: list[str], turf: Turf, now: datetime, report: ImportReport
) -> Iterable[LawnRow | None]:
    try:
        for cells in table:
            row = _row(cells, header, table.line_num, turf, now, report)
            yield row
    except csv.Error as error:
        raise InputError(f"line {table.line_num}: this is no table ({error})") from error


def _row(
    cells: dict[str | None, str | list[str] | None],
    header: list[str],
    line: int,
    turf: Turf,
    now: datetime,
    report: ImportReport,
) -> LawnRow | None:
    if None in cells or None in cells.values():
        report.problems.append(Problem(line, "row", "", f"exactly {len(header)} cells, as in the header"))
        return None
    named = {(name or "").strip(): str(text) for name, text in cells.items()}
    if not any(named.values()):
        return None
    row = read_row(named, line=line, turf=turf, today=now.date())
    if isinstance(row, LawnRow):
        return row
    report.problems += row
    return None


def _without_twins(rows: Sequence[LawnRow], report: ImportReport) -> list[LawnRow]:
    """Refuse a second row of the same lawn in one table: which of the two is meant?"""
    first: dict[tuple[str, str, str], LawnRow] = {}
    for row in rows:
        key = (keeper_key(row), _site_key(row), row.lawn.casefold())
        if key in first:
            allowed = f"line {first[key].line} is the same lawn; give each its own name in column lawn"
            report.problems.append(Problem(row.line, "lawn", row.lawn, allowed))
        else:
            first[key] = row
    return list(first.values())


def enrol(
    store: Store,
    turf: Turf,
    rows: Sequence[LawnRow],
    report: ImportReport,
    *,
    source: str,
    cell_degrees: float,
    now: datetime,
) -> ImportReport:
    """Store good rows in one transaction.

    Parameters
    ----------
    store : Store
        Where they are kept.
    turf : Turf
        Grasses and soils.
    rows : Sequence[LawnRow]
        Rows that were read well.
    report : ImportReport
        What reading them found; the outcomes are added.
    source : str
        Where the operator's statement of consent comes from: the file's name.
    cell_degrees : float
        Side of a weather cell. [°]
    now : datetime
        The moment of the statement.

    Returns
    -------
    ImportReport
        The same report.
    """
    days = _days_by_keeper(rows)
    with store.begin() as work:
        for row in rows:
            outcome = _enrol_row(work, turf, row, days[keeper_key(row)], source, cell_degrees, now)
            setattr(report, outcome.value, getattr(report, outcome.value) + 1)
        work.commit()
    return report


def keeper_key(row: LawnRow) -> str:
    """Return what makes a keeper the same in two tables: kind, name and first address."""
    return f"{row.kind}|{row.keeper.casefold()}|{row.email or row.phone}"


def _site_key(row: LawnRow) -> str:
    return row.site.casefold()


def _days_by_keeper(rows: Sequence[LawnRow]) -> dict[str, frozenset[int]]:
    days: dict[str, frozenset[int]] = {}
    for row in rows:
        days[keeper_key(row)] = days.get(keeper_key(row), frozenset()) | row.mowing_days
    return days


def _enrol_row(
    work: Work,
    turf: Turf,
    row: LawnRow,
    days: frozenset[int],
    source: str,
    cell_degrees: float,
    now: datetime,
) -> Outcome:
    keeper, keeper_changed = _enrol_keeper(work, row, days, source, now)
    site, site_changed = _enrol_site(work, row, keeper, cell_degrees, now)
    outcome = _enrol_lawn(work, turf, row, keeper, site, now)
    if outcome is Outcome.UNCHANGED and (keeper_changed or site_changed):
        return Outcome.CHANGED
    return outcome


def _enrol_keeper(
    work: Work, row: LawnRow, days: frozenset[int], source: str, now: datetime
) -> tuple[KeeperRecord, bool]:
    known = work.keepers.by_key(keeper_key(row))
    before = work.lawns.of_keepers([known.keeper_id]) if known else []
    for lawn in before:
        days |= weekdays_in(lawn.mowing_days)
    table = timetable_for(days, time_zone=row.time_zone, daily_list=row.kind is not KeeperKind.HOMEOWNER)
    round_id = work.rounds.ensure(
        daily_list=table.daily_list,
        time_zone=table.time_zone,
        weekdays=table.weekdays,
        minute_of_day=table.minute_of_day,
        mixed=any(weekdays_in(lawn.mowing_days) != days for lawn in before) or row.mowing_days != days,
    )
    keeper = KeeperRecord(
        keeper_id=known.keeper_id if known else 0,
        key=keeper_key(row),
        name=row.keeper,
        kind=row.kind,
        email=row.email,
        phone=row.phone,
        time_zone=row.time_zone,
        units=row.units,
        language=known.language if known else "en",
        silence=row.silence,
        tells_all_holds=row.kind is KeeperKind.PARKS,
        round_id=round_id,
        consent=OPERATOR,
        consent_at=now,
        consent_from=source,
    )
    if known is None:
        return replace(keeper, keeper_id=work.keepers.add(keeper)), False
    kept = replace(
        keeper,
        **{name: getattr(known, name) for name in _KEPT_OF_KEEPER},
    )
    if kept == known:
        return known, False
    work.keepers.change(kept)
    return kept, True


_KEPT_OF_KEEPER = (
    "consent",
    "consent_at",
    "consent_from",
    "email_suspended",
    "phone_suspended",
    "paused_until",
    "no_weather_on",
    "greeted",
)


def _enrol_site(
    work: Work, row: LawnRow, keeper: KeeperRecord, cell_degrees: float, now: datetime
) -> tuple[SiteRecord, bool]:
    wanted = SiteRecord(
        site_id=0,
        keeper_id=keeper.keeper_id,
        key=_site_key(row),
        name=row.site,
        address=row.address,
        latitude_deg=row.latitude_deg,
        longitude_deg=row.longitude_deg,
        cell_id=work.weather.ensure_cell(
            *cell_of(row.latitude_deg, row.longitude_deg, cell_degrees=cell_degrees),
            # The place's own zone cuts its days, whatever zone its keeper lives in.
            standard_offset_min(time_zone_at(row.latitude_deg, row.longitude_deg), now.date()),
        ),
    )
    site, new = work.keepers.ensure_site(wanted)
    wanted = replace(wanted, site_id=site.site_id)
    if new or wanted == site:
        return wanted, False
    work.keepers.change_site(wanted)
    return wanted, True


def _enrol_lawn(
    work: Work, turf: Turf, row: LawnRow, keeper: KeeperRecord, site: SiteRecord, now: datetime
) -> Outcome:
    key = StandKey(row.grass.grass_id, row.soil, rooting_class(row.height_mm), row.sun, row.watering)
    stand_id = work.stands.ensure(site.cell_id, key)
    known = work.lawns.by_key(site.site_id, row.lawn.casefold())
    learned = known.learned if known else 1.0
    lawn = LawnRecord(
        lawn_id=known.lawn_id if known else 0,
        site_id=site.site_id,
        keeper_id=keeper.keeper_id,
        round_id=keeper.round_id,
        stand_id=stand_id,
        key=row.lawn.casefold(),
        name=row.lawn,
        grass=row.grass.grass_id,
        chosen_mm=row.height_mm,
        nitrogen=row.nitrogen,
        area_m2=row.area_m2,
        turf_class=row.turf_class,
        mowing_days=as_weekdays(row.mowing_days),
        mow_from_h=row.mowing_hours[0],
        mow_to_h=row.mowing_hours[1],
        clippings=row.clippings,
        learned=learned,
        pace=pace_of(row.grass, row.height_mm, nitrogen=row.nitrogen, learned=learned),
        anchored_on=row.last_mown_on or now.date(),
        anchor_height_mm=row.last_height_mm,
        anchor_g_mm=None,
        anchor_assumed=row.last_mown_on is None,
    )
    if known is None:
        return _add_lawn(work, turf, lawn, now)
    return _change_lawn(work, turf, known, lawn, now)


def _add_lawn(work: Work, turf: Turf, lawn: LawnRecord, now: datetime) -> Outcome:
    lawn = replace(lawn, lawn_id=work.lawns.add(lawn))
    if not lawn.anchor_assumed:
        work.lawns.happened([_mowing(lawn, now)])
    place(work, turf, [lawn])
    return Outcome.ADDED


def _change_lawn(work: Work, turf: Turf, known: LawnRecord, lawn: LawnRecord, now: datetime) -> Outcome:
    """Keep where a lawn stands unless the table tells of a newer cut."""
    newer = not lawn.anchor_assumed and lawn.anchored_on > known.anchored_on
    kept = _with_progress(lawn, known)
    if newer:
        work.lawns.happened([_mowing(lawn, now)])
        kept = restarted(kept, on=lawn.anchored_on, height_mm=lawn.anchor_height_mm, assumed=False)
    if kept == known:
        return Outcome.UNCHANGED
    work.lawns.change(kept)
    place(work, turf, [replace(kept, anchor_g_mm=None)])
    return Outcome.CHANGED


PROGRESS = frozenset(
    {
        "anchored_on",
        "anchor_height_mm",
        "anchor_g_mm",
        "anchor_assumed",
        "window_g_mm",
        "limit_g_mm",
        "told_hold",
        "told_hold_on",
        "advised_on",
        "advised_mm",
    }
)


def _with_progress(lawn: LawnRecord, known: LawnRecord) -> LawnRecord:
    names = (entry.name for entry in fields(LawnRecord))
    return replace(lawn, **{name: getattr(known, name) for name in names if name in PROGRESS})


def _mowing(lawn: LawnRecord, now: datetime) -> EventRecord:
    return EventRecord(
        0, lawn.lawn_id, "mowing", lawn.anchored_on, lawn.anchor_height_mm, None, False, "csv", now
    )
