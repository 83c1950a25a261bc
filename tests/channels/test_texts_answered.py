"""Answers to texts: each is one part, says what it must, and in the keeper's units."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from builders import a_keeper, a_notice
from digests import HOLDS
from hypothesis import given
from hypothesis import strategies as st

from mowalert.channels.answers import answer_text, fitted
from mowalert.channels.gsm import sms_size
from mowalert.channels.letters import ServiceLetters
from mowalert.domain.replies import Problem
from mowalert.domain.words import Channel, NoticeKind, Units
from mowalert.languages import LANGUAGES
from mowalert.service.telling.answers import Answer, AnswerKind

WEDNESDAY = date(2026, 9, 23)
LONG_PLACE = "The meadow [behind] the old pumping station, south of the river, lawn 12"
URL = "https://lawns.example.org/my/WzE4MTI4MTI4MDAsMTIzNDU2LDEyXQ.abcdefghijklmnopqrstuvwxyz1"
FACTS: dict[str, Any] = {
    "place": LONG_PLACE,
    "lawns": 1,
    "height_mm": 88.9,
    "chosen_mm": 63.5,
    "on": WEDNESDAY,
    "days": 400,
    "page_url": URL,
    "by_mail": True,
}
NOTICES = [a_notice(kind, limit_on=WEDNESDAY) for kind in NoticeKind] + [
    a_notice(NoticeKind.HOLD, holds=(hold,), reason=hold.reason) for hold in HOLDS
]
EVERY = [
    *(Answer(kind, **FACTS) for kind in AnswerKind if kind not in (AnswerKind.WHY, AnswerKind.PROBLEM)),
    Answer(AnswerKind.MOWED, **FACTS | {"lawns": 12}),
    *(Answer(AnswerKind.PROBLEM, **FACTS, problem=problem) for problem in Problem),
    *(Answer(AnswerKind.WHY, notice=notice) for notice in NOTICES),
]


def said(answer: Answer, *, language: str = "en", units: Units = Units.US, name: str = "Turf Line") -> str:
    keeper = a_keeper(language=language, units=units)
    return answer_text(answer, keeper, service_name=name, contact="turf@example.org")


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("language", list(LANGUAGES))
@pytest.mark.parametrize("answer", EVERY, ids=lambda answer: answer.kind.value)
def test_every_answer_is_one_part(answer: Answer, language: str, units: Units) -> None:
    text = said(answer, language=language, units=units, name="The lawn care of all of us")
    assert text
    assert (sms_size(text).parts, sms_size(text).encoding) == (1, "GSM-7")
    assert "{" not in text.replace("[", "")
    assert text == " ".join(text.split())


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("language", list(LANGUAGES))
@pytest.mark.parametrize("answer", EVERY, ids=lambda answer: answer.kind.value)
def test_an_answer_about_a_place_with_a_short_name_is_whole(
    answer: Answer, language: str, units: Units
) -> None:
    assert "..." not in said(replace(answer, place="Home, front"), language=language, units=units)


@given(st.lists(st.text(), max_size=5))
def test_any_sentences_are_one_part(sentences: list[str]) -> None:
    assert sms_size(fitted(sentences)).parts == 1


def test_a_stop_is_confirmed_with_who_it_was_and_how_to_come_back() -> None:
    text = said(Answer(AnswerKind.STOPPED, by_mail=True))
    assert text == "Turf Line: you get no more texts from us. Reply START to get them again. E-mail goes on."


@pytest.mark.parametrize("kind", [AnswerKind.WHICH_LAWN, AnswerKind.CANNOT, AnswerKind.HELP])
def test_the_way_to_the_page_is_told_whole(kind: AnswerKind) -> None:
    assert URL in said(Answer(kind, page_url=URL))


def test_a_cut_is_noted_with_its_lawn_height_and_day() -> None:
    noted = Answer(AnswerKind.MOWED, place="Home, front", height_mm=63.5, on=WEDNESDAY)
    assert said(noted) == "Noted: Home, front was cut to 2 1/2 in on Wednesday, September 23."
    assert "64 mm on Wednesday 23 September" in said(noted, units=Units.METRIC)
    assert said(replace(noted, lawns=3)) == "Noted: 3 lawns were cut on Wednesday, September 23."


def test_a_place_in_braces_is_only_a_place() -> None:
    noted = Answer(AnswerKind.MEASURED, place="{name} {0}", height_mm=63.5)
    assert "stands at" in said(noted)


def test_the_reason_of_a_cut_names_height_limit_and_day() -> None:
    text = said(Answer(AnswerKind.WHY, notice=a_notice(limit_on=date(2026, 5, 11))))
    assert text.startswith("On Thursday, May 7 it stood at 3 3/4 in; you keep it at 3 in.")
    assert "From Monday, May 11 a cut would take more than a third." in text


def test_the_reason_of_a_hold_is_its_own() -> None:
    text = said(Answer(AnswerKind.WHY, notice=a_notice(NoticeKind.HOLD)))
    assert text.startswith("Drought hold: The grass is wilting")


def test_an_answer_is_a_short_message_in_the_services_name() -> None:
    letters = ServiceLetters("Turf Line", "example.org", "turf@example.org")
    letter = letters.answer(a_keeper(phone="+15555550101"), Answer(AnswerKind.HELP))
    assert letter.channel is Channel.SMS
    assert letter.text.startswith("Turf Line, mowing notices: ")
    assert letter.text.endswith("Questions: turf@example.org")
