"""Irrigation that is off, and on again: kept lawn by lawn, with the days it was off."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, datetime

from mowalert.domain.words import Watering
from mowalert.errors import InputError
from mowalert.service.known import organisation
from mowalert.service.local.restrictions import day_before
from mowalert.service.local.where import Where, lawns_of
from mowalert.service.park_records import WateringOff
from mowalert.service.ports import Store


def turn_off(
    store: Store,
    keeper: str,
    where: Where,
    *,
    first_on: date,
    last_on: date | None,
    note: str,
    now: datetime,
) -> list[WateringOff]:
    """Keep that irrigation is off, lawn by lawn.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    where : Where
        Which lawns.
    first_on : date
        First day without water.
    last_on : date | None
        Last such day; until further notice if not given.
    note : str
        Why.
    now : datetime
        The moment, aware.

    Returns
    -------
    list[WateringOff]
        What was kept, one entry a lawn.

    Raises
    ------
    InputError
        If no such lawn is watered, or the days cannot be.
    """
    if last_on is not None and last_on < first_on:
        raise InputError(f"{last_on} is before {first_on}")
    with store.begin() as work:
        of = organisation(work, keeper)
        lawns = lawns_of(work, of.keeper_id, where)
        stands = work.stands.get(sorted({lawn.stand_id for lawn in lawns}))
        watered = [lawn for lawn in lawns if stands[lawn.stand_id].key.watering is Watering.REGULAR]
        if not watered:
            raise InputError(f"{of.name}: no such lawn is watered")
        kept = []
        for lawn in watered:
            off = WateringOff(0, of.keeper_id, lawn.lawn_id, first_on, last_on, note.strip()[:200], now)
            kept.append(replace(off, off_id=work.parks.turn_off(off)))
        work.commit()
    return kept


def turn_on(
    store: Store, keeper: str, off_ids: Sequence[int], *, first_wet_on: date, now: datetime
) -> list[WateringOff]:
    """Keep that irrigation runs again; the days it was off stay on record.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    keeper : str
        The organisation.
    off_ids : Sequence[int]
        Numbers of what was kept when it was turned off.
    first_wet_on : date
        First day with water again; on or before the first dry day it never was off.
    now : datetime
        The moment, aware.

    Returns
    -------
    list[WateringOff]
        Each as it is kept now.

    Raises
    ------
    InputError
        If there is no such number, or it ends sooner; then nothing is kept.
    """
    with store.begin() as work:
        of = organisation(work, keeper)
        known = {one.off_id: one for one in work.parks.watering_off(of.keeper_id, since=date.min)}
        for off_id in off_ids:
            if off_id not in known:
                raise InputError(f"{of.name} has no irrigation off with number {off_id}")
        ended = []
        for off in (known[off_id] for off_id in off_ids):
            last_on = day_before(first_wet_on, off.last_on, f"irrigation off {off.off_id}")
            ended.append(work.parks.turn_on(off, last_on=last_on, at=now))
        work.commit()
    return ended
