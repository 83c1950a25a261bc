"""A keeper's calendar in words: the mowing windows and holds of their lawns."""

from collections.abc import Iterator

from mowalert.channels.calendar import CalendarEntry, EntryKind
from mowalert.channels.wording import Wording, wording_in
from mowalert.domain.lawn import place_name
from mowalert.domain.notices import HoldFacts, Notice
from mowalert.domain.words import NoticeKind, Units
from mowalert.service.keepers.calendar import CalendarDays
from mowalert.service.records import KeeperRecord


def calendar_entry(days: CalendarDays, keeper: KeeperRecord) -> CalendarEntry:
    """Put days of a lawn into words.

    Parameters
    ----------
    days : CalendarDays
        The days.
    keeper : KeeperRecord
        Whose units and language count.

    Returns
    -------
    CalendarEntry
        The same for the same days: the clock is not read.
    """
    say, seen = wording_in(keeper.language), days.seen
    place = place_name(seen.site.name, seen.lawn.name)
    summary = _window(days, say, keeper.units) if days.hold is None else say.hold_name(days.hold.reason)
    return CalendarEntry(
        lawn_id=seen.lawn.lawn_id,
        place=place,
        kind=EntryKind.WINDOW if days.hold is None else EntryKind.HOLD,
        started_on=days.started_on,
        first_on=days.first_on,
        last_on=days.last_on,
        summary=f"{place}: {summary}",
        description="\n".join(line for line in _lines(days, say, keeper.units) if line),
        sequence=days.sequence,
        changed_at=days.changed_at,
        cancelled=days.cancelled,
    )


def _window(days: CalendarDays, say: Wording, units: Units) -> str:
    return say.gettext("mow at {height}").format(height=_cut_height(days, say, units))


def _cut_height(days: CalendarDays, say: Wording, units: Units) -> str:
    answer = days.answer
    if answer is None or answer.cut_to_mm is None:
        return say.height(days.seen.lawn.chosen_mm, units)
    return say.cut_height(answer.cut_to_mm, answer.removed_fraction or 0.0, units)


def _lines(days: CalendarDays, say: Wording, units: Units) -> Iterator[str]:
    if days.hold is not None:
        yield from _hold_lines(days.hold, say, units)
    elif days.answer is not None and days.answer.best_on is not None:
        yield from _cut_lines(days.answer, _cut_height(days, say, units), say, units)
    for source in days.seen.stand.sources:
        yield f"{say.attribution(source)}."
    fetched_at = days.seen.stand.growth.fetched_at
    yield say.gettext("Weather of {moment} UTC.").format(moment=fetched_at.strftime("%Y-%m-%d %H:%M"))


def _hold_lines(hold: HoldFacts, say: Wording, units: Units) -> Iterator[str]:
    yield say.hold_reason(hold, units)
    yield say.how_long(hold, units)
    yield say.instead(hold.reason)


def _cut_lines(answer: Notice, height: str, say: Wording, units: Units) -> Iterator[str]:
    best = "" if answer.best_on is None else say.day(answer.best_on, units)
    if answer.kind is NoticeKind.OVERGROWN:
        said = say.gettext("Bring it down in steps: first cut {day} at {height}.")
        yield said.format(day=best, height=height)
    else:
        yield say.gettext("Mow {day} at {height}.").format(day=best, height=height)
    yield say.why_this_day(answer)
    if answer.limit_on is not None:
        said = say.gettext("From {day} a cut would take more than {share}.")
        yield said.format(day=say.day(answer.limit_on, units), share=say.share(answer))
    yield say.clippings(answer)
