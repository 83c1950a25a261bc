"""The crews' heat told ahead: once the evening before, and once more if it gets worse before work begins."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from mowalert.domain.crew_heat import crew_heat, heat_band
from mowalert.domain.day_sheet import SheetReader
from mowalert.domain.notices import CrewHeat, RenderedEmail
from mowalert.domain.weather import DayHours
from mowalert.links import Links
from mowalert.service.crew_records import Role
from mowalert.service.day_lawns import day_crews, hours_in_cells, whole_hours, working_crews
from mowalert.service.park_records import HeatNotice, HeatPlan, HeatStep
from mowalert.service.people import Occasion, Post
from mowalert.service.ports import Store, Work
from mowalert.service.records import KeeperRecord
from mowalert.service.tell import Policy, has_crews

EVENING = time(17)
"""From when the next day's heat is told. Working value."""
KIND, WORSE_KIND = "crew_heat", "crew_heat_worse"
USUAL_FROM_H, USUAL_TO_H = 7, 16
"""Working hours of an organisation that names no crews. Working values."""


@dataclass(frozen=True, slots=True)
class HeatDay:
    """A working day's heat where it is worst, and what the employer's plan says.

    ``before_f`` is the index told the evening before, where this notice says that it got worse.
    """

    keeper_name: str
    heat: CrewHeat
    where: str
    first_f: float
    strong_f: float
    plan: str = ""
    call: str = ""
    before_f: float | None = None


class HeatWords(Protocol):
    """Turns a day's heat into messages."""

    def heat_mail(self, day: HeatDay, to: SheetReader) -> RenderedEmail:
        """Word an e-mail."""

    def heat_text(self, day: HeatDay, to: SheetReader) -> str:
        """Word a short message."""


@dataclass(frozen=True, slots=True)
class HeatOffice:
    """What telling of heat needs: wording and links."""

    words: HeatWords
    links: Links


def tell_crew_heat(store: Store, words: HeatWords, policy: Policy, links: Links, *, now: datetime) -> int:
    """Tell organisations of the heat of their next working day.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    words : HeatWords
        Wording.
    policy : Policy
        Channels in use, and the age at which weather is too old.
    links : Links
        Links in messages.
    now : datetime
        The moment, aware.

    Returns
    -------
    int
        How many notices there were. A day is told at most twice; old weather tells nothing.
    """
    with store.begin() as work:
        keepers = work.keepers.organisations()
    told = 0
    for keeper in keepers:
        with store.begin() as work:
            told += _tell(Post(work, policy, links, keeper, now), words)
            work.commit()
    return told


def _tell(post: Post, words: HeatWords) -> bool:
    local = post.now.astimezone(ZoneInfo(post.keeper.time_zone))
    for on in (local.date(), local.date() + timedelta(days=1)):
        notices = post.work.parks.heat_notices(post.keeper.keeper_id, first=on, last=on)
        step = _step(notices, on, local)
        found = heat_of_day(post.work, post.policy, post.keeper, on, now=post.now) if step else None
        if step is None or found is None or not _begins_later(found, local):
            continue
        before_f = notices[0].heat_index_f if notices else None
        if step is HeatStep.WORSE and not _is_worse(found, notices[0]):
            continue
        return _told(post, words, found, step, before_f)
    return False


def _step(notices: Sequence[HeatNotice], on: date, local: datetime) -> HeatStep | None:
    if not notices:
        # Of a day that began untold the first caution is still worth hearing.
        return HeatStep.EVENING if on == local.date() or local.time() >= EVENING else None
    return HeatStep.WORSE if len(notices) == 1 else None


def _begins_later(found: HeatDay, local: datetime) -> bool:
    """Whether the day's heat is still ahead."""
    return found.heat.on > local.date() or local.hour < found.heat.at_hour


def _is_worse(found: HeatDay, told: HeatNotice) -> bool:
    """Whether it is of a higher class than was told, or strong now."""
    higher = heat_band(found.heat.heat_index_f) != heat_band(told.heat_index_f)
    return found.heat.heat_index_f > told.heat_index_f and (higher or (found.heat.strong and not told.strong))


