"""Bounces as mail systems write them, in words and addresses of our own, and bytes nobody should send."""

import base64
import mailbox
import re
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ports import free_port

from mowalert.channels.bounces import (
    COMPLAINT,
    LONGEST_REASON,
    MOST_OCTETS,
    MOST_RECIPIENTS,
    Bounce,
    Complaint,
    from_imap,
    from_maildir,
    read_bounce,
)
from mowalert.errors import ConfigError, InputError, SourceError

HOST = "mow.example.org"
OURS = "<4f0c2b@mow.example.org>"
RETURNED = f"""\
Received: from mow.example.org by relay.example.org; Thu, 7 May 2026 22:05:01 +0000
From: Quillmere Lawns <turf@mow.example.org>
To: ann@example.org
Subject: Mow Saturday at 3 in
Message-ID: {OURS}
"""


def a_report(
    *blocks: str,
    head: str = "From: Mail Delivery System <MAILER-DAEMON@relay.example.org>",
    status_type: str = "message/delivery-status",
    encoding: str = "",
    returned_type: str = "message/rfc822",
    returned: str = f"{RETURNED}\nMow: Saturday, 3 in\n",
    text: str = "Your mail could not be handed over.",
) -> bytes:
    """A report of three parts, as RFC 6522 says."""
    fields = "\n\n".join(("Reporting-MTA: dns; relay.example.org", *blocks)) + "\n"
    if encoding == "base64":
        fields = base64.encodebytes(fields.encode()).decode()
    status_head = f"Content-Type: {status_type}" + (
        f"\nContent-Transfer-Encoding: {encoding}" if encoding else ""
    )
    return on_the_wire(f"""\
{head}
To: turf@mow.example.org
Subject: Undelivered
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="4A1B.177/relay"

This is a report in parts.

--4A1B.177/relay
Content-Type: text/plain; charset=us-ascii
Content-Description: Notification

{text}

--4A1B.177/relay
{status_head}

{fields}
--4A1B.177/relay
Content-Type: {returned_type}

{returned}
--4A1B.177/relay--
""")


def on_the_wire(text: str) -> bytes:
    return text.replace("\n", "\r\n").encode()


def a_block(
    address: str = "rfc822; ann@example.org",
    action: str = "failed",
    status: str = "5.1.1",
    said: str = "smtp; 550 5.1.1 <ann@example.org>: no such mailbox here",
    more: str = "",
) -> str:
    lines = [f"Final-Recipient: {address}", f"Action: {action}", f"Status: {status}"]
    lines += [f"Diagnostic-Code: {said}"] if said else []
    return "\n".join([*lines, more] if more else lines)


