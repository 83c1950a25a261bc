"""The crews' heat told ahead: once the evening before, and once more if it gets worse before work begins."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Protocol
from zoneinfo import ZoneInfo

from mowalert.domain.crew_heat import heat_band
from mowalert.domain.day_sheet import SheetReader
from mowalert.domain.notices import RenderedEmail
from mowalert.links import Links
from mowalert.service.crew_records import Role
from mowalert.service.crews.heat_days import HeatDay, heat_of_day
from mowalert.service.crews.heat_told import HEAT_ROLES
from mowalert.service.crews.people import Occasion, Post
from mowalert.service.park_records import HeatNotice, HeatStep
from mowalert.service.policy import Policy
from mowalert.service.ports import Store

EVENING = time(17)
"""From when the next day's heat is told. Working value."""
KIND, WORSE_KIND = "crew_heat", "crew_heat_worse"


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
        found = _found(post, on) if step else None
        if step is None or found is None or not _begins_later(found, local):
            continue
        before_f = notices[0].heat_index_f if notices else None
        if step is HeatStep.WORSE and not _is_worse(found, notices[0]):
            continue
        return _told(post, words, found, step, before_f)
    return False


def _found(post: Post, on: date) -> HeatDay | None:
    return heat_of_day(post.work, post.keeper, on, max_age=post.policy.max_age, now=post.now)


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
    for one in post.readers(HEAT_ROLES, instead=Role.DISPATCHER):
        to = post.reader(one)
        if post.reads_mail(one):
            post.mail(one, occasion, words.heat_mail(day, to))
        if post.reads_texts(one):
            post.text(one, occasion, words.heat_text(day, to))
    return True
