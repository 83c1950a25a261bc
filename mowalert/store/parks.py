"""Turf classes, their holds and log, restrictions, irrigation and the crews' heat in the store."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any, TypeVar

from sqlalchemy import Connection, Select, insert, or_, select, update

from mowalert.domain.words import HoldReason
from mowalert.service.park_records import (
    ClassHoldRecord,
    ClassRule,
    HeatNotice,
    HeatPlan,
    HeldLawn,
    HoldLogRecord,
    HoldStep,
    RestrictionKind,
    RestrictionRecord,
    WateringOff,
)
from mowalert.store.bulk import upsert
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
from mowalert.store.sql import insert_for, look_up, values_of
from mowalert.store.tables import keeper, lawn, stand

Dated = TypeVar("Dated", RestrictionRecord, WateringOff)


class SqlParks:
    """Turf classes and their holds, restrictions, and the crews' heat.

    Parameters
    ----------
    connection : Connection
        Of the transaction.
    """

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def keep_rule(self, rule: ClassRule) -> None:
        """Keep how a turf class is kept, newer over older."""
        row = values_of(rule) | {"ignores": [reason.value for reason in rule.ignores]}
        upsert(self._connection, class_rule, [row])

    def rules(self, keeper_id: int) -> dict[str, ClassRule]:
        """Rules of an organisation by turf class in small letters."""
        query = select(class_rule).where(class_rule.c.keeper_id == keeper_id)
        return {row["turf_class"].casefold(): _rule(row) for row in self._rows(query)}

    def ignoring(self, keeper_ids: Sequence[int]) -> dict[tuple[int, str], tuple[HoldReason, ...]]:
        """Holds that classes ignore, by organisation and class in small letters, where there are any."""
        found = {}
        for row in look_up(self._connection, select(class_rule), class_rule.c.keeper_id, keeper_ids):
            if ignores := _rule(row._mapping).ignores:
                found[row.keeper_id, row.turf_class.casefold()] = ignores
        return found

    def with_open_holds(self, round_ids: Sequence[int]) -> list[int]:
        """Organisations of some rounds whose classes have holds that were not released."""
        query = (
            select(class_hold.c.keeper_id)
            .join(keeper, keeper.c.keeper_id == class_hold.c.keeper_id)
            .where(class_hold.c.released_on.is_(None), keeper.c.round_id.in_(round_ids))
            .distinct()
            .order_by(class_hold.c.keeper_id)
        )
        return [int(row) for row in self._connection.scalars(query)]

    def open_hold(self, hold: ClassHoldRecord) -> int:
        """Keep a new hold of a class; its id is given back."""
        row = insert(class_hold).values(**values_of(hold, without=["hold_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def change_hold(self, hold: ClassHoldRecord) -> None:
        """Keep a changed hold."""
        where = class_hold.c.hold_id == hold.hold_id
        self._connection.execute(
            update(class_hold).where(where).values(**values_of(hold, without=["hold_id"]))
        )

    def open_holds(self, keeper_id: int) -> list[ClassHoldRecord]:
        """Holds of an organisation's classes that were not released, in order of id."""
        return self._holds(
            select(class_hold).where(class_hold.c.keeper_id == keeper_id, class_hold.c.released_on.is_(None))
        )

    def class_holds(self, keeper_id: int, *, first: date, last: date) -> list[ClassHoldRecord]:
        """Holds of an organisation that touch some days, both included, in order of id."""
        return self._holds(
            select(class_hold).where(
                class_hold.c.keeper_id == keeper_id,
                class_hold.c.started_on <= last,
                or_(class_hold.c.released_on.is_(None), class_hold.c.released_on >= first),
            )
        )

    def _holds(self, query: Select[Any]) -> list[ClassHoldRecord]:
        rows = self._rows(query.order_by(class_hold.c.hold_id))
        return [ClassHoldRecord(**{**row, "reason": HoldReason(row["reason"])}) for row in rows]

    def keep_held(self, lawns: Sequence[HeldLawn]) -> None:
        """Keep lawns of holds, newer over older."""
        upsert(self._connection, held_lawn, [values_of(one) for one in lawns])

    def held(self, hold_ids: Sequence[int]) -> list[HeldLawn]:
        """Lawns of holds, by hold and lawn."""
        query = (
            select(held_lawn)
            .where(held_lawn.c.hold_id.in_(hold_ids))
            .order_by(held_lawn.c.hold_id, held_lawn.c.lawn_id)
        )
        return [HeldLawn(**{**row, "reason": HoldReason(row["reason"])}) for row in self._rows(query)]

    def log(self, lines: Sequence[HoldLogRecord]) -> None:
        """Add lines to the hold log."""
        if lines:
            rows = [values_of(line, without=["log_id"]) | {"told": list(line.told)} for line in lines]
            self._connection.execute(insert(hold_log), rows)

    def hold_log(
        self, keeper_id: int, *, first: date, last: date, lawn_ids: Sequence[int] | None = None
    ) -> list[HoldLogRecord]:
        """The hold log of some days, both included, in order."""
        query = select(hold_log).where(hold_log.c.keeper_id == keeper_id, hold_log.c.on.between(first, last))
        rows = look_up(self._connection, query, hold_log.c.lawn_id, lawn_ids)
        found = [_line(row._mapping) for row in rows]
        return sorted(found, key=lambda line: (line.on, line.log_id))

    def logged(self, hold_id: int, step: HoldStep) -> set[int]:
        """Ids of lawns of which a hold's log has a step."""
        query = (
            select(hold_log.c.lawn_id)
            .join(class_hold, class_hold.c.hold_id == hold_log.c.hold_id)
            # By its days the log is found in its index.
            .where(
                hold_log.c.keeper_id == class_hold.c.keeper_id,
                hold_log.c.on >= class_hold.c.told_on,
                hold_log.c.hold_id == hold_id,
                hold_log.c.step == step.value,
            )
        )
        return {int(row) for row in self._connection.scalars(query)}

    def restrict(self, record: RestrictionRecord) -> int:
        """Keep a restriction; its number is given back."""
        values = values_of(record, without=["restriction_id"])
        values |= {"polygons": record.polygons, "site_ids": list(record.site_ids)}
        row = insert(restriction).values(**values)
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def lift(self, rule: RestrictionRecord, *, last_on: date, at: datetime) -> RestrictionRecord:
        """End a restriction on a day; one that ends before it begins is taken back and not found any more."""
        ended = _ended(rule, last_on, at)
        where = restriction.c.restriction_id == rule.restriction_id
        values = {"last_on": ended.last_on, "undone_at": ended.undone_at}
        self._connection.execute(update(restriction).where(where).values(values))
        return ended

    def restrictions(
        self, keeper_ids: Sequence[int] | None, *, since: date
    ) -> dict[int, list[RestrictionRecord]]:
        """Restrictions by organisation that do not end before a date; of all where none are named."""
        query = (
            select(restriction)
            .where(
                restriction.c.undone_at.is_(None),
                or_(restriction.c.last_on.is_(None), restriction.c.last_on >= since),
            )
            .order_by(restriction.c.keeper_id, restriction.c.restriction_id)
        )
        found: dict[int, list[RestrictionRecord]] = {}
        for row in look_up(self._connection, query, restriction.c.keeper_id, keeper_ids):
            found.setdefault(row.keeper_id, []).append(_restriction(row._mapping))
        return found

    def turn_off(self, off: WateringOff) -> int:
        """Keep that a lawn's irrigation is off; the number is given back."""
        row = insert(watering_off).values(**values_of(off, without=["off_id"]))
        return int(self._connection.execute(row).inserted_primary_key[0])  # type: ignore[index]

    def turn_on(self, off: WateringOff, *, last_on: date, at: datetime) -> WateringOff:
        """End that on a day, as a restriction is ended."""
        ended = _ended(off, last_on, at)
        where = watering_off.c.off_id == off.off_id
        values = {"last_on": ended.last_on, "undone_at": ended.undone_at}
        self._connection.execute(update(watering_off).where(where).values(values))
        return ended

    def watering_off(self, keeper_id: int | None, *, since: date) -> list[WateringOff]:
        """Irrigation that is off, of one organisation or of all, and does not end before a date."""
        query = select(watering_off).where(
            watering_off.c.undone_at.is_(None),
            or_(watering_off.c.last_on.is_(None), watering_off.c.last_on >= since),
        )
        if keeper_id is not None:
            query = query.where(watering_off.c.keeper_id == keeper_id)
        return [WateringOff(**row) for row in self._rows(query.order_by(watering_off.c.off_id))]

    def dry_lawns(self) -> list[int]:
        """Ids of lawns whose stands have days without the usual watering."""
        query = (
            select(lawn.c.lawn_id)
            .join(stand, stand.c.stand_id == lawn.c.stand_id)
            .where(stand.c.dry_from != 0)
            .order_by(lawn.c.lawn_id)
        )
        return [int(row) for row in self._connection.scalars(query)]

    def keep_heat_plan(self, plan: HeatPlan) -> None:
        """Keep an employer's thresholds, newer over older."""
        upsert(self._connection, heat_plan, [values_of(plan)])

    def heat_plan(self, keeper_id: int) -> HeatPlan | None:
        """An employer's thresholds; none where they never said any."""
        row = self._rows(select(heat_plan).where(heat_plan.c.keeper_id == keeper_id)).first()
        return None if row is None else HeatPlan(**row)

    def note_heat(self, notice: HeatNotice) -> bool:
        """Remember that a day's heat was told; ``False`` if that step was told before."""
        row = insert_for(self._connection, heat_notice).values(**values_of(notice))
        row = row.on_conflict_do_nothing().returning(heat_notice.c.step)
        return self._connection.scalar(row) is not None

    def heat_notices(self, keeper_id: int, *, first: date, last: date) -> list[HeatNotice]:
        """What was told of the heat of some days, both included, in order."""
        query = (
            select(heat_notice)
            .where(heat_notice.c.keeper_id == keeper_id, heat_notice.c.on.between(first, last))
            .order_by(heat_notice.c.on, heat_notice.c.told_at)
        )
        return [HeatNotice(**row) for row in self._rows(query)]

    def _rows(self, query: Select[Any]) -> Any:
        return self._connection.execute(query).mappings()


def _rule(row: Any) -> ClassRule:
    return ClassRule(**{**row, "ignores": tuple(HoldReason(word) for word in row["ignores"])})


def _line(row: Any) -> HoldLogRecord:
    words = {"step": HoldStep(row["step"]), "reason": HoldReason(row["reason"]), "told": tuple(row["told"])}
    return HoldLogRecord(**{**row, **words})


def _ended(one: Dated, last_on: date, at: datetime) -> Dated:
    return replace(one, undone_at=at) if last_on < one.first_on else replace(one, last_on=last_on)


def _nested(polygons: Any) -> Any:
    """Polygons were once kept as the outlines of one."""
    return [polygons] if polygons and not isinstance(polygons[0][0][0], list) else polygons


def _ring(corners: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(latitude), float(longitude)) for latitude, longitude in corners)


def _restriction(row: Any) -> RestrictionRecord:
    polygons = tuple(tuple(_ring(ring) for ring in polygon) for polygon in _nested(row["polygons"]))
    words = {"kind": RestrictionKind(row["kind"]), "polygons": polygons, "site_ids": tuple(row["site_ids"])}
    return RestrictionRecord(**{**row, **words})
