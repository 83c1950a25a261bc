"""A day's list as a table, for a spreadsheet or another program: one row a lawn, figures as figures."""

import csv
from collections.abc import Sequence
from datetime import date, time
from io import BytesIO, StringIO

from mowalert.domain.clock import clock
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetLawn, SheetStop
from mowalert.errors import InputError
from mowalert.service.reading.sheet import no_formula

Cell = str | int | float | date | time | None
COLUMNS = (
    "day", "version", "crew", "order", "starts", "ends", "number", "client", "site", "lawn", "address",
    "latitude", "longitude", "minutes", "drive_min", "drive_km", "kept_at_mm", "cut_to_mm", "height_mm",
    "grown_mm", "last_cut_on", "removed_today", "removed_tomorrow", "removed_in_two_days", "limit",
    "clippings", "gate", "dog", "access", "skipped_last", "state",
)  # fmt: skip


def day_rows(sheet: DaySheet, crew_id: int | None = None) -> list[tuple[Cell, ...]]:
    """Return a day's lawns row by row, in the order of ``COLUMNS``.

    Parameters
    ----------
    sheet : DaySheet
        The day.
    crew_id : int | None
        One crew's part; everything, with what does not fit and what is held, if not given.

    Returns
    -------
    list[tuple[Cell, ...]]
        Planned lawns by crew and order, then the rest.
    """
    rows = [
        _row(sheet, stop.lawn, crew, stop, stop.outcome or "planned")
        for crew in sheet.crews
        if crew_id in (None, crew.crew_id)
        for stop in crew.listed
    ]
    if crew_id is None:
        rows += [_row(sheet, one.lawn, None, None, one.why.value) for one in sheet.left_out]
        rows += [_row(sheet, one.lawn, None, None, "held") for one in sheet.held]
    return rows


def _row(
    sheet: DaySheet, lawn: SheetLawn, crew: CrewSheet | None, stop: SheetStop | None, state: str
) -> tuple[Cell, ...]:
    today, tomorrow, after = (round(share, 3) for share in lawn.removed)
    return (
        sheet.on,
        sheet.version,
        crew.name if crew else "",
        stop.order if stop else None,
        clock(stop.starts_min) if stop else None,
        clock(stop.ends_min) if stop else None,
        lawn.number,
        lawn.client,
        lawn.site_name,
        lawn.lawn_name,
        lawn.address,
        lawn.position.latitude_deg,
        lawn.position.longitude_deg,
        round(lawn.minutes, 1),
        stop.travel_min if stop else None,
        stop.travel_km if stop else None,
        round(lawn.chosen_mm, 1),
        round(lawn.cut_to_mm, 1),
        round(lawn.height_mm, 1),
        round(lawn.grown_mm, 1),
        lawn.last_cut_on,
        today,
        tomorrow,
        after,
        round(lawn.limit, 3),
        lawn.clippings.value,
        lawn.gate,
        lawn.dog,
        lawn.access,
        lawn.skipped or "",
        state,
    )


def as_csv(rows: Sequence[Sequence[Cell]], columns: Sequence[str] = COLUMNS) -> str:
    """Return rows as comma-separated values; a text that looks like a formula gets an apostrophe."""
    out = StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(columns)
    table.writerows([_csv_cell(cell) for cell in row] for row in rows)
    return out.getvalue()


def _csv_cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, time):
        return f"{cell:%H:%M}"
    if isinstance(cell, str):
        return no_formula(cell)
    return (
        cell.isoformat()
        if isinstance(cell, date)
        else f"{cell:.10g}"
        if isinstance(cell, float)
        else str(cell)
    )


def as_xlsx(rows: Sequence[Sequence[Cell]], columns: Sequence[str] = COLUMNS, *, title: str) -> bytes:
    """Return rows as a workbook of one sheet.

    Parameters
    ----------
    rows : Sequence[Sequence[Cell]]
        Cells by row.
    columns : Sequence[str]
        Their names, in a first row that stays in sight.
    title : str
        Of the sheet.

    Returns
    -------
    bytes
        The file. Numbers, dates and times are such; no text is taken for a formula.

    Raises
    ------
    InputError
        If this installation writes no workbooks.
    """
    try:
        from openpyxl import Workbook
    except ImportError as error:
        raise InputError("workbooks need the extra `crews`: bash deploy/bootstrap.sh crews") from error
    book = Workbook()
    page = book.active
    page.title = title[:31]
    page.append(list(columns))
    page.freeze_panes = "A2"
    for number, row in enumerate(rows, 2):
        for place, value in enumerate(row, 1):
            cell = page.cell(number, place, _xlsx_value(value))
            if isinstance(value, str):
                cell.data_type = "s"
    for place, name in enumerate(columns, 1):
        page.column_dimensions[page.cell(1, place).column_letter].width = max(10, len(name) + 2)
    out = BytesIO()
    book.save(out)
    return out.getvalue()


def _xlsx_value(value: Cell) -> Cell:
    """Control characters have no place in a workbook."""
    if isinstance(value, str):
        return "".join(letter if letter.isprintable() else " " for letter in value)
    return value
