"""A region's bulletin is a public page and a feed: whole, safe to show, to be kept, and nobody's lawn."""

import re
import xml.etree.ElementTree as ET
from datetime import UTC, datetime, timedelta

import pytest
import requests
from builders import TURF
from web_people import BASE, Visitor

from mowalert.service.lawns.enrol import enrol
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.region.bulletin import say_with_bulletin
from mowalert.service.region.guides import guides_now, keep_guide
from mowalert.settings import config_file

MONDAY = datetime(2026, 5, 4, 12, tzinfo=UTC)
HEADER = "keeper,kind,email,site,address,lawn,latitude,longitude,grass,height_mm,guide\n"
PLACES = ((41.851, -93.151), (41.852, -93.152), (41.853, -93.153), (42.351, -93.551), (42.352, -93.552))
"""Three places in one weather square, two in another."""
ATOM, XHTML = "{http://www.w3.org/2005/Atom}", "{http://www.w3.org/1999/xhtml}"
EVIL = '"><script>alert(1)</script> & <b>bold</b> ]]> {{ 7 * 7 }}'


def table() -> str:
    rows = (
        f"Person{number},homeowner,person{number}@mail.example,Garden{number},{number} Elm Lane,Lawn{number},"
        f"{latitude},{longitude},kentucky_bluegrass,,quillmere\n"
        for number, (latitude, longitude) in enumerate(PLACES, 101)
    )
    return HEADER + "".join(rows)


@pytest.fixture
def reader(visitor: Visitor) -> Visitor:
    """Someone without a lawn, on a Monday, in front of a region with a guide and no night yet."""
    visitor.now, visitor.sky.keeps_past, services = MONDAY, 30, visitor.services
    text = (config_file("guides") / "quillmere.toml").read_text(encoding="utf-8")
    keep_guide(services.store, TURF, text, name="quillmere.toml", now=MONDAY)
    with services.store.begin() as work:
        guides = guides_now(work, TURF)
    rows, report = read_table(table(), TURF, now=MONDAY, guides=guides)
    assert not report.problems
    enrol(services.store, TURF, rows, report, source="a test", cell_degrees=0.1, now=MONDAY)
    return visitor


@pytest.fixture
def region(reader: Visitor) -> Visitor:
    """The same after three weeks, the newest two weeks' bulletins and one in between missing."""
    reader.night()
    reader.wait(days=14)
    return reader


def say(visitor: Visitor, text: str) -> None:
    say_with_bulletin(visitor.services.store, "quillmere", text, now=visitor.now)


def feed_of(answer: requests.Response) -> ET.Element:
    assert answer.status_code == 200
    return ET.fromstring(answer.content)  # noqa: S314 - what we wrote ourselves


def test_the_page_holds_the_whole_week(region: Visitor) -> None:
    page = region.get("/region/quillmere").text
    for said in (
        "Quillmere country",
        "Week 21 of 2026",
        "May 18",
        "Kentucky bluegrass grows",
        "Days between cuts",
        "2½ in",
        "Nesting hold",
        "growth of the week in inches, by weather square",
        "no hold was in force",
        "Worth knowing",
        "version 1",
        "Source: NOAA / National Weather Service",
        "Weather of 2026-05-18 12:00 UTC.",
    ):
        assert said in page, said
    assert page.count("<svg") == 2
    assert "style=" not in page


def test_units_are_the_regions_and_may_be_the_readers(region: Visitor) -> None:
    page = region.get("/region/quillmere?units=metric").text
    assert "65 mm" in page
    assert "18–24 May 2026" in page
    assert "2½ in" not in page
    assert region.get("/region/quillmere?units=furlongs").text == region.get("/region/quillmere").text


def test_the_words_are_those_of_the_readers_browser(region: Visitor) -> None:
    answer = region.get("/region/quillmere", headers={"Accept-Language": "es-MX"})
    assert '<html lang="es">' in answer.text
    assert "18–24 may 2026" in region.get("/region/quillmere?lang=es").text
    assert "Accept-Language" in answer.headers["Vary"]


