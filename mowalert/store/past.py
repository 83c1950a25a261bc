"""Rows of the past in the store: found in the order they were written, forgotten some thousand at a time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from sqlalchemy import Column, ColumnElement, Connection, Date, Table, case, delete, func, select

from mowalert.domain.words import NoticeKind
from mowalert.service.ports_past import Old
from mowalert.store.crew_tables import day_plan, visit
from mowalert.store.outbox import WAITING
from mowalert.store.tables import budget, cell, cell_day, outbox, refusal, round_log, told

HOLDS = [NoticeKind.HOLD.value, NoticeKind.RELEASE.value]


@dataclass(frozen=True, slots=True)
class _Rows:
    """A table whose numbers follow time: number, age, and which rows may go."""

    number: Column[Any]
    age: Column[Any]
    may_go: tuple[ColumnElement[bool], ...] = ()

    @property
    def table(self) -> Table:
        return self.number.table

    def is_old(self, before: date) -> ColumnElement[bool]:
        return self.age < _as(self.age, before)

    def that_go(self, before: date) -> tuple[ColumnElement[bool], ...]:
        # The newest stays, whatever its age: SQLite would give its number again.
        newest = select(func.max(self.number)).scalar_subquery()
        return (self.number < newest, self.is_old(before), *self.may_go)


ROWS: dict[Old, tuple[_Rows, ...]] = {
    # By when they stop being useful: whatever still waits after that is expired first.
    Old.MESSAGES: (_Rows(outbox.c.message_id, outbox.c.useful_until, (outbox.c.state.not_in(WAITING),)),),
    Old.NOTICES: (_Rows(told.c.told_id, told.c.on, (told.c.kind.not_in(HOLDS),)),),
    Old.RECORDS: (
        _Rows(told.c.told_id, told.c.on, (told.c.kind.in_(HOLDS),)),
        _Rows(visit.c.visit_id, visit.c.on),
    ),
    Old.PLANS: (_Rows(day_plan.c.plan_id, day_plan.c.on),),
    Old.ROUNDS: (_Rows(round_log.c.log_id, round_log.c.at),),
    Old.REFUSALS: (_Rows(refusal.c.refusal_id, refusal.c.at),),
}
CELLS_AT_ONCE = 50
"""Cells whose days are forgotten at once."""


class SqlPast:
    """Old rows.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def forget(self, what: Old, *, before: date, after: int, limit: int) -> tuple[int, int | None]:
        """Look at the next rows, and forget the old ones: how many, and where to go on; none at the end."""
        if what is Old.WEATHER:
            return self._forget_days(before, after)
        if what is Old.REFUSALS:
            self._connection.execute(delete(budget).where(budget.c.day < before))
        found = [self._forget_next(rows, before, after, limit) for rows in ROWS[what]]
        on = [next_after for _, next_after in found if next_after is not None]
        return sum(gone for gone, _ in found), min(on, default=None)

    def _forget_next(self, rows: _Rows, before: date, after: int, limit: int) -> tuple[int, int | None]:
        """Numbers follow time: where the next rows are all young, so are those that come after them."""
        is_old = rows.is_old(before)
        window = (
            select(rows.number, case((is_old, 1), else_=0).label("old"))
            .where(rows.number > after)
            .order_by(rows.number)
            .limit(limit)
            .subquery()
        )
        query = select(func.max(window.c[rows.number.name]), func.sum(window.c.old), func.count())
        last, old, count = self._connection.execute(query).one()
        if not old:
            return 0, None
        go = (rows.number > after, rows.number <= last, *rows.that_go(before))
        gone = int(self._connection.execute(delete(rows.table).where(*go)).rowcount)
        return gone, last if count == limit else None

    def _forget_days(self, before: date, after: int) -> tuple[int, int | None]:
        query = select(cell.c.cell_id).where(cell.c.cell_id > after).order_by(cell.c.cell_id)
        ids: Sequence[int] = self._connection.scalars(query.limit(CELLS_AT_ONCE)).all()
        if not ids:
            return 0, None
        old = delete(cell_day).where(cell_day.c.cell_id.in_(ids), cell_day.c.on < before)
        return int(self._connection.execute(old).rowcount), ids[-1]

    def old(self, what: Old, *, before: date) -> int:
        """How many rows are old."""
        if what is Old.WEATHER:
            return self._count(cell_day, cell_day.c.on < before)
        return sum(self._count(rows.table, *rows.that_go(before)) for rows in ROWS[what])

    def _count(self, table: Table, *where: ColumnElement[bool]) -> int:
        return int(self._connection.scalar(select(func.count()).select_from(table).where(*where)) or 0)


def _as(column: Column[Any], on: date) -> date | datetime:
    """A day as a column of days, or of moments, compares it."""
    return on if isinstance(column.type, Date) else datetime.combine(on, time(), UTC)
