"""The telling of a night alone, on curves a test has made."""

from datetime import datetime

from mowalert.domain.grasses import Turf
from mowalert.service.nights.shards import tell_last, tell_shard
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, Words
from mowalert.service.ports_nights import EVERY_CELL
from mowalert.service.telling.tell import TellReport, add_up, rounds_come


def tell_rounds(store: Store, turf: Turf, words: Words, policy: Policy, *, now: datetime) -> TellReport:
    """Tell the rounds that have come, all cells in one shard."""
    with store.begin() as work:
        night = work.nights.begin(now, rounds_come(work, now=now), [EVERY_CELL])
        shard = work.nights.shard(night.night_id, 0)
        work.commit()
    told, left = tell_shard(store, turf, words, policy, night, shard)
    with store.begin() as work:
        work.nights.close(night.night_id, 0, shard.state, left_lawns=left)
        work.commit()
    return add_up([told, tell_last(store, turf, words, policy, night)])
