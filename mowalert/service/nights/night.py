"""A night: pull weather, grow the stands, take silence for a cut, and tell the rounds that have come."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import partial, reduce

from mowalert.domain.grasses import Turf
from mowalert.service.backup import restored_at
from mowalert.service.crews.crew_heat_notices import HeatOffice, tell_crew_heat
from mowalert.service.crews.handing_out import MorningsReport, Office, hand_out
from mowalert.service.growing.dry_stands import follow_watering
from mowalert.service.growing.grow import GrowReport
from mowalert.service.growing.pull import PullReport
from mowalert.service.growing.spread import judge_forecasts
from mowalert.service.keepers.privacy import forget_unconfirmed
from mowalert.service.local.official import pull_warnings
from mowalert.service.nights.shards import (
    Progress,
    ShardReport,
    StepClock,
    run_of,
    run_shard,
    spans,
    tell_last,
)
from mowalert.service.nights.totals import of_end
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, WarningSource, WeatherSources, Words, Work
from mowalert.service.ports_nights import EVERY_CELL, NightRecord, NightState, ShardState
from mowalert.service.region.bulletin import make_bulletins
from mowalert.service.region.guides import follow_guides
from mowalert.service.telling.tell import TellReport, add_up, rounds_come

LAST_NIGHT = "last_night_at"
"""Name under which the store keeps the moment of the newest night."""
SHARD_CELLS = 200
REMEMBERED = timedelta(days=3)
"""Nights older than this are forgotten."""
GIVEN_UP_AFTER = timedelta(hours=1)
"""A night that did not end by then is left, and the next one begins; nobody hears anything twice."""
NOTHING_DONE = ShardReport(PullReport(0, 0, 0, ()), GrowReport(0, 0, 0), 0, add_up([]))


@dataclass(frozen=True, slots=True)
class NightReport:
    """What each step of a night did."""

    at: datetime
    pull: PullReport
    grow: GrowReport
    assumed: int
    tell: TellReport
    mornings: MorningsReport = field(default_factory=MorningsReport)
    heat_notices: int = 0
    night_id: int = 0


def run_night(
    store: Store,
    sources: WeatherSources,
    turf: Turf,
    words: Words,
    policy: Policy,
    *,
    now: datetime,
    warning_sources: Sequence[WarningSource] = (),
    office: Office | None = None,
    heat: HeatOffice | None = None,
    shard_cells: int = SHARD_CELLS,
    progress: Progress = lambda step: None,
) -> NightReport:
    """Run one night, its shards one after another; running it again at the same moment changes nothing.

    The first after a restore is run at the restore's moment as well: what had come until then is decided
    and remembered, but its messages do not go, since the lost store may have sent them.

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
        Channels in use and the age at which weather is too old.
    now : datetime
        The night's moment, aware.
    warning_sources : Sequence[WarningSource]
        Authorities whose warnings are shown beside our advice; one that fails stops nothing.
    office : Office | None
        Plans and words the days of organisations with crews; none without.
    heat : HeatOffice | None
        Words the crews' heat of the days ahead; none without.
    shard_cells : int
        Cells a shard.
    progress : Progress
        Told the name of each step as it begins.

    Returns
    -------
    NightReport
        What each step did.
    """

    def one(at: datetime) -> NightReport:
        night = begin_night(
            store, turf, now=at, warning_sources=warning_sources, shard_cells=shard_cells, take_over=True
        )
        run = partial(run_shard, store, sources, turf, words, policy, night, progress=progress)
        reports = (report for shard in range(night.shards) if (report := run(shard)))
        done = reduce(_together, reports, NOTHING_DONE)
        end = end_night(store, turf, words, policy, night, office=office, heat=heat, progress=progress)
        return _report(night, done, end)

    if (first := next_moment(store, now=now)) != now:
        one(first)
    return one(now)


def next_moment(store: Store, *, now: datetime) -> datetime:
    """Return the moment of the next night: a restore's, if none was run since, and else now."""
    last = last_night(store)
    with store.begin() as work:
        restored = restored_at(work)
    waits = restored is not None and restored < now and (last is None or last < restored)
    return restored if waits and restored else now


@dataclass(frozen=True, slots=True)
class EndReport:
    """What the end of a night did."""

    tell: TellReport
    mornings: MorningsReport
    heat_notices: int


