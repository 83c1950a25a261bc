"""What strangers may type, and how often: it floods nobody, it is no code, and it leads nowhere else."""

import csv
import io
import socket
from datetime import timedelta
from typing import Any

import pytest
from builders import TURF
from hypothesis import example, given
from hypothesis import strategies as st
from ledger import note
from phones import LETTERS, LINKS, MORNING, Phone
from stores import new_store
from web_people import ANN, Visitor, text_of

from mowalert.cli.lawns import _table
from mowalert.service.keepers.joining import ask_to_join, confirm
from mowalert.service.lawns.enrol import enrol
from mowalert.service.lawns.export import export_rows
from mowalert.service.reading.lawn_rows import COLUMNS
from mowalert.service.reading.lawn_table import read_table
from mowalert.service.reading.sheet import as_told
from mowalert.store.engine import SqlStore
from mowalert.web.site import network_of

VICTIM = "+15155550111"
FORM = {
    name: text
    for name, text in ANN.items()
    if name in ("latitude", "longitude", "grass", "height_mm", "watering", "sun", "units")
} | {"site": "Home"}


@pytest.fixture
def store(tmp_path: Any) -> SqlStore:
    return new_store(tmp_path / "store.db")


def ask(store: SqlStore, number: int, **told: str) -> None:
    """Sign up from a network of one's own, so that only what is asked for counts."""
    asked_at, sender = MORNING + timedelta(minutes=number), f"198.51.100.{number}"
    ask_to_join(store, TURF, LETTERS, LINKS, FORM | told, sender=sender, now=asked_at)


def queued(store: SqlStore, address: str) -> int:
    """Messages that wait for an address, looked at without taking them."""
    with store.begin() as work:
        late = MORNING + timedelta(hours=30)
        batch = work.outbox.lease(now=late, until=late + timedelta(minutes=1), limit=999)
    return sum(one.message.address.endswith(address) for one in batch)


def confirm_all(store: SqlStore) -> None:
    with store.begin() as work:
        signups = [one for keeper in work.keepers.all() for one in work.signups.of_keeper(keeper.keeper_id)]
    for number, one in enumerate(signups):
        at = MORNING + timedelta(hours=1, minutes=number)
        confirm(store, TURF, LETTERS, one.signup_id, cell_degrees=0.1, now=at)


def test_many_mailboxes_cannot_flood_one_phone(store: SqlStore) -> None:
    for number in range(12):
        ask(store, number, email=f"mailbox{number}@example.com", phone=VICTIM)
    confirm_all(store)
    sent = queued(store, VICTIM)
    note("texts to a phone typed by a stranger", 12, 12 if sent <= 3 else 0, 0, max(0, sent - 3))
    assert sent == 3


def test_a_phone_that_said_stop_is_texted_in_nobodys_name(store: SqlStore) -> None:
    ask(store, 1, keeper="Vic", phone=VICTIM)
    Phone(store, TURF, number=VICTIM, now=MORNING + timedelta(hours=1)).say("STOP")
    assert queued(store, VICTIM) == 1, "the answer to the stop itself"
    ask(store, 2, keeper="Somebody", phone=VICTIM)
    ask(store, 3, email="mailbox@example.com", phone=VICTIM)
    confirm_all(store)
    assert queued(store, VICTIM) == 1


def test_many_names_of_one_mailbox_are_one_mailbox(store: SqlStore) -> None:
    for number in range(12):
        ask(store, number, email=f"vic+{number}@example.com")
    sent = queued(store, "@example.com")
    note("mails to one mailbox under many names", 12, 12 if sent <= 3 else 0, 0, max(0, sent - 3))
    assert sent == 3


