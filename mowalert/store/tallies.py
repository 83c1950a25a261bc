"""Sums since the beginning in the store, added to by every process."""

from sqlalchemy import Connection, select

from mowalert.service.ports_tallies import Totals
from mowalert.store.sql import insert_for
from mowalert.store.tables import tally


class SqlTallies:
    """Sums by figure and label.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, more: Totals) -> None:
        """Add to them."""
        # In one order everywhere: two workers that add at once must not wait for each other.
        rows = [
            {"figure": figure, "label": label, "value": float(value)}
            for figure, labels in sorted(more.items())
            for label, value in sorted(labels.items())
            if value
        ]
        if rows:
            insert = insert_for(self._connection, tally)
            both = {"value": tally.c.value + insert.excluded.value}
            keys = ["figure", "label"]
            self._connection.execute(insert.on_conflict_do_update(index_elements=keys, set_=both), rows)

    def all(self) -> Totals:
        """All of them."""
        found: dict[str, dict[str, float]] = {}
        for row in self._connection.execute(select(tally).order_by(tally.c.figure, tally.c.label)):
            found.setdefault(row.figure, {})[row.label] = row.value
        return found
