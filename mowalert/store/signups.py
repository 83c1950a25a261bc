"""Sign-ups, attempts, and marks of addresses never to be written to, in the store."""

from datetime import datetime

from sqlalchemy import Connection, delete, func, insert, select, update

from mowalert.service.records import SignupRecord
from mowalert.store.keepers import SqlKeepers
from mowalert.store.sql import insert_for, values_of
from mowalert.store.tables import attempt, keeper, lawn, signup, silenced


class SqlSignups:
    """Sign-ups and what guards them.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, record: SignupRecord) -> int:
        """Keep a sign-up; its number is given back."""
        row = insert(signup).values(**values_of(record, without=["signup_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def get(self, signup_id: int) -> SignupRecord | None:
        """One sign-up."""
        query = select(signup).where(signup.c.signup_id == signup_id)
        row = self._connection.execute(query).mappings().first()
        return None if row is None else SignupRecord(**row)

    def of_keeper(self, keeper_id: int) -> list[SignupRecord]:
        """Sign-ups of a keeper."""
        query = select(signup).where(signup.c.keeper_id == keeper_id).order_by(signup.c.signup_id)
        return [SignupRecord(**row) for row in self._connection.execute(query).mappings()]

    def confirmed(self, signup_id: int, *, at: datetime) -> None:
        """Remember that it was confirmed."""
        change = update(signup).where(signup.c.signup_id == signup_id).values(confirmed_at=at)
        self._connection.execute(change)

    def forget_unconfirmed(self, *, before: datetime) -> int:
        """Forget sign-ups never confirmed, and keepers who only ever asked; how many sign-ups."""
        old = signup.c.confirmed_at.is_(None), signup.c.created_at < before
        keeper_ids = list(self._connection.scalars(select(signup.c.keeper_id).where(*old).distinct()))
        forgotten = self._connection.execute(delete(signup).where(*old)).rowcount
        without_lawn = ~select(lawn.c.lawn_id).where(lawn.c.keeper_id == keeper.c.keeper_id).exists()
        waiting = ~select(signup.c.signup_id).where(signup.c.keeper_id == keeper.c.keeper_id).exists()
        only_asked = keeper.c.consent == "asked", without_lawn, waiting
        for keeper_id in self._connection.scalars(
            select(keeper.c.keeper_id).where(keeper.c.keeper_id.in_(keeper_ids), *only_asked)
        ).all():
            SqlKeepers(self._connection).erase(keeper_id)
        return int(forgotten)

    def attempt(self, what: str, mark: str, *, at: datetime) -> None:
        """Count that somebody tried something."""
        self._connection.execute(insert(attempt).values(what=what, mark=mark, at=at))

    def forget_attempts(self, *, before: datetime) -> int:
        """Forget what was tried before a moment; how many."""
        return int(self._connection.execute(delete(attempt).where(attempt.c.at < before)).rowcount)

    def attempts(self, what: str, mark: str | None, *, since: datetime) -> int:
        """How often it was tried since a moment, under one mark or at all."""
        query = select(func.count()).select_from(attempt).where(attempt.c.what == what, attempt.c.at >= since)
        if mark is not None:
            query = query.where(attempt.c.mark == mark)
        return int(self._connection.scalar(query) or 0)

    def silence(self, mark: str, *, at: datetime) -> None:
        """Never write to an address again; only its mark is kept."""
        row = insert_for(self._connection, silenced).values(mark=mark, at=at)
        self._connection.execute(row.on_conflict_do_nothing(index_elements=["mark"]))

    def is_silenced(self, mark: str) -> bool:
        """Whether an address is never to be written to."""
        return self._connection.scalar(select(silenced.c.mark).where(silenced.c.mark == mark)) is not None
