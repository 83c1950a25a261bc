"""Texts of people who work for an organisation: they stop what is texted to them, and start it again."""

from dataclasses import dataclass, replace
from datetime import datetime

from mowalert.domain.replies import ReplyKind, read_reply
from mowalert.domain.words import Channel
from mowalert.service.lawns.wishes import STOPPED
from mowalert.service.ports import Work
from mowalert.service.records import KeeperRecord
from mowalert.service.telling.answers import Answer, AnswerKind

ASKED = {ReplyKind.STOP: AnswerKind.STOPPED, ReplyKind.START: AnswerKind.STARTED}


@dataclass(frozen=True, slots=True)
class PersonHeard:
    """What somebody's text changed: whom the answer is for, with their phone and language, and the answer."""

    to: KeeperRecord
    answer: Answer


def hear_person(work: Work, phone: str, text: str, *, now: datetime) -> PersonHeard | None:
    """Stop or start texts to everybody of any organisation who has a phone.

    Parameters
    ----------
    work : Work
        The transaction.
    phone : str
        Whose text it is; empty where it is no number.
    text : str
        The text.
    now : datetime
        The moment, aware.

    Returns
    -------
    PersonHeard | None
        None where nothing changed: of a stranger, of another wish, of one that was heard before.
    """
    asked = ASKED.get(read_reply(text, today=now.date(), inches=True).kind) if phone else None
    stops = asked is AnswerKind.STOPPED
    people = [
        one
        for one in (work.crews.contacts_at(Channel.SMS, phone) if asked else ())
        if (one.phone_suspended != STOPPED if stops else one.phone_suspended == STOPPED)
    ]
    if asked is None or not people:
        return None
    for one in people:
        if stops:
            work.crews.suspend_contact(one.contact_id, Channel.SMS, STOPPED)
        else:
            work.crews.keep_contact(replace(one, phone_suspended=None))
    first = people[0]
    keeper = work.keepers.get([first.keeper_id])[first.keeper_id]
    to = replace(keeper, phone=first.phone, language=first.language)
    return PersonHeard(to, Answer(asked, by_mail=bool(first.email and not first.email_suspended)))
