"""Giving a lawn a new start on its curve, whoever reported it."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from mowalert.domain.grasses import Turf
from mowalert.service.grow import anchored
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


def place(work: Work, turf: Turf, lawns: Sequence[LawnRecord]) -> None:
    """Put restarted lawns in their place, or leave them waiting for the curve to reach their day."""
    growth = work.stands.growth(sorted({lawn.stand_id for lawn in lawns}))
    updates = []
    for lawn in lawns:
        record = growth.get(lawn.stand_id)
        placed = anchored(lawn, record, turf) if record is not None else None
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
