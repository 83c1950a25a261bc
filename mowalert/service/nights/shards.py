"""A night's shards: cells that one worker takes from their weather to the messages about their lawns.

Every shard may be run again, by whom ever, wherever a run of it broke off: each step finds what is done
already. What can only be done once all cells are known, such as telling keepers whose lawns lie in several
shards, is the last shard's.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import groupby
from time import perf_counter

from structlog.contextvars import bound_contextvars

from mowalert.domain.grasses import Turf
from mowalert.service.growing.grow import GrowReport, grow_stands
from mowalert.service.growing.pull import PullReport, pull_weather
from mowalert.service.lawns.silence import assume_cuts
from mowalert.service.nights.totals import of_shard
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, WeatherSources, Words
from mowalert.service.ports_nights import (
    EVERY_CELL,
    Cells,
    NightRecord,
    NightState,
    ShardRecord,
    ShardState,
)
from mowalert.service.records import Owner
from mowalert.service.telling.tell import (
    LAWNS_AT_ONCE,
    TellReport,
    add_up,
    close_rounds,
    find_lawns,
    keepers_waiting,
    tell_lawns,
    tell_missed,
)

Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class ShardReport:
    """What each step did with a shard, and how long it took. [s]"""

    pull: PullReport
    grow: GrowReport
    assumed: int
    tell: TellReport
    seconds: dict[str, float] = field(default_factory=dict)

    def figures(self) -> dict[str, object]:
        """What is kept of it."""
        return {
            "cells": self.pull.served,
            "unserved": self.pull.unserved,
            "stands": self.grow.grown,
            "stale": self.grow.stale,
            "anchored": self.grow.anchored,
            "assumed": self.assumed,
            "lawns": self.tell.lawns,
            "digests": self.tell.digests,
            "messages": self.tell.messages,
            "seconds": {step: round(taken, 4) for step, taken in self.seconds.items()},
        }


class StepClock:
    """Tells which step begins, how long each took, and in every line of a log which run it belongs to."""

    def __init__(self, progress: Progress, *, run: str) -> None:
        self.seconds: dict[str, float] = {}
        self._progress, self._run = progress, run

    @contextmanager
    def step(self, name: str) -> Iterator[None]:
        """Time what happens inside."""
        self._progress(name)
        began = perf_counter()
        try:
            with bound_contextvars(run=self._run):
                yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + perf_counter() - began


def run_of(night_id: int, shard: int) -> str:
    """Return what every line of a log about a shard is marked with."""
    return f"{night_id}.{shard}"


def spans(cell_ids: Sequence[int], size: int) -> list[Cells]:
    """Cut cells, in order, into spans of a number of them; together they cover every cell there could be."""
    firsts = [EVERY_CELL[0], *cell_ids[size::size]]
    return [(first, after - 1) for first, after in zip(firsts, [*firsts[1:], EVERY_CELL[1] + 1], strict=True)]


def run_shard(
    store: Store,
    sources: WeatherSources,
    turf: Turf,
    words: Words,
    policy: Policy,
    night: NightRecord,
    shard: int,
    *,
    progress: Progress = lambda step: None,
) -> ShardReport | None:
    """Work on one shard of a night from its weather to its messages.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    sources : WeatherSources
        Weather in the configured order.
    turf : Turf
        Grasses and soils.
    words : Words
        Wording of digests.
    policy : Policy
        What the operator set.
    night : NightRecord
        The night; its moment is the shard's.
    shard : int
        The shard's number.
    progress : Progress
        Told the name of each step as it begins.

    Returns
    -------
    ShardReport | None
        What was done; none where the shard was done before.
    """
    with store.begin() as work:
        record = work.nights.shard(night.night_id, shard)
        cell_ids = work.weather.used_ids(record.cells)
    if record.state is not ShardState.WAITING:
        return None
    clock, now = StepClock(progress, run=run_of(night.night_id, shard)), night.at
    with clock.step("pull"):
        pulled = pull_weather(store, sources, now=now, cell_ids=cell_ids, daily_calls=policy.daily_calls)
    with clock.step("grow"):
        grown = grow_stands(store, turf, now=now, cell_ids=cell_ids)
    with clock.step("silence"):
        assumed = assume_cuts(store, turf, now=now, within=record.cells)
    with clock.step("tell"):
        told, left = tell_shard(store, turf, words, policy, night, record)
    report = ShardReport(pulled, grown, assumed, told, clock.seconds)
    figures = report.figures()
    with store.begin() as work:
        work.nights.close(night.night_id, shard, ShardState.DONE, left_lawns=left, report=figures)
        work.tallies.add(of_shard(figures))
        work.commit()
    return report


def tell_shard(
    store: Store, turf: Turf, words: Words, policy: Policy, night: NightRecord, shard: ShardRecord
) -> tuple[TellReport, list[int]]:
    """Tell keepers whose lawns all lie in a shard; what was told, and lawns left for the end of the night."""
    with store.begin() as work:
        found = find_lawns(work, turf, night.round_ids, within=shard.cells, now=night.at)
        owners = work.lawns.owners(found, shard.cells)
    left = sorted(owner.lawn_id for owner in owners if owner.waits)
    here = [owner for owner in owners if not owner.waits]
    return tell_in_turn(store, turf, words, policy, night, shard.shard, by_keeper(here)), left


def by_keeper(owners: Iterable[Owner]) -> list[tuple[int, list[int]]]:
    """Gather lawns, in order of keeper, keeper by keeper."""
    return [
        (keeper_id, [owner.lawn_id for owner in of])
        for keeper_id, of in groupby(owners, key=lambda owner: owner.keeper_id)
    ]


def tell_in_turn(
    store: Store,
    turf: Turf,
    words: Words,
    policy: Policy,
    night: NightRecord,
    shard: int,
    keepers: Sequence[tuple[int, list[int]]],
    waiting: frozenset[int] = frozenset(),
) -> TellReport:
    """Tell keepers of their lawns, some thousand lawns a transaction; digests are counted in the same.

    A night that another took over tells no more.
    """
    reports = []
    for batch in _batches(keepers):
        lawn_ids = [lawn_id for _, of in batch for lawn_id in of]
        held = waiting & {keeper_id for keeper_id, _ in batch}
        with store.begin() as work:
            if not work.nights.hold(night.night_id):
                break
            report = tell_lawns(
                work, turf, words, policy, night.round_ids, lawn_ids, waiting=held, now=night.at
            )
            if report.digests:
                work.nights.add_digests(night.night_id, shard, report.by_round)
            work.commit()
        reports.append(report)
    return add_up(reports)


def _batches(keepers: Sequence[tuple[int, list[int]]]) -> Iterator[list[tuple[int, list[int]]]]:
    batch: list[tuple[int, list[int]]] = []
    lawns = 0
    for keeper_id, lawn_ids in keepers:
        batch.append((keeper_id, lawn_ids))
        lawns += len(lawn_ids)
        if lawns >= LAWNS_AT_ONCE:
            yield batch
            batch, lawns = [], 0
    if batch:
        yield batch


def tell_last(store: Store, turf: Turf, words: Words, policy: Policy, night: NightRecord) -> TellReport:
    """Tell whoever was left by the shards, and mark the night's rounds; nothing if they are marked."""
    with store.begin() as work:
        current = work.nights.get(night.night_id)
        if current is None or current.state is not NightState.OPEN:
            return add_up([])
        left = sorted(one for shard in work.nights.shards(night.night_id) for one in shard.left_lawns)
        owners = work.lawns.owners(left, EVERY_CELL)
        waiting = keepers_waiting(work, night.round_ids, now=night.at)
    keepers: dict[int, list[int]] = {keeper_id: [] for keeper_id in waiting} | dict(by_keeper(owners))
    told = tell_in_turn(
        store, turf, words, policy, night, night.shards, sorted(keepers.items()), frozenset(waiting)
    )
    with store.begin() as work:
        if not work.nights.hold(night.night_id):
            return told
        shards = work.nights.shards(night.night_id)
        whole = all(shard.state is not ShardState.FAILED for shard in shards)
        digests = _digests(shards)
        done, skipped = close_rounds(work, night.round_ids, digests, whole=whole, now=night.at)
        work.nights.mark(night.night_id, NightState.TOLD)
        work.commit()
    again = tell_missed(store, turf, words, policy, night.round_ids, now=night.at)
    return add_up([TellReport(done, skipped, 0, 0, 0), told, again])


def _digests(shards: Sequence[ShardRecord]) -> dict[int, int]:
    """Digests by round, of all shards."""
    digests: Counter[int] = Counter()
    for shard in shards:
        digests.update(shard.digests)
    return dict(digests)
