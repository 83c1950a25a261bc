"""What a message tells of one lawn, in words that ``digest_cut``, ``_hold`` and ``_row`` put together.

A word is empty where nothing is said of it.
"""

from datetime import date
from typing import NamedTuple

from mowalert.channels.wording import Wording
from mowalert.domain.notices import MowingPlan, Notice, PlannedCut
from mowalert.domain.words import Clippings, NoticeKind, Units

MOST_CUTS = 6
BAR_ENDS_AT = 1.6
"""The bar of a lawn's height ends at this many times the height it is kept at."""
SEEN_ABOVE = 1.01
"""Growth shows in the bar from this many times the kept height on."""


class CutWords(NamedTuple):
    """Of a lawn to be cut, or one that grows again after ``hold_over``; ``day`` to ``clippings`` of a cut."""

    place: str
    grass: str
    hold_over: str = ""
    first_cut: bool = False
    day: str = ""
    part: str = ""
    cut_height: str = ""
    height: str = ""
    kept: str = ""
    limit: str = ""
    kept_width: str = ""
    grown_width: str = ""
    share: str = ""
    why_this_day: str = ""
    most_share: str = ""
    plan: tuple[tuple[str, str, str], ...] = ()
    keepable: str = ""
    wait_until: str = ""
    share_waiting: str = ""
    could_be_from: str = ""
    clippings: str = ""
    learned: str = ""
    guide: tuple[str, ...] = ()
    assumed_cut: str = ""
    mowed_url: str = ""


class HoldWords(NamedTuple):
    """Of a lawn that is not to be mown."""

    place: str
    grass: str
    hold: str
    why: str = ""
    how_long: str = ""
    instead: str = ""
    guide: tuple[str, ...] = ()
    height_cap: str = ""


class RowWords(NamedTuple):
    """Of a lawn to be cut, in an organisation's list; ``address`` where it is not the place's name."""

    place: str
    address: str = ""
    cut_height: str = ""
    share: str = ""
    waiting_until: str = ""
    share_waiting: str = ""
    limit_on: str = ""
    in_steps: bool = False
    best: str = ""
    clippings: str = ""
    clippings_in_passing: str = ""


def cut_words(notice: Notice, say: Wording, units: Units, *, mowed_url: str) -> CutWords:
    """Say when and how to cut a lawn, and what else its keeper should know.

    Parameters
    ----------
    notice : Notice
        The facts.
    say : Wording
        The keeper's language.
    units : Units
        The keeper's.
    mowed_url : str
        Where one tap records the cut; empty for nowhere.

    Returns
    -------
    CutWords
        What is said.
    """
    over = notice.kind is NoticeKind.RELEASE and notice.reason
    assumed = notice.last_cut_on if notice.last_cut_assumed else None
    around = CutWords(
        place=say.place(notice),
        grass=say.grass(notice.grass_name),
        hold_over=say.hold_name(over) if over else "",
        learned=say.learned(notice.learned) if notice.learned else "",
        guide=tuple(say.guide(notice, units)) if notice.guide else (),
        assumed_cut=say.day(assumed, units) if assumed else "",
        mowed_url=mowed_url,
    )
    return around if notice.best_on is None else _with_cut(around, notice, notice.best_on, say, units)


def _with_cut(around: CutWords, notice: Notice, on: date, say: Wording, units: Units) -> CutWords:
    kept_width, grown_width = _bar(notice)
    removed = notice.removed_fraction or 0.0
    staged = notice.plan if notice.plan is not None and len(notice.plan.cuts) > 1 else None
    waiting = 0.0 if staged or notice.wait_until is None else notice.removed_if_waiting or 0.0
    costs = waiting > notice.third
    return around._replace(
        first_cut=notice.kind in (NoticeKind.OVERGROWN, NoticeKind.RELEASE),
        day=say.day(on, units),
        part=say.part(notice.best_part),
        cut_height=say.cut_height(notice.cut_to_mm or 0.0, removed, units),
        height=say.height(notice.height_mm, units),
        kept=say.height(notice.chosen_height_mm, units),
        limit=say.limit(notice, units),
        kept_width=kept_width,
        grown_width=grown_width,
        share=say.percent(removed),
        why_this_day=say.why_this_day(notice),
        most_share=say.share(notice) if staged else "",
        plan=tuple(_planned(cut, say, units) for cut in staged.cuts[:MOST_CUTS]) if staged else (),
        keepable=_keepable(staged, say, units) if staged else "",
        wait_until=say.day(notice.wait_until, units) if costs and notice.wait_until else "",
        share_waiting=say.percent(waiting) if costs else "",
        could_be_from=say.weekday(notice.could_be_from) if notice.could_be_from else "",
        clippings=say.clippings(notice),
    )


