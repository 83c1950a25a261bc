"""A lawn as its page shows it: today's answer in one sentence, and the drawing of the days around it."""

from dataclasses import dataclass, replace
from datetime import date

from mowalert.channels.wording import wording_in
from mowalert.domain.lawn import place_name
from mowalert.domain.notices import Notice
from mowalert.domain.words import NoticeKind, Units
from mowalert.languages import translations
from mowalert.service.keepers.page import LawnPage
from mowalert.service.records import EventRecord, KeeperRecord, ToldRecord
from mowalert.web.drawing import (
    ENGLISH,
    SPANISH,
    DrawingWords,
    DrawnCut,
    DrawnDay,
    LawnView,
    draw_lawn,
)


@dataclass(frozen=True, slots=True)
class ShownLawn:
    """What a template needs of a lawn."""

    lawn_id: int
    place: str
    sentence: str
    drawing: str
    answer: Notice | None
    history: tuple[EventRecord | ToldRecord, ...]


def shown_lawn(page: LawnPage, keeper: KeeperRecord, today: date) -> ShownLawn:
    """Put a lawn into words and lines.

    Parameters
    ----------
    page : LawnPage
        What is known of it.
    keeper : KeeperRecord
        Whose units and language count.
    today : date
        The keeper's local day.

    Returns
    -------
    ShownLawn
        Ready for a template; the drawing is an ``svg`` element, or nothing without weather.
    """
    return ShownLawn(
        lawn_id=page.lawn.lawn_id,
        place=place_name(page.site.name, page.lawn.name),
        sentence=_sentence(page, keeper),
        drawing=_drawing(page, keeper, today),
        answer=page.answer,
        history=_history(page),
    )


def _history(page: LawnPage) -> tuple[EventRecord | ToldRecord, ...]:
    """Reports and notices in one line, the newest first."""
    reports = [event for event in page.events if event.kind in ("mowing", "height")]
    both: list[EventRecord | ToldRecord] = [*reports, *page.told]
    return tuple(sorted(both, key=lambda one: one.on, reverse=True))


def _sentence(page: LawnPage, keeper: KeeperRecord) -> str:
    gettext, say = translations(keeper.language).gettext, wording_in(keeper.language)
    outlook, answer = page.outlook, page.answer
    if outlook is None:
        return gettext("The weather for this lawn is being fetched. Look again in a while.")
    if not outlook.fresh:
        return gettext("There is no fresh weather: look at the grass before you decide.")
    if answer is not None and answer.kind is NoticeKind.HOLD and answer.reason is not None:
        return gettext("Do not mow: {hold}.").format(hold=say.hold_name(answer.reason))
    if answer is not None and answer.best_on is not None and answer.cut_to_mm is not None:
        height = say.cut_height(answer.cut_to_mm, answer.removed_fraction or 0.0, keeper.units)
        when = say.day(answer.best_on, keeper.units)
        if answer.kind is NoticeKind.OVERGROWN:
            return gettext("Bring it down in steps: first cut {day} at {height}.").format(
                day=when, height=height
            )
        return gettext("Mow {day} at {height}.").format(day=when, height=height)
    if outlook.limit_on is not None:
        when = say.day(outlook.limit_on, keeper.units)
        return gettext("Nothing to do until about {day}.").format(day=when)
    return gettext("Nothing to do in the next ten days.")


def _drawing(page: LawnPage, keeper: KeeperRecord, today: date) -> str:
    outlook = page.outlook
    if outlook is None:
        return ""
    say, units = wording_in(keeper.language), keeper.units
    now = outlook.days[0].height_mm if outlook.days else page.lawn.chosen_mm
    past = [
        DrawnDay(day.on, day.height_mm, hold=say.hold_name(day.hold) if day.hold else None)
        for day in page.past
        if day.on < today
    ]
    ahead = [
        DrawnDay(
            day.on, day.height_mm, day.low_mm, day.high_mm, say.hold_name(day.hold) if day.hold else None
        )
        for day in outlook.days
    ]
    view = LawnView(
        today=today,
        chosen_mm=page.lawn.chosen_mm,
        limit_mm=outlook.limit_mm,
        now_text=say.height(now, units),
        chosen_text=say.height(page.lawn.chosen_mm, units),
        limit_text=say.height(outlook.limit_mm, units),
        limit_on=outlook.limit_on,
        days=(*past, *ahead),
        mowings=_cuts(page, keeper),
    )
    return draw_lawn(view, words=_words(keeper))


def _cuts(page: LawnPage, keeper: KeeperRecord) -> tuple[DrawnCut, ...]:
    say = wording_in(keeper.language)
    return tuple(
        DrawnCut(
            event.on,
            event.before_mm or event.height_mm,
            event.height_mm,
            say.height(event.height_mm, keeper.units),
            event.assumed,
        )
        for event in reversed(page.events)
        if event.kind == "mowing" and event.height_mm is not None
    )


def _words(keeper: KeeperRecord) -> DrawingWords:
    words = SPANISH if keeper.language == "es" else ENGLISH
    if keeper.units is Units.US and keeper.language == "en":
        return replace(words, day="{weekday}, {month} {day}", day_short="{month} {day}")
    return words
