"""Sending rounds in the store."""

from collections.abc import Sequence
from datetime import date, datetime

from sqlalchemy import Connection, insert, select, update

from mowalert.service.records import RoundRecord
from mowalert.store.sql import insert_for
from mowalert.store.tables import round_log, sending_round


class SqlRounds:
    """Sending rounds.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def all(self) -> list[RoundRecord]:
        """Every round."""
        rows = self._connection.execute(select(sending_round).order_by(sending_round.c.round_id))
        return [RoundRecord(**row) for row in rows.mappings()]

    def ensure(
        self, *, daily_list: bool, time_zone: str, weekdays: int, minute_of_day: int, mixed: bool
    ) -> int:
        """Return the round's id, making it if needed."""
        wanted = {
            "daily_list": daily_list,
            "time_zone": time_zone,
            "weekdays": weekdays,
            "minute_of_day": minute_of_day,
            "mixed": mixed,
        }
        query = select(sending_round.c.round_id).filter_by(**wanted)
        found = self._connection.scalar(query)
        if found is None:
            self._connection.execute(
                insert_for(self._connection, sending_round).values(**wanted).on_conflict_do_nothing()
            )
            found = self._connection.scalar(query)
        return int(found or 0)

    def done(self, round_ids: Sequence[int], on: date, *, at: datetime, outcome: str, digests: int) -> None:
        """Mark rounds as done for a local date, and log it."""
        where = sending_round.c.round_id.in_(round_ids)
        self._connection.execute(update(sending_round).where(where).values(done_on=on))
        rows = [
            {"round_id": round_id, "local_date": on, "at": at, "outcome": outcome, "digests": digests}
            for round_id in round_ids
        ]
        self._connection.execute(insert(round_log), rows)

    def last_log(self, limit: int) -> list[tuple[int, date, datetime, str, int]]:
        """The newest log entries: round, local date, moment, outcome, digests."""
        columns = [round_log.c[name] for name in ("round_id", "local_date", "at", "outcome", "digests")]
        query = select(*columns).order_by(round_log.c.log_id.desc()).limit(limit)
        return [tuple(row) for row in self._connection.execute(query)]
