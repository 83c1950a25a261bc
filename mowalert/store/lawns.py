"""Lawns, their anchors and events in the store; the search of due lawns runs in an index."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Select,
    func,
    insert,
    not_,
    or_,
    select,
    union,
    update,
)

from mowalert.domain.words import Clippings, HoldReason, KeeperKind
from mowalert.service.ports_nights import Cells
from mowalert.service.records import (
    TOLD_TODAY,
    AnchorUpdate,
    EventRecord,
    KeptOff,
    LawnPlace,
    LawnRecord,
    Owner,
    Said,
)
from mowalert.store.bulk import insert_all, update_all
from mowalert.store.sql import by_index, chunks, ids_of, look_up, values_of
from mowalert.store.tables import GROWTH_DAYS, cell, event, keeper, kept_off, lawn, site, stand, stand_growth

LAWN = select(*(lawn.c[name] for name in LawnRecord.__dataclass_fields__))
"""Lawns with their columns in the order of a record's."""
PLACE = select(*(lawn.c[name] for name in LawnPlace._fields))
CLIPPINGS, TOLD_HOLD = map(list(LawnRecord.__dataclass_fields__).index, ("clippings", "told_hold"))


class SqlLawns:
    """Lawns, their anchors and events.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def add(self, record: LawnRecord) -> int:
        """Keep a new lawn; its id is given back."""
        row = insert(lawn).values(**values_of(record, without=["lawn_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def change(self, record: LawnRecord) -> None:
        """Keep a changed lawn."""
        where = lawn.c.lawn_id == record.lawn_id
        values = values_of(record, without=["lawn_id"])
        self._connection.execute(update(lawn).where(where).values(**values))

    def by_key(self, site_id: int, key: str) -> LawnRecord | None:
        """The lawn of a natural key."""
        found = self._lawns(LAWN.where(lawn.c.site_id == site_id, lawn.c.key == key))
        return found[0] if found else None

    def get(self, lawn_ids: Sequence[int]) -> list[LawnRecord]:
        """Lawns by id, in order of id."""
        return sorted(self._among(LAWN, lawn.c.lawn_id, lawn_ids), key=lambda record: record.lawn_id)

    def of_keepers(self, keeper_ids: Sequence[int]) -> list[LawnRecord]:
        """Lawns of keepers, in order of id."""
        return sorted(self._among(LAWN, lawn.c.keeper_id, keeper_ids), key=lambda record: record.lawn_id)

    def all_ids(self) -> list[int]:
        """Every lawn's id."""
        return list(self._connection.scalars(select(lawn.c.lawn_id).order_by(lawn.c.lawn_id)))

    def page(
        self, *, after: int, limit: int, guide: str | None = None, keeper_id: int | None = None
    ) -> list[LawnRecord]:
        """The next lawns after an id, in order of id: of all, of a keeper, or those a guide speaks of."""
        query = LAWN.where(lawn.c.lawn_id > after).order_by(lawn.c.lawn_id).limit(limit)
        for column, wanted in ((lawn.c.guide, guide), (lawn.c.keeper_id, keeper_id)):
            query = query if wanted is None else query.where(column == wanted)
        return self._lawns(query)

    def due_ids(
        self,
        round_ids: Sequence[int],
        *,
        as_of: date,
        limit_day: int,
        window_day: int | None,
        within: Cells | None = None,
    ) -> list[int]:
        """Ids of lawns of rounds whose limit, or window, falls before the curve's value of a day."""
        found: set[int] = set()
        with by_index(self._connection):
            for batch in chunks(round_ids):
                query = due_query(batch, as_of, limit_day, window_day, within)
                found.update(ids_of(self._connection, query))
        return sorted(found)

    def hold_ids(self, round_ids: Sequence[int], *, within: Cells | None = None) -> list[int]:
        """Ids of lawns a hold was told of and not yet released."""
        return self._ids(select(lawn.c.lawn_id).where(lawn.c.told_hold.is_not(None)), round_ids, within)

    def untold_hold_ids(self, round_ids: Sequence[int], *, within: Cells | None = None) -> list[int]:
        """Ids of lawns of keepers who asked for all holds, in stands with one they don't know of."""
        held = stand_growth.c.told_mask.op("&")(TOLD_TODAY) != 0
        query = _of_informed().join(stand_growth, stand_growth.c.stand_id == lawn.c.stand_id).where(held)
        return self._ids(query, round_ids, within)

    def owners(self, lawn_ids: Sequence[int], within: Cells) -> list[Owner]:
        """Whose lawns these are, in order of keeper and lawn."""
        with by_index(self._connection):
            rows = look_up(self._connection, _owners_query(within), lawn.c.lawn_id, lawn_ids)
            found = list(map(Owner._make, rows))
        return sorted(found, key=lambda owner: (owner.keeper_id, owner.lawn_id))

    def unanchored(self, stand_ids: Sequence[int]) -> list[LawnPlace]:
        """Lawns of stands that have no place on their curve yet."""
        return self._places(stand_ids, lawn.c.anchor_g_mm.is_(None))

    def anchored_after(self, stand_ids: Sequence[int], on: date) -> list[LawnPlace]:
        """Lawns of stands with an anchor later than a day, and a place on the curve."""
        return self._places(stand_ids, lawn.c.anchored_on > on, lawn.c.anchor_g_mm.is_not(None))

    def _places(self, stand_ids: Sequence[int], *wanted: ColumnElement[bool]) -> list[LawnPlace]:
        rows = look_up(self._connection, PLACE.where(*wanted), lawn.c.stand_id, stand_ids)
        return list(map(LawnPlace._make, rows))

    def earliest_unanchored(self, *, within: Cells | None = None) -> dict[int, date]:
        """By cell: the earliest anchor date of lawns without a place on their curve."""
        query = (
            select(cell.c.cell_id, func.min(lawn.c.anchored_on))
            .join(stand, stand.c.cell_id == cell.c.cell_id)
            .join(lawn, lawn.c.stand_id == stand.c.stand_id)
            .where(lawn.c.anchor_g_mm.is_(None))
            .group_by(cell.c.cell_id)
        )
        query = query if within is None else query.where(cell.c.cell_id.between(*within))
        return {row[0]: row[1] for row in self._connection.execute(query)}

    def advised_before(self, on: date, *, within: Cells | None = None) -> list[LawnRecord]:
        """Lawns whose advised day lies before a date, or on it, and is still open."""
        query = LAWN.where(lawn.c.advised_on <= on).order_by(lawn.c.lawn_id)
        return self._lawns(_within(query, within))

    def anchor(self, updates: Sequence[AnchorUpdate]) -> None:
        """Give lawns their place on the curve."""
        update_all(self._connection, lawn, [values_of(one) for one in updates])

    def said(self, said: Sequence[Said]) -> None:
        """Remember what was told."""
        update_all(self._connection, lawn, [values_of(one) for one in said])

    def happened(self, events: Sequence[EventRecord]) -> None:
        """Keep events."""
        insert_all(self._connection, event, [values_of(record, without=["event_id"]) for record in events])

    def events(self, lawn_id: int) -> list[EventRecord]:
        """A lawn's events that were not undone, in order."""
        query = (
            select(event)
            .where(event.c.lawn_id == lawn_id, event.c.undone_at.is_(None))
            .order_by(event.c.on, event.c.event_id)
        )
        return [EventRecord(**row) for row in self._connection.execute(query).mappings()]

    def events_between(
        self, lawn_ids: Sequence[int], *, first: date, last: date
    ) -> dict[int, list[EventRecord]]:
        """Events of lawns on some days, both included, that were not undone, by lawn and in order."""
        found: dict[int, list[EventRecord]] = {}
        query = (
            select(event)
            .where(event.c.on.between(first, last), event.c.undone_at.is_(None))
            .order_by(event.c.on, event.c.event_id)
        )
        for row in look_up(self._connection, query, event.c.lawn_id, lawn_ids):
            found.setdefault(row.lawn_id, []).append(EventRecord(**row._mapping))
        return found

    def undo_last(self, lawn_id: int, *, at: datetime) -> EventRecord | None:
        """Undo the newest event of a lawn that somebody reported, and return it."""
        query = (
            select(event)
            .where(event.c.lawn_id == lawn_id, event.c.undone_at.is_(None), event.c.assumed.is_(False))
            .order_by(event.c.event_id.desc())
            .limit(1)
        )
        row = self._connection.execute(query).mappings().first()
        if row is None:
            return None
        undone = EventRecord(**row)
        where = event.c.event_id == undone.event_id
        self._connection.execute(update(event).where(where).values(undone_at=at))
        return replace(undone, undone_at=at)

    def keep_off(self, days: KeptOff) -> int:
        """Keep days on which a lawn is left alone; their number is given back."""
        row = insert(kept_off).values(**values_of(days, without=["kept_off_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def allow_again(self, kept_off_id: int, *, at: datetime) -> KeptOff | None:
        """Take such days back and return them; none if there are none of that number."""
        where = kept_off.c.kept_off_id == kept_off_id, kept_off.c.undone_at.is_(None)
        row = self._connection.execute(select(kept_off).where(*where)).mappings().first()
        if row is None:
            return None
        self._connection.execute(update(kept_off).where(*where).values(undone_at=at))
        return replace(_kept_off(row), undone_at=at)

    def kept_off(self, lawn_ids: Sequence[int], *, since: date) -> dict[int, list[KeptOff]]:
        """Days on which lawns are left alone, by lawn, that do not end before a date."""
        found: dict[int, list[KeptOff]] = {}
        query = (
            select(kept_off)
            .where(kept_off.c.last_on >= since, kept_off.c.undone_at.is_(None))
            .order_by(kept_off.c.first_on, kept_off.c.kept_off_id)
        )
        for row in look_up(self._connection, query, kept_off.c.lawn_id, lawn_ids):
            found.setdefault(row.lawn_id, []).append(_kept_off(row._mapping))
        return found

    def kept_off_ids(self, round_ids: Sequence[int], on: date, *, within: Cells | None = None) -> list[int]:
        """Ids of lawns left alone on a date, of keepers who asked for all holds and don't know of it."""
        query = (
            _of_informed()
            .join(kept_off, kept_off.c.lawn_id == lawn.c.lawn_id)
            .where(kept_off.c.last_on >= on, kept_off.c.first_on <= on, kept_off.c.undone_at.is_(None))
        )
        return self._ids(query, round_ids, within)

    def guided_ids(
        self, round_ids: Sequence[int], guide_ids: Sequence[str], *, within: Cells | None = None
    ) -> list[int]:
        """Ids of lawns guides speak of, of keepers who asked for all holds, with none told."""
        query = _of_informed().where(lawn.c.guide.in_(guide_ids))
        return self._ids(query, round_ids, within) if guide_ids else []

    def _ids(self, query: Select[Any], round_ids: Sequence[int], within: Cells | None) -> list[int]:
        with by_index(self._connection):
            rows = look_up(self._connection, _within(query, within), lawn.c.round_id, round_ids)
            return [row.lawn_id for row in rows]

    def counts(self) -> Mapping[str, int]:
        """How many keepers, sites, lawns, stands and cells there are."""
        return {
            table.name: int(self._connection.scalar(select(func.count()).select_from(table)) or 0)
            for table in (keeper, site, lawn, stand, cell)
        }

    def _among(self, query: Select[Any], column: Any, values: Sequence[Any]) -> list[LawnRecord]:
        return [lawn_record(row) for row in look_up(self._connection, query, column, values)]

    def _lawns(self, query: Select[Any]) -> list[LawnRecord]:
        return [lawn_record(row) for row in self._connection.execute(query).all()]


def due_query(
    round_ids: Sequence[int],
    as_of: date,
    limit_day: int,
    window_day: int | None,
    within: Cells | None = None,
) -> Any:
    """Return the search of due lawns: stands first, then their lawns through a covering index.

    Parameters
    ----------
    round_ids : Sequence[int]
        Rounds that have come.
    as_of : date
        Curves of this day.
    limit_day : int
        Day, counted from ``as_of``, by which the limit must lie ahead.
    window_day : int | None
        Day by which the window must still be closed, where windows are told of.
    within : Cells | None
        Weather cells to look in; all if not given.

    Returns
    -------
    Any
        A query of lawn ids.
    """
    days = [(lawn.c.limit_g_mm, limit_day)]
    if window_day is not None:
        days.append((lawn.c.window_g_mm, window_day))
    searches = [_within(_before(column, day, round_ids, as_of), within) for column, day in days]
    return union(*searches) if len(searches) > 1 else searches[0]


def _before(column: Any, day: int, round_ids: Sequence[int], as_of: date) -> Select[Any]:
    reached = stand_growth.c[f"g{min(max(day, 0), GROWTH_DAYS - 1)}"]
    return (
        select(lawn.c.lawn_id)
        .select_from(stand_growth.join(lawn, lawn.c.stand_id == stand_growth.c.stand_id))
        .where(stand_growth.c.as_of == as_of, column <= reached, lawn.c.round_id.in_(round_ids))
    )


def _within(query: Select[Any], within: Cells | None) -> Select[Any]:
    """Look only at lawns of a span of weather cells."""
    if within is None:
        return query
    return query.join(stand, stand.c.stand_id == lawn.c.stand_id).where(stand.c.cell_id.between(*within))


def _owners_query(within: Cells) -> Select[Any]:
    """Whose lawns are whose; parks tell by turf class, others with all their lawns, wherever these lie."""
    other = lawn.alias()
    elsewhere = (
        select(other.c.lawn_id)
        .join(stand, stand.c.stand_id == other.c.stand_id)
        .where(other.c.keeper_id == lawn.c.keeper_id, not_(stand.c.cell_id.between(*within)))
        .exists()
    )
    waits = or_(keeper.c.kind == KeeperKind.PARKS.value, elsewhere)
    return select(lawn.c.keeper_id, lawn.c.lawn_id, waits).join(
        keeper, keeper.c.keeper_id == lawn.c.keeper_id
    )


def _of_informed() -> Select[Any]:
    """Ids of lawns whose keepers asked for all holds and know of none."""
    return (
        select(lawn.c.lawn_id)
        .join(keeper, keeper.c.keeper_id == lawn.c.keeper_id)
        .where(keeper.c.tells_all_holds.is_(True), lawn.c.told_hold.is_(None))
    )


def _kept_off(row: Any) -> KeptOff:
    return KeptOff(**{**row, "reason": HoldReason(row["reason"])})


def lawn_record(row: Any) -> LawnRecord:
    """Return a row of ``LAWN`` as a record."""
    values = list(row)
    values[CLIPPINGS] = Clippings(values[CLIPPINGS])
    values[TOLD_HOLD] = None if values[TOLD_HOLD] is None else HoldReason(values[TOLD_HOLD])
    return LawnRecord(*values)
