"""Silence: a keeper who said nothing after an advised day is taken to have cut, if that is their way."""

from datetime import datetime

from mowalert.domain.grasses import Turf
from mowalert.domain.words import Silence
from mowalert.service.growing.anchoring import place, restarted
from mowalert.service.ports import Store
from mowalert.service.ports_nights import Cells
from mowalert.service.records import EventRecord, LawnRecord, Said


def assume_cuts(store: Store, turf: Turf, *, now: datetime, within: Cells | None = None) -> int:
    """The day after an advised day, start the lawn again at the advised height, marked assumed."""
    with store.begin() as work:
        waiting = work.lawns.advised_before(now.date(), within=within)
        keepers = work.keepers.get(sorted({lawn.keeper_id for lawn in waiting}))
        over = [
            lawn
            for lawn in waiting
            if lawn.advised_on is not None and lawn.advised_on < keepers[lawn.keeper_id].today(now)
        ]
        cut = [
            lawn for lawn in over if keepers[lawn.keeper_id].silence is Silence.CUT and lawn.told_hold is None
        ]
        work.lawns.said([Said(lawn.lawn_id, lawn.told_hold, lawn.told_hold_on, None, None) for lawn in over])
        work.lawns.happened([_assumed_cut(lawn, now) for lawn in cut])
        place(work, turf, [_cut_as_advised(lawn) for lawn in cut])
        work.commit()
    return len(cut)


def _cut_as_advised(lawn: LawnRecord) -> LawnRecord:
    on, height_mm = lawn.advised_on or lawn.anchored_on, lawn.advised_mm or lawn.chosen_mm
    return restarted(lawn, on=on, height_mm=height_mm, assumed=True)


def _assumed_cut(lawn: LawnRecord, now: datetime) -> EventRecord:
    on = lawn.advised_on or lawn.anchored_on
    return EventRecord(0, lawn.lawn_id, "mowing", on, lawn.advised_mm, None, True, "silence", now)