def test_pages_may_be_kept_and_found(region: Visitor) -> None:
    for path in ("/region", "/region/quillmere", "/region/quillmere/2026-W19"):
        answer = region.get(path)
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "public, max-age=900"
        assert '<meta name="robots" content="index">' in answer.text
        assert "default-src 'none'" in answer.headers["Content-Security-Policy"]
        assert "Set-Cookie" not in answer.headers


def test_kept_weeks_lead_to_each_other(region: Visitor) -> None:
    newest, first = region.get("/region/quillmere").text, region.get("/region/quillmere/2026-W19").text
    assert 'rel="prev" href="/region/quillmere/2026-W19"' in newest
    assert 'rel="next"' not in newest
    assert 'rel="next" href="/region/quillmere/2026-W21"' in first
    assert 'rel="prev"' not in first
    assert f'<link rel="canonical" href="{BASE}/region/quillmere/2026-W21">' in newest
    assert 'href="/region/quillmere/2026-W19?lang=en"' in region.get("/region/quillmere?lang=en").text


NOT_THERE = (
    "/region/nowhere",
    "/region/%00",
    "/region/Quillmere",
    "/region/quillmere/2026-W20",
    "/region/quillmere/2026-W54",
    "/region/quillmere/yesterday",
    "/region/nowhere/2026-W19",
    "/region/nowhere/feed.atom",
)


def test_what_is_not_there_is_a_plain_page(region: Visitor) -> None:
    for path in NOT_THERE:
        answer = region.get(path)
        assert answer.status_code == 404, path
        assert "leads nowhere" in answer.text
        assert answer.headers["Cache-Control"] == "no-store"


def test_regions_are_listed_here_and_on_the_front_page(region: Visitor) -> None:
    for path in ("/", "/region"):
        page = region.get(path).text
        assert '<a href="/region/quillmere">Quillmere country</a>' in page
        assert "Kentucky bluegrass grows" in page


def test_a_region_without_a_bulletin_says_when_one_comes(reader: Visitor) -> None:
    page = reader.get("/region/quillmere")
    assert page.status_code == 200
    assert "first bulletin comes" in page.text
    assert "no fresh weather" in page.text
    assert "No region has a bulletin yet" in reader.get("/region").text
    assert "/region/" not in reader.get("/").text


def test_without_fresh_weather_the_last_one_is_shown_as_such(region: Visitor) -> None:
    assert "no fresh weather" not in region.get("/region/quillmere").text
    region.sky.down = True
    region.wait(days=7)
    page = region.get("/region/quillmere").text
    assert "There is no fresh weather for this region: this is its last bulletin" in page
    assert "Week 21 of 2026" in page
    assert "no fresh weather" not in region.get("/region/quillmere/2026-W21").text, "the past is as it was"


def test_what_the_adviser_says_is_shown_as_text(region: Visitor) -> None:
    say(region, EVIL)
    page = region.get("/region/quillmere").text
    assert "<script>" not in page
    assert "<b>bold" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert "{{ 7 * 7 }}" in page
    feed = region.get("/region/quillmere/feed.atom")
    assert b"<script>" not in feed.content
    summary = feed_of(feed).find(f"{ATOM}entry/{ATOM}summary")
    assert summary is not None
    assert EVIL in (summary.text or "")
    assert "Quillmere turf desk" in page


