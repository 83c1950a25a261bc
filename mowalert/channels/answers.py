"""Answers to texts that came in, in the keeper's language and one part of the basic alphabet."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from mowalert.channels.gsm import ONE_PART_7BIT, plain, sms_size
from mowalert.channels.wording import Wording, wording_in
from mowalert.domain.notices import Notice
from mowalert.domain.replies import Problem
from mowalert.domain.words import NoticeKind, Units
from mowalert.languages import N_
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.answers import Answer, AnswerKind

LONGEST_NAME, LONGEST_PLACE = 20, 40
EXAMPLES = {Units.US: "3 in", Units.METRIC: "75 mm"}
PROBLEMS = {
    Problem.MISSING_HEIGHT: N_("Which height? Reply for example MOWED {example} or MEASURED {example}."),
    Problem.SAY_UNIT: N_("Inches or millimetres? Reply for example MOWED 3 in, or MOWED 75 mm."),
    Problem.HEIGHT_OUT_OF_RANGE: N_("That height cannot be. Reply for example MOWED {example}."),
    Problem.MISSING_DATE: N_("Until when? Reply for example PAUSE 20 JUN, or PAUSE 2 WEEKS."),
    Problem.UNREADABLE_DATE: N_("Which day? Write it like 20 JUN, MONDAY or YESTERDAY."),
    Problem.DATE_PAST: N_("That day is past. Reply PAUSE and a day to come."),
    Problem.DATE_TO_COME: N_("That day is still to come. Tell us once it is mowed."),
}
PLAIN_ANSWERS = {
    AnswerKind.ALREADY: (N_("You get our notices already."), N_("Reply HELP for what we understand.")),
    AnswerKind.NOTHING_TOLD: (N_("We have not told you anything lately."),),
    AnswerKind.WHICH_LAWN: (N_("It is not clear which lawn is meant: please use your page."),),
    AnswerKind.NO_LAWN: (N_("No lawn of yours is enrolled."),),
    AnswerKind.TOO_OLD: (N_("That day is too long ago to count."),),
    AnswerKind.CANNOT: (N_("Sorry, that did not work: please use your page."),),
}
"""Sentences with nothing to fill in."""
Sentences = Iterator[str]


@dataclass(frozen=True, slots=True)
class _To:
    """How things are said to one keeper, and in whose name."""

    say: Wording
    units: Units
    name: str

    def named(self, said: str) -> str:
        return said.format(name=self.name)

    def day(self, on: date | None) -> str:
        return "" if on is None else self.say.day(on, self.units)


def answer_text(answer: Answer, keeper: KeeperRecord, *, service_name: str, contact: str = "") -> str:
    """Word an answer.

    Parameters
    ----------
    answer : Answer
        Its facts.
    keeper : KeeperRecord
        Whose language and units count.
    service_name : str
        Who it is from.
    contact : str
        Address people can write to; empty for none.

    Returns
    -------
    str
        At most 160 septets; what has no room is left out from the end.
    """
    to = _To(wording_in(keeper.language), keeper.units, plain(service_name)[:LONGEST_NAME])
    if answer.kind in PLAIN_ANSWERS:
        said = [to.say.gettext(sentence) for sentence in PLAIN_ANSWERS[answer.kind]]
    else:
        said = list(WORDED[answer.kind](answer, to))
    if answer.page_url:
        said.append(answer.page_url)
    if answer.kind is AnswerKind.HELP and contact:
        said.append(to.say.gettext("Questions: {contact}").format(contact=contact))
    return fitted(said)


def fitted(sentences: Iterable[str]) -> str:
    """Put as many sentences as fit into one part; the first is cut short where it is too long by itself."""
    said = ""
    for sentence in (" ".join(plain(one).split()) for one in sentences):
        longer = f"{said} {sentence}" if said else _shortened(sentence)
        said = longer if sms_size(longer).units <= ONE_PART_7BIT else said
    return said


def _shortened(text: str) -> str:
    if sms_size(text).units <= ONE_PART_7BIT:
        return text
    while sms_size(f"{text}...").units > ONE_PART_7BIT:
        text = text.rsplit(" ", 1)[0] if " " in text else text[:-1]
    return f"{text}..."


def _place(answer: Answer) -> str:
    place = plain(answer.place)
    return place if len(place) <= LONGEST_PLACE else f"{place[: LONGEST_PLACE - 3].rstrip()}..."


def _stopped(answer: Answer, to: _To) -> Sentences:
    yield to.named(to.say.gettext("{name}: you get no more texts from us. Reply START to get them again."))
    if answer.by_mail:
        yield to.say.gettext("E-mail goes on.")


def _started(answer: Answer, to: _To) -> Sentences:
    yield to.named(to.say.gettext("{name}: we text you again before a cut is due. Reply STOP to end."))


def _help(answer: Answer, to: _To) -> Sentences:
    yield to.named(to.say.gettext("{name}, mowing notices: reply MOWED, MEASURED, PAUSE, WHY or STOP."))


def _welcome(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext("{name}: welcome. We text before a cut is due. Reply HELP for help, STOP to end.")
    yield to.named(said)


def _mowed(answer: Answer, to: _To) -> Sentences:
    day = to.day(answer.on)
    if answer.lawns > 1:
        said = to.say.ngettext(
            "Noted: {count} lawn was cut on {day}.", "Noted: {count} lawns were cut on {day}.", answer.lawns
        )
        yield said.format(count=answer.lawns, day=day)
    else:
        said = to.say.gettext("Noted: {place} was cut to {height} on {day}.")
        height = to.say.height(answer.height_mm or 0.0, to.units)
        yield said.format(place=_place(answer), height=height, day=day)


def _measured(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext("Noted: {place} stands at {height}.")
    yield said.format(place=_place(answer), height=to.say.height(answer.height_mm or 0.0, to.units))


def _paused(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext("Silent up to and on {day}. Reply START to end the pause.")
    yield said.format(day=to.day(answer.on))


def _problem(answer: Answer, to: _To) -> Sentences:
    asked = PROBLEMS[answer.problem or Problem.MISSING_HEIGHT]
    yield to.say.gettext(asked).format(example=EXAMPLES[to.units])


def _no_such_height(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext("A lawn kept at {chosen} cannot stand at {height}: check the figure and its unit.")
    chosen, height = (to.say.height(mm or 0.0, to.units) for mm in (answer.chosen_mm, answer.height_mm))
    yield said.format(chosen=chosen, height=height)


def _reported_since(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext("We know of a later report, of {day}: take that one back on your page first.")
    yield said.format(day=to.day(answer.on))


def _too_long(answer: Answer, to: _To) -> Sentences:
    yield to.say.gettext("A pause lasts {days} days at most.").format(days=answer.days)


def _not_understood(answer: Answer, to: _To) -> Sentences:
    said = to.say.gettext(
        "{name}: sorry, we did not understand. Reply MOWED, MEASURED {example}, WHY, PAUSE 20 JUN, or STOP."
    )
    yield said.format(name=to.name, example=EXAMPLES[to.units])


def _why(answer: Answer, to: _To) -> Sentences:
    if answer.notice is not None:
        yield from _reason(answer.notice, to)


def _reason(notice: Notice, to: _To) -> Sentences:
    """Say why a notice said what it said."""
    if notice.kind is NoticeKind.HOLD and notice.holds:
        hold = notice.holds[0]
        yield f"{to.say.hold_name(hold.reason).capitalize()}: {to.say.hold_reason(hold, to.units)}"
        yield to.say.how_long(hold, to.units)
        return
    if notice.kind is NoticeKind.NO_WEATHER:
        yield to.say.gettext("There was no fresh weather for your lawn.")
        return
    said = to.say.gettext("On {day} it stood at {height}; you keep it at {chosen}.")
    heights = {"height": notice.height_mm, "chosen": notice.chosen_height_mm}
    worded = {name: to.say.height(mm, to.units) for name, mm in heights.items()}
    yield said.format(day=to.say.day(notice.on, to.units), **worded)
    if notice.limit_on is not None:
        said = to.say.gettext("From {day} a cut would take more than {share}.")
        yield said.format(day=to.say.day(notice.limit_on, to.units), share=to.say.share(notice))
    if why := to.say.why_this_day(notice):
        yield why


WORDED: dict[AnswerKind, Callable[[Answer, _To], Sentences]] = {
    AnswerKind.STOPPED: _stopped,
    AnswerKind.STARTED: _started,
    AnswerKind.HELP: _help,
    AnswerKind.WELCOME: _welcome,
    AnswerKind.MOWED: _mowed,
    AnswerKind.MEASURED: _measured,
    AnswerKind.WHY: _why,
    AnswerKind.PAUSED: _paused,
    AnswerKind.PROBLEM: _problem,
    AnswerKind.NO_SUCH_HEIGHT: _no_such_height,
    AnswerKind.REPORTED_SINCE: _reported_since,
    AnswerKind.TOO_LONG: _too_long,
    AnswerKind.NOT_UNDERSTOOD: _not_understood,
}