POSTFIX = a_report(
    a_block(more="Original-Recipient: rfc822;ann@example.org\nRemote-MTA: dns; mx.example.org"),
    text="I'm sorry to say that one address was refused.\n\n<ann@example.org>: host mx.example.org said: 550",
)
EXIM = a_report(
    a_block(address="rfc822;ann@example.org", status="5.0.0", said="smtp; 550-5.1.1 Unknown\n here"),
    head="X-Failed-Recipients: ann@example.org\nFrom: Mail Delivery System <Mailer-Daemon@example.org>",
)
EXCHANGE = a_report(
    a_block(
        status="5.1.10",
        said="smtp;550 5.1.10 RESOLVER.ADR.NotFound; Recipient not found by SMTP address lookup",
        more="X-Display-Name: ann@example.org\nRemote-MTA: dns;mail.example.org",
    ),
    head=f"From: postmaster@example.org\nIn-Reply-To: {OURS}\nX-MS-Exchange-Message-Is-Ndr:",
    returned_type="text/plain",
    returned="(the mail was not kept)",
)
FULL = a_report(a_block(status="4.2.2", said="smtp; 452 4.2.2 The mailbox is over its quota"))
DELAYED = a_report(a_block(action="delayed", status="4.4.1", said="X-Relay; connection timed out"))
HEADERS_ONLY = a_report(a_block(), returned_type="text/rfc822-headers", returned=RETURNED)
OPENSMTPD = a_report(a_block(action="error", said=""))
COMMENTED = a_report(a_block(action="Failed (expired)", status="5.4.7 (delivery time expired)", said=""))
GLOBAL = a_report(
    a_block(address="utf-8; jörg@bücher.example", said="smtp; 550 5.1.1 Postfach jörg gibt es nicht"),
    status_type="message/global-delivery-status",
    returned_type="message/global",
    returned=f"{RETURNED}X-Comment: grün\n\nMow\n",
)
ESCAPED = a_report(a_block(address=r"utf-8; j\x{F6}rg@example.org"))
BASE64 = a_report(a_block(), status_type="message/global-delivery-status", encoding="base64")
QUOTED = a_report(a_block(address="rfc822; ann=40example.org"), encoding="quoted-printable")
NESTED = on_the_wire("""\
From: MAILER-DAEMON@list.example.org
Content-Type: multipart/mixed; boundary=outer

--outer
""") + POSTFIX[POSTFIX.index(b"Content-Type: multipart/report") :] + on_the_wire("""\
--outer
Content-Type: text/plain

A footer that some gateway added.
--outer--
""")  # fmt: skip
SEVERAL = a_report(
    a_block(),
    a_block(address="rfc822; bob@example.org", status="4.7.1", said="smtp; 450 4.7.1 Try again later"),
    a_block(address="rfc822; cleo@example.org", action="relayed", status="2.0.0", said=""),
)
BROKEN_CHARSET = POSTFIX.replace(b"charset=us-ascii", b'charset="no-such\x00set"').replace(
    b"I'm sorry", b"D\xe9sol\xe9 \xff\xfe"
)
QMAIL = on_the_wire(f"""\
Return-Path: <>
From: MAILER-DAEMON@mx.example.org
To: turf@mow.example.org
Subject: failure notice

Hi. This is the qmail-send program at mx.example.org.
Your message did not get through to these addresses.

<ann@example.org>:
192.0.2.7 does not like recipient.
Remote host said: 550 5.1.1 unknown or illegal alias
Giving up on 192.0.2.7.

--- Below this line is a copy of the message.

{RETURNED}
Mow: Saturday, 3 in
""")
OLD_EXIM = on_the_wire(f"""\
X-Failed-Recipients: ann@example.org
Auto-Submitted: auto-replied
From: Mail Delivery System <Mailer-Daemon@example.org>
To: turf@mow.example.org
References: <20260501@elsewhere.example.org> {OURS}
Subject: Mail delivery failed

A mail of yours could not be passed on to its recipient:

  ann@example.org
    mailbox is full: retry timeout exceeded 452 4.2.2
""")
OLD_EXCHANGE = on_the_wire(f"""\
Return-Path: <>
From: System Administrator <postmaster@example.org>
Subject: Undeliverable: Mow Saturday at 3 in
Content-Type: multipart/mixed; boundary=b1

--b1
Content-Type: text/plain; charset=utf-8
Content-Transfer-Encoding: base64

{
    base64.encodebytes(b'''Your mail

  Subject: Mow Saturday at 3 in

did not reach the following recipient(s):

Ann@Example.Org on Thu, 7 May 2026 22:06:00 +0000
    The recipient name is not recognized
    MSEXCH:IMS:Example:Site:MAIL 0 (000C05A6) Unknown Recipient
''').decode()
}
--b1
Content-Type: message/rfc822

{RETURNED}
Mow
--b1--
""")


def of(address: str, code: str, reason: str, *, permanent: bool = True, told: str = OURS) -> Bounce:
    return Bounce(address, permanent, code, reason, told)


