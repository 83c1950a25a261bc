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
from mowalert.service.crews.heat_told import note_told
from mowalert.service.crews.morning import MORNING, Dispatch, plan_morning, replan_day, replan_if_rain
from mowalert.service.crews.people import Occasion, Post
from mowalert.service.crews.week import week_summary
from mowalert.service.crews.work_hours import has_crews
from mowalert.service.failures import note_failure
from mowalert.service.policy import Policy
from mowalert.service.ports import Store
from mowalert.service.ports_crews import CrewWords
from mowalert.service.records import KeeperRecord

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
    """How mornings went: plans made, plans changed by rain, messages written, lists that failed."""

    planned: int = 0
    changed: int = 0
    messages: int = 0
    failed: int = 0

    def __add__(self, other: "MorningsReport") -> "MorningsReport":
        """Return both together."""
        return MorningsReport(
            self.planned + other.planned,
            self.changed + other.changed,
            self.messages + other.messages,
            self.failed + other.failed,
        )


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
        What was done. Running it again hands out nothing twice; one list that fails stops no other.
    """
    report = MorningsReport()
    for keeper in organisations(store):
        try:
            report += _hand_out_to(store, turf, policy, office, keeper, now)
        # Whatever it is, it is this organisation's: the others have their mornings.
        except Exception as error:
            _failed(store, keeper, error, now)
            report += MorningsReport(failed=1)
    return report


def _failed(
    store: Store, keeper: KeeperRecord, error: Exception, now: datetime, *, contact_id: int | None = None
) -> None:
    """Log what failed and keep it for the status; a list that has failed is tried again by the next night."""
    reason = str(error) if isinstance(error, MowalertError) else f"{type(error).__name__}: {error}"
    LOG.error("mornings.failed", keeper_id=keeper.keeper_id, contact_id=contact_id, reason=reason)
    note_failure(store, now, f"lists of keeper {keeper.keeper_id}: {reason}")


def organisations(store: Store) -> list[KeeperRecord]:
    """Return the organisations that have crews."""
    with store.begin() as work:
        return [one for one in work.keepers.organisations() if has_crews(work, one.keeper_id)]


def _hand_out_to(
    store: Store, turf: Turf, policy: Policy, office: Office, keeper: KeeperRecord, now: datetime
) -> MorningsReport:
    report = MorningsReport(messages=_week_to(store, turf, policy, office, keeper, now))
    if not _handed_out_at(keeper, now):
        return report
    sheet = plan_morning(store, turf, policy, office.dispatch, keeper.keeper_id, now=now)
    if sheet is None:
        return report
    if sheet.why == MORNING and sheet.made_at == now:
        return report + MorningsReport(planned=1) + send_lists(store, policy, office, sheet, now=now)
    again = replan_if_rain(store, turf, policy, office.dispatch, keeper.keeper_id, now=now)
    # A plan made by command was not handed out; whoever has the newest already is not written to again.
    newest = next((one for one in again if one.on == sheet.on), sheet)
    return report + MorningsReport(changed=len(again)) + send_lists(store, policy, office, newest, now=now)


def _handed_out_at(keeper: KeeperRecord, now: datetime) -> bool:
    """Whether lists go out at a moment: not before the morning's hour, and not when the day is over."""
    local = now.astimezone(ZoneInfo(keeper.time_zone))
    return minute_of_day(now, keeper.time_zone) >= MORNING_MIN and local.time() < LIST_USEFUL_UNTIL


def change_day(
    store: Store, turf: Turf, policy: Policy, office: Office, keeper_id: int, *, now: datetime, why: str
) -> list[DaySheet]:
    """Plan the rest of a day again by command, and hand out what changed, from the morning's hour on."""
    made = replan_day(store, turf, policy, office.dispatch, keeper_id, now=now, why=why)
    for sheet in made:
        send_lists(store, policy, office, sheet, now=now)
    return made


def send_lists(
    store: Store, policy: Policy, office: Office, sheet: DaySheet, *, now: datetime
) -> MorningsReport:
    """Write a day's lists: to each reader their whole part once, later only what changed of it.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    policy : Policy
        Channels in use.
    office : Office
        Wording and links.
    sheet : DaySheet
        The day's newest version.
    now : datetime
        The moment, aware.

    Returns
    -------
    MorningsReport
        How many messages were queued, and for how many readers that failed. Plans of days to come are
        not sent, nor today's before its hour: their own morning does that.
    """
    with store.begin() as work:
        keeper = work.keepers.get([sheet.keeper_id])[sheet.keeper_id]
        if sheet.on != keeper.today(now) or not _handed_out_at(keeper, now):
            return MorningsReport()
        readers = Post(work, policy, office.links, keeper, now).readers(
            (Role.DISPATCHER, Role.CREW_LEAD), instead=Role.DISPATCHER
        )
        told = work.outbox.written_for(keeper.keeper_id, sheet.on, LIST)
    report, heard = MorningsReport(), list[int]()
    for reader in readers:
        kind = _kind(reader, sheet, told.get(reader.contact_id))
        if kind is None:
            continue
        try:
            written = _list_to(store, policy, office, keeper, reader, sheet, kind, now)
        # One list that cannot be worded keeps nobody else from theirs.
        except Exception as error:
            _failed(store, keeper, error, now, contact_id=reader.contact_id)
            report += MorningsReport(failed=1)
        else:
            report += MorningsReport(messages=int(written))
            heard += [reader.contact_id] if written else []
    if heard:
        with store.begin() as work:
            note_told(work, keeper.keeper_id, sheet.crew_heat, heard=heard, now=now)
            work.commit()
    return report


def _kind(reader: ContactRecord, sheet: DaySheet, told_at: datetime | None) -> str | None:
    """Which message a reader is due: their first list, a changed one, or none."""
    if told_at is not None and (told_at >= sheet.made_at or not sheet.changes):
        return None
    crews = _working_crews(sheet) if told_at is None else _touched_crews(sheet)
    if not _concerns(reader, sheet, crews):
        return None
    return LIST if told_at is None else f"{LIST}_{sheet.version}"


def _list_to(
    store: Store,
    policy: Policy,
    office: Office,
    keeper: KeeperRecord,
    reader: ContactRecord,
    sheet: DaySheet,
    kind: str,
    now: datetime,
) -> bool:
    useful_until = datetime.combine(sheet.on, LIST_USEFUL_UNTIL, ZoneInfo(keeper.time_zone))
    with store.begin() as work:
        post = Post(work, policy, office.links, keeper, now)
        written = _send(post, office.words, reader, sheet, Occasion(kind, sheet.on, useful_until))
        work.commit()
    return written


def _working_crews(sheet: DaySheet) -> set[int]:
    return {crew.crew_id for crew in sheet.crews if crew.stops}


def _touched_crews(sheet: DaySheet) -> set[int]:
    moved = {crew for one in sheet.changes for crew in (one.crew_before, one.crew_after)}
    return {crew for crew in moved if crew is not None}


def _concerns(reader: ContactRecord, sheet: DaySheet, crews: set[int]) -> bool:
    """Whether a day has anything to do or to know for a reader; in winter most have not."""
    if reader.role is Role.CREW_LEAD:
        return reader.crew_id in crews
    return bool(crews or sheet.left_out or sheet.faults)


def _send(post: Post, words: CrewWords, reader: ContactRecord, sheet: DaySheet, occasion: Occasion) -> bool:
    to = post.reader(reader)
    if reader.role is Role.DISPATCHER or reader.crew_id is None:
        return post.reads_mail(reader) and post.mail(reader, occasion, words.whole_list(sheet, to))
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
