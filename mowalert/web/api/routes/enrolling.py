"""A table of lawns, as a program sends it."""

from typing import Annotated

from fastapi import APIRouter, Query

from mowalert.service.keepers.own_table import MOST_ROWS, enrol_own
from mowalert.web.api.asking import CSV, Enroller, SiteHere, Table, takes
from mowalert.web.api.problems import RefusedError, answers, row_faults
from mowalert.web.api.said import AskedTable
from mowalert.web.api.shown import Imported, show_import

router = APIRouter(tags=["enrol"])
TABLE = {
    "type": "string",
    "description": (
        "Lawns in the columns of `mowalert lawns import`, the first line naming them; "
        f"at most {MOST_ROWS} rows."
    ),
    "examples": [
        "keeper,kind,email,site,latitude,longitude,grass,height_mm\n"
        "Town Greens,company,office@example.org,Oak Road 5,41.85,-93.15,kentucky_bluegrass,65\n"
    ],
}


@router.post("/lawns", responses=answers(415, 422), openapi_extra=takes(CSV, TABLE))
def enrol_lawns(
    asker: Enroller, site: SiteHere, asked: Annotated[AskedTable, Query()], table: Table
) -> Imported:
    """Enrol lawns of this keeper, or change them; a table sent twice changes nothing more.

    Good rows are stored and every bad one is explained. A row of another keeper, or with another address
    than the known one, is refused. Scope: enrol.
    """
    made = site.services
    report = enrol_own(
        made.store,
        made.turf,
        asker,
        table,
        cell_degrees=made.settings.weather.cell_degrees,
        dry_run=asked.dry_run,
        all_or_nothing=asked.all_or_nothing,
        now=site.now,
    )
    if not report.stored and not asked.dry_run:
        detail = f"Nothing was stored: {report.refused_rows} of the rows cannot be."
        raise RefusedError(422, detail, errors=row_faults(report.problems))
    return show_import(report)