def begin_night(
    store: Store,
    turf: Turf,
    *,
    now: datetime,
    warning_sources: Sequence[WarningSource] = (),
    shard_cells: int = SHARD_CELLS,
    take_over: bool = False,
) -> NightRecord:
    """Cut a night into shards of weather cells, or return the one that is being worked on.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    now : datetime
        The night's moment, aware.
    warning_sources : Sequence[WarningSource]
        Authorities whose warnings are shown beside our advice.
    shard_cells : int
        Cells a shard.
    take_over : bool
        Whether a night that is still open is left for this one, however young it is.

    Returns
    -------
    NightRecord
        The night to work on.
    """
    with store.begin() as work:
        if (running := _running(work, now, take_over)) is not None:
            return running
    pull_warnings(store, warning_sources, now=now)
    follow_guides(store, turf, today=now.date())
    follow_watering(store, turf, today=now.date())
    with store.begin() as work:
        work.nights.lock()
        if (running := _running(work, now, take_over)) is not None:
            return running
        work.nights.forget(before=now - REMEMBERED)
        cells = spans(work.weather.used_ids(EVERY_CELL), shard_cells)
        night = work.nights.begin(now, rounds_come(work, now=now), cells)
        work.commit()
    return night


def _running(work: Work, now: datetime, take_over: bool) -> NightRecord | None:
    """The night that is being worked on, unless it is so old that it won't end any more."""
    night = work.nights.open()
    # A clock that was put back may leave one that is still to come.
    return night if night and not take_over and abs(now - night.at) < GIVEN_UP_AFTER else None


def end_night(
    store: Store,
    turf: Turf,
    words: Words,
    policy: Policy,
    night: NightRecord,
    *,
    office: Office | None = None,
    heat: HeatOffice | None = None,
    progress: Progress = lambda step: None,
) -> EndReport:
    """Do what can only be done once every cell of a night is known.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    words : Words
        Wording of digests.
    policy : Policy
        What the operator set.
    night : NightRecord
        The night, its shards done.
    office : Office | None
        Plans and words the days of organisations with crews; none without.
    heat : HeatOffice | None
        Words the crews' heat of the days ahead; none without.
    progress : Progress
        Told the name of each step as it begins.

    Returns
    -------
    EndReport
        What was done; running it again does nothing twice.
    """
    now, clock = night.at, StepClock(progress, run=run_of(night.night_id, night.shards))
    with clock.step("last"):
        told = tell_last(store, turf, words, policy, night)
    with clock.step("mornings"):
        mornings = hand_out(store, turf, policy, office, now=now) if office else MorningsReport()
        hot = tell_crew_heat(store, heat.words, policy, heat.links, now=now) if heat else 0
    with clock.step("bulletins"):
        # What a night judges is known to the next: its shards, in whatever order, know the same.
        judge_forecasts(store)
        forget_unconfirmed(store, now=now)
        make_bulletins(store, turf, max_age=policy.max_age, now=now)
    seconds = {step: round(taken, 4) for step, taken in clock.seconds.items()}
    with store.begin() as work:
        work.nights.close(night.night_id, night.shards, ShardState.DONE, report={"seconds": seconds})
        work.nights.mark(night.night_id, NightState.DONE)
        work.tallies.add(of_end(seconds))
        work.set_meta(LAST_NIGHT, now.isoformat())
        work.commit()
    return EndReport(told, mornings, hot)


def _together(one: ShardReport, other: ShardReport) -> ShardReport:
    """What was done in shards, added up as they end: a country's reports are not kept."""
    tell = add_up([one.tell, other.tell])
    return ShardReport(one.pull + other.pull, one.grow + other.grow, one.assumed + other.assumed, tell)


def _report(night: NightRecord, done: ShardReport, end: EndReport) -> NightReport:
    return NightReport(
        at=night.at,
        pull=done.pull,
        grow=done.grow,
        assumed=done.assumed,
        tell=add_up([done.tell, end.tell]),
        mornings=end.mornings,
        heat_notices=end.heat_notices,
        night_id=night.night_id,
    )


def last_night(store: Store) -> datetime | None:
    """Return the moment of the newest night; the clock of a replay."""
    with store.begin() as work:
        said = work.get_meta(LAST_NIGHT)
    return datetime.fromisoformat(said) if said else None


def is_overdue(last: datetime | None, *, now: datetime, every: timedelta) -> bool:
    """Whether nights have stopped: none in three of the usual spans."""
    return last is None or now - last > 3 * every
