"""What crews are handed: the same day as table, workbook, map, calendar and paper, and a client's record."""

import csv
import json
from dataclasses import replace
from datetime import date, time, timedelta
from html.parser import HTMLParser
from io import BytesIO, StringIO
from pathlib import Path
from re import fullmatch

import pytest
from builders import TURF
from firm import MORNING, NAME, TODAY, Firm, planned
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from openpyxl import load_workbook
from sheets import a_crew, a_day_sheet, a_full_day, a_sheet_lawn
from stores import new_store

from mowalert.channels.client_words import record_page
from mowalert.channels.crew_calendar import crew_calendar
from mowalert.channels.crew_sheets import CrewSheets
from mowalert.channels.gsm import sms_size
from mowalert.domain.crews import Position
from mowalert.domain.day_sheet import CrewSheet, DaySheet, SheetReader
from mowalert.domain.words import Units
from mowalert.errors import InputError
from mowalert.office.day_map import day_map
from mowalert.office.day_table import COLUMNS, as_csv, as_xlsx, day_rows
from mowalert.office.paper import as_pdf
from mowalert.service.crew_records import Outcome, SkipReason
from mowalert.service.crews.client_record import client_record
from mowalert.service.crews.visit_table import take_visits
from mowalert.service.crews.visits import Visit, report_visit
from mowalert.service.reading.sheet import Sheet, SheetRow

READER = SheetReader(
    1, "Ana", "en", Units.US, "https://mow.example.org/work/x", "https://mow.example.org/stop"
)
NOON = MORNING + timedelta(hours=5)


@pytest.fixture(scope="module")
def firm(tmp_path_factory: pytest.TempPathFactory) -> Firm:
    made = Firm(new_store(tmp_path_factory.mktemp("firm") / "firm.db"), count=24)
    for garden in (2, 3, 5):
        made.tell_of(
            garden,
            number=f"A-{garden}",
            client="=HYPERLINK(1)",
            gate="4711",
            dog="<b>large</b>",
            access="ring",
        )
    made.night()
    return made


@pytest.fixture(scope="module")
def sheet(firm: Firm) -> DaySheet:
    return firm.sheet()


