"""One transaction and its repositories."""

from sqlalchemy import Connection, column, select, table

from mowalert.store.bulk import upsert
from mowalert.store.bulletins import SqlBulletins
from mowalert.store.crews import SqlCrews
from mowalert.store.guides import SqlGuides
from mowalert.store.inbound import SqlBounces, SqlInbound
from mowalert.store.keepers import SqlKeepers
from mowalert.store.keys import SqlKeys
from mowalert.store.lawns import SqlLawns
from mowalert.store.nights import SqlNights
from mowalert.store.operators import SqlOperators
from mowalert.store.outbox import SqlOutbox
from mowalert.store.parks import SqlParks
from mowalert.store.past import SqlPast
from mowalert.store.rounds import SqlRounds
from mowalert.store.signups import SqlSignups
from mowalert.store.stands import SqlStands
from mowalert.store.tables import meta
from mowalert.store.tallies import SqlTallies
from mowalert.store.warnings import SqlWarnings
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
        self.bulletins = SqlBulletins(connection)
        self.signups = SqlSignups(connection)
        self.inbound = SqlInbound(connection)
        self.bounces = SqlBounces(connection)
        self.keys = SqlKeys(connection)
        self.operators = SqlOperators(connection)
        self.warnings = SqlWarnings(connection)
        self.crews = SqlCrews(connection)
        self.parks = SqlParks(connection)
        self.nights = SqlNights(connection)
        self.tallies = SqlTallies(connection)
        self.past = SqlPast(connection)

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

    def schema_version(self) -> str | None:
        """Version of the tables."""
        kept = table("alembic_version", column("version_num"))
        value = self._connection.scalar(select(kept.c.version_num))
        return None if value is None else str(value)