NO_MAILBOX = of("ann@example.org", "5.1.1", "550 5.1.1 <ann@example.org>: no such mailbox here")
SAMPLES = {
    "postfix": (POSTFIX, [NO_MAILBOX]),
    "exim": (EXIM, [of("ann@example.org", "5.1.1", "550-5.1.1 Unknown here")]),
    "exchange": (
        EXCHANGE,
        [
            of(
                "ann@example.org",
                "5.1.10",
                "550 5.1.10 RESOLVER.ADR.NotFound; Recipient not found by SMTP address lookup",
            )
        ],
    ),
    "mailbox full": (
        FULL,
        [of("ann@example.org", "4.2.2", "452 4.2.2 The mailbox is over its quota", permanent=False)],
    ),
    "delayed": (DELAYED, [of("ann@example.org", "4.4.1", "connection timed out", permanent=False)]),
    "headers only": (HEADERS_ONLY, [NO_MAILBOX]),
    "opensmtpd": (OPENSMTPD, [of("ann@example.org", "5.1.1", "5.1.1")]),
    "commented": (COMMENTED, [of("ann@example.org", "5.4.7", "5.4.7 (delivery time expired)")]),
    "global": (GLOBAL, [of("jörg@bücher.example", "5.1.1", "550 5.1.1 Postfach jörg gibt es nicht")]),
    "escaped": (ESCAPED, [of("jörg@example.org", "5.1.1", NO_MAILBOX.reason)]),
    "base64": (BASE64, [NO_MAILBOX]),
    "quoted": (QUOTED, [NO_MAILBOX]),
    "nested": (NESTED, [NO_MAILBOX]),
    "several": (
        SEVERAL,
        [NO_MAILBOX, of("bob@example.org", "4.7.1", "450 4.7.1 Try again later", permanent=False)],
    ),
    "broken charset": (BROKEN_CHARSET, [NO_MAILBOX]),
    "qmail": (
        QMAIL,
        [of("ann@example.org", "5.1.1", "Remote host said: 550 5.1.1 unknown or illegal alias")],
    ),
    "old exim": (
        OLD_EXIM,
        [
            of(
                "ann@example.org",
                "4.2.2",
                "mailbox is full: retry timeout exceeded 452 4.2.2",
                permanent=False,
            )
        ],
    ),
    "old exchange": (
        OLD_EXCHANGE,
        [of("Ann@example.org", "", "Undeliverable: Mow Saturday at 3 in")],
    ),
}


@pytest.mark.parametrize("name", SAMPLES)
def test_a_bounce_is_read_whoever_wrote_it(name: str) -> None:
    raw, expected = SAMPLES[name]
    assert read_bounce(raw, host=HOST) == expected


@pytest.mark.parametrize("name", SAMPLES)
def test_bare_line_ends_make_no_difference(name: str) -> None:
    raw, expected = SAMPLES[name]
    assert read_bounce(raw.replace(b"\r\n", b"\n"), host=HOST) == expected


def test_a_bounce_that_names_no_sender_is_read() -> None:
    unnamed = QMAIL.replace(b"From: MAILER-DAEMON@mx.example.org\r\n", b"")
    assert read_bounce(unnamed, host=HOST) == SAMPLES["qmail"][1]


def one(*blocks: str) -> Bounce:
    (bounce,) = read_bounce(a_report(*blocks), host=HOST)
    return bounce


@pytest.mark.parametrize("action", ["delivered", "relayed", "expanded"])
def test_a_report_of_success_is_no_bounce(action: str) -> None:
    assert read_bounce(a_report(a_block(action=action, status="2.0.0", said="")), host=HOST) == []


@pytest.mark.parametrize(
    ("status", "said", "permanent"),
    [
        ("5.2.1", "", True),
        ("4.4.7", "", False),
        ("", "smtp; 550 no such user", True),
        ("", "smtp; 450 busy", False),
        ("nonsense", "X-Unix; went wrong", False),
        ("", "smtp; connection to 5.1.1.7 was refused", False),
    ],
)
def test_only_a_failure_of_class_five_is_permanent(status: str, said: str, permanent: bool) -> None:
    assert one(a_block(status=status, said=said)).permanent is permanent


def test_a_delay_is_never_permanent() -> None:
    assert not one(a_block(action="delayed", status="5.1.1")).permanent