@pytest.mark.parametrize(
    ("host", "counted"),
    [
        ("192.0.2.7", "192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("2001:db8:1:2::ffff", "2001:db8:1:2::/64"),
        ("::ffff:192.0.2.7", "192.0.2.7"),
        ("unknown", "unknown"),
    ],
)
def test_a_line_with_many_addresses_is_one_sender(host: str, counted: str) -> None:
    assert network_of(host) == counted


@given(st.text(st.sampled_from("=+-@'\t a1|!,;\"{}"), min_size=1, max_size=12))
@example("=cmd|'/c calc'!A1")
@example("'=1+1")
def test_no_text_of_an_export_is_a_formula_and_each_comes_back_as_it_was(text: str) -> None:
    row = dict.fromkeys(COLUMNS, "") | {"keeper": text, "phone": VICTIM, "longitude": -93.15}
    table = _table([row])
    (cells,) = csv.DictReader(io.StringIO(table))
    begins = cells["keeper"][:1]
    assert begins not in ("=", "@", "\t", "\r")
    # What is no more than a number cannot do anything.
    assert begins not in ("+", "-") or cells["keeper"][1:].replace(".", "").isdecimal()
    assert as_told(cells["keeper"]) == text
    assert cells["phone"] == VICTIM


def test_what_was_exported_changes_nothing_when_it_is_imported(store: SqlStore) -> None:
    told = (
        "keeper,kind,email,phone,latitude,longitude,grass,height_mm,site\n"
        f'"=1+1",homeowner,a@example.org,{VICTIM},42,-73,kentucky_bluegrass,65,@home\n'
    )
    for changed in (1, 0):
        rows, report = read_table(told, TURF, now=MORNING)
        assert report.problems == []
        enrol(store, TURF, rows, report, source="a test", cell_degrees=0.1, now=MORNING)
        assert (report.added, report.changed) == (changed, 0)
        told = _table(export_rows(store))
    assert "'=1+1" in told


CODE = "{{ 7*191 }}{% raw %}{0.__class__}${7*191}%(name)s<b>x</b>"


def test_what_is_typed_is_no_template(visitor: Visitor) -> None:
    page = visitor.join(name=CODE)
    keeper_id = 1
    with visitor.services.store.begin() as work:
        keeper = work.keepers.get([keeper_id])[keeper_id]
        assert keeper.name == CODE
        site = next(iter(work.keepers.sites([1]).values()))
        assert site.name
    shown = visitor.get(page).text + visitor.get(f"{page}/leave").text
    visitor.wait(days=7, hours=7)
    visitor.deliver()
    said = shown + "".join(text_of(mail) + str(mail) for mail in visitor.mails())
    assert "1337" not in said
    assert "<b>x</b>" not in shown


def test_no_form_spoils_the_headers_of_a_mail(visitor: Visitor) -> None:
    sneaky = "Ann\r\nBcc: many@example.org\r\n\r\nHello"
    for told in ({"name": sneaky}, {"email": "ann@example.org\r\nBcc: many@example.org"}):
        visitor.now += timedelta(minutes=1)
        visitor.send("/join", ANN | told)
    visitor.send("/link", {"email": "ann@example.org\nBcc: many@example.org"})
    visitor.deliver()
    for mail in visitor.mails():
        assert mail["Bcc"] is None
        assert mail["To"] == "ann@example.org"


def raw(visitor: Visitor, request: bytes) -> bytes:
    """Send octets, and return the answer's head."""
    host, port = visitor.url.removeprefix("http://").split(":")
    with socket.create_connection((host, int(port)), timeout=20) as line:
        try:
            line.sendall(request)
        except OSError:
            return b""
        answer = b""
        while b"\r\n\r\n" not in answer:
            try:
                piece = line.recv(65536)
            except OSError:
                break
            if not piece:
                break
            answer += piece
    return answer


@pytest.mark.parametrize(
    "path",
    ["/join/", "//evil.example/", "//evil.example/%2e%2e/", "/operator/", "/my//x/", "/api/v1", "/static"],
)
def test_no_address_leads_to_another_host(visitor: Visitor, path: str) -> None:
    answer = raw(visitor, f"GET {path} HTTP/1.1\r\nHost: evil.example\r\nConnection: close\r\n\r\n".encode())
    head = answer.decode("latin-1").partition("\r\n\r\n")[0].casefold()
    assert head.startswith(("http/1.1 404", "http/1.1 303", "http/1.1 200"))
    assert "evil" not in head


def test_a_header_without_end_is_not_read(visitor: Visitor) -> None:
    answer = raw(visitor, b"GET / HTTP/1.1\r\nHost: x\r\nX-Long: " + b"a" * 10_000_000 + b"\r\n\r\n")
    assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
    assert visitor.get("/").status_code == 200
