"""What comes back in answer to messages: texts that were taken, and mails that bounce, in the store."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import Connection, func, select

from mowalert.domain.words import Channel
from mowalert.service.ports import InboundRecord, SentMail
from mowalert.store.sql import insert_for, values_of
from mowalert.store.tables import inbound, keeper, outbox


class SqlInbound:
    """Texts that came in.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, record: InboundRecord) -> bool:
        """Remember a text; ``False`` if one of that number came before."""
        row = insert_for(self._connection, inbound).values(**values_of(record))
        row = row.on_conflict_do_nothing(index_elements=["gateway_id"]).returning(inbound.c.gateway_id)
        return self._connection.scalar(row) is not None

    def count(self, keeper_id: int, kind: str, *, since: datetime) -> int:
        """How many texts of a kind a keeper has sent since a moment."""
        of_kind = inbound.c.keeper_id == keeper_id, inbound.c.kind == kind, inbound.c.at >= since
        return int(self._connection.scalar(select(func.count()).select_from(inbound).where(*of_kind)) or 0)

    def of_keeper(self, keeper_id: int) -> list[InboundRecord]:
        """A keeper's texts, the oldest first."""
        query = select(inbound).where(inbound.c.keeper_id == keeper_id).order_by(inbound.c.at)
        return [InboundRecord(**row) for row in self._connection.execute(query).mappings()]

    def lock(self, keeper_ids: Sequence[int]) -> None:
        """Let no other text of these keepers be answered until this transaction ends."""
        # SQLite has one writer at a time anyway, and leaves the lock out.
        rows = select(keeper.c.keeper_id).where(keeper.c.keeper_id.in_(keeper_ids))
        self._connection.execute(rows.order_by(keeper.c.keeper_id).with_for_update())


class SqlBounces:
    """Mails that may come back.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def sent(self, rfc_message_id: str) -> SentMail | None:
        """The mail of that Message-ID; none if it is not ours."""
        query = select(outbox.c.keeper_id, outbox.c.address).where(
            outbox.c.rfc_message_id == rfc_message_id, outbox.c.channel == Channel.EMAIL.value
        )
        row = self._connection.execute(query.limit(1)).first()
        return None if row is None else SentMail(row.keeper_id, row.address)
