"""Messages on their way, and what was told, in the store."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, and_, case, func, or_, select, update

from mowalert.domain.lookback import Told
from mowalert.domain.words import Channel, DigestKind, HoldReason, NoticeKind
from mowalert.service.records import LeasedMessage, NewMessage, ToldRecord
from mowalert.store.bulk import insert_all, insert_new
from mowalert.store.sql import among, chunks, look_up, values_of
from mowalert.store.tables import outbox, told

ONCE = ["keeper_id", "contact_id", "channel", "kind", "local_date"]
ADVICE = [kind.value for kind in DigestKind if kind is not DigestKind.CLASS_HOLDS]
"""What the next day's digest takes the place of: a hold's start and its end are told, however late."""
WAITING = ("ready", "leased", "sending")


class SqlOutbox:
    """Messages and notices.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, message: NewMessage) -> bool:
        """Queue a message; ``False`` if whoever it is for already has one of that kind for that day."""
        return bool(self.add_all([message]))

    def add_all(self, messages: Sequence[NewMessage]) -> list[NewMessage]:
        """Queue messages; those are given back that were queued, in their order."""
        # Two workers may decide one night. The unique key settles it; a look first can't.
        new = insert_new(self._connection, outbox, [_waiting(one) for one in messages], unique=ONCE)
        return [message for message, queued in zip(messages, new, strict=True) if queued]

    def tell(self, records: Sequence[ToldRecord]) -> None:
        """Keep notices as they were decided."""
        insert_all(self._connection, told, [values_of(record, without=["told_id"]) for record in records])

    def keepers_told(self, lawn_ids: Sequence[int], on: date) -> set[int]:
        """Keepers of some lawns who were told something of them on a date."""
        query = select(told.c.keeper_id).where(told.c.on == on)
        return {row.keeper_id for row in look_up(self._connection, query, told.c.lawn_id, lawn_ids)}

    def told(self, lawn_id: int | None, *, limit: int) -> list[ToldRecord]:
        """The newest notices, of one lawn or of all."""
        query = select(told).order_by(told.c.told_id.desc()).limit(limit)
        if lawn_id is not None:
            query = query.where(told.c.lawn_id == lawn_id)
        return [ToldRecord(**row) for row in self._connection.execute(query).mappings()]

    def notice(self, told_id: int) -> ToldRecord | None:
        """One notice by its number."""
        row = self._connection.execute(select(told).where(told.c.told_id == told_id)).mappings().first()
        return None if row is None else ToldRecord(**row)

    def told_between(
        self, lawn_ids: Sequence[int], kinds: Sequence[NoticeKind], *, first: date, last: date
    ) -> dict[int, list[Told]]:
        """What was told of lawns on some days, both included, by lawn and in order."""
        # Of the facts only the day is needed: whole ones of a country's season are gigabytes.
        advised_on = told.c.facts["best_on"].as_string().label("advised_on")
        found: dict[int, list[Told]] = {}
        query = (
            select(told.c.lawn_id, told.c.on, told.c.kind, told.c.reason, advised_on)
            .where(told.c.kind.in_([kind.value for kind in kinds]), told.c.on.between(first, last))
            .order_by(told.c.on, told.c.told_id)
        )
        for row in look_up(self._connection, query, told.c.lawn_id, lawn_ids):
            found.setdefault(row.lawn_id, []).append(_told(row))
        return found

    def lease(self, *, now: datetime, until: datetime, limit: int) -> list[LeasedMessage]:
        """Take messages that may go now; nobody else gets them until the lease ends."""
        free = or_(
            outbox.c.state == "ready",
            and_(outbox.c.state.in_(("leased", "sending")), outbox.c.leased_until < now),
        )
        query = (
            select(outbox)
            .where(free, outbox.c.next_try_at <= now, outbox.c.useful_until > now)
            .order_by(outbox.c.message_id)
            .limit(limit)
            .with_for_update(skip_locked=True)
        )
        rows = list(self._connection.execute(query).mappings())
        ids = [row["message_id"] for row in rows]
        if ids:
            # What was being sent stays so until its fate is settled, however often that is cut off.
            state = case((outbox.c.state == "sending", "sending"), else_="leased")
            self._connection.execute(
                update(outbox)
                .where(outbox.c.message_id.in_(ids))
                .values(state=state, leased_until=until, attempts=outbox.c.attempts + 1)
            )
        return [_leased(row) for row in rows]

    def mark_sending(self, message_id: int, *, attempts: int) -> bool:
        """Remember that a message is on its way, if it is still leased for that try."""
        ours = (outbox.c.message_id == message_id, outbox.c.state == "leased", outbox.c.attempts == attempts)
        return self._count(update(outbox).where(*ours).values(state="sending")) == 1

    def settle(self, message_id: int, state: str, *, at: datetime, error: str = "") -> None:
        """Give a message its last state."""
        values: dict[str, Any] = {"state": state, "error": error or None, "leased_until": None}
        if state == "sent":
            values["sent_at"] = at
        self._update(message_id, values)

    def retry(self, message_id: int, *, next_try_at: datetime, error: str) -> None:
        """Put a message back for a later try."""
        values = {"state": "ready", "next_try_at": next_try_at, "error": error, "leased_until": None}
        self._update(message_id, values)

    def _update(self, message_id: int, values: dict[str, Any]) -> None:
        self._connection.execute(update(outbox).where(outbox.c.message_id == message_id).values(**values))

    def expire(self, *, now: datetime) -> int:
        """Expire whatever is no longer useful; how many."""
        late = and_(outbox.c.state.in_(WAITING), outbox.c.useful_until <= now)
        lost = and_(late, outbox.c.state == "sending", outbox.c.leased_until < now)
        self._count(update(outbox).where(lost).values(state="unknown", error="interrupted while sending"))
        left = and_(late, outbox.c.state != "sending")
        return self._count(update(outbox).where(left).values(state="expired"))

    def doubt(self, *, until: datetime) -> int:
        """Give up what waits and was made up to a moment: a lost store may have sent it; how many."""
        old = and_(outbox.c.state.in_(WAITING), outbox.c.created_at <= until)
        error = "may have gone out before the store was restored"
        return self._count(update(outbox).where(old).values(state="unknown", error=error, leased_until=None))

    def cancel_for_lawn(self, keeper_id: int, lawn_id: int, *, at: datetime) -> int:
        """Cancel waiting messages that speak of this lawn of a keeper alone; how many."""
        waiting = outbox.c.keeper_id == keeper_id, outbox.c.state == "ready"
        query = select(outbox.c.message_id, outbox.c.lawn_ids).where(*waiting)
        ids = [row[0] for row in self._connection.execute(query) if row[1] == [lawn_id]]
        return self._count(
            update(outbox).where(outbox.c.message_id.in_(ids)).values(state="cancelled", error="mown")
        )

    def cancel_older(self, keeper_ids: Sequence[int], before: date, *, at: datetime) -> int:
        """Cancel keepers' own waiting advice of earlier days; how many."""
        older = and_(
            outbox.c.contact_id == 0,
            outbox.c.state == "ready",
            outbox.c.kind.in_(ADVICE),
            outbox.c.local_date < before,
        )
        change = update(outbox).where(older).values(state="cancelled", error="newer advice")
        batches = chunks(keeper_ids)
        return sum(
            self._count(change.where(among(self._connection, outbox.c.keeper_id, batch))) for batch in batches
        )

    def cancel_waiting(self, keeper_id: int, channels: Collection[Channel], *, at: datetime) -> int:
        """Cancel whatever waits for a keeper on some channels; how many."""
        waiting = and_(
            outbox.c.keeper_id == keeper_id,
            outbox.c.contact_id == 0,
            outbox.c.state.in_(("ready", "leased")),
            outbox.c.channel.in_([channel.value for channel in channels]),
        )
        return self._count(update(outbox).where(waiting).values(state="cancelled", error="stopped"))

    def of_keeper(self, keeper_id: int, *, limit: int) -> list[dict[str, Any]]:
        """The newest messages of a keeper, as plain values."""
        names = ("channel", "kind", "address", "subject", "text", "state", "created_at", "sent_at")
        query = select(*(outbox.c[name] for name in names)).where(outbox.c.keeper_id == keeper_id)
        newest = query.order_by(outbox.c.message_id.desc()).limit(limit)
        return [dict(row) for row in self._connection.execute(newest).mappings()]

    def written_for(self, keeper_id: int, on: date, kind: str) -> dict[int, datetime]:
        """When messages of a kind for a day were written, by contact; those without are absent."""
        mine = (outbox.c.keeper_id == keeper_id, outbox.c.local_date == on, outbox.c.kind == kind)
        query = select(outbox.c.contact_id, outbox.c.created_at).where(*mine)
        return {row[0]: row[1] for row in self._connection.execute(query)}

    def _count(self, change: Any) -> int:
        return int(self._connection.execute(change).rowcount)

    def sms_this_month(self, keeper_id: int | None, *, since: datetime) -> int:
        """Count short messages sent since a moment, of one keeper or of all."""
        sent = and_(
            outbox.c.channel == Channel.SMS.value,
            outbox.c.state.in_(("sent", "unknown")),
            outbox.c.created_at >= since,
        )
        query = select(func.count()).select_from(outbox).where(sent)
        if keeper_id is not None:
            query = query.where(outbox.c.keeper_id == keeper_id)
        return int(self._connection.scalar(query) or 0)

    def states(self) -> Mapping[str, int]:
        """How many messages are in which state."""
        query = select(outbox.c.state, func.count()).group_by(outbox.c.state)
        return {row[0]: row[1] for row in self._connection.execute(query)}

    def oldest_due(self, *, now: datetime) -> datetime | None:
        """Since when the message that has waited longest could have gone; none where none waits."""
        due = (outbox.c.state.in_(WAITING), outbox.c.next_try_at <= now, outbox.c.useful_until > now)
        query = select(outbox.c.next_try_at).where(*due).order_by(outbox.c.next_try_at).limit(1)
        return self._connection.scalar(query)


def _waiting(message: NewMessage) -> dict[str, Any]:
    return values_of(message) | {
        "lawn_ids": list(message.lawn_ids),
        "state": "ready",
        "next_try_at": message.not_before,
    }


def _told(row: Any) -> Told:
    return Told(
        row.on,
        NoticeKind(row.kind),
        HoldReason(row.reason) if row.reason else None,
        date.fromisoformat(row.advised_on) if row.advised_on else None,
    )


def _leased(row: Any) -> LeasedMessage:
    names = NewMessage.__dataclass_fields__
    values = {name: row[name] for name in names}
    values |= {"channel": Channel(row["channel"]), "lawn_ids": tuple(row["lawn_ids"])}
    return LeasedMessage(
        row["message_id"], row["attempts"] + 1, row["state"] == "sending", NewMessage(**values)
    )