def _keepable(plan: MowingPlan, say: Wording, units: Units) -> str:
    """The lowest height that can be kept, where growth outruns the plan."""
    if plan.reaches_chosen or plan.keepable_mm is None:
        return ""
    return say.height(plan.keepable_mm, units, up=True)


def _planned(cut: PlannedCut, say: Wording, units: Units) -> tuple[str, str, str]:
    return (
        say.day(cut.on, units),
        say.height(cut.height_before_mm, units),
        say.cut_height(cut.height_after_mm, cut.removed_fraction, units),
    )


def _bar(notice: Notice) -> tuple[str, str]:
    """How much of the bar is the height it is kept at, and how much has grown since. [%]"""
    kept_mm, height_mm = notice.chosen_height_mm, notice.height_mm
    full_mm = max(height_mm, kept_mm * BAR_ENDS_AT)
    grown = f"{(height_mm - kept_mm) / full_mm * 100:.0f}" if height_mm > kept_mm * SEEN_ABOVE else ""
    return f"{kept_mm / full_mm * 100:.0f}", grown


def row_words(notice: Notice, say: Wording, units: Units, *, best: bool) -> RowWords:
    """Say in one line how to cut a lawn and what it costs to wait.

    Parameters
    ----------
    notice : Notice
        The facts, with a height to cut to.
    say : Wording
        The reader's language.
    units : Units
        The reader's.
    best : bool
        Whether the best day is said.

    Returns
    -------
    RowWords
        What is said; of clippings only where they are not left.
    """
    removed, waiting = notice.removed_fraction or 0.0, notice.removed_if_waiting
    clippings = "" if notice.clippings is Clippings.LEAVE else say.clippings(notice)
    return RowWords(
        place=say.place(notice),
        address="" if notice.address == notice.site_name else notice.address,
        cut_height=say.cut_height(notice.cut_to_mm or 0.0, removed, units),
        share=say.percent(removed),
        waiting_until=say.weekday(notice.wait_until) if waiting and notice.wait_until else "",
        share_waiting=say.percent(waiting) if waiting and notice.wait_until else "",
        limit_on=say.day(notice.limit_on, units) if notice.limit_on else "",
        in_steps=notice.kind is NoticeKind.OVERGROWN,
        best=say.day(notice.best_on, units) if best and notice.best_on else "",
        clippings=clippings,
        clippings_in_passing=clippings.lower().strip("."),
    )


def hold_words(notice: Notice, say: Wording, units: Units) -> HoldWords:
    """Say why a lawn is not to be mown, for how long, and what to do instead.

    Parameters
    ----------
    notice : Notice
        The facts, with the reason.
    say : Wording
        The keeper's language.
    units : Units
        The keeper's.

    Returns
    -------
    HoldWords
        What is said; of several holds the most serious.
    """
    hold = notice.holds[0] if notice.holds else None
    return HoldWords(
        place=say.place(notice),
        grass=say.grass(notice.grass_name),
        hold=say.hold_name(notice.reason) if notice.reason else "",
        why=say.hold_reason(hold, units) if hold else "",
        how_long=say.how_long(hold, units) if hold else "",
        instead=say.instead(hold.reason) if hold else "",
        guide=tuple(say.guide_sentences(notice)),
        height_cap=say.height(notice.height_cap_mm, units) if notice.height_cap_mm else "",
    )