def test_the_address_we_wrote_to_counts_and_not_the_one_it_was_sent_on_to() -> None:
    sent_on = a_block(
        address="rfc822; box7@other.example", more="Original-Recipient: rfc822; ann@example.org"
    )
    assert one(sent_on).address == "ann@example.org"


@pytest.mark.parametrize(
    "form", ["<ann@example.org>", "rfc822;<ann@EXAMPLE.org.>", "RFC822 ; ann@example.org"]
)
def test_an_address_is_read_in_every_form(form: str) -> None:
    assert one(a_block(address=form)).address == "ann@example.org"


@pytest.mark.parametrize(
    "form",
    [
        "x400; /G=Ann/S=Example/",
        "rfc822; ann",
        "rfc822;",
        r"utf-8; \x{D800}@example.org",
        "a" * 300 + "@b.org",
    ],
)
def test_what_is_no_address_of_mail_is_passed_over(form: str) -> None:
    assert read_bounce(a_report(a_block(address=form)), host=HOST) == []


def test_an_address_told_twice_counts_once_and_as_the_worst() -> None:
    assert one(a_block(action="delayed", status="4.0.0"), a_block(), a_block()).permanent


def test_reports_of_many_are_read_up_to_a_limit() -> None:
    blocks = [a_block(address=f"rfc822; member{number}@example.org") for number in range(120)]
    found = read_bounce(a_report(*blocks), host=HOST)
    assert [bounce.address for bounce in found[:2]] == ["member0@example.org", "member1@example.org"]
    assert len(found) == MOST_RECIPIENTS


def test_a_reason_is_one_short_line() -> None:
    said = "smtp; 550 5.1.1 \x1b[31mno\x07 mailbox\n here " + "and so on " * 60
    reason = one(a_block(said=said)).reason
    assert reason.startswith("550 5.1.1 [31mno mailbox here and so on")
    assert len(reason) <= LONGEST_REASON
    assert reason.isprintable()


def test_a_mail_that_is_not_ours_has_no_number_of_ours() -> None:
    assert [bounce.rfc_message_id for bounce in read_bounce(POSTFIX, host="other.example.org")] == [""]


def test_a_bounce_that_is_given_back_is_not_taken_for_news() -> None:
    returned = POSTFIX.replace(b"177/relay", b"178/relay").decode()
    assert read_bounce(a_report(a_block(action="relayed"), returned=returned), host=HOST) == []


def test_a_bounce_that_a_person_passes_on_is_not_taken_for_news() -> None:
    passed_on = b"From: ann@example.org\r\nContent-Type: message/rfc822\r\n\r\n" + POSTFIX
    assert read_bounce(passed_on, host=HOST) == []
    quoted = QMAIL.replace(b"MAILER-DAEMON@mx", b"ann@mx").replace(b"Return-Path: <>\r\n", b"")
    assert read_bounce(quoted, host=HOST) == []


@pytest.mark.parametrize(
    "head",
    [
        "Auto-Submitted: auto-replied\nReturn-Path: <>",
        "Return-Path: <>\nX-Autoreply: yes",
        "Subject: Out of office",
        "Subject: Thank you",
    ],
)
def test_people_and_their_automatic_replies_are_no_bounce(head: str) -> None:
    text = "Your message could not be delivered to\nann@example.org\n\nwho is away, mowing."
    assert read_bounce(on_the_wire(f"From: ann@example.org\n{head}\n\n{text}\n"), host=HOST) == []


def test_a_receipt_is_no_bounce() -> None:
    receipt = a_report(
        status_type="message/disposition-notification",
        text="Your message could not be delivered to\nann@example.org",
    )
    assert read_bounce(receipt, host=HOST) == []


def a_feedback(kind: str = "abuse", *, recipient: str = "Original-Rcpt-To: <ann@example.org>\n") -> bytes:
    return on_the_wire(f"""\
From: <feedback@provider.example.org>
Content-Type: multipart/report; report-type=feedback-report; boundary=fb

--fb
Content-Type: text/plain

Somebody pressed the button.

--fb
Content-Type: message/feedback-report

Feedback-Type: {kind}
User-Agent: ExampleLoop/1.0
Version: 1
{recipient}
--fb
Content-Type: message/rfc822

{RETURNED}
Mow: Saturday, 3 in
--fb--
""")


