"""Who is handed what of a company's day and week, and when."""

from dataclasses import dataclass
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import structlog

from mowalert.domain.clock import minute_of_day
from mowalert.domain.day_sheet import DaySheet
from mowalert.domain.grasses import Turf
from mowalert.domain.rounds import LIST_USEFUL_UNTIL, MORNING_MIN
from mowalert.errors import MowalertError
from mowalert.links import Links
from mowalert.service.crew_records import ContactRecord, Role
from mowalert.service.heat_told import note_told
from mowalert.service.morning import MORNING, Dispatch, plan_morning, replan_day, replan_if_rain
from mowalert.service.people import Occasion, Post
from mowalert.service.ports import Store
from mowalert.service.ports_crews import CrewWords
from mowalert.service.records import KeeperRecord
from mowalert.service.tell import Policy
from mowalert.service.week import week_summary
from mowalert.service.work_hours import has_crews

WEEK_DAY, WEEK_AT = 0, time(5, 30)
"""Monday at six the owner hears of the week, or on the first night after, to Wednesday noon."""
LIST = "crew_day"
WEEK = "week"
LOG = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class Office:
    """What handing out needs: routes, wording and links."""

    dispatch: Dispatch
    words: CrewWords
    links: Links


@dataclass(frozen=True, slots=True)
class MorningsReport:
    """How mornings went: plans made, plans changed by rain, messages written, organisations that failed."""

    planned: int = 0
    changed: int = 0
    messages: int = 0
    failed: int = 0


def hand_out(store: Store, turf: Turf, policy: Policy, office: Office, *, now: datetime) -> MorningsReport:
    """Plan and hand out every organisation's day that has begun; plan again where rain asks for it.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    turf : Turf
        Grasses and soils.
    policy : Policy
        As for the night.
    office : Office
        Routes, wording and links.
    now : datetime
        The moment, aware.

    Returns
    -------
    MorningsReport
        What was done. Running it again hands out nothing twice; one organisation that fails stops no other.
    """
    planned = changed = messages = failed = 0
    for keeper in organisations(store):
        try:
            fresh, again, written = _hand_out_to(store, turf, policy, office, keeper, now)
        except MowalertError as error:
            LOG.error("mornings.failed", keeper_id=keeper.keeper_id, reason=str(error))
            failed += 1
            continue
        planned, changed, messages = planned + fresh, changed + again, messages + written
    return MorningsReport(planned, changed, messages, failed)


def organisations(store: Store) -> list[KeeperRecord]:
    """Return the organisations that have crews."""
    with store.begin() as work:
        return [one for one in work.keepers.organisations() if has_crews(work, one.keeper_id)]


def _hand_out_to(
    store: Store, turf: Turf, policy: Policy, office: Office, keeper: KeeperRecord, now: datetime
) -> tuple[int, int, int]:
    local = now.astimezone(ZoneInfo(keeper.time_zone))
    written = _week_to(store, turf, policy, office, keeper, now)
    if minute_of_day(now, keeper.time_zone) < MORNING_MIN or local.time() >= LIST_USEFUL_UNTIL:
        return 0, 0, written
    sheet = plan_morning(store, turf, policy, office.dispatch, keeper.keeper_id, now=now)
    if sheet is None:
        return 0, 0, written
    # A plan made by command was not handed out; whoever has it already is not written to again.
    written += send_lists(store, policy, office, sheet, now=now)
    if sheet.why == MORNING and sheet.made_at == now:
        return 1, 0, written
    again = replan_if_rain(store, turf, policy, office.dispatch, keeper.keeper_id, now=now)
    return 0, len(again), written + sum(send_lists(store, policy, office, one, now=now) for one in again)


def change_day(
    store: Store, turf: Turf, policy: Policy, office: Office, keeper_id: int, *, now: datetime, why: str
) -> list[DaySheet]:
    """Plan the rest of a day again by command, and hand out what changed."""
    made = replan_day(store, turf, policy, office.dispatch, keeper_id, now=now, why=why)
    for sheet in made:
        send_lists(store, policy, office, sheet, now=now)
    return made


