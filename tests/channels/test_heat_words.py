"""A crew's heat in words: what to do stands in every message, however short."""

from dataclasses import replace
from html import unescape

import pytest
from builders import THURSDAY
from sheets import WARNING

from mowalert.channels.gsm import sms_size
from mowalert.channels.heat_words import HeatMessages
from mowalert.domain.day_sheet import SheetReader
from mowalert.domain.notices import CrewHeat
from mowalert.domain.words import Units
from mowalert.service.crews.heat_days import HeatDay

HEAT = HeatDay("River Parks", CrewHeat(THURSDAY, 104.0, 15, True, 7, 11), "North", 80.0, 90.0)
EMERGENCY = {"en": "call the emergency number", "es": "llame al numero de emergencias"}
LAW = {"en": "heat plan and the law come first", "es": "la ley van primero"}


def text(day: HeatDay, language: str, name: str = "Turf Line") -> str:
    return HeatMessages(name).heat_text(day, SheetReader(1, "Rosa", language, Units.US))


@pytest.mark.parametrize("language", EMERGENCY)
@pytest.mark.parametrize("call", ["", "Kim, 555-0134", "the office of the head of all the grounds " * 4])
@pytest.mark.parametrize("name", ["Turf Line", "The Department of Parks, Meadows and Grounds " * 5])
def test_a_short_message_says_whom_to_call_in_an_emergency(language: str, call: str, name: str) -> None:
    for day in (replace(HEAT, call=call), replace(HEAT, call=call, before_f=91.0)):
        said = text(day, language, name)
        assert EMERGENCY[language] in said
        assert LAW[language] in said
        assert (sms_size(said).encoding, sms_size(said).parts) == ("GSM-7", 2)


def test_whom_to_call_at_work_is_said_where_there_is_room() -> None:
    assert text(replace(HEAT, call="Kim, 555-0134"), "en").endswith("Call: Kim, 555-0134")


@pytest.mark.parametrize("language", EMERGENCY)
def test_official_warnings_stand_in_the_mail_in_their_own_words(language: str) -> None:
    day = replace(HEAT, time_zone="America/New_York", warnings=(WARNING,))
    mail = HeatMessages("Turf Line").heat_mail(day, SheetReader(1, "Rosa", language, Units.US))
    for words in (mail.text, unescape(mail.html)):
        assert f"{WARNING.sender}: {WARNING.headline} (" in words


def test_the_mail_says_the_same() -> None:
    mail = HeatMessages("Turf Line").heat_mail(HEAT, SheetReader(1, "Rosa", "en", Units.US))
    for words in (mail.text, mail.html):
        assert "call the local emergency number at once" in words
