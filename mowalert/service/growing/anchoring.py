"""Giving a lawn a new start on its curve, or another way of being kept, whoever asks for it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from mowalert.domain.grasses import Turf
from mowalert.domain.growth import growth_to_reach_mm, height_mm
from mowalert.domain.lawn import pace_of
from mowalert.domain.stand import rooting_class
from mowalert.domain.words import Sun, Watering
from mowalert.service.growing.grow import anchor_at, anchored, growth_by_day, growth_on
from mowalert.service.ports import Work
from mowalert.service.records import AnchorUpdate, GrowthRecord, LawnRecord


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
    """Put restarted lawns in their place, or leave them waiting for the curve to have their day."""
    growth = work.stands.growth(sorted({lawn.stand_id for lawn in lawns}))
    updates = []
    for lawn in lawns:
        record = growth.get(lawn.stand_id)
        there = record is not None and record.curve_from <= lawn.anchored_on
        placed = anchored(lawn, record, turf, growth_by_day(record)) if record and there else None
        updates.append(placed or _waiting(lawn))
    work.lawns.anchor(updates)


def place_kept(work: Work, turf: Turf, changes: Sequence[tuple[LawnRecord, LawnRecord]]) -> None:
    """Put lawns that are kept another way in their place: each is as tall as it was.

    Parameters
    ----------
    work : Work
        The transaction.
    turf : Turf
        Grasses and soils.
    changes : Sequence[tuple[LawnRecord, LawnRecord]]
        Each lawn as it was kept, with its place, and as it is kept from now on. One of another grass, or
        without a place yet, is placed by the day it was last cut.
    """
    growth = work.stands.growth(sorted({lawn.stand_id for change in changes for lawn in change}))
    placed = [(after, _as_tall(work, turf, growth, before, after)) for before, after in changes]
    work.lawns.anchor([update for _, update in placed if update is not None])
    place(work, turf, [replace(after, anchor_g_mm=None) for after, update in placed if update is None])


def _as_tall(
    work: Work, turf: Turf, growth: dict[int, GrowthRecord], before: LawnRecord, after: LawnRecord
) -> AnchorUpdate | None:
    source, target = growth.get(before.stand_id), growth.get(after.stand_id)
    if source is None or before.anchor_g_mm is None or before.anchored_on > source.as_of:
        return None
    if before.grass != after.grass:
        return None
    if target is None or target.as_of < source.as_of:
        # Nobody has grown there of late: the new curve goes on from the old one's.
        target = growth[after.stand_id] = replace(source, stand_id=after.stand_id)
        work.stands.save_growth([target])
    grown_mm = growth_on(source, source.as_of) - before.anchor_g_mm
    tall_mm = height_mm(
        np.array([grown_mm]),
        from_height_mm=before.anchor_height_mm,
        pace=before.pace,
        ceiling_mm=turf.grasses[before.grass].ceiling_mm,
    )
    return standing_at(after, target, turf, on=source.as_of, height_mm=float(tall_mm[0]))


def standing_at(
    lawn: LawnRecord, record: GrowthRecord, turf: Turf, *, on: date, height_mm: float
) -> AnchorUpdate | None:
    """Place a lawn so that on a day's evening it stood at a height.

    Parameters
    ----------
    lawn : LawnRecord
        The lawn; its anchor may be older than the days its stand's curve is kept for.
    record : GrowthRecord
        Its stand's curve.
    turf : Turf
        Grasses and soils.
    on : date
        A day of the curve.
    height_mm : float
        Its height then. [mm]

    Returns
    -------
    AnchorUpdate | None
        The place; none if no growth leads to that height.
    """
    needed_mm = growth_to_reach_mm(
        height_mm,
        from_height_mm=lawn.anchor_height_mm,
        pace=lawn.pace,
        ceiling_mm=turf.grasses[lawn.grass].ceiling_mm,
    )
    if needed_mm is None:
        return None
    growth_mm = growth_on(record, on) - needed_mm
    return anchor_at(lawn, turf, on=lawn.anchored_on, growth_mm=growth_mm, assumed=lawn.anchor_assumed)


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