def test_the_feed_has_all_that_rfc_4287_asks_for(region: Visitor) -> None:
    answer = region.get("/region/quillmere/feed.atom")
    assert answer.headers["Content-Type"].startswith("application/atom+xml")
    feed = feed_of(answer)
    assert feed.tag == f"{ATOM}feed"
    for name in ("id", "title", "updated"):
        assert len(feed.findall(f"{ATOM}{name}")) == 1
    assert feed.findtext(f"{ATOM}author/{ATOM}name") == "Quillmere turf desk (invented)"
    links = {link.get("rel"): link.get("href") for link in feed.findall(f"{ATOM}link")}
    assert links == {
        "self": f"{BASE}/region/quillmere/feed.atom?lang=en",
        "alternate": f"{BASE}/region/quillmere",
    }
    entries = feed.findall(f"{ATOM}entry")
    assert [entry.findtext(f"{ATOM}id") for entry in entries] == [
        "tag:lawns.example.org,2026:region/quillmere/2026-W21",
        "tag:lawns.example.org,2026:region/quillmere/2026-W19",
    ]
    for entry in entries:
        updated = datetime.fromisoformat(entry.findtext(f"{ATOM}updated") or "")
        assert updated.tzinfo is not None
        for name in ("id", "title", "updated", "summary"):
            assert len(entry.findall(f"{ATOM}{name}")) == 1
        content = entry.find(f"{ATOM}content")
        assert content is not None
        assert content.get("type") == "xhtml"
        assert [child.tag for child in content] == [f"{XHTML}div"]
    assert feed.findtext(f"{ATOM}updated") == "2026-05-18T12:00:00Z"
    page = entries[0].find(f"{ATOM}link")
    assert page is not None
    assert region.get((page.get("href") or "").removeprefix(BASE)).status_code == 200


def test_an_adviser_who_speaks_makes_the_entry_new_and_keeps_its_id(region: Visitor) -> None:
    before = feed_of(region.get("/region/quillmere/feed.atom"))
    region.now += timedelta(hours=3)
    say(region, "Rust on ryegrass.")
    after = feed_of(region.get("/region/quillmere/feed.atom"))
    for feed, updated in ((before, "2026-05-18T12:00:00Z"), (after, "2026-05-18T15:00:00Z")):
        assert feed.findtext(f"{ATOM}entry/{ATOM}updated") == updated
    ids = [[one.text for one in feed.iter(f"{ATOM}id")] for feed in (before, after)]
    assert ids[0] == ids[1]


def test_a_reader_who_has_it_is_sent_nothing(region: Visitor) -> None:
    path = "/region/quillmere/feed.atom"
    first = region.get(path)
    tag = first.headers["ETag"]
    for told in (tag, f"W/{tag}", f'"other", {tag}', "*"):
        again = region.get(path, headers={"If-None-Match": told})
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["ETag"] == tag
        assert again.headers["Cache-Control"] == "public, max-age=900"
    assert region.get(path, headers={"If-None-Match": '"other"'}).content == first.content
    say(region, "Rust on ryegrass.")
    changed = region.get(path, headers={"If-None-Match": tag})
    assert changed.status_code == 200
    assert changed.headers["ETag"] != tag
    assert region.session.head(region.url + path, timeout=30).status_code == 200


def test_a_feed_without_entries_is_a_feed(reader: Visitor) -> None:
    feed = feed_of(reader.get("/region/quillmere/feed.atom"))
    assert feed.findtext(f"{ATOM}updated") == "2026-05-04T12:00:00Z"
    assert feed.findall(f"{ATOM}entry") == []


def test_the_feed_has_the_newest_twenty_weeks(reader: Visitor) -> None:
    for _ in range(22):
        reader.wait(days=7)
    feed = feed_of(reader.get("/region/quillmere/feed.atom"))
    weeks = [(one.text or "")[-8:] for one in feed.findall(f"{ATOM}entry/{ATOM}id")]
    assert len(weeks) == 20
    assert (weeks[0], weeks[-1]) == ("2026-W41", "2026-W22")


def test_nobody_is_in_it(region: Visitor) -> None:
    for path in (
        "/",
        "/region",
        "/region/quillmere",
        "/region/quillmere/2026-W19",
        "/region/quillmere/feed.atom",
    ):
        page = region.get(path).text
        for number, position in enumerate(PLACES, 101):
            for secret in (f"Person{number}", "mail.example", f"Garden{number}", f"Lawn{number}", "Elm Lane"):
                assert secret not in page
            for degrees in position:
                assert f"{abs(degrees)}" not in page


def test_a_square_with_two_places_is_not_drawn(region: Visitor) -> None:
    page = region.get("/region/quillmere").text
    drawn = re.findall(r"<svg.*?</svg>", page, re.DOTALL)[0]
    assert "41." in drawn
    assert "42.3" not in drawn
    assert "93.5" not in drawn
