"""What was done since the beginning, by all processes together: figures that only ever grow."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from mowalert.service.ports_nights import ShardState
from mowalert.service.ports_tallies import Totals
from mowalert.service.sending.deliver import DeliveryReport

STEP_SECONDS, NIGHT_WORK, SHARDS, NIGHTS = "step_seconds", "night_work", "shards", "nights"
DELIVERIES, DELIVER = "deliveries", "deliver"
NOT_COUNTED = ("taken", "errors")


def of_shard(figures: Mapping[str, Any]) -> Totals:
    """What a shard adds, from the figures kept of it."""
    counts = {what: float(count) for what, count in figures.items() if what != "seconds"}
    return {
        STEP_SECONDS: figures["seconds"],
        NIGHT_WORK: counts,
        SHARDS: {ShardState.DONE.value: 1},
    }


def of_end(seconds: Mapping[str, float]) -> Totals:
    """What the end of a night adds, from the seconds of its steps."""
    return {STEP_SECONDS: seconds, NIGHTS: {"done": 1}}


def of_delivery(report: DeliveryReport, *, seconds: float) -> Totals:
    """What a batch of messages adds."""
    outcomes = {what: count for what, count in asdict(report).items() if what not in NOT_COUNTED}
    return {STEP_SECONDS: {DELIVER: seconds}, DELIVERIES: outcomes}