def test_a_complaint_is_told_apart_from_a_bounce() -> None:
    said = "abuse, reported by ExampleLoop/1.0"
    assert read_bounce(a_feedback(), host=HOST) == [
        Complaint("ann@example.org", True, COMPLAINT, said, OURS),
    ]


def test_a_complaint_without_its_address_is_found_by_the_mail_it_gives_back() -> None:
    (complaint,) = read_bounce(a_feedback(recipient=""), host=HOST)
    assert (complaint.address, complaint.rfc_message_id) == ("ann@example.org", OURS)
    concealed = a_feedback(recipient="").replace(b"To: ann@example.org", b"To: [redacted]")
    (complaint,) = read_bounce(concealed, host=HOST)
    assert (complaint.address, complaint.rfc_message_id) == ("", OURS)
    assert read_bounce(concealed, host="other.example.org") == []


@pytest.mark.parametrize("kind", ["not-spam", "auth-failure", "virus", ""])
def test_feedback_that_asks_for_nothing_is_no_complaint(kind: str) -> None:
    assert read_bounce(a_feedback(kind), host=HOST) == []


def test_a_mail_that_is_too_large_is_refused() -> None:
    with pytest.raises(InputError, match="too large"):
        read_bounce(b"x" * (MOST_OCTETS + 1), host=HOST)


def test_a_report_is_read_however_large_the_mail_it_gives_back() -> None:
    large = a_report(a_block(), returned=f"{RETURNED}\n" + "Mow: Saturday, 3 in\n" * 50_000)
    assert read_bounce(large, host=HOST) == [NO_MAILBOX]


LEVEL = b"Content-Type: multipart/mixed; boundary=b%d\n\n--b%d\n"
DAEMON = b"From: mailer-daemon@example.org\n"


@pytest.mark.parametrize(
    "raw",
    [
        b"".join(LEVEL % (at, at) for at in range(30_000)),
        b"".join(LEVEL % (at, at) for at in range(15)) + b"\n" * 1_000_000,
        b"Content-Type: message/rfc822\n\n" * 60_000,
        DAEMON + b"Content-Type: multipart/mixed; boundary=b\n\n" + b"--b\n\n" * 300_000,
        DAEMON + b"\nYour message could not be delivered to\n" + b"a" * 1_000_000,
        DAEMON + b"\nYour message to:\n" + b"a@" * 500_000,
        DAEMON + b'Content-Type: multipart/report; x="' + b';"' * 500_000,
        b"X-Failed-Recipients: " + b"(" * 1_000_000,
        DAEMON + b"Content-Transfer-Encoding: x-uuencode\n\nbegin 666 a\n\xff\n",
        DAEMON + b"Content-Type: text/plain; charset*=\0''x\n\n\xff",
        DAEMON + b"Content-Transfer-Encoding: base64\n\n=\xff=",
    ],
    ids=["deep", "tall", "boxes", "parts", "word", "signs", "quotes", "brackets", "uu", "charset", "base64"],
)
def test_a_hostile_mail_ends_as_nothing(raw: bytes) -> None:
    assert read_bounce(raw, host=HOST) == []


PIECES = st.sampled_from(
    sorted({line for raw, _ in SAMPLES.values() for line in raw.splitlines(keepends=True)})
)


def is_sound(found: list[Bounce]) -> bool:
    return len(found) <= MOST_RECIPIENTS and all(
        "@" in bounce.address
        and bounce.address.isprintable()
        and (bounce.code == "" or re.fullmatch(r"[245](\.\d{1,3}){2}", bounce.code))
        and len(bounce.reason) <= LONGEST_REASON
        and (bounce.reason == "" or bounce.reason.isprintable())
        and re.fullmatch(r"(<[!-~]+@mow\.example\.org>)?", bounce.rfc_message_id, re.IGNORECASE)
        for bounce in found
    )


