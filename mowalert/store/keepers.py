"""Keepers and sites in the store."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from sqlalchemy import Connection, Select, delete, insert, select, update

from mowalert.domain.words import Channel, KeeperKind, Silence, Units
from mowalert.service.records import KeeperRecord, SiteRecord
from mowalert.store.crew_tables import contact, crew, crew_day, day_plan, lawn_work, site_work, visit
from mowalert.store.park_tables import (
    class_hold,
    class_rule,
    heat_notice,
    heat_plan,
    held_lawn,
    hold_log,
    restriction,
    watering_off,
)
from mowalert.store.sql import among, chunks, look_up, values_of
from mowalert.store.tables import (
    api_key,
    event,
    inbound,
    keeper,
    kept_off,
    lawn,
    outbox,
    signup,
    site,
    told,
)

OF_WORK = (
    visit, day_plan, contact, site_work, crew,
    hold_log, class_hold, class_rule, restriction, watering_off, heat_plan, heat_notice,
)  # fmt: skip
"""What an organisation's work leaves, in an order in which it can be deleted."""
KEEPER = select(*(keeper.c[name] for name in KeeperRecord.__dataclass_fields__))
"""Keepers with their columns in the order of a record's."""
KIND, UNITS, SILENCE = map(list(KeeperRecord.__dataclass_fields__).index, ("kind", "units", "silence"))
SITE = select(*(site.c[name] for name in SiteRecord.__dataclass_fields__))
"""Sites with their columns in the order of a record's."""


class SqlKeepers:
    """Keepers and sites.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def by_key(self, key: str) -> KeeperRecord | None:
        """The keeper of a natural key."""
        return next(iter(self._keepers(KEEPER.where(keeper.c.key == key))), None)

    def get(self, keeper_ids: Sequence[int]) -> dict[int, KeeperRecord]:
        """Keepers by id."""
        rows = look_up(self._connection, KEEPER, keeper.c.keeper_id, keeper_ids)
        return {row[0]: _keeper(row) for row in rows}

    def all(self) -> list[KeeperRecord]:
        """Every keeper."""
        return self._keepers(KEEPER)

    def organisations(self) -> list[KeeperRecord]:
        """Companies and parks departments, in order of id."""
        return self._keepers(KEEPER.where(keeper.c.kind != KeeperKind.HOMEOWNER.value))

    def by_email(self, address: str) -> list[KeeperRecord]:
        """Keepers of an e-mail address, in order of id."""
        return self._keepers(KEEPER.where(keeper.c.email == address))

    def by_phone(self, number: str) -> list[KeeperRecord]:
        """Keepers of a phone number, in order of id."""
        return self._keepers(KEEPER.where(keeper.c.phone == number))

    def _keepers(self, query: Select[Any]) -> list[KeeperRecord]:
        return [_keeper(row) for row in self._connection.execute(query.order_by(keeper.c.keeper_id))]

    def add(self, record: KeeperRecord) -> int:
        """Keep a new keeper; its id is given back."""
        row = insert(keeper).values(**values_of(record, without=["keeper_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def change(self, record: KeeperRecord) -> None:
        """Keep a changed keeper, and let the lawns follow its round."""
        values = values_of(record, without=["keeper_id"])
        where = keeper.c.keeper_id == record.keeper_id
        self._connection.execute(update(keeper).where(where).values(**values))

    def ensure_site(self, record: SiteRecord) -> tuple[SiteRecord, bool]:
        """Return the site of that keeper and key, and whether it was made now."""
        query = SITE.where(site.c.keeper_id == record.keeper_id, site.c.key == record.key)
        row = self._connection.execute(query).first()
        if row is not None:
            return SiteRecord(*row), False
        added = insert(site).values(**values_of(record, without=["site_id"]))
        site_id = int(self._connection.execute(added).inserted_primary_key[0])  # type: ignore[index]
        return SiteRecord(**{**values_of(record), "site_id": site_id}), True

    def change_site(self, record: SiteRecord) -> None:
        """Keep a changed site."""
        where = site.c.site_id == record.site_id
        self._connection.execute(update(site).where(where).values(**values_of(record, without=["site_id"])))

    def sites(self, site_ids: Sequence[int]) -> dict[int, SiteRecord]:
        """Sites by id."""
        rows = look_up(self._connection, SITE, site.c.site_id, site_ids)
        return {row[0]: SiteRecord(*row) for row in rows}

    def note_no_weather(self, keeper_ids: Sequence[int], on: date | None) -> None:
        """Remember, or forget, that keepers were told there is no weather."""
        self._set(keeper_ids, no_weather_on=on)

    def missed_weather(self) -> list[KeeperRecord]:
        """Keepers told that there is no weather and nothing since."""
        return self._keepers(KEEPER.where(keeper.c.no_weather_on.is_not(None)))

    def greet(self, keeper_ids: Sequence[int]) -> None:
        """Remember that a first message was written."""
        self._set(keeper_ids, greeted=True)

    def suspend(self, keeper_id: int, channel: Channel, reason: str) -> None:
        """Send nothing more to an address."""
        column = "email_suspended" if channel is Channel.EMAIL else "phone_suspended"
        self._set([keeper_id], **{column: reason})

    def erase(self, keeper_id: int) -> None:
        """Delete a keeper and everything that belongs to them."""
        lawns = select(lawn.c.lawn_id).where(lawn.c.keeper_id == keeper_id)
        holds = select(class_hold.c.hold_id).where(class_hold.c.keeper_id == keeper_id)
        crews = select(crew.c.crew_id).where(crew.c.keeper_id == keeper_id)
        for table in (kept_off, event, lawn_work):
            self._connection.execute(delete(table).where(table.c.lawn_id.in_(lawns)))
        self._connection.execute(delete(held_lawn).where(held_lawn.c.hold_id.in_(holds)))
        self._connection.execute(delete(crew_day).where(crew_day.c.crew_id.in_(crews)))
        for table in (*OF_WORK, told, outbox, signup, inbound, api_key, lawn, site, keeper):
            self._connection.execute(delete(table).where(table.c.keeper_id == keeper_id))

    def _set(self, keeper_ids: Sequence[int], **values: Any) -> None:
        for batch in chunks(keeper_ids):
            where = among(self._connection, keeper.c.keeper_id, batch)
            self._connection.execute(update(keeper).where(where).values(**values))


def _keeper(row: Any) -> KeeperRecord:
    """Return a row of ``KEEPER`` as a record."""
    values = list(row)
    values[KIND] = KeeperKind(values[KIND])
    values[UNITS] = Units(values[UNITS])
    values[SILENCE] = Silence(values[SILENCE])
    return KeeperRecord(*values)
