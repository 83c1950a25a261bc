"""One shard of a night, wherever it is worked on: tried so many times, never by two at once."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import structlog

from mowalert.service.nights.night import begin_night, end_night, next_moment
from mowalert.service.nights.shards import run_shard
from mowalert.service.nights.totals import SHARDS
from mowalert.service.ports_nights import NightRecord, NightState, ShardRecord, ShardState
from mowalert.wiring import Services

SENT_AGAIN_AFTER = timedelta(minutes=15)
"""A shard nobody ended by then is given out again; its task may be lost with the broker."""
log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Done:
    """What a try of a shard leaves to do: shards to give out, and whether messages wait."""

    shards: tuple[int, ...] = ()
    messages: bool = False


@dataclass(frozen=True, slots=True)
class ToGive:
    """Shards of a night that are to be given to workers."""

    night: NightRecord
    shards: tuple[int, ...] = field(default=())


def shards_to_give(services: Services, *, now: datetime) -> ToGive:
    """Begin a night, or go on with the one that is open; which of its shards no worker has."""
    night = begin_night(
        services.store,
        services.turf,
        now=next_moment(services.store, now=now),
        warning_sources=services.warning_sources,
        shard_cells=services.settings.jobs.shard_cells,
    )
    with services.store.begin() as work:
        shards = work.nights.shards(night.night_id)
    waiting = _ready(night, shards)
    return ToGive(night, tuple(one.shard for one in waiting if _is_free(one, now)))


def _ready(night: NightRecord, shards: list[ShardRecord]) -> list[ShardRecord]:
    """Shards that can be worked on: the end only when it alone is left."""
    waiting = [one for one in shards if one.state is ShardState.WAITING]
    return [one for one in waiting if one.shard < night.shards] or waiting


def _is_free(shard: ShardRecord, now: datetime) -> bool:
    return shard.sent_at is None or not timedelta() <= now - shard.sent_at < SENT_AGAIN_AFTER


def work_on(services: Services, night_id: int, shard: int) -> Done:
    """Try one shard of a night; what is done already, or belongs to a night that was left, is passed over."""
    with services.store.alone(f"night {night_id} shard {shard}", wait=True):
        messages = _try(services, night_id, shard)
    with services.store.begin() as work:
        night, shards = work.nights.get(night_id), work.nights.shards(night_id)
    if night is None or not night.is_open:
        return Done(messages=messages)
    # Whoever ends the last of the others gives out the end; given out twice it is done once.
    ended = all(one.shard != shard or one.state is not ShardState.WAITING for one in shards)
    only_end = [one.shard for one in _ready(night, shards)] == [night.shards]
    return Done((night.shards,) if ended and only_end and shard != night.shards else (), messages)


def _try(services: Services, night_id: int, shard: int) -> bool:
    """Work on a shard; whether it wrote messages."""
    with services.store.begin() as work:
        night = work.nights.get(night_id)
        if night is None or not night.is_open:
            return False
        shards = work.nights.shards(night_id)
        if shard not in [one.shard for one in _ready(night, shards)]:
            return False
        tries = work.nights.tried(night_id, shard)
        work.commit()
    if tries > services.settings.jobs.most_tries:
        _give_up(services, night, shard, tries - 1)
        return False
    if shard == night.shards:
        return _end(services, night)
    report = run_shard(
        services.store, services.sources, services.turf, services.words, services.policy, night, shard
    )
    if report is None:
        return False
    log.info("shard done", night=night_id, shard=shard, tries=tries, **report.figures())
    return report.tell.messages > 0


def _end(services: Services, night: NightRecord) -> bool:
    end = end_night(
        services.store,
        services.turf,
        services.words,
        services.policy,
        night,
        office=services.office,
        heat=services.heat,
    )
    log.info("night done", night=night.night_id, at=night.at.isoformat(), rounds=end.tell.rounds)
    return True


def _give_up(services: Services, night: NightRecord, shard: int, tries: int) -> None:
    """Let a night end without a shard, or without its end: the next one tells who was not told."""
    log.error("shard given up", night=night.night_id, shard=shard, tries=tries)
    with services.store.begin() as work:
        work.tallies.add({SHARDS: {ShardState.FAILED.value: 1}})
        work.nights.close(night.night_id, shard, ShardState.FAILED)
        if shard == night.shards:
            work.nights.mark(night.night_id, NightState.LEFT)
        work.commit()