@given(st.binary(max_size=2000))
def test_any_bytes_are_read_without_a_complaint(raw: bytes) -> None:
    assert is_sound(read_bounce(raw, host=HOST))


@given(st.lists(PIECES | st.binary(max_size=20), max_size=60).map(b"".join))
def test_lines_of_bounces_in_any_order_are_read_without_a_complaint(raw: bytes) -> None:
    assert is_sound(read_bounce(raw, host=HOST))


@given(st.sampled_from(list(SAMPLES)), st.data())
def test_a_damaged_bounce_is_read_without_a_complaint(name: str, data: st.DataObject) -> None:
    raw = SAMPLES[name][0]
    start = data.draw(st.integers(0, len(raw)))
    end = data.draw(st.integers(start, min(len(raw), start + 200)))
    damage = data.draw(st.binary(max_size=30) | PIECES)
    assert is_sound(read_bounce(raw[:start] + damage + raw[end:], host=HOST))


@given(st.from_regex(r"[a-z0-9.+_=/-]{1,40}@[a-z0-9-]{1,20}\.example", fullmatch=True))
def test_any_plain_address_is_read_as_it_is(address: str) -> None:
    assert one(a_block(address=f"rfc822; {address}")).address == address


def test_a_maildir_gives_its_mails_and_keeps_them_until_they_are_discarded(tmp_path: Path) -> None:
    box = mailbox.Maildir(tmp_path / "bounces")
    for raw in (POSTFIX, QMAIL):
        box.add(raw)
    left = list(from_maildir(tmp_path / "bounces"))
    assert sorted(raw for _, raw in left) == sorted([POSTFIX, QMAIL])
    box.discard(left[0][0])
    assert list(from_maildir(tmp_path / "bounces")) == left[1:]


def test_a_mail_taken_away_meanwhile_is_passed_over(tmp_path: Path) -> None:
    box = mailbox.Maildir(tmp_path / "bounces")
    for _ in range(2):
        box.add(POSTFIX)
    left = from_maildir(tmp_path / "bounces")
    next(left)
    box.clear()
    assert list(left) == []


def test_a_mail_that_is_too_large_is_not_read_to_its_end(tmp_path: Path) -> None:
    mailbox.Maildir(tmp_path / "bounces").add(b"From: a@example.org\n\n" + b"x\n" * MOST_OCTETS)
    ((_, raw),) = from_maildir(tmp_path / "bounces")
    with pytest.raises(InputError):
        read_bounce(raw, host=HOST)


@pytest.mark.parametrize("name", ["nothing", "empty"])
def test_a_folder_that_is_no_maildir_is_a_clear_error(tmp_path: Path, name: str) -> None:
    (tmp_path / "empty").mkdir()
    with pytest.raises(ConfigError, match=name):
        list(from_maildir(tmp_path / name))


@dataclass
class Box:
    """A mailbox on a server: its mails by number, which were seen, and what was asked."""

    mails: dict[int, bytes] = field(default_factory=dict)
    seen: set[int] = field(default_factory=set)
    asked: list[str] = field(default_factory=list)
    password: str = "secret"  # noqa: S105 - of a server that lives for one test
    drops_on: str = ""

    def answer(self, command: str) -> tuple[bytes, str]:
        """What is said before the last word, and the last word; as far as RFC 3501 is needed here."""
        words = command.split()
        match [word.upper() for word in words[:2]]:
            case ["CAPABILITY"]:
                return b"* CAPABILITY IMAP4rev1\r\n", "OK"
            case ["LOGIN", _]:
                return b"", "OK" if words[2] == f'"{self.password}"' else "NO"
            case ["SELECT", _]:
                return b"* 2 EXISTS\r\n", "OK" if "bounces" in command else "NO"
            case ["UID", "SEARCH"]:
                unseen = " ".join(str(uid) for uid in sorted(self.mails) if uid not in self.seen)
                return f"* SEARCH {unseen}\r\n".encode(), "OK"
            case ["UID", "FETCH"]:
                return self._mail(int(words[2]), int(words[3].split(".")[-1].rstrip(">)"))), "OK"
            case ["UID", "STORE"]:
                self.seen.add(int(words[2]))
        return b"", "OK"

    def _mail(self, uid: int, most: int) -> bytes:
        if uid not in self.mails:
            return b""
        raw = self.mails[uid][:most]
        return b"* 1 FETCH (UID %d BODY[]<0> {%d}\r\n%b)\r\n" % (uid, len(raw), raw)


