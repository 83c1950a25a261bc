"""Operators, and what only they are shown, in the store."""

from sqlalchemy import Connection, delete, func, select

from mowalert.domain.words import Channel
from mowalert.service.ports import FailedMessages, OperatorRecord
from mowalert.store.bulk import upsert
from mowalert.store.sql import values_of
from mowalert.store.tables import operator, outbox


class SqlOperators:
    """Who may look at how the service does.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep(self, record: OperatorRecord) -> None:
        """Keep an operator, newer over older."""
        upsert(self._connection, operator, [values_of(record)])

    def get(self, name: str) -> OperatorRecord | None:
        """The operator of a name."""
        row = self._connection.execute(select(operator).where(operator.c.name == name)).mappings().first()
        return None if row is None else OperatorRecord(**row)

    def remove(self, name: str) -> bool:
        """Remove an operator; ``False`` if there is none of that name."""
        return bool(self._connection.execute(delete(operator).where(operator.c.name == name)).rowcount)

    def all(self) -> list[OperatorRecord]:
        """Every operator, by name."""
        rows = self._connection.execute(select(operator).order_by(operator.c.name))
        return [OperatorRecord(**row) for row in rows.mappings()]

    def failed_messages(self, *, among: int, limit: int) -> list[FailedMessages]:
        """Messages that failed among so many newest, by channel and reason, the newest first."""
        # No index leads to failed messages: the newest are found by number, so that the look stays short.
        newest = select(func.max(outbox.c.message_id)).scalar_subquery()
        newest_at = func.max(outbox.c.created_at)
        query = (
            select(outbox.c.channel, func.coalesce(outbox.c.error, ""), func.count(), newest_at)
            .where(outbox.c.message_id > newest - among, outbox.c.state.in_(("failed", "unknown")))
            .group_by(outbox.c.channel, outbox.c.error)
            .order_by(newest_at.desc())
            .limit(limit)
        )
        return [
            FailedMessages(Channel(channel), reason, count, at)
            for channel, reason, count, at in self._connection.execute(query)
        ]
