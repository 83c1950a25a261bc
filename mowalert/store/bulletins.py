"""Bulletins in the store: a week's is added once; only what its adviser says may change."""

from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Select, func, select, update

from mowalert.service.records import BulletinRecord
from mowalert.store.sql import insert_for
from mowalert.store.tables import bulletin, lawn, stand, stand_growth

SAID_AT = "said_at"
"""Name under which the facts keep when the adviser spoke."""


class SqlBulletins:
    """Bulletins of region guides.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep(self, record: BulletinRecord) -> bool:
        """Keep a week's bulletin; ``False`` if the week has one already, which stays as it is."""
        row = insert_for(self._connection, bulletin).values(
            guide_id=record.guide_id,
            week_on=record.week_on,
            facts=record.facts,
            said=record.said,
            made_at=record.made_at,
        )
        row = row.on_conflict_do_nothing(index_elements=["guide_id", "week_on"])
        return self._connection.scalar(row.returning(bulletin.c.guide_id)) is not None

    def get(self, guide_id: str, week_on: date) -> BulletinRecord | None:
        """One week's."""
        found = self._bulletins(select(bulletin).where(*_one(guide_id, week_on)))
        return found[0] if found else None

    def newest(self, guide_id: str, *, limit: int) -> list[BulletinRecord]:
        """The newest of a guide, the newest first."""
        query = select(bulletin).where(bulletin.c.guide_id == guide_id)
        return self._bulletins(query.order_by(bulletin.c.week_on.desc()).limit(limit))

    def latest(self) -> list[BulletinRecord]:
        """The newest of every guide, in order of id."""
        weeks = select(bulletin.c.guide_id, func.max(bulletin.c.week_on).label("week_on"))
        last = weeks.group_by(bulletin.c.guide_id).subquery()
        newest = (last.c.guide_id == bulletin.c.guide_id) & (last.c.week_on == bulletin.c.week_on)
        return self._bulletins(select(bulletin).join(last, newest).order_by(bulletin.c.guide_id))

    def beside(self, guide_id: str, week_on: date) -> tuple[date | None, date | None]:
        """The kept weeks next before and after one."""
        week, of_guide = bulletin.c.week_on, bulletin.c.guide_id == guide_id
        before = self._connection.scalar(select(func.max(week)).where(of_guide, week < week_on))
        after = self._connection.scalar(select(func.min(week)).where(of_guide, week > week_on))
        return before, after

    def say(self, guide_id: str, week_on: date, said: str, *, at: datetime) -> None:
        """Put an adviser's words into a week's bulletin, over those it had."""
        facts = self._connection.scalar(select(bulletin.c.facts).where(*_one(guide_id, week_on)))
        spoken = {**(facts or {}), SAID_AT: at.isoformat()}
        change = update(bulletin).where(*_one(guide_id, week_on)).values(said=said, facts=spoken)
        self._connection.execute(change)

    def stand_ids(self, guide_id: str) -> list[int]:
        """Stands of the lawns a guide speaks of, in order of id."""
        query = select(lawn.c.stand_id).where(lawn.c.guide == guide_id).distinct().order_by(lawn.c.stand_id)
        return list(self._connection.scalars(query))

    def sites_by_cell(self, guide_id: str) -> dict[int, int]:
        """How many places the guide speaks of lie in each weather cell."""
        query = (
            select(stand.c.cell_id, func.count(lawn.c.site_id.distinct()))
            .join(stand, stand.c.stand_id == lawn.c.stand_id)
            .where(lawn.c.guide == guide_id)
            .group_by(stand.c.cell_id)
        )
        return {cell_id: int(sites) for cell_id, sites in self._connection.execute(query)}

    def any_fresh(self, guide_id: str, *, since: datetime, on: date) -> bool:
        """Whether a stand of the guide has weather fetched since a moment that reaches a day."""
        fresh = stand_growth.c.fetched_at >= since, stand_growth.c.known_until >= on
        query = (
            select(lawn.c.lawn_id)
            .join(stand_growth, stand_growth.c.stand_id == lawn.c.stand_id)
            .where(lawn.c.guide == guide_id, *fresh)
        )
        return self._connection.scalar(query.limit(1)) is not None

    def _bulletins(self, query: Select[Any]) -> list[BulletinRecord]:
        return [_record(dict(row)) for row in self._connection.execute(query).mappings()]


def _one(guide_id: str, week_on: date) -> tuple[Any, Any]:
    return bulletin.c.guide_id == guide_id, bulletin.c.week_on == week_on


def _record(row: dict[str, Any]) -> BulletinRecord:
    facts = dict(row.pop("facts"))
    said_at = facts.pop(SAID_AT, None)
    return BulletinRecord(**row, facts=facts, said_at=datetime.fromisoformat(said_at) if said_at else None)