@contextmanager
def a_server(box: Box) -> Iterator[int]:
    class Talk(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"* OK ready\r\n")
            while line := self.rfile.readline().decode().strip():
                tag, _, command = line.partition(" ")
                box.asked.append(command)
                if box.drops_on and box.drops_on in command:
                    return
                before, last = box.answer(command)
                self.wfile.write(before + f"{tag} {last} done\r\n".encode())

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        try:
            yield int(server.server_address[1])
        finally:
            server.shutdown()


def reading(
    port: int,
    *,
    password: str = "secret",  # noqa: S107 - of a server that lives for one test
    folder: str = "the bounces",
    tls: bool = False,
) -> Iterator[bytes]:
    return from_imap("127.0.0.1", port, "turf", password, folder, tls=tls)


def test_a_mail_on_a_server_is_seen_only_when_the_next_is_asked_for() -> None:
    box = Box({4: POSTFIX, 7: QMAIL, 9: FULL}, seen={9})
    with a_server(box) as port:
        mails = reading(port)
        assert next(mails) == POSTFIX
        assert box.seen == {9}
        assert next(mails) == QMAIL
        assert box.seen == {9, 4}
        assert list(mails) == []
    assert box.seen == {9, 4, 7}
    assert 'SELECT "the bounces"' in box.asked


def test_whoever_stops_reading_leaves_the_last_mail_for_the_next_time() -> None:
    box = Box({4: POSTFIX, 7: QMAIL})
    with a_server(box) as port:
        mails = reading(port)
        next(mails)
        next(mails)
        mails.close()  # type: ignore[attr-defined]
        assert box.seen == {4}
        assert box.asked[-1] == "LOGOUT"
        assert list(reading(port)) == [QMAIL]


def test_a_mail_removed_from_the_server_meanwhile_is_passed_over() -> None:
    box = Box({4: POSTFIX, 7: QMAIL})
    with a_server(box) as port:
        mails = reading(port)
        next(mails)
        del box.mails[7]
        assert list(mails) == []


def test_a_mail_on_a_server_that_is_too_large_is_not_read_to_its_end() -> None:
    with a_server(Box({4: b"x" * (MOST_OCTETS + 500)})) as port:
        assert [len(raw) for raw in reading(port)] == [MOST_OCTETS + 1]


@pytest.mark.parametrize("wrong", [{"password": "guess"}, {"folder": "elsewhere"}, {"folder": "Überläufer"}])
def test_a_mailbox_that_is_refused_is_a_permanent_error(wrong: dict[str, str]) -> None:
    with a_server(Box()) as port, pytest.raises(SourceError, match="refused") as caught:
        list(reading(port, **wrong))  # type: ignore[arg-type]
    assert caught.value.permanent
    assert "secret" not in str(caught.value)


@pytest.mark.parametrize("at", ["LOGIN", "SEARCH", "FETCH", "STORE"])
def test_a_line_that_drops_is_worth_another_try(at: str) -> None:
    with a_server(Box({4: POSTFIX}, drops_on=at)) as port, pytest.raises(SourceError) as caught:
        list(reading(port))
    assert not caught.value.permanent


def test_a_server_that_is_away_or_speaks_no_tls_is_worth_another_try() -> None:
    with pytest.raises(SourceError) as away:
        list(reading(free_port()))
    with a_server(Box()) as port, pytest.raises(SourceError) as plain:
        list(reading(port, tls=True))
    assert not away.value.permanent
    assert not plain.value.permanent
