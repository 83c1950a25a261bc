"""Crews, contacts, plans and visits in the store."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, delete, func, insert, select, tuple_, update

from mowalert.domain.words import Channel, Clippings
from mowalert.service.crew_records import (
    ContactRecord,
    CrewDayRecord,
    CrewRecord,
    LawnWork,
    Outcome,
    PlanRecord,
    Role,
    SiteWork,
    SkipReason,
    VisitRecord,
)
from mowalert.service.records import SiteRecord
from mowalert.store.bulk import upsert
from mowalert.store.crew_tables import contact, crew, crew_day, day_plan, lawn_work, site_work, visit
from mowalert.store.keepers import SITE
from mowalert.store.sql import insert_for, look_up, values_of
from mowalert.store.tables import outbox, site

KEYED = ["keeper_id", "key"]


class SqlCrews:
    """Crews, contacts, plans and visits.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep_crew(self, record: CrewRecord) -> int:
        """Keep a crew, newer over older of the same key; its id is given back."""
        return self._keep_keyed(crew, "crew_id", values_of(record, without=["crew_id"]))

    def crews(self, keeper_id: int) -> list[CrewRecord]:
        """Crews of an organisation, in order of id, the retired ones too."""
        query = select(crew).where(crew.c.keeper_id == keeper_id).order_by(crew.c.crew_id)
        return [CrewRecord(**row) for row in self._connection.execute(query).mappings()]

    def keep_hours(self, day: CrewDayRecord) -> None:
        """Keep other hours of a crew for one day, newer over older."""
        upsert(self._connection, crew_day, [values_of(day)])

    def hours(self, crew_ids: Sequence[int], *, first: date, last: date) -> list[CrewDayRecord]:
        """Other hours of crews on some days, both included."""
        query = (
            select(crew_day)
            .where(crew_day.c.crew_id.in_(crew_ids), crew_day.c.on.between(first, last))
            .order_by(crew_day.c.on, crew_day.c.crew_id)
        )
        return [CrewDayRecord(**row) for row in self._connection.execute(query).mappings()]

    def keep_contact(self, record: ContactRecord) -> int:
        """Keep a contact, newer over older of the same key; its id is given back."""
        return self._keep_keyed(contact, "contact_id", values_of(record, without=["contact_id"]))

    def _keep_keyed(self, table: Table, number: str, values: dict[str, Any]) -> int:
        row = insert_for(self._connection, table).values(**values)
        changed = {name: row.excluded[name] for name in values if name not in KEYED}
        row = row.on_conflict_do_update(index_elements=KEYED, set_=changed).returning(table.c[number])
        return int(self._connection.scalar(row))

    def contacts(self, keeper_id: int) -> list[ContactRecord]:
        """Contacts of an organisation, in order of id."""
        query = select(contact).where(contact.c.keeper_id == keeper_id).order_by(contact.c.contact_id)
        return [_contact(row) for row in self._connection.execute(query).mappings()]

    def contact(self, contact_id: int) -> ContactRecord | None:
        """One contact."""
        query = select(contact).where(contact.c.contact_id == contact_id)
        row = self._connection.execute(query).mappings().first()
        return None if row is None else _contact(row)

    def contacts_at(self, channel: Channel, address: str) -> list[ContactRecord]:
        """Contacts of any organisation with an e-mail address or a phone number, in order of id."""
        column = contact.c.email if channel is Channel.EMAIL else contact.c.phone
        query = select(contact).where(column == address).order_by(contact.c.contact_id)
        return [_contact(row) for row in self._connection.execute(query).mappings()]

    def suspend_contact(self, contact_id: int, channel: Channel, reason: str) -> None:
        """Send nothing more to a contact's address, and cancel what waits for it."""
        column = "email_suspended" if channel is Channel.EMAIL else "phone_suspended"
        mine = contact.c.contact_id == contact_id
        self._connection.execute(update(contact).where(mine).values(**{column: reason}))
        waiting = (
            outbox.c.contact_id == contact_id,
            outbox.c.channel == channel.value,
            outbox.c.state.in_(("ready", "leased")),
        )
        self._connection.execute(update(outbox).where(*waiting).values(state="cancelled", error="stopped"))

    def remove_contact(self, contact_id: int) -> bool:
        """Forget a contact and what waits for them; ``False`` if there is none of that id."""
        mine = outbox.c.contact_id == contact_id
        self._connection.execute(delete(outbox).where(mine, outbox.c.contact_id != 0))
        gone = self._connection.execute(delete(contact).where(contact.c.contact_id == contact_id))
        return gone.rowcount > 0

    def keep_sites(self, sites: Sequence[SiteWork]) -> None:
        """Keep what is known of the work at sites, newer over older."""
        upsert(self._connection, site_work, [values_of(one) for one in sites])

    def sites(self, keeper_id: int) -> dict[int, SiteWork]:
        """What is known of an organisation's sites, by site; those without are absent."""
        query = select(site_work).where(site_work.c.keeper_id == keeper_id)
        return {row["site_id"]: SiteWork(**row) for row in self._connection.execute(query).mappings()}

    def sites_of(self, keeper_id: int) -> list[SiteRecord]:
        """Every site of an organisation, in order of id."""
        query = SITE.where(site.c.keeper_id == keeper_id).order_by(site.c.site_id)
        return [SiteRecord(*row) for row in self._connection.execute(query)]

    def keep_lawns(self, lawns: Sequence[LawnWork]) -> None:
        """Keep what is known of the work at lawns, newer over older."""
        upsert(self._connection, lawn_work, [values_of(one) for one in lawns])

    def lawns(self, lawn_ids: Sequence[int]) -> dict[int, LawnWork]:
        """What is known of the work at lawns, by lawn; those without are absent."""
        rows = look_up(self._connection, select(lawn_work), lawn_work.c.lawn_id, lawn_ids)
        return {row.lawn_id: LawnWork(**row._mapping) for row in rows}

    def keep_plan(self, plan: PlanRecord) -> bool:
        """Keep a plan; ``False`` if the day has one of that version already."""
        row = insert_for(self._connection, day_plan).values(**values_of(plan, without=["plan_id"]))
        once = ["keeper_id", "on", "version"]
        row = row.on_conflict_do_nothing(index_elements=once).returning(day_plan.c.plan_id)
        return self._connection.scalar(row) is not None

    def plan(self, keeper_id: int, on: date, *, version: int | None = None) -> PlanRecord | None:
        """A day's plan of a version, or the newest."""
        query = select(day_plan).where(day_plan.c.keeper_id == keeper_id, day_plan.c.on == on)
        if version is not None:
            query = query.where(day_plan.c.version == version)
        row = self._connection.execute(query.order_by(day_plan.c.version.desc()).limit(1)).mappings().first()
        return None if row is None else PlanRecord(**row)

    def plans(self, keeper_id: int, *, first: date, last: date) -> list[PlanRecord]:
        """The newest plan of each of some days, both included, in order of day."""
        query = select(day_plan).where(*_newest(keeper_id, first, last)).order_by(day_plan.c.on)
        return [PlanRecord(**row) for row in self._connection.execute(query).mappings()]

    def driving(self, keeper_id: int, *, first: date, last: date) -> list[tuple[float, int]]:
        """Minutes driven and stops of the newest plan of each of some days, both included."""
        query = select(day_plan.c.facts["driving"]).where(*_newest(keeper_id, first, last))
        found = self._connection.scalars(query.order_by(day_plan.c.on))
        return [(told["minutes"], told["stops"]) for told in found if told is not None]

    def add_visits(self, visits: Sequence[VisitRecord]) -> list[int]:
        """Keep visits; their ids are given back in order."""
        rows = (insert(visit).values(**values_of(one, without=["visit_id"])) for one in visits)
        return [int(self._connection.execute(row).inserted_primary_key[0]) for row in rows]  # type: ignore[index]

    def visit(self, visit_id: int) -> VisitRecord | None:
        """One visit."""
        row = self._connection.execute(select(visit).where(visit.c.visit_id == visit_id)).mappings().first()
        return None if row is None else _visit(row)

    def visits(
        self, keeper_id: int, *, first: date, last: date, lawn_ids: Sequence[int] | None = None
    ) -> list[VisitRecord]:
        """Visits on some days, both included, not undone; of all lawns of an organisation, or of some."""
        query = select(visit).where(
            visit.c.keeper_id == keeper_id, visit.c.on.between(first, last), visit.c.undone_at.is_(None)
        )
        rows = look_up(self._connection, query, visit.c.lawn_id, lawn_ids)
        found = [_visit(row._mapping) for row in rows]
        return sorted(found, key=lambda one: (one.on, one.visit_id))

    def undo_visit(self, visit_id: int, *, at: datetime) -> VisitRecord | None:
        """Undo a visit and return it as it was; none if there is none or it was undone before."""
        known = self.visit(visit_id)
        where = (visit.c.visit_id == visit_id, visit.c.undone_at.is_(None))
        undone = self._connection.execute(update(visit).where(*where).values(undone_at=at))
        return known if undone.rowcount else None


def _newest(keeper_id: int, first: date, last: date) -> tuple[ColumnElement[bool], ...]:
    """What the newest plan of each of some days meets; a plan holds its whole day, older ones stay unread."""
    days = (day_plan.c.keeper_id == keeper_id, day_plan.c.on.between(first, last))
    newest = select(day_plan.c.on, func.max(day_plan.c.version)).where(*days).group_by(day_plan.c.on)
    return *days, tuple_(day_plan.c.on, day_plan.c.version).in_(newest)


def _contact(row: Any) -> ContactRecord:
    return ContactRecord(**{**row, "role": Role(row["role"])})


def _visit(row: Any) -> VisitRecord:
    words = {
        "outcome": Outcome(row["outcome"]),
        "reason": SkipReason(row["reason"]) if row["reason"] else None,
        "clippings": Clippings(row["clippings"]) if row["clippings"] else None,
    }
    return VisitRecord(**{**row, **words})