class Tags(HTMLParser):
    """Every tag and all text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.words = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.words += data


def test_a_table_has_a_row_for_each_lawn_spoken_of(sheet: DaySheet) -> None:
    rows = list(csv.DictReader(StringIO(as_csv(day_rows(sheet)))))
    assert [row["state"] for row in rows].count("planned") == len(planned(sheet))
    assert len(rows) == len(planned(sheet)) + len(sheet.left_out) + len(sheet.held)
    first = sheet.crews[0].stops[0]
    assert rows[0]["crew"] == sheet.crews[0].name
    assert rows[0]["starts"] == f"{first.starts_min // 60:02}:{first.starts_min % 60:02}"
    assert float(rows[0]["removed_today"]) == pytest.approx(first.lawn.removed[0], abs=0.001)
    north = sheet.crews[0]
    assert len(day_rows(sheet, north.crew_id)) == len(north.stops)


def test_no_text_becomes_a_formula(sheet: DaySheet) -> None:
    rows = list(csv.reader(StringIO(as_csv(day_rows(sheet)))))
    assert not any(cell.startswith(("=", "+", "@", "\t")) for row in rows for cell in row)
    assert any("'=HYPERLINK(1)" in row for row in rows)
    book = load_workbook(BytesIO(as_xlsx(day_rows(sheet), title="day")))
    kinds = {cell.data_type for row in book.active.iter_rows() for cell in row}
    assert "f" not in kinds


def test_a_workbook_has_numbers_dates_and_times(sheet: DaySheet) -> None:
    page = load_workbook(BytesIO(as_xlsx(day_rows(sheet), title="day"))).active
    assert page is not None
    assert [cell.value for cell in page[1]] == list(COLUMNS)
    assert page.freeze_panes == "A2"
    told = dict(zip(COLUMNS, (cell.value for cell in page[2]), strict=True))
    assert isinstance(told["starts"], time)
    assert isinstance(told["minutes"], float | int)
    assert told["day"].date() == TODAY
    assert as_xlsx(day_rows(sheet), title="day")[:2] == b"PK"


def test_a_map_puts_the_longitude_first(sheet: DaySheet) -> None:
    told = json.loads(json.dumps(day_map(sheet)))
    kinds = [feature["properties"]["kind"] for feature in told["features"]]
    assert kinds.count("stop") == len(planned(sheet))
    assert kinds.count("way") == len(sheet.crews)
    for feature in told["features"]:
        points = feature["geometry"]["coordinates"]
        for longitude, latitude in points if feature["geometry"]["type"] == "LineString" else [points]:
            assert -74 < longitude < -73
            assert 42 < latitude < 43
    way = next(feature for feature in told["features"] if feature["properties"]["kind"] == "way")
    assert way["geometry"]["coordinates"][0] == way["geometry"]["coordinates"][-1], "out and back"


def test_a_calendar_has_an_appointment_for_each_stop_that_moves_with_the_plan(sheet: DaySheet) -> None:
    def events(of: DaySheet, crews: list[int] | None) -> dict[str, object]:
        feed = crew_calendar([of], crews, READER, name="days", host="mow.example.org")
        return {str(event["uid"]): event for event in Calendar.from_ical(feed).walk("vevent")}

    told = events(sheet, None)
    assert len(told) == len(planned(sheet))
    crew = sheet.crews[0]
    assert len(events(sheet, [crew.crew_id])) == len(crew.stops)
    later = replace(sheet, version=2)
    assert events(later, None).keys() == told.keys()
    event = told[f"stop-{sheet.keeper_id}-{TODAY}-{crew.stops[0].lawn.lawn_id}@mow.example.org"]
    starts = event["dtstart"].dt  # type: ignore[index]
    local = starts.astimezone(__import__("zoneinfo").ZoneInfo(sheet.time_zone))
    assert local.hour * 60 + local.minute == crew.stops[0].starts_min


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("units", list(Units))
def test_a_list_says_what_hands_need_and_closes_what_it_opens(
    sheet: DaySheet, language: str, units: Units
) -> None:
    to = replace(READER, language=language, units=units)
    sheets = CrewSheets("Turf Line")
    for crew in sheet.crews:
        mail = sheets.crew_list(sheet, crew.crew_id, to)
        page = Tags(mail.html)
        assert "script" not in page.tags
        assert "b" not in {tag for tag in page.tags if tag == "img"}
        assert "<b>large</b>" not in mail.html, "what the office wrote is text"
        for stop in crew.stops:
            assert stop.lawn.site_name in page.words
            assert stop.lawn.site_name in mail.text
        assert len(mail.subject) <= 78
        assert to.page_url in mail.text
        text = sheets.crew_text(sheet, crew.crew_id, to)
        assert sms_size(text).parts <= 3
    whole = sheets.whole_list(sheet, to)
    assert Tags(whole.html).words.count(sheet.crews[0].name) >= 2


def test_a_crew_without_stops_is_told_so(sheet: DaySheet) -> None:
    idle = CrewSheet(9, "West", sheet.crews[0].depot, 420, 900, 420, 420, 0.0, ())
    mail = CrewSheets("Turf Line").crew_list(replace(sheet, crews=(*sheet.crews, idle)), 9, READER)
    assert "Nothing is due" in mail.text
    assert "Nothing is due" in CrewSheets("Turf Line").crew_list(sheet, 99, READER).text


def test_paper_is_a_pdf_and_fetches_nothing(sheet: DaySheet) -> None:
    page = CrewSheets("Turf Line").page(sheet, sheet.crews[0].crew_id, READER)
    pdf = as_pdf(
        page.replace("</body>", '<img src="file:///etc/passwd"><img src="http://127.0.0.1:9/x"></body>')
    )
    assert pdf.startswith(b"%PDF")
    assert b"root:" not in pdf


@given(st.text(max_size=40), st.text(max_size=40))
def test_no_name_breaks_a_list(sheet: DaySheet, name: str, note: str) -> None:
    crew = sheet.crews[0]
    stop = crew.stops[0]
    lawn = replace(stop.lawn, site_name=name, gate=note, dog="<script>alert(1)</script>", access=name)
    odd = replace(sheet, crews=(replace(crew, name=note, stops=(replace(stop, lawn=lawn),)),))
    mail = CrewSheets("Turf Line").crew_list(odd, crew.crew_id, READER)
    assert "<script>" not in mail.html
    assert "\n" not in mail.subject
    assert "\r" not in mail.subject
    rows = list(csv.reader(StringIO(as_csv(day_rows(odd, crew.crew_id)))))
    assert len(rows) == 2
    as_xlsx(day_rows(odd), title="day")
    Calendar.from_ical(crew_calendar([odd], None, READER, name=name or "x", host="h"))


def test_a_client_sees_cuts_skips_and_no_way_in(tmp_path: Path) -> None:
    firm = Firm(new_store(tmp_path / "firm.db"), count=6)
    firm.tell_of(2, number="A-2", client="F. Client", gate="4711")
    firm.night()
    with firm.store.begin() as work:
        (site,) = [one for one in work.crews.sites_of(firm.keeper_id) if one.name == "Garden 2"]
        (lawn_id,) = [
            one.lawn_id for one in work.lawns.of_keepers([firm.keeper_id]) if one.site_id == site.site_id
        ]
    skip = Visit(lawn_id, TODAY, Outcome.SKIPPED, SkipReason.LOCKED, "no key")
    report_visit(firm.store, TURF, firm.keeper_id, skip, by="ana", now=NOON)
    tomorrow = TODAY + timedelta(days=1)
    firm.night(MORNING + timedelta(days=1))
    cut = Visit(lawn_id, tomorrow, Outcome.DONE, minutes=20.0)
    report_visit(firm.store, TURF, firm.keeper_id, cut, by="ana", now=NOON + timedelta(days=1))
    record = client_record(firm.store, NAME, "A-2", first=TODAY, last=tomorrow)
    assert [(line.on, line.what) for line in record.lines] == [(TODAY, "skipped"), (tomorrow, "cut")]
    assert record.lines[1].removed is not None
    for language, word in (("en", "it was locked"), ("es", "estaba cerrado")):
        page = record_page(record, language=language, service_name="Turf Line")
        assert word in page
        assert "4711" not in page
        assert "Garden 3" not in page
    with pytest.raises(InputError, match="no site"):
        client_record(firm.store, NAME, "A-9", first=TODAY, last=tomorrow)
    with pytest.raises(InputError, match="in this order"):
        client_record(firm.store, NAME, "A-2", first=tomorrow, last=TODAY)


def test_an_upload_of_visits_is_kept_whole_or_not_at_all(tmp_path: Path) -> None:
    firm = Firm(new_store(tmp_path / "firm.db"), count=6)
    firm.night()
    header = ("Date", "Site", "Outcome", "Reason", "Minutes", "Note")

    def rows(*told: tuple[str, ...]) -> Sheet:
        cells = (dict(zip(header, row, strict=True)) for row in told)
        return Sheet(header, tuple(SheetRow(line, one) for line, one in enumerate(cells, 2)))

    good = (str(TODAY), "Garden 1", "done", "", "25", "")
    skip = (str(TODAY), "Garden 2", "skipped", "rain", "", "heavy")
    bad = (str(TODAY), "Garden 99", "done", "", "", "")
    taken = take_visits(firm.store, TURF, NAME, rows(good, bad, skip), by="office", now=NOON)
    assert (taken.kept, [problem.line for problem in taken.problems]) == (0, [3])
    with firm.store.begin() as work:
        assert work.crews.visits(firm.keeper_id, first=date.min, last=date.max) == []
    assert take_visits(firm.store, TURF, NAME, rows(good, skip), by="office", now=NOON).kept == 2
    again = take_visits(firm.store, TURF, NAME, rows(good, skip), by="office", now=NOON)
    assert (again.kept, again.known) == (0, 2)
    third = (str(TODAY), "Garden 3", "done", "", "", "")
    despite = take_visits(firm.store, TURF, NAME, rows(bad, third), by="office", now=NOON, despite=True)
    assert (despite.kept, len(despite.problems)) == (1, 1)


def test_a_table_says_where_a_lawn_is_to_the_metre() -> None:
    west = a_day_sheet(a_crew(1, (a_sheet_lawn(position=Position(42.71234, -104.98765)),)))
    (row,) = csv.DictReader(StringIO(as_csv(day_rows(west))))
    assert (float(row["latitude"]), float(row["longitude"])) == (42.71234, -104.98765)
    (point,) = [one for one in day_map(west)["features"] if one["properties"]["kind"] == "stop"]
    assert point["geometry"]["coordinates"] == [-104.98765, 42.71234]


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=5, max_size=5))
def test_texts_of_the_office_come_back_out_of_a_table_and_none_is_a_formula(texts: list[str]) -> None:
    names = ("gate", "dog", "access", "client", "number")
    lawn = a_sheet_lawn(**dict(zip(names, texts, strict=True)))
    rows = day_rows(a_day_sheet(a_crew(1, (lawn,))))
    told = next(csv.DictReader(StringIO(as_csv(rows), newline="")))
    for name, text in zip(names, texts, strict=True):
        assert told[name] in (text, f"'{text}")
        # A plain number stays one, its sign included.
        number = fullmatch(r"[+-]?[0-9]+(\.[0-9]+)?", told[name])
        assert number or not told[name].startswith(("=", "+", "-", "@", "\t", "\r"))
    page = load_workbook(BytesIO(as_xlsx(rows, title="day"))).active
    assert page is not None
    cells = dict(zip(COLUMNS, page[2], strict=True))
    assert {cell.data_type for cell in cells.values()}.isdisjoint({"f", "e"}), "no formula, no error"
    for name, text in zip(names, texts, strict=True):
        assert len(str(cells[name].value or "").split()) == len(
            "".join(letter if letter.isprintable() else " " for letter in text).split()
        ), "words stay apart"


def test_all_that_is_known_comes_back_out_of_both_tables() -> None:
    sheet = a_full_day()
    rows = day_rows(sheet)
    assert [row[-1] for row in rows].count("held") == 2
    told = list(csv.reader(StringIO(as_csv(rows), newline="")))[1:]
    page = load_workbook(BytesIO(as_xlsx(rows, title="day"))).active
    assert page is not None
    for row, line, cells in zip(rows, told, page.iter_rows(min_row=2), strict=True):
        for value, text, cell in zip(row, line, cells, strict=True):
            if isinstance(value, float):
                assert float(text) == pytest.approx(value, rel=1e-9)
                assert cell.value == pytest.approx(value, rel=1e-9)
            elif isinstance(value, time):
                assert (text, cell.value) == (f"{value:%H:%M}", value)
            elif isinstance(value, date):
                assert (text, cell.value.date()) == (value.isoformat(), value)
            else:
                assert text == ("" if value is None else str(value))
                assert (cell.value or None) == (value or None)


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"]), min_size=1), min_size=4, max_size=4))
def test_no_text_adds_a_line_of_its_own_to_a_calendar(texts: list[str]) -> None:
    site, gate, address, crew = texts
    lawn = a_sheet_lawn(site_name=site, gate=gate, address=f"{address}\r\nATTENDEE:mailto:x@example.org")
    feed = crew_calendar([a_day_sheet(a_crew(1, (lawn,), crew))], None, READER, name=site, host="h.example")
    (event,) = Calendar.from_ical(feed).walk("vevent")
    assert set(event) == {
        "UID", "DTSTAMP", "SEQUENCE", "DTSTART", "DTEND", "SUMMARY", "LOCATION", "GEO", "DESCRIPTION",
    }  # fmt: skip
    assert all(len(line) <= 75 for line in feed.split(b"\r\n")), "RFC 5545, section 3.1"