def _told(post: Post, words: HeatWords, found: HeatDay, step: HeatStep, before_f: float | None) -> bool:
    on = found.heat.on
    notice = HeatNotice(post.keeper.keeper_id, on, step, found.heat.heat_index_f, found.heat.strong, post.now)
    if not post.work.parks.note_heat(notice):
        return False
    day = replace(found, before_f=before_f if step is HeatStep.WORSE else None)
    until = datetime.combine(on, time(min(23, found.heat.at_hour + 1)), ZoneInfo(post.keeper.time_zone))
    occasion = Occasion(KIND if step is HeatStep.EVENING else WORSE_KIND, on, until)
    for one in post.readers((Role.DISPATCHER, Role.CREW_LEAD, Role.SUPERVISOR), instead=Role.DISPATCHER):
        to = post.reader(one)
        if post.reads_mail(one):
            post.mail(one, occasion, words.heat_mail(day, to))
        if post.reads_texts(one):
            post.text(one, occasion, words.heat_text(day, to))
    return True


def heat_of_day(
    work: Work, policy: Policy, keeper: KeeperRecord, on: date, *, now: datetime
) -> HeatDay | None:
    """Return a day's heat where an organisation's places are hottest, within its working hours by the clock.

    Parameters
    ----------
    work : Work
        An open transaction.
    policy : Policy
        The age at which weather is too old.
    keeper : KeeperRecord
        The organisation.
    on : date
        The day.
    now : datetime
        The moment, aware.

    Returns
    -------
    HeatDay | None
        None below the employer's first caution, on a day off, and where the weather is old or unknown.
    """
    hours = _working_hours(work, keeper, on)
    if hours is None:
        return None
    plan = work.parks.heat_plan(keeper.keeper_id) or HeatPlan(keeper.keeper_id)
    places = _places(work, keeper.keeper_id, policy, now)
    worst: tuple[CrewHeat, str] | None = None
    for cell_id, told in hours_in_cells(work, places, keeper.time_zone, on).items():
        heat = _heat_in(told, on, hours, plan)
        if heat is not None and (worst is None or heat.heat_index_f > worst[0].heat_index_f):
            worst = heat, places[cell_id]
    if worst is None:
        return None
    return HeatDay(keeper.name, *worst, plan.first_caution_f, plan.strong_caution_f, plan.plan, plan.call)


def _working_hours(work: Work, keeper: KeeperRecord, on: date) -> tuple[int, int] | None:
    """First and last hour of work by the clock; none on a day off."""
    crews = working_crews(day_crews(work, keeper.keeper_id, on))
    if crews:
        return whole_hours(crews)
    if has_crews(work, keeper.keeper_id):
        return None
    record = next(one for one in work.rounds.all() if one.round_id == keeper.round_id)
    return (USUAL_FROM_H, USUAL_TO_H) if record.weekdays >> on.weekday() & 1 else None


def _places(work: Work, keeper_id: int, policy: Policy, now: datetime) -> dict[int, str]:
    """Weather cells with fresh weather in which an organisation has sites, and the district they lie in."""
    districts = {one.site_id: one.district for one in work.crews.sites(keeper_id).values()}
    names = {site.cell_id: districts.get(site.site_id, "") for site in work.crews.sites_of(keeper_id)[::-1]}
    cells = work.weather.cells(sorted(names)) if names else []
    fresh = [cell for cell in cells if cell.fetched_at and now - cell.fetched_at <= policy.max_age]
    return {cell.cell_id: names[cell.cell_id] for cell in fresh}


def _heat_in(told: DayHours, on: date, hours: tuple[int, int], plan: HeatPlan) -> CrewHeat | None:
    return crew_heat(
        on,
        told.t_c,
        told.rel_humidity_pct,
        from_hour=hours[0],
        to_hour=max(hours[0] + 1, hours[1]),
        first_f=plan.first_caution_f,
        strong_f=plan.strong_caution_f,
    )
