"""One transaction and its repositories."""

from sqlalchemy import Connection, select

from mowalert.store.guides import SqlGuides
from mowalert.store.keepers import SqlKeepers
from mowalert.store.lawns import SqlLawns
from mowalert.store.outbox import SqlOutbox
from mowalert.store.rounds import SqlRounds
from mowalert.store.signups import SqlSignups
from mowalert.store.sql import upsert
from mowalert.store.stands import SqlStands
from mowalert.store.tables import meta
from mowalert.store.weather import SqlWeather


class SqlWork:
    """One transaction.

    Parameters
    ----------
    connection : Connection
        An open connection; its transaction begins with the first query.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self.rounds = SqlRounds(connection)
        self.weather = SqlWeather(connection)
        self.stands = SqlStands(connection)
        self.keepers = SqlKeepers(connection)
        self.lawns = SqlLawns(connection)
        self.outbox = SqlOutbox(connection)
        self.guides = SqlGuides(connection)
        self.signups = SqlSignups(connection)

    def commit(self) -> None:
        """Make it last."""
        self._connection.commit()

    def get_meta(self, name: str) -> str | None:
        """A value the service keeps for itself."""
        value = self._connection.scalar(select(meta.c.value).where(meta.c.name == name))
        return None if value is None else str(value)

    def set_meta(self, name: str, value: str) -> None:
        """Keep a value."""
        upsert(self._connection, meta, [{"name": name, "value": value}])
