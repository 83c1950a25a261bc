"""A night: pull weather, grow the stands, take silence for a cut, and tell the rounds that have come."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from mowalert.domain.grasses import Turf
from mowalert.service.backup import restored_at
from mowalert.service.bulletin import make_bulletins
from mowalert.service.crew_heat_notices import HeatOffice, tell_crew_heat
from mowalert.service.dry_stands import follow_watering
from mowalert.service.grow import GrowReport, grow_stands
from mowalert.service.guides import follow_guides
from mowalert.service.handing_out import MorningsReport, Office, hand_out
from mowalert.service.official import pull_warnings
from mowalert.service.policy import Policy
from mowalert.service.ports import Store, WarningSource, WeatherSources, Words
from mowalert.service.privacy import forget_unconfirmed
from mowalert.service.pull import PullReport, pull_weather
from mowalert.service.silence import assume_cuts
from mowalert.service.spread import judge_forecasts
from mowalert.service.tell import TellReport, tell_rounds

LAST_NIGHT = "last_night_at"
"""Name under which the store keeps the moment of the newest night."""


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


Progress = Callable[[str], None]


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
    progress: Progress = lambda step: None,
) -> NightReport:
    """Run one night; running it again at the same moment changes nothing.

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
    progress : Progress
        Told the name of each step as it begins.

    Returns
    -------
    NightReport
        What each step did.
    """

    def one(at: datetime) -> NightReport:
        return _run(store, sources, turf, words, policy, at, warning_sources, office, heat, progress)

    last = last_night(store)
    with store.begin() as work:
        restored = restored_at(work)
    if restored is not None and restored < now and (last is None or last < restored):
        one(restored)
    return one(now)


def _run(
    store: Store,
    sources: WeatherSources,
    turf: Turf,
    words: Words,
    policy: Policy,
    now: datetime,
    warning_sources: Sequence[WarningSource],
    office: Office | None,
    heat: HeatOffice | None,
    progress: Progress,
) -> NightReport:
    progress("pull")
    pulled = pull_weather(store, sources, now=now)
    pull_warnings(store, warning_sources, now=now)
    follow_guides(store, turf, today=now.date())
    follow_watering(store, turf, today=now.date())
    progress("grow")
    grown = grow_stands(store, turf, now=now)
    judge_forecasts(store)
    progress("silence")
    assumed = assume_cuts(store, turf, now=now)
    progress("tell")
    told = tell_rounds(store, turf, words, policy, now=now)
    progress("mornings")
    mornings = hand_out(store, turf, policy, office, now=now) if office else MorningsReport()
    hot = tell_crew_heat(store, heat.words, policy, heat.links, now=now) if heat else 0
    forget_unconfirmed(store, now=now)
    make_bulletins(store, turf, max_age=policy.max_age, now=now)
    with store.begin() as work:
        work.set_meta(LAST_NIGHT, now.isoformat())
        work.commit()
    return NightReport(now, pulled, grown, assumed, told, mornings, hot)


def last_night(store: Store) -> datetime | None:
    """Return the moment of the newest night; the clock of a replay."""
    with store.begin() as work:
        said = work.get_meta(LAST_NIGHT)
    return datetime.fromisoformat(said) if said else None


def is_overdue(last: datetime | None, *, now: datetime, every: timedelta) -> bool:
    """Whether nights have stopped: none in three of the usual spans."""
    return last is None or now - last > 3 * every