def send_lists(store: Store, policy: Policy, office: Office, sheet: DaySheet, *, now: datetime) -> int:
    """Write a day's lists to whoever needs them; of a later version only to those whose part changed.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    policy : Policy
        Channels in use.
    office : Office
        Wording and links.
    sheet : DaySheet
        The day.
    now : datetime
        The moment, aware.

    Returns
    -------
    int
        How many messages were queued. Plans of days to come are not sent: their own morning does that.
    """
    with store.begin() as work:
        keeper = work.keepers.get([sheet.keeper_id])[sheet.keeper_id]
        if sheet.on != keeper.today(now) or (sheet.why != MORNING and not sheet.changes):
            return 0
        post = Post(work, policy, office.links, keeper, now)
        useful_until = datetime.combine(sheet.on, LIST_USEFUL_UNTIL, ZoneInfo(keeper.time_zone))
        kind = LIST if sheet.why == MORNING else f"{LIST}_{sheet.version}"
        occasion = Occasion(kind, sheet.on, useful_until)
        roles = (Role.DISPATCHER, Role.CREW_LEAD)
        readers = post.readers(roles, instead=Role.DISPATCHER)
        written = sum(_send(post, office.words, one, sheet, occasion) for one in readers)
        if written:
            note_told(work, keeper.keeper_id, sheet.crew_heat, now=now)
        work.commit()
    return written


def _touched_crews(sheet: DaySheet) -> set[int]:
    if sheet.why == MORNING:
        return {crew.crew_id for crew in sheet.crews if crew.stops}
    moved = {crew for one in sheet.changes for crew in (one.crew_before, one.crew_after)}
    return {crew for crew in moved if crew is not None}


def _says_anything(sheet: DaySheet) -> bool:
    """Whether a day has anything to do or to know; in winter most have not."""
    return bool(_touched_crews(sheet) or sheet.left_out or sheet.faults or sheet.changes)


def _send(post: Post, words: CrewWords, reader: ContactRecord, sheet: DaySheet, occasion: Occasion) -> bool:
    to = post.reader(reader)
    if reader.role is Role.DISPATCHER and not _says_anything(sheet):
        return False
    if reader.role is Role.DISPATCHER:
        return post.reads_mail(reader) and post.mail(reader, occasion, words.whole_list(sheet, to))
    if reader.crew_id is None or reader.crew_id not in _touched_crews(sheet):
        return False
    if post.reads_mail(reader):
        return post.mail(reader, occasion, words.crew_list(sheet, reader.crew_id, to))
    return post.reads_texts(reader) and post.text(
        reader, occasion, words.crew_text(sheet, reader.crew_id, to)
    )


def _week_to(
    store: Store, turf: Turf, policy: Policy, office: Office, keeper: KeeperRecord, now: datetime
) -> int:
    """Write the weekly summary to the owners, once a week."""
    zone = ZoneInfo(keeper.time_zone)
    local = now.astimezone(zone)
    begins = local.date() - timedelta(days=(local.weekday() - WEEK_DAY) % 7)
    useful_until = datetime.combine(begins + timedelta(days=2), time(12), zone)
    if not datetime.combine(begins, WEEK_AT, zone) <= local < useful_until:
        return 0
    with store.begin() as work:
        if work.get_meta(f"week|{keeper.keeper_id}") == begins.isoformat():
            return 0
        post = Post(work, policy, office.links, keeper, now)
        owners = [one for one in work.crews.contacts(keeper.keeper_id) if one.role is Role.OWNER]
        owners = [one for one in owners if post.reads_mail(one)]
    if not owners:
        return 0
    summary = week_summary(store, turf, policy, keeper.keeper_id, now=now)
    occasion = Occasion(WEEK, begins, useful_until)
    with store.begin() as work:
        post = Post(work, policy, office.links, keeper, now)
        written = sum(
            post.mail(owner, occasion, office.words.week(summary, post.reader(owner))) for owner in owners
        )
        work.set_meta(f"week|{keeper.keeper_id}", begins.isoformat())
        work.commit()
    return written
