"""Keys of keepers' programs in the store: digests only, never a key."""

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, insert, select, update

from mowalert.service.ports import ApiKeyRecord
from mowalert.store.sql import values_of
from mowalert.store.tables import api_key


class SqlKeys:
    """Keys of keepers' programs.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, record: ApiKeyRecord) -> int:
        """Keep a new key; its number is given back."""
        values = values_of(record, without=["key_id"]) | {"scopes": " ".join(record.scopes)}
        row = insert(api_key).values(**values)
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def of_digest(self, digest: str) -> ApiKeyRecord | None:
        """The key of a digest, revoked or not."""
        found = self._keys(select(api_key).where(api_key.c.digest == digest))
        return found[0] if found else None

    def all(self) -> list[ApiKeyRecord]:
        """Every key, in order of number."""
        return self._keys(select(api_key).order_by(api_key.c.key_id))

    def revoke(self, key_id: int, *, at: datetime) -> ApiKeyRecord | None:
        """Make a key void and return it; the first moment stays; none if there is none of that number."""
        where = api_key.c.key_id == key_id
        change = update(api_key).where(where, api_key.c.revoked_at.is_(None)).values(revoked_at=at)
        self._connection.execute(change)
        found = self._keys(select(api_key).where(where))
        return found[0] if found else None

    def lock(self, key_id: int) -> None:
        """Let nobody else say anything with a key until this transaction ends."""
        # SQLite's transactions exclude each other as they are.
        self._connection.execute(select(api_key.c.key_id).where(api_key.c.key_id == key_id).with_for_update())

    def _keys(self, query: Select[Any]) -> list[ApiKeyRecord]:
        return [
            ApiKeyRecord(**{**row, "scopes": tuple(row["scopes"].split())})
            for row in self._connection.execute(query).mappings()
        ]
