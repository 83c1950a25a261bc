"""A table of lawns that a keeper's own programs send: this keeper's lawns, and nobody else's."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from mowalert.domain.grasses import Turf
from mowalert.errors import InputError
from mowalert.service.keepers.keys import Asker
from mowalert.service.lawns.enrol import enrol
from mowalert.service.ports import Store, Work
from mowalert.service.reading.lawn_rows import LawnRow, Problem
from mowalert.service.reading.lawn_table import ImportReport, keeper_key, read_table
from mowalert.service.reading.tables import rows_of
from mowalert.service.records import KeeperRecord
from mowalert.service.region.guides import guides_now

MOST_ROWS = 500
"""Lawns of one table: they are written in one transaction, and everybody else waits for it."""
MOST_COLUMNS = 100
LONGEST = {"turf_class": 60, "lawn": 200, "site": 400}
"""Letters the store has room for, folded as names are compared."""


def enrol_own(
    store: Store,
    turf: Turf,
    asker: Asker,
    text: str,
    *,
    cell_degrees: float,
    dry_run: bool,
    all_or_nothing: bool,
    now: datetime,
) -> ImportReport:
    """Enrol lawns of one keeper from a table.

    Parameters
    ----------
    store : Store
        Where they are kept.
    turf : Turf
        Grasses and soils.
    asker : Asker
        Whose lawns they must be; a row of somebody else, or with another address, is refused.
    text : str
        The table, in the import's columns.
    cell_degrees : float
        Side of a weather cell. [°]
    dry_run : bool
        Say what would become of it, and store nothing.
    all_or_nothing : bool
        Store nothing if any row is bad.
    now : datetime
        The moment.

    Returns
    -------
    ImportReport
        Rows by outcome, and every bad one explained.

    Raises
    ------
    InputError
        If the text is no such table, or too long.
    """
    _check_size(text)
    with store.begin() as work:
        guides = guides_now(work, turf)
    rows, report = read_table(text, turf, now=now, guides=guides)
    rows = _of_keeper(rows, asker.keeper, report)
    report.stored = not dry_run and not (all_or_nothing and report.problems)
    if report.stored or dry_run:
        place = store if report.stored else _Rehearsal(store)
        enrol(place, turf, rows, report, source="api", cell_degrees=cell_degrees, now=now)
    return report


def _check_size(text: str) -> None:
    lines = rows_of(text)
    _, header = next(lines, (0, []))
    if len(header) > MOST_COLUMNS:
        raise InputError(f"the table has {len(header)} columns; {MOST_COLUMNS} are the most")
    if sum(1 for _ in lines) > MOST_ROWS:
        raise InputError(f"send at most {MOST_ROWS} lawns at once")


def _of_keeper(rows: Sequence[LawnRow], keeper: KeeperRecord, report: ImportReport) -> list[LawnRow]:
    """Keep this keeper's rows; whoever holds a key can neither enrol others nor move where notices go."""
    good = []
    for row in rows:
        problems = [problem for rule in RULES if (problem := rule(row, keeper)) is not None]
        report.problems += problems[:1]
        if not problems:
            good.append(row)
    report.problems.sort(key=lambda problem: problem.line)
    report.refused_rows = len({problem.line for problem in report.problems})
    return good


def _somebody_else(row: LawnRow, keeper: KeeperRecord) -> Problem | None:
    if keeper_key(row) == keeper.key:
        return None
    allowed = f"{keeper.name}, {keeper.kind}, with the address they enrolled with: the key is theirs"
    return Problem(row.line, "keeper", row.keeper[:60], allowed)


def _another_address(row: LawnRow, keeper: KeeperRecord) -> Problem | None:
    for column in ("email", "phone"):
        found = getattr(row, column)
        if column in row.said and found != getattr(keeper, column):
            return Problem(row.line, column, found[:60], "the address known, or an empty cell")
    return None


def _too_long(row: LawnRow, keeper: KeeperRecord) -> Problem | None:
    for column, most in LONGEST.items():
        found = getattr(row, column)
        if len(found.casefold()) > most:
            return Problem(row.line, column, found[:60], f"at most {most} letters")
    return None


RULES: tuple[Callable[[LawnRow, KeeperRecord], Problem | None], ...] = (
    _somebody_else,
    _another_address,
    _too_long,
)


@dataclass(frozen=True, slots=True)
class _Rehearsal:
    """A store in which nothing lasts."""

    store: Store

    @contextmanager
    def begin(self) -> Iterator[Work]:
        """Begin a transaction that ends as if it had never been."""
        with self.store.begin() as work:
            yield cast(Work, _Unkept(work))


class _Unkept:
    """A transaction that is never made to last."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def __getattr__(self, name: str) -> Any:
        return getattr(self._work, name)

    def commit(self) -> None:
        """Leave it undone."""
