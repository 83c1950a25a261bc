"""What crews, dispatchers and owners are handed: everything hands need, in both languages and units."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO

import pytest
from digests import Words
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from sheets import (
    DISPATCHER,
    HEAT,
    LEAD,
    LONG_ACCESS,
    MADE_AT,
    NAMES,
    US_LEAD,
    WARNING,
    a_crew,
    a_day_sheet,
    a_full_day,
    a_sheet_lawn,
    a_week,
    knotty_lawns,
)

from mowalert.channels.crew_sheets import LONGEST_SUBJECT, CrewSheets
from mowalert.channels.gsm import sms_size
from mowalert.domain.crews import Change, ChangeKind, Fault, WhyLeft
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetLeft, SheetReader
from mowalert.domain.notices import WeatherStamp
from mowalert.domain.warnings import Severity
from mowalert.office.paper import as_pdf

SHEETS = CrewSheets("Turf Line")
STOP_URL = "https://mow.example.org/stop-work/tok"
POINTS_A_PX = 0.75
READERS = [
    replace(DISPATCHER, language=language, units=units)
    for language in ("en", "es")
    for units in (LEAD.units, US_LEAD.units)
]
nasty = st.text(
    st.characters(exclude_categories=["Cs"]) | st.sampled_from("<>&\"'{}%=+-@\r\n\t\u202e"), min_size=1
)


class Page(HTMLParser):
    """The tags of a page in order, and what stands in one element."""

    EMPTY = frozenset({"meta", "br", "link", "img", "input"})

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.open: list[str] = []
        self.feed(html)
        self.close()

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, tag
        assert self.open.pop() == tag


def crew_of(sheet: DaySheet, crew_id: int) -> CrewSheet:
    found = sheet.crew(crew_id)
    assert found is not None
    return found


def px_of(html: str, selector: str) -> float:
    """The size a class of lines is printed in."""
    found = re.search(rf"^{re.escape(selector)} {{[^}}]*font-size: (\d+)px", html, re.MULTILINE)
    assert found, selector
    return float(found[1])


@pytest.mark.parametrize("to", READERS, ids=lambda to: f"{to.language} {to.units}")
def test_a_lead_has_each_stop_in_driving_order_with_all_they_need(to: SheetReader) -> None:
    sheet = a_full_day()
    mail = SHEETS.crew_list(sheet, 2, to)
    page = Page(mail.html)
    assert page.open == [], "whatever is opened is closed"
    for text in (str(Words(mail.html)), " ".join(mail.text.split())):
        at = 0
        for stop in crew_of(sheet, 2).stops:
            at = text.index(f"{stop.lawn.address}", at)
            for needed in (stop.lawn.gate, stop.lawn.dog, stop.lawn.access, stop.lawn.skipped_note):
                assert needed in text[at:]
    assert mail.html.count('class="tick"') == len(crew_of(sheet, 2).stops), "a box to tick each"


def test_numbers_are_said_in_the_readers_units_and_language() -> None:
    lawn = a_sheet_lawn(cut_to_mm=63.5, chosen_mm=63.5, height_mm=95.0, grown_mm=31.5)
    sheet = a_day_sheet(a_crew(1, (lawn,)))
    us, metric = SHEETS.crew_list(sheet, 1, US_LEAD).text, SHEETS.crew_list(sheet, 1, DISPATCHER).text
    assert "2½ in" in us
    assert "7:10 am" in us
    assert "1.5 mi" in us
    assert "64 mm" in metric
    assert "7:10  Garden 1" in metric
    assert "2.4 km" in metric
    assert "2,4 km" in SHEETS.crew_list(sheet, 1, LEAD).text


def test_the_share_a_cut_takes_is_said_for_three_days() -> None:
    text = SHEETS.crew_list(a_day_sheet(), 1, DISPATCHER).text
    assert "takes 34 % today, 37 % tomorrow, 40 % in two days" in text


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"chosen_mm": 40.0, "cut_to_mm": 50.7}, "in steps down to 40 mm"),
        ({"skipped": "dog", "skipped_note": "brown"}, "Skipped last time: a dog was loose. brown"),
        ({"last_cut_assumed": True}, "since about Wednesday 29 April"),
        ({"visit_from_min": 600, "visit_to_min": 840}, "10:00 – 14:00"),
        ({"visit_to_min": 840}, "until 14:00"),
    ],
)
def test_what_is_special_about_a_lawn_is_said(changes: dict[str, object], said: str) -> None:
    sheet = a_day_sheet(a_crew(1, (a_sheet_lawn(**changes),)))
    mail = SHEETS.crew_list(sheet, 1, DISPATCHER)
    assert said in mail.text
    assert said in str(Words(mail.html))
    plain = SHEETS.crew_list(a_day_sheet(a_crew(1, (a_sheet_lawn(),))), 1, DISPATCHER)
    assert said not in plain.text


def test_the_dispatcher_reads_what_waits_longest_at_the_highest_cost_first() -> None:
    sheet = a_full_day()
    mail = SHEETS.whole_list(sheet, DISPATCHER)
    for text in (str(Words(mail.html)), mail.text):
        part = text[text.index("Does not fit today") :]
        places = [part.index(one.lawn.site_name) for one in (sheet.left_out[1], sheet.left_out[6])]
        assert places == sorted(places)
        assert "its hours cannot be kept" in part
    assert mail.subject == "Changed: Thursday 7 May: 80 stops, 7 do not fit"


def test_the_dispatcher_reads_all_there_is_to_know_of_the_day() -> None:
    mail = SHEETS.whole_list(a_full_day(), DISPATCHER)
    for text in (str(Words(mail.html)), " ".join(mail.text.split())):
        for said in (
            *NAMES,
            "19",
            "The grass is wilting: it takes only 31 % of the water it could use.",
            "Summer concert",
            "Crew Dawn: no working hours",
            "Calle de las Moreras 13: now Ribera at 7:10, was North at 8:20",
            "Calle del Olmo 300: no longer today, was Ribera at 10:10",
            "Planned again because the rain forecast changed",
            "nothing is due for this crew",
            "Weather data by Open-Meteo.com",
            "look at the grass",
        ):
            assert said in text, said


def test_a_first_plan_speaks_of_no_change() -> None:
    mail = SHEETS.whole_list(a_day_sheet(), DISPATCHER)
    assert not mail.subject.startswith("Changed")
    for word in ("What changed", "Does not fit", "Not to be mown", "Could not be planned", "Heat"):
        assert word not in mail.text
        assert word not in mail.html


def test_old_weather_is_owned_up_to() -> None:
    stale = a_day_sheet(weather=WeatherStamp(("nws",), MADE_AT, fresh=False))
    said = "There is no fresh weather"
    assert said in SHEETS.whole_list(stale, DISPATCHER).text
    assert said in SHEETS.whole_list(stale, DISPATCHER).html
    assert said not in SHEETS.whole_list(a_day_sheet(), DISPATCHER).text


@pytest.mark.parametrize("whole", [True, False])
def test_heat_comes_with_the_employers_plan_first_and_warnings_in_their_own_words(whole: bool) -> None:
    sheet = a_day_sheet(crew_heat=HEAT, warnings=(WARNING,))
    mail = SHEETS.whole_list(sheet, DISPATCHER) if whole else SHEETS.crew_list(sheet, 1, LEAD)
    first = "Your employer's heat plan and the law come first."
    first = first if whole else "El plan de calor de su empresa y la ley van primero."
    for text in (str(Words(mail.html)), mail.text):
        assert first in text
        assert WARNING.headline in text
        assert WARNING.sender in text
        assert WARNING.instruction in text
    assert 'lang="en-US"' in mail.html


@pytest.mark.parametrize("whole", [True, False])
def test_no_warning_is_left_out_for_being_the_sixth(whole: bool) -> None:
    """What comes last may be the smoke: an air quality alert often has no severity."""
    many = [replace(WARNING, headline=f"Warning {number}") for number in range(7)]
    smoke = replace(WARNING, headline="Air Quality Alert", severity=Severity.UNKNOWN)
    sheet = a_day_sheet(warnings=(*many, smoke))
    mail = SHEETS.whole_list(sheet, DISPATCHER) if whole else SHEETS.crew_list(sheet, 1, LEAD)
    for text in (str(Words(mail.html)), mail.text):
        assert all(one.headline in text for one in sheet.warnings)


def test_a_lead_reads_of_their_own_changes_only() -> None:
    sheet = a_full_day()
    north, quay = (SHEETS.crew_list(sheet, crew_id, DISPATCHER).text for crew_id in (1, 5))
    assert "Calle de las Moreras 13: now Ribera" in north, "what left them is theirs to know"
    assert "Calle del Olmo 300" not in north
    assert "What changed" not in quay


def test_a_lead_reads_of_no_other_crews_lawn() -> None:
    sheet = a_full_day()
    theirs = {stop.lawn.lawn_id for stop in crew_of(sheet, 5).stops}
    mail = SHEETS.crew_list(sheet, 5, LEAD)
    for crew in sheet.crews:
        for stop in crew.stops:
            found = re.search(rf"\b{stop.lawn.address}\b", mail.text)
            assert bool(found) == (stop.lawn.lawn_id in theirs)


@pytest.mark.parametrize("crew_id", [8, 99])
def test_a_crew_that_stays_home_is_told_so_in_whole_sentences(crew_id: int) -> None:
    sheet = a_full_day()
    mail = SHEETS.crew_list(sheet, crew_id, DISPATCHER)
    assert "Nothing is due for this crew" in mail.text
    assert not mail.subject.endswith((",", " "))
    assert ", ." not in SHEETS.crew_text(sheet, crew_id, DISPATCHER)


@pytest.mark.parametrize("language", ["en", "es"])
def test_mail_says_how_to_stop_it_where_that_can_be_done(language: str) -> None:
    with_url = replace(DISPATCHER, language=language, stop_url=STOP_URL)
    for to, seen in ((with_url, True), (replace(with_url, stop_url=""), False)):
        mails = (
            SHEETS.whole_list(a_day_sheet(), to),
            SHEETS.crew_list(a_day_sheet(), 1, to),
            SHEETS.week(a_week(), to),
        )
        for mail in mails:
            assert (STOP_URL in mail.text) is seen
            assert (f'href="{STOP_URL}"' in mail.html) is seen


@pytest.mark.parametrize("to", READERS, ids=lambda to: f"{to.language} {to.units}")
def test_a_short_message_fits_three_parts_and_keeps_its_link(to: SheetReader) -> None:
    for crew in a_full_day().crews:
        text = SHEETS.crew_text(a_full_day(), crew.crew_id, to)
        size = sms_size(text)
        assert (size.encoding, size.parts <= 3) == ("GSM-7", True)
        assert text.endswith(to.page_url)
        assert text.startswith("Turf Line: ")


@given(st.lists(nasty, min_size=3, max_size=3), st.integers(0, 12))
def test_no_name_makes_a_short_message_too_long_or_cuts_its_link(words: list[str], count: int) -> None:
    lawns = tuple(a_sheet_lawn(number, site_name=words[0] * 9, lawn_name=words[1]) for number in range(count))
    sheet = a_day_sheet(a_crew(1, lawns, name=words[2] * 20), version=2)
    text = SHEETS.crew_text(sheet, 1, LEAD)
    assert sms_size(text).encoding == "GSM-7"
    assert sms_size(text).parts <= 3
    assert text.endswith(LEAD.page_url)


@pytest.mark.parametrize("language", ["en", "es"])
def test_an_owner_reads_last_weeks_work_and_where_hours_fall_short(language: str) -> None:
    mail = SHEETS.week(a_week(), replace(DISPATCHER, language=language))
    assert Page(mail.html).open == []
    for text in (str(Words(mail.html)), mail.text):
        for number in ("118", "110", "8", "44 %", "7", "36"):
            assert number in text
    assert {"en": "Wednesday", "es": "miércoles"}[language] in mail.subject


def test_a_week_with_hours_enough_raises_no_alarm() -> None:
    week = a_week()
    calm = replace(week, largest_removed=None, ahead=replace(week.ahead, short_on=None))
    mail = SHEETS.week(calm, DISPATCHER)
    assert mail.subject == "Week: 118 cuts done"
    assert "more hours fall due" not in mail.text
    assert "Largest share" not in mail.html


def test_a_mail_stays_short_and_the_page_has_all() -> None:
    left = tuple(SheetLeft(a_sheet_lawn(number), WhyLeft.NO_TIME, 1.0) for number in range(500, 600))
    sheet = a_day_sheet(left_out=left)
    mail = SHEETS.whole_list(sheet, DISPATCHER)
    assert "And 60 more on the page." in mail.text
    assert "Garden 599" not in mail.html
    assert "Garden 599" in SHEETS.page(sheet, None, DISPATCHER)


@settings(max_examples=60)
@given(st.lists(nasty, min_size=9, max_size=9))
def test_no_text_of_the_office_becomes_markup_or_another_header(texts: list[str]) -> None:
    """Whatever stands in a field, the page has the same tags as with a plain word there."""

    def pages(site: str, *others: str) -> list[str]:
        gate, dog, access, client, note, crew, keeper, about = others
        lawn = a_sheet_lawn(
            site_name=site, gate=gate, dog=dog, access=access, client=client, skipped="dog", skipped_note=note
        )
        sheet = a_day_sheet(
            a_crew(1, (lawn,), name=crew),
            keeper_name=keeper,
            faults=(Fault(about, about),),
            changes=(Change(1, ChangeKind.ADDED, None, 1, None, 430),),
            left_out=(SheetLeft(lawn, WhyLeft.HOURS, 0.2),),
            warnings=(replace(WARNING, headline=about, instruction=note, sender=keeper),),
        )
        mails = (
            SHEETS.whole_list(sheet, DISPATCHER),
            SHEETS.crew_list(sheet, 1, LEAD),
            SHEETS.week(a_week(keeper_name=keeper), LEAD),
        )
        assert all(len(mail.subject) <= LONGEST_SUBJECT for mail in mails)
        assert all(len(mail.subject.splitlines()) <= 1 for mail in mails)
        return [*(mail.html for mail in mails), SHEETS.page(sheet, 1, LEAD)]

    made, plain = pages(*texts), pages(*"abcdefghi")
    assert [Page(html).tags for html in made] == [Page(html).tags for html in plain]


def test_a_list_is_printed_large_enough_for_gloves_and_sun() -> None:
    html = SHEETS.page(a_full_day(), 2, LEAD)
    assert px_of(html, ".where") * POINTS_A_PX >= 18
    for lines in (".todo", ".note", ".note b", ".warn", ".stop .quiet", ".stop table td"):
        assert px_of(html, lines) * POINTS_A_PX >= 14, lines
    assert px_of(html, ".stop .order") * POINTS_A_PX >= 24


def pages_of(pdf: bytes) -> list[str]:
    """The text of each page, as a reader of the paper finds it."""
    return [page.extract_text() for page in PdfReader(BytesIO(pdf)).pages]


@pytest.mark.slow
def test_no_stop_is_torn_between_two_sheets_of_paper() -> None:
    lawns = knotty_lawns(1, 19, seed=4)
    lawns = tuple(
        replace(lawn, address=f"{lawn.lawn_id} Elm Lane", access=f"{LONG_ACCESS} end{lawn.lawn_id}.")
        for lawn in lawns
    )
    sheet = a_day_sheet(a_crew(1, lawns), crew_heat=HEAT)
    pages = pages_of(as_pdf(SHEETS.page(sheet, 1, DISPATCHER)))
    assert len(pages) > 3
    for lawn in lawns:
        ends = (rf"\b{lawn.lawn_id} Elm Lane", rf"\bend{lawn.lawn_id}\.")
        starts_on, ends_on = ([bool(re.search(end, page)) for page in pages].index(True) for end in ends)
        assert starts_on == ends_on
    took = [len(re.findall("in two days", page)) for page in pages]
    order = [len(re.findall(r"Elm Lane", page)) for page in pages]
    assert took == order, "the last line of a stop is where its first one is"


@pytest.mark.slow
def test_no_crews_name_stands_alone_at_the_foot_of_a_page() -> None:
    sheet = a_full_day()
    pages = pages_of(as_pdf(SHEETS.page(sheet, None, DISPATCHER)))
    for page in pages:
        lines = [line.strip() for line in page.splitlines() if line.strip()]
        foot = lines[:-1] if "/" in lines[-1] else lines
        assert foot[-1] not in NAMES
        assert not foot[-1].startswith(("No.", "Lawn", "Crew "))
