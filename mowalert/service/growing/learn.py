"""Learn a lawn's own factor from its measured heights, or forget it.

The intervals are kept as they were seen when each height was reported: weather corrected later does
not move them. What was learned is computed from all of them anew, so that a report taken back leaves
no trace.
"""

from collections.abc import Sequence
from dataclasses import replace

from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.lawn import pace_of
from mowalert.domain.learning import (
    ASSUMED_CUT_MM,
    REPORTED_CUT_MM,
    RULER_MM,
    Learned,
    MeasuredGrowth,
    is_usable,
    learn,
)
from mowalert.service.records import EventRecord, LawnRecord

HEIGHT = "height"
FORGET = "forget"


def interval_closed(
    event: EventRecord, lawn: LawnRecord, events: Sequence[EventRecord], growth_mm: float | None
) -> EventRecord:
    """Return a measured height with the interval it closes.

    Parameters
    ----------
    event : EventRecord
        The height just measured.
    lawn : LawnRecord
        The lawn as it stood before.
    events : Sequence[EventRecord]
        What had happened to it.
    growth_mm : float | None
        The stand's curve in the evening of the day; none where it is not known. [mm]

    Returns
    -------
    EventRecord
        The same without an interval where none can be told.
    """
    if growth_mm is None or lawn.anchor_g_mm is None or event.on <= lawn.anchored_on:
        return event
    return replace(
        event,
        from_height_mm=lawn.anchor_height_mm,
        from_doubt_mm=_doubt(lawn, events),
        stand_growth_mm=growth_mm - lawn.anchor_g_mm,
        pace=lawn.pace / lawn.learned,
    )


def _doubt(lawn: LawnRecord, events: Sequence[EventRecord]) -> float:
    if lawn.anchor_assumed:
        return ASSUMED_CUT_MM
    began = [event for event in events if event.on == lawn.anchored_on and event.height_mm is not None]
    return RULER_MM if began and began[-1].kind == HEIGHT else REPORTED_CUT_MM


def learned_from(events: Sequence[EventRecord], grass: Grass) -> Learned:
    """Return what a lawn's reports teach since it was last forgotten.

    Parameters
    ----------
    events : Sequence[EventRecord]
        Everything that happened to it and was not taken back.
    grass : Grass
        Its grass.

    Returns
    -------
    Learned
        Nothing, with a factor of one, where no report can be used.
    """
    in_turn = sorted(events, key=lambda event: event.event_id)
    forgotten = max((index for index, event in enumerate(in_turn) if event.kind == FORGET), default=-1)
    return learn([one for event in in_turn[forgotten + 1 :] if (one := _measured(event, grass)) is not None])


def _measured(event: EventRecord, grass: Grass) -> MeasuredGrowth | None:
    if (
        event.kind != HEIGHT
        or event.height_mm is None
        or event.from_height_mm is None
        or event.stand_growth_mm is None
        or event.pace is None
    ):
        return None
    return MeasuredGrowth(
        from_height_mm=event.from_height_mm,
        to_height_mm=event.height_mm,
        stand_growth_mm=event.stand_growth_mm,
        pace=event.pace,
        ceiling_mm=grass.ceiling_mm,
        from_doubt_mm=event.from_doubt_mm or REPORTED_CUT_MM,
    )


def teaches(event: EventRecord, grass: Grass) -> bool:
    """Whether a measured height could be used."""
    measured = _measured(event, grass)
    return measured is not None and is_usable(measured)


def with_learned(lawn: LawnRecord, learned: Learned, turf: Turf) -> LawnRecord:
    """Return a lawn that grows at what was learned."""
    grass = turf.grasses[lawn.grass]
    return replace(
        lawn,
        learned=learned.factor,
        learned_spread=learned.spread if learned.used else None,
        learned_reports=learned.used,
        pace=pace_of(grass, lawn.chosen_mm, nitrogen=lawn.nitrogen, learned=learned.factor),
    )
