"""CAP alerts and feeds, written after the standard (OASIS, 1 July 2010), and XML that must not be trusted."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from encodings.aliases import aliases
from time import process_time
from xml.sax.saxutils import escape

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from ports import free_port
from weather_server import WeatherServer

from mowalert.domain.warnings import AlertMessage, OfficialWarning, Severity, WarningKind, in_force
from mowalert.domain.weather import Place
from mowalert.errors import SourceError
from mowalert.service.ports import PulledWarnings
from mowalert.weather.cap import CapDocument, read_cap
from mowalert.weather.cap_feeds import FAULTS_TO_GIVE_UP, MOST_LINKED, CapFeed
from mowalert.weather.documents import Documents
from mowalert.weather.safe_xml import LARGEST

NOW = datetime(2026, 7, 15, 12, tzinfo=UTC)
CAP = "urn:oasis:names:tc:emergency:cap:1.2"
AROUND = "46.9,7.3 46.9,7.6 47.1,7.6 47.1,7.3 46.9,7.3"
BERN, ZURICH = Place(1, 46.95, 7.45, 60), Place(2, 47.35, 8.55, 60)
POLYGON = f"<polygon>{AROUND}</polygon>"


def an_area(shape: str = POLYGON, name: str = "Plateau") -> str:
    return f"<area><areaDesc>{name}</areaDesc>{shape}</area>"


def an_info(*areas: str, extra: str = "", **changes: str | None) -> str:
    """Part of an alert; an element that is none is left out."""
    said: dict[str, str | None] = {
        "language": "en-GB",
        "category": "Met",
        "event": "Heat warning",
        "urgency": "Expected",
        "severity": "Severe",
        "certainty": "Likely",
        "onset": "2026-07-15T12:00:00+02:00",
        "expires": "2026-07-17T20:00:00+02:00",
        "senderName": "Office of Weather",
        "headline": "Great heat on the plateau",
        "instruction": "Drink enough.\nStay in the shade.",
        "web": "https://weather.example/warnings/1",
    }
    told = elements(said | changes)
    return f"<info>{told}{extra}{''.join(areas or (an_area(),))}</info>"


def elements(said: Mapping[str, str | None]) -> str:
    return "".join(f"<{name}>{escape(value)}</{name}>" for name, value in said.items() if value is not None)


def an_alert(*infos: str, namespace: str = CAP, **changes: str | None) -> str:
    said: dict[str, str | None] = {
        "identifier": "2026-07-15-1",
        "sender": "alerts@weather.example",
        "sent": "2026-07-15T08:00:00+02:00",
        "status": "Actual",
        "msgType": "Alert",
        "scope": "Public",
    }
    return f'<alert xmlns="{namespace}">{elements(said | changes)}{"".join(infos or (an_info(),))}</alert>'


def read(document: str | bytes) -> CapDocument:
    data = document if isinstance(document, bytes) else document.encode()
    return read_cap(data, url="https://w.example/feed", page="https://w.example/1", now=NOW)


def message(document: str) -> AlertMessage:
    (found,) = read(document).messages
    return found


def warnings(document: str, *, now: datetime = NOW) -> list[OfficialWarning]:
    return [found.warning for found in in_force(read(document).messages, now=now)]


def test_a_warning_is_told_in_its_senders_own_words() -> None:
    assert warnings(an_alert()) == [
        OfficialWarning(
            warning_id="alerts@weather.example,2026-07-15-1",
            sender="Office of Weather",
            event="Heat warning",
            kind=WarningKind.HEAT,
            severity=Severity.SEVERE,
            headline="Great heat on the plateau",
            onset_at=datetime(2026, 7, 15, 10, tzinfo=UTC),
            ends_at=datetime(2026, 7, 17, 18, tzinfo=UTC),
            areas=("Plateau",),
            url="https://weather.example/warnings/1",
            instruction="Drink enough.\nStay in the shade.",
            language="en-GB",
        )
    ]


def test_what_may_be_missing_may_be_missing() -> None:
    optional = ("onset", "expires", "senderName", "headline", "instruction", "web", "language")
    (warning,) = warnings(an_alert(an_info(**dict.fromkeys(optional))))
    assert (warning.sender, warning.headline) == ("alerts@weather.example", "Heat warning")
    assert warning.onset_at == datetime(2026, 7, 15, 6, tzinfo=UTC)
    assert warning.ends_at == warning.onset_at + timedelta(days=1)
    assert (warning.language, warning.url) == ("en-US", "https://w.example/1")


@pytest.mark.parametrize("missing", ["identifier", "sender", "sent"])
def test_an_alert_without_its_identity_is_counted_as_broken(missing: str) -> None:
    document = read(an_alert(**{missing: None}))
    assert (document.messages, document.broken) == ((), 1)


def test_version_1_1_is_read_and_what_else_is_called_an_alert_is_not() -> None:
    assert warnings(an_alert(namespace="urn:oasis:names:tc:emergency:cap:1.1"))
    for namespace in ("urn:other", ""):
        with pytest.raises(SourceError, match="neither an alert nor a feed"):
            read(an_alert(namespace=namespace))


SILENT: dict[str, str] = {
    "a test": an_alert(status="Test"),
    "a draft": an_alert(status="Draft"),
    "an exercise": an_alert(status="Exercise"),
    "a private message": an_alert(scope="Private"),
    "an acknowledgement": an_alert(msgType="Ack"),
    "an error": an_alert(msgType="Error"),
    "a cancellation": an_alert(msgType="Cancel"),
    "an all clear": an_alert(an_info(extra="<responseType>AllClear</responseType>"), msgType="Update"),
    "the past": an_alert(an_info(urgency="Past")),
    "an event over": an_alert(an_info(expires="2026-07-15T11:59:59-00:00")),
    "a test product": an_alert(
        an_info(
            extra="<parameter><valueName>VTEC</valueName><value>/T.NEW.KMPX.XH.W.0002.000000T0000Z-/</value>"
            "</parameter>"
        )
    ),
}


@pytest.mark.parametrize("case", SILENT)
def test_what_does_not_warn_for_real_is_left_out(case: str) -> None:
    assert warnings(SILENT[case]) == []


def test_of_several_languages_one_is_shown() -> None:
    german = an_info(language="de-CH", headline="Große Hitze", event="Hitzewarnung")
    assert [one.headline for one in warnings(an_alert(german, an_info()))] == ["Great heat on the plateau"]
    french = an_info(language="fr-CH", headline="Grande chaleur")
    assert [one.headline for one in warnings(an_alert(german, french))] == ["Große Hitze"]


def test_parts_of_one_language_are_warnings_of_their_own() -> None:
    found = warnings(an_alert(an_info(), an_info(severity="Extreme", headline="Worse in the south")))
    assert [(one.headline, one.warning_id.rpartition(",")[2]) for one in found] == [
        ("Worse in the south", "2026-07-15-1 2"),
        ("Great heat on the plateau", "2026-07-15-1"),
    ]


def test_references_name_sender_identifier_and_time() -> None:
    refers = (
        "alerts@weather.example,2026-07-15-1,2026-07-15T08:00:00+02:00\n"
        " other@weather.example,7,2026-07-15T07:00:00+02:00 nonsense"
    )
    later = an_alert(identifier="2", msgType="Cancel", references=refers)
    assert message(later).replaces == {"alerts@weather.example,2026-07-15-1", "other@weather.example,7"}
    assert message(an_alert(references=refers)).replaces == frozenset()


def test_an_id_unique_in_the_world_is_the_one_other_services_use() -> None:
    oid = "urn:oid:2.49.0.1.840.0.1"
    assert message(an_alert(identifier=oid)).alert_id == oid
    update = an_alert(msgType="Update", references=f"a@b.example,{oid},2026-07-15T08:00:00+02:00")
    assert message(update).replaces == {oid}


def test_the_events_own_end_counts_where_a_parameter_tells_it() -> None:
    ends = (
        "<parameter><valueName>eventEndingTime</valueName>"
        "<value>2026-07-19T20:00:00-05:00</value></parameter>"
    )
    assert warnings(an_alert(an_info(extra=ends)))[0].ends_at == datetime(2026, 7, 20, 1, tzinfo=UTC)


def test_an_address_that_is_no_web_page_is_no_link() -> None:
    (warning,) = warnings(an_alert(an_info(web="javascript:alert(1)")))
    assert warning.url == "https://w.example/1"


def test_a_document_may_be_in_another_encoding() -> None:
    text = an_alert(an_info(headline="Große Hitze"))
    for encoding in ("utf-16", "iso-8859-1", "windows-1252", "utf-8-sig"):
        declared = "utf-8" if encoding == "utf-8-sig" else encoding
        document = f'<?xml version="1.0" encoding="{declared}"?>{text}'.encode(encoding)
        assert read(document).messages[0].warnings[0].warning.headline == "Große Hitze"


class Authority:
    """A feed on loopback and its client."""

    def __init__(self, server: WeatherServer, path: str = "/feed") -> None:
        self.server = server
        self.client = CapFeed(Documents(contact="a test", tries=1), server.url + path)

    def says(self, path: str, document: str, status: int = 200) -> None:
        self.server.says(path, document.encode(), status)

    def pull(self, *places: Place) -> PulledWarnings:
        return self.client.pull(places or (BERN, ZURICH), now=NOW)

    def headlines(self) -> list[str]:
        return [placed.warning.headline for placed in self.pull().found]


@pytest.fixture
def authority(server: WeatherServer) -> Authority:
    return Authority(server)


AREAS = {
    "a polygon": (POLYGON, (1,)),
    "an outline not closed": ("<polygon>46.9,7.3 46.9,7.6 47.1,7.6 47.1,7.3</polygon>", (1,)),
    "a circle": ("<circle>47.0,8.0 60</circle>", (1, 2)),
    "a circle too small": ("<circle>47.38,8.54 0</circle>", (2,)),
    "one of two": (f"<polygon>10,10 10,11 11,11 10,10</polygon>{POLYGON}", (1,)),
    "a polygon beside a code": (
        f"{POLYGON}<geocode><valueName>EMMA_ID</valueName><value>CH1</value></geocode>",
        (1,),
    ),
    "a code only": ("<geocode><valueName>EMMA_ID</valueName><value>CH1</value></geocode>", ()),
    "a name only": ("", ()),
    "an outline that cannot be read": ("<polygon>46.9;7.3 46.9,x 1e999,nan</polygon>", ()),
    "a circle that cannot be read": ("<circle>47,8 wide</circle>", ()),
}


@pytest.mark.parametrize("case", AREAS)
def test_a_warning_is_placed_by_its_shapes(authority: Authority, case: str) -> None:
    shape, cells = AREAS[case]
    authority.says("/feed", an_alert(an_info(an_area(shape))))
    (placed,) = authority.pull().found
    assert placed.cell_ids == cells


def test_a_warning_for_elsewhere_is_left_out(authority: Authority) -> None:
    authority.says("/feed", an_alert(an_info(an_area("<circle>-33.9,151.2 50</circle>"))))
    pulled = authority.pull()
    assert (pulled.found, pulled.answered, pulled.refused) == ((), (1, 2), ())


def atom(*entries: str) -> str:
    return f'<feed xmlns="http://www.w3.org/2005/Atom" xmlns:cap="{CAP}">{"".join(entries)}</feed>'


def an_entry(href: str, extra: str = "", *, of_type: str = "application/cap+xml") -> str:
    return f'<entry><link href="/page.html"/><link type="{of_type}" href="{href}"/>{extra}</entry>'


def test_an_atom_feed_leads_to_its_alerts(authority: Authority) -> None:
    authority.says("/feed", atom(an_entry("/a/1"), an_entry(f"{authority.server.url}/a/2"), an_entry("/a/1")))
    authority.says("/a/1", an_alert(an_info(web=None, headline="One")))
    authority.says("/a/2", an_alert(an_info(headline="Two", severity="Minor"), identifier="2"))
    pulled = authority.pull()
    assert [placed.warning.headline for placed in pulled.found] == ["One", "Two"]
    assert pulled.found[0].warning.url == f"{authority.server.url}/a/1"
    assert (pulled.answered, pulled.refused) == ((1, 2), ())
    assert authority.server.asked == ["/feed", "/a/1", "/a/2"]
    assert "mowalert/" in authority.server.agents[0]


def test_an_rss_feed_leads_to_its_alerts(authority: Authority) -> None:
    items = (
        "<item><title>x</title><link>a/1</link></item>"
        '<item><link>page</link><enclosure url="/a/2" type="application/cap+xml"/></item><item/>'
    )
    authority.says("/feed", f'<rss version="2.0"><channel>{items}</channel></rss>')
    authority.says("/a/1", an_alert(an_info(headline="One")))
    authority.says("/a/2", an_alert(an_info(headline="Two"), identifier="2"))
    assert sorted(authority.headlines()) == ["One", "Two"]


def test_alerts_inside_a_feed_are_read_where_they_are(authority: Authority) -> None:
    inside = f'<content type="text/xml">{an_alert()}</content>'
    authority.says("/feed", atom(an_entry("/a/1", inside)))
    assert authority.headlines() == ["Great heat on the plateau"]
    assert authority.server.asked == ["/feed"]


def test_entries_that_say_they_are_over_are_not_fetched(authority: Authority) -> None:
    over = "<cap:expires>2026-07-15T11:00:00-00:00</cap:expires>"
    authority.says("/feed", atom(an_entry("/a/1", over)))
    assert authority.pull().refused == ()
    assert authority.server.asked == ["/feed"]


def test_a_message_of_a_feed_cancels_another_of_it(authority: Authority) -> None:
    references = "alerts@weather.example,2026-07-15-1,2026-07-15T08:00:00+02:00"
    authority.says("/feed", atom(an_entry("/a/1"), an_entry("/a/2")))
    authority.says("/a/1", an_alert())
    authority.says("/a/2", an_alert(identifier="2", msgType="Cancel", references=references))
    pulled = authority.pull()
    assert pulled.found == ()
    assert pulled.replaced == {"alerts@weather.example,2026-07-15-1"}


def test_links_to_another_host_are_not_followed(authority: Authority) -> None:
    with WeatherServer().running() as other:
        other.says("/a/1", an_alert().encode())
        local = an_entry("file:///etc/passwd")
        authority.says("/feed", atom(an_entry(f"{other.url}/a/1"), local))
        pulled = authority.pull()
        assert other.asked == []
    assert pulled.found == ()
    assert "1 links lead to another host" in pulled.refused[0][1].reason


def test_a_link_that_leads_nowhere_costs_one_alert(authority: Authority) -> None:
    """What is gone is gone: the rest of the feed is whole."""
    authority.says("/feed", atom(an_entry("/gone"), an_entry("/gone/2"), an_entry("/a/1")))
    authority.says("/a/1", an_alert())
    pulled = authority.pull()
    assert len(pulled.found) == 1
    assert pulled.answered == (1, 2)
    assert [refusal.reason.partition(": ")[2] for _, refusal in pulled.refused] == ["status 404"]


def test_after_a_passing_fault_no_cell_counts_as_answered(authority: Authority) -> None:
    authority.says("/feed", atom(an_entry("/down"), an_entry("/a/1")))
    authority.says("/down", "", status=503)
    authority.says("/a/1", an_alert())
    pulled = authority.pull()
    assert len(pulled.found) == 1
    assert pulled.answered == ()


def test_a_feed_whose_alerts_keep_failing_is_given_up(authority: Authority) -> None:
    authority.says("/feed", atom(*(an_entry(f"/down/{number}") for number in range(20))))
    authority.says("/down", "", status=500)
    authority.pull()
    assert len(authority.server.asked) == 1 + FAULTS_TO_GIVE_UP


def test_a_feed_of_too_many_alerts_is_read_in_part(authority: Authority) -> None:
    authority.says("/feed", atom(*(an_entry(f"/none/{number}") for number in range(MOST_LINKED + 5))))
    pulled = authority.pull()
    assert len(authority.server.asked) == 1 + MOST_LINKED
    assert pulled.answered == ()


def test_a_slow_feed_does_not_hold_up_a_night(server: WeatherServer) -> None:
    client = CapFeed(Documents(contact="", tries=1), f"{server.url}/feed", patience_s=-1)
    server.says("/feed", atom(an_entry("/a/1")).encode())
    pulled = client.pull([BERN], now=NOW)
    assert "takes too long" in pulled.refused[0][1].reason
    assert server.asked == ["/feed"]


def test_a_feed_that_is_down_is_told_and_never_raised() -> None:
    client = CapFeed(Documents(contact="", tries=1), f"http://127.0.0.1:{free_port()}/feed")
    pulled = client.pull([BERN], now=NOW)
    assert (pulled.answered, pulled.found, len(pulled.refused)) == ((), (), 1)


@pytest.mark.parametrize("url", ["http://a..b/", "http://[::1", "http://127.0.0.1:99999/", "http://\x00/"])
def test_an_address_that_cannot_be_asked_is_told_and_never_raised(url: str) -> None:
    with pytest.raises(SourceError):
        Documents(contact="", tries=1).get("cap", url)


def test_a_key_in_the_feeds_address_is_shown_to_nobody(server: WeatherServer) -> None:
    authority = Authority(server, "/feed?key=s3cret")
    authority.says("/feed", an_alert(an_info(web=None)))
    pulled = authority.pull()
    assert pulled.found[0].warning.url == ""
    authority.says("/feed", "", status=401)
    assert "s3cret" not in repr((pulled, authority.pull()))


def test_each_feed_has_a_name_of_its_own() -> None:
    library = Documents(contact="")
    names = {CapFeed(library, f"https://w.example/{part}").name for part in ("north", "south", "south")}
    assert len(names) == 2
    assert all(name.startswith("cap w.example ") for name in names)


def test_a_document_too_large_is_not_read_to_its_end(authority: Authority) -> None:
    authority.server.says("/feed", b"<feed>" + b" " * LARGEST + b"</feed>")
    assert "too large" in authority.pull().refused[0][1].reason


LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 30))
HOSTILE = {
    "a billion laughs": f'<!DOCTYPE alert [<!ENTITY l0 "ha">{LAUGHS}]><alert>&l29;</alert>',
    "a quadratic blow-up": f'<!DOCTYPE a [<!ENTITY x "{"x" * 100_000}">]><a>{"&x;" * 20_000}</a>',
    "a file": '<!DOCTYPE a [<!ENTITY x SYSTEM "file:///etc/passwd">]><a>&x;</a>',
    "a parameter entity": '<!DOCTYPE a [<!ENTITY % x SYSTEM "http://127.0.0.1:1/"> %x;]><a/>',
    "an outside document type": '<!DOCTYPE a SYSTEM "http://127.0.0.1:1/a.dtd"><a/>',
    "an entity never declared": f'<alert xmlns="{CAP}">&laugh;</alert>',
    "too deep": "<a>" * 100_000,
    "too wide": f"<a>{'<b/>' * 150_000}</a>",
    "too large": f"<a>{' ' * LARGEST}</a>",
    "cut off": "<alert><info>",
    "two roots": "<a/><b/>",
    "nothing": "",
    "HTML": "<!doctype html><html></html>",
    "JSON": "{}",
    "an unknown encoding": '<?xml version="1.0" encoding="klingon"?><a/>',
    "an encoding that is none": '<?xml version="1.0" encoding="rot13"?><a/>',
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_xml_is_refused_quickly(case: str) -> None:
    began = process_time()
    with pytest.raises(SourceError) as caught:
        read(HOSTILE[case])
    # The worst of them would cost a naive reader gigabytes or hours.
    assert process_time() - began < 5
    assert caught.value.permanent


def read_or_refused(data: bytes) -> None:
    try:
        document = read(data)
    except SourceError:
        return
    in_force(document.messages, now=NOW)


@given(st.binary(max_size=200))
@example(b"\xff\xfe<\x00")
def test_no_bytes_raise_anything_but_a_sources_error(data: bytes) -> None:
    read_or_refused(data)


@given(st.sampled_from(sorted(set(aliases) | set(aliases.values()))), st.binary(max_size=40))
def test_no_encoding_raises_anything_but_a_sources_error(encoding: str, data: bytes) -> None:
    read_or_refused(b'<?xml version="1.0" encoding="' + encoding.encode() + b'"?><a>' + data + b"</a>")


TAGS = st.sampled_from(
    [
        "alert",
        "info",
        "area",
        "parameter",
        "identifier",
        "sender",
        "sent",
        "status",
        "msgType",
        "references",
        "event",
        "expires",
        "polygon",
        "circle",
        "geocode",
        "valueName",
        "value",
        "feed",
        "entry",
        "item",
        "link",
        "content",
        "language",
        "responseType",
        "scope",
    ]
)
VALUES = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=12) | st.sampled_from(
    [
        "Actual",
        "Alert",
        "Update",
        "Cancel",
        "a,b,c",
        AROUND,
        "47,8 10",
        "2026-07-15T08:00:00+02:00",
        "http://[",
    ]
)
NAMESPACES = st.sampled_from(
    ["", f' xmlns="{CAP}"', ' xmlns="http://www.w3.org/2005/Atom"', ' xmlns="}[1]{"']
)


@st.composite
def trees(draw: st.DrawFn, depth: int = 4) -> str:
    tag, inner = draw(TAGS), escape(draw(VALUES))
    if depth and draw(st.booleans()):
        inner = "".join(draw(st.lists(trees(depth - 1), max_size=4)))
    return f"<{tag}{draw(NAMESPACES)}>{inner}</{tag}>"


@given(trees())
def test_no_tree_raises_anything_but_a_sources_error(document: str) -> None:
    read_or_refused(document.encode())


@given(st.dictionaries(TAGS, VALUES, max_size=6), st.dictionaries(TAGS, VALUES, max_size=6), VALUES)
def test_whatever_an_alert_says_the_pull_goes_on(
    alert: dict[str, str], info: dict[str, str], shape: str
) -> None:
    changes: dict[str, str | None] = {name: value for name, value in info.items() if name != "area"}
    area = an_area(f"<polygon>{escape(shape)}</polygon>")
    document = an_alert(an_info(area, **changes), **{k: v for k, v in alert.items() if k != "info"})

    class Library:
        def get(self, source: str, url: str) -> bytes:
            return document.encode()

    assert CapFeed(Library(), "https://w.example/feed").pull([BERN], now=NOW).answered in ((1,), ())
