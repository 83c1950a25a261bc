"""Region guides in the store: versions are added, never changed."""

from typing import Any

from sqlalchemy import Connection, Select, func, insert, select

from mowalert.service.records import GuideRecord, LawnRecord
from mowalert.store.lawns import LAWN, lawn_record
from mowalert.store.sql import values_of
from mowalert.store.tables import guide, lawn


class SqlGuides:
    """Region guides.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep(self, record: GuideRecord) -> None:
        """Keep a version."""
        self._connection.execute(insert(guide).values(**values_of(record)))

    def get(self, guide_id: str, version: int) -> GuideRecord | None:
        """One version."""
        found = self._guides(select(guide).where(guide.c.guide_id == guide_id, guide.c.version == version))
        return found[0] if found else None

    def newest(self) -> list[GuideRecord]:
        """The newest version of every guide, in order of id."""
        last = select(guide.c.guide_id, func.max(guide.c.version).label("version")).group_by(guide.c.guide_id)
        newest = last.subquery()
        return self._guides(
            select(guide)
            .join(newest, (newest.c.guide_id == guide.c.guide_id) & (newest.c.version == guide.c.version))
            .order_by(guide.c.guide_id)
        )

    def versions(self, guide_id: str) -> list[GuideRecord]:
        """Every version of a guide, the oldest first."""
        return self._guides(select(guide).where(guide.c.guide_id == guide_id).order_by(guide.c.version))

    def lawns(self, guide_id: str) -> list[LawnRecord]:
        """Lawns a guide speaks of, in order of id."""
        return self._lawns(LAWN.where(lawn.c.guide == guide_id).order_by(lawn.c.lawn_id))

    def followers(self, guide_id: str, grass: str, *, not_at_mm: float) -> list[LawnRecord]:
        """Lawns of a grass that follow the guide's heights and are kept at another height."""
        follows = lawn.c.guide == guide_id, lawn.c.grass == grass, lawn.c.follows_guide.is_(True)
        query = LAWN.where(*follows, lawn.c.chosen_mm != not_at_mm)
        return self._lawns(query.order_by(lawn.c.lawn_id))

    def _guides(self, query: Select[Any]) -> list[GuideRecord]:
        return [GuideRecord(**row) for row in self._connection.execute(query).mappings()]

    def _lawns(self, query: Select[Any]) -> list[LawnRecord]:
        return [lawn_record(row) for row in self._connection.execute(query)]
