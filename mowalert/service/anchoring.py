"""Giving a lawn a new start on its curve, or another way of being kept, whoever asks for it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from mowalert.domain.grasses import Turf
from mowalert.domain.lawn import pace_of
from mowalert.domain.stand import rooting_class
from mowalert.domain.words import Sun, Watering
from mowalert.service.grow import anchored, growth_by_day
from mowalert.service.ports import Work
from mowalert.service.records import AnchorUpdate, LawnRecord


def restarted(lawn: LawnRecord, *, on: date, height_mm: float, assumed: bool) -> LawnRecord:
    """Return a lawn that starts again from a height in the evening of a day, not yet on its curve."""
    return replace(
        lawn,
        anchored_on=on,
        anchor_height_mm=height_mm,
        anchor_assumed=assumed,
        anchor_g_mm=None,
        window_g_mm=None,
        limit_g_mm=None,
    )


def kept_at(
    work: Work,
    turf: Turf,
    lawn: LawnRecord,
    height_mm: float,
    *,
    sun: Sun | None = None,
    watering: Watering | None = None,
) -> LawnRecord:
    """Keep a lawn at a height, in other light or watered otherwise, from where it stands.

    Parameters
    ----------
    work : Work
        The transaction.
    turf : Turf
        Grasses and soils.
    lawn : LawnRecord
        The lawn as it is kept now.
    height_mm : float
        Height it is cut to from now on. [mm]
    sun : Sun | None
        Share of the sun; as it is if not given.
    watering : Watering | None
        Whether it is watered; as it is if not given.

    Returns
    -------
    LawnRecord
        The lawn with its new pace, in the stand it grows with; still to be kept and placed.
    """
    stand = work.stands.get([lawn.stand_id])[lawn.stand_id]
    key = replace(
        stand.key,
        rooting=rooting_class(height_mm),
        sun=sun or stand.key.sun,
        watering=watering or stand.key.watering,
    )
    grass = turf.grasses[lawn.grass]
    return replace(
        lawn,
        chosen_mm=height_mm,
        pace=pace_of(grass, height_mm, nitrogen=lawn.nitrogen, learned=lawn.learned),
        stand_id=work.stands.ensure(stand.cell_id, key),
    )


def place(work: Work, turf: Turf, lawns: Sequence[LawnRecord]) -> None:
    """Put restarted lawns in their place, or leave them waiting for the curve to reach their day."""
    growth = work.stands.growth(sorted({lawn.stand_id for lawn in lawns}))
    updates = []
    for lawn in lawns:
        record = growth.get(lawn.stand_id)
        placed = anchored(lawn, record, turf, growth_by_day(record)) if record is not None else None
        updates.append(placed or _waiting(lawn))
    work.lawns.anchor(updates)


def _waiting(lawn: LawnRecord) -> AnchorUpdate:
    return AnchorUpdate(
        lawn.lawn_id,
        lawn.anchored_on,
        lawn.anchor_height_mm,
        None,
        lawn.anchor_assumed,
        None,
        None,
    )
