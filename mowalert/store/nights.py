"""Nights and their shards in the store."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, delete, insert, select, update

from mowalert.service.ports_nights import Cells, NightRecord, NightState, ShardRecord, ShardState
from mowalert.store.tables import night, night_shard

OPEN = (NightState.OPEN.value, NightState.TOLD.value)
BEGIN_LOCK = 7_401_501
"""Any number that no other lock of this program has."""


class SqlNights:
    """Nights and their shards.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def lock(self) -> None:
        """Let nobody else begin a night until this transaction ends."""
        # SQLite's transactions take the write lock at once.
        if self._connection.dialect.name == "postgresql":
            self._connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({BEGIN_LOCK})")

    def begin(self, at: datetime, round_ids: Sequence[int], cells: Sequence[Cells]) -> NightRecord:
        """Keep a new night with a shard for each span of cells; one still open is left."""
        where = night.c.state.in_(OPEN)
        self._connection.execute(update(night).where(where).values(state=NightState.LEFT.value))
        values = {
            "at": at,
            "round_ids": list(round_ids),
            "shards": len(cells),
            "state": NightState.OPEN.value,
        }
        made = self._connection.execute(insert(night).values(**values)).inserted_primary_key
        night_id = int(made[0])  # type: ignore[index]
        rows = [
            {
                "night_id": night_id,
                "shard": number,
                "first_cell": first,
                "last_cell": last,
                "state": ShardState.WAITING.value,
                "tries": 0,
                "digests": {},
                "left_lawns": [],
                "report": {},
            }
            for number, (first, last) in enumerate((*cells, (0, 0)))
        ]
        self._connection.execute(insert(night_shard), rows)
        return NightRecord(night_id, at, tuple(round_ids), len(cells))

    def open(self) -> NightRecord | None:
        """The night that is being worked on."""
        return self._night(select(night).where(night.c.state.in_(OPEN)).order_by(night.c.night_id.desc()))

    def newest(self) -> NightRecord | None:
        """The newest night, whatever became of it."""
        return self._night(select(night).order_by(night.c.night_id.desc()).limit(1))

    def get(self, night_id: int) -> NightRecord | None:
        """One night."""
        return self._night(select(night).where(night.c.night_id == night_id))

    def _night(self, query: Any) -> NightRecord | None:
        row = self._connection.execute(query).mappings().first()
        if row is None:
            return None
        words = {"round_ids": tuple(row["round_ids"]), "state": NightState(row["state"])}
        return NightRecord(**{**row, **words})

    def hold(self, night_id: int) -> bool:
        """Whether a night is open; where it is, none takes over before this transaction ends."""
        query = select(night.c.state).where(night.c.night_id == night_id).with_for_update(read=True)
        return self._connection.scalar(query) in OPEN

    def mark(self, night_id: int, state: NightState) -> None:
        """Say how far a night is."""
        where = night.c.night_id == night_id
        self._connection.execute(update(night).where(where).values(state=state.value))

    def shards(self, night_id: int) -> list[ShardRecord]:
        """Shards of a night in order, the end last."""
        query = select(night_shard).where(night_shard.c.night_id == night_id).order_by(night_shard.c.shard)
        return [_shard(row) for row in self._connection.execute(query).mappings()]

    def shard(self, night_id: int, shard: int) -> ShardRecord:
        """One shard."""
        query = select(night_shard).where(*_is(night_id, shard))
        return _shard(self._connection.execute(query).mappings().one())

    def tried(self, night_id: int, shard: int) -> int:
        """Count a try; how many there were with it."""
        more = update(night_shard).where(*_is(night_id, shard)).values(tries=night_shard.c.tries + 1)
        return int(self._connection.scalar(more.returning(night_shard.c.tries)) or 0)

    def sent(self, night_id: int, shards: Sequence[int], at: datetime) -> None:
        """Remember when shards were given to the workers."""
        where = night_shard.c.night_id == night_id, night_shard.c.shard.in_(shards)
        self._connection.execute(update(night_shard).where(*where).values(sent_at=at))

    def add_digests(self, night_id: int, shard: int, more: Mapping[int, int]) -> None:
        """Count digests by round."""
        kept = self.shard(night_id, shard).digests
        both = {str(one): kept.get(one, 0) + more.get(one, 0) for one in sorted({*kept, *more})}
        self._connection.execute(update(night_shard).where(*_is(night_id, shard)).values(digests=both))

    def close(
        self,
        night_id: int,
        shard: int,
        state: ShardState,
        *,
        left_lawns: Sequence[int] = (),
        report: Mapping[str, Any] | None = None,
    ) -> None:
        """Say that a shard is done, or given up."""
        values = {"state": state.value, "left_lawns": list(left_lawns), "report": dict(report or {})}
        self._connection.execute(update(night_shard).where(*_is(night_id, shard)).values(**values))

    def forget(self, *, before: datetime) -> int:
        """Forget nights before a moment; how many."""
        old = select(night.c.night_id).where(night.c.at < before)
        self._connection.execute(delete(night_shard).where(night_shard.c.night_id.in_(old)))
        return int(self._connection.execute(delete(night).where(night.c.at < before)).rowcount)


def _is(night_id: int, shard: int) -> tuple[Any, Any]:
    return night_shard.c.night_id == night_id, night_shard.c.shard == shard


def _shard(row: Any) -> ShardRecord:
    words = {
        "state": ShardState(row["state"]),
        "digests": {int(one): count for one, count in row["digests"].items()},
        "left_lawns": tuple(row["left_lawns"]),
    }
    return ShardRecord(**{**row, **words})
