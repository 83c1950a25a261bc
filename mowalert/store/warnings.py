"""Official warnings in the store: each once, with the cells it touches."""

from collections.abc import Iterable, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, delete, exists, select

from mowalert.domain.warnings import OfficialWarning, PlacedWarning, Severity, WarningKind, worst_first
from mowalert.service.ports import PulledWarnings
from mowalert.store.bulk import upsert
from mowalert.store.sql import among, chunks, insert_for, look_up
from mowalert.store.tables import official_warning, official_warning_cell

MOMENTS = ("onset_at", "ends_at")


class SqlWarnings:
    """Official warnings and the cells they touch.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep(self, pulled: PulledWarnings) -> None:
        """Keep what a source said, over what it said before of the cells it answered for."""
        found = {placed.warning.warning_id: placed for placed in pulled.found}
        self._leave_cells(pulled.source, pulled.answered)
        self._forget(self._replaced(pulled))
        rows = [_row(pulled.source, placed.warning) for placed in found.values()]
        upsert(self._connection, official_warning, rows)
        self._place(found.values())
        if pulled.answered:
            # Whatever now touches no cell was told of cells that have other news, or is told no more.
            self._forget(set(self._connection.scalars(_unplaced(pulled.source))) - set(found))

    def forget_ended(self, *, now: datetime) -> int:
        """Forget warnings that are over; how many."""
        query = select(official_warning.c.warning_id).where(official_warning.c.expires_at <= now)
        return self._forget(self._connection.scalars(query))

    def in_force(self, cell_ids: Sequence[int] | None = None, *, now: datetime) -> list[PlacedWarning]:
        """Warnings of some cells, or all, that are not over, the worst first."""
        touched = self._cells(cell_ids)
        columns = official_warning.c.warning_id, official_warning.c.facts
        query = select(*columns).where(official_warning.c.expires_at > now)
        wanted = None if cell_ids is None else touched
        rows = look_up(self._connection, query, official_warning.c.warning_id, wanted)
        placed = [PlacedWarning(_warning(facts), tuple(touched.get(key, ()))) for key, facts in rows]
        return sorted(placed, key=lambda one: worst_first(one.warning))

    def _cells(self, cell_ids: Sequence[int] | None) -> dict[str, list[int]]:
        """Cells by the warning that touches them, in order."""
        links = select(official_warning_cell).order_by(official_warning_cell.c.cell_id)
        wanted = None if cell_ids is None else sorted(set(cell_ids))
        found: dict[str, list[int]] = {}
        rows = look_up(self._connection, links, official_warning_cell.c.cell_id, wanted)
        for warning_id, cell_id in rows:
            found.setdefault(warning_id, []).append(cell_id)
        return found

    def _leave_cells(self, source: str, cell_ids: Sequence[int]) -> None:
        own = select(official_warning.c.warning_id).where(official_warning.c.source == source)
        for batch in chunks(cell_ids):
            cells = among(self._connection, official_warning_cell.c.cell_id, batch)
            theirs = official_warning_cell.c.warning_id.in_(own)
            self._connection.execute(delete(official_warning_cell).where(cells, theirs))

    def _replaced(self, pulled: PulledWarnings) -> list[str]:
        """Kept warnings of replaced messages; a message's later parts bear a number after its id."""
        if not pulled.replaced:
            return []
        own = select(official_warning.c.warning_id).where(official_warning.c.source == pulled.source)
        return [key for key in self._connection.scalars(own) if key.partition(" ")[0] in pulled.replaced]

    def _place(self, found: Iterable[PlacedWarning]) -> None:
        rows = [
            {"warning_id": one.warning.warning_id, "cell_id": cell_id}
            for one in found
            for cell_id in one.cell_ids
        ]
        if rows:
            insert = insert_for(self._connection, official_warning_cell).on_conflict_do_nothing()
            self._connection.execute(insert, rows)

    def _forget(self, warning_ids: Iterable[str]) -> int:
        forgotten = 0
        for batch in chunks(warning_ids):
            for kept in (official_warning_cell, official_warning):
                self._connection.execute(
                    delete(kept).where(among(self._connection, kept.c.warning_id, batch))
                )
            forgotten += len(batch)
        return forgotten


def _unplaced(source: str) -> Select[Any]:
    links = exists().where(official_warning_cell.c.warning_id == official_warning.c.warning_id)
    return select(official_warning.c.warning_id).where(official_warning.c.source == source, ~links)


def _row(source: str, warning: OfficialWarning) -> dict[str, Any]:
    facts = {entry.name: getattr(warning, entry.name) for entry in fields(warning)}
    facts |= {name: facts[name].isoformat() for name in MOMENTS}
    return {
        "warning_id": warning.warning_id,
        "source": source,
        "facts": facts | {"areas": list(warning.areas)},
        "expires_at": warning.ends_at,
    }


def _warning(facts: dict[str, Any]) -> OfficialWarning:
    return OfficialWarning(
        **facts
        | {name: datetime.fromisoformat(facts[name]) for name in MOMENTS}
        | {
            "kind": WarningKind(facts["kind"]),
            "severity": Severity(facts["severity"]),
            "areas": tuple(facts["areas"]),
        }
    )
