"""Mails built by hand are those of Python's e-mail package, whatever is in them."""

import email
from dataclasses import replace
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP, default
from email.utils import format_datetime, parseaddr

import pytest
from builders import a_mail
from digests import DIGESTS
from hypothesis import given, settings
from hypothesis import strategies as st

from mowalert.channels.messages import render_email
from mowalert.channels.mime import build_mime
from mowalert.domain.notices import OutgoingMessage
from mowalert.errors import DeliveryError

SENDER = "Césped & Más <turf@example.org>"
LINES = st.text(st.characters(codec="utf-8"), max_size=40) | st.sampled_from(
    [
        ".",
        "..",
        ".x",
        "From here",
        "trailing ",
        "tab\t",
        "=3D=",
        "é" * 400,
        "x" * 1200,
        "--=_words--",
        "Bcc: a@b.c",
    ]
)
BODIES = st.lists(LINES, max_size=5).map("\n".join)
SUBJECTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=90) | st.sampled_from(
    ["", "Corte el sábado a 7½ cm", "Mow Saturday\r\nBcc: all@example.org", "=?utf-8?q?no?=", "word " * 30]
)
LOCAL = st.from_regex(r"\A[a-z0-9_+-]{1,40}(\.[a-z0-9]{1,9})?\Z") | st.sampled_from(
    ["a..b", '"q s"', "o'hara"]
)
DOMAINS = st.sampled_from(["example.org", "a.b.example.com", "x" * 60 + ".example", "localhost", "-a.org"])
NAMES = st.sampled_from(["{}", "Ann <{}>", "Ñandú, José <{}>", '"Q. <x>" <{}>'])
ADDRESSES = st.builds(lambda name, *at: name.format("@".join(at)), NAMES, LOCAL, DOMAINS) | st.text(
    max_size=20
)


def by_the_package(message: OutgoingMessage) -> EmailMessage:
    """The same mail as Python's package builds and reads it."""
    mail = EmailMessage(policy=SMTP)
    for name, text in (("From", SENDER), ("To", message.address)):
        shown, address = parseaddr(text)
        mail[name] = Address(display_name=shown, addr_spec=address)
    mail["Subject"] = " ".join(message.subject.split())
    mail["Date"] = format_datetime(message.created_at)
    mail["Auto-Submitted"] = "auto-generated"
    mail.set_content(message.text)
    mail.add_alternative(message.html, subtype="html")
    read = email.message_from_bytes(mail.as_bytes(), policy=default)
    assert isinstance(read, EmailMessage)
    return read


def assert_same(message: OutgoingMessage) -> None:
    data = build_mime(message, sender=SENDER)
    mail, wanted = email.message_from_bytes(data, policy=default), by_the_package(message)
    for name in ("From", "To", "Subject", "Date", "Auto-Submitted", "MIME-Version"):
        assert mail.get_all(name) == wanted.get_all(name), name
    assert mail["Message-ID"] == message.rfc_message_id
    assert mail.get("List-Unsubscribe", "") == (message.unsubscribe_url and f"<{message.unsubscribe_url}>")
    assert len(mail.keys()) == 8 + 2 * bool(message.unsubscribe_url)
    parts, theirs = list(mail.iter_parts()), list(wanted.iter_parts())
    assert [part.get_content_type() for part in parts] == [part.get_content_type() for part in theirs]
    assert [part.get_content() for part in parts] == [part.get_content() for part in theirs]
    assert not mail.defects + [defect for part in parts for defect in part.defects]
    assert data.isascii()
    assert b"\n" not in data.replace(b"\r\n", b"")
    head, _, body = data.partition(b"\r\n\r\n")
    assert max(map(len, head.split(b"\r\n"))) <= 998
    assert max(map(len, body.split(b"\r\n"))) <= 78


@settings(deadline=None, max_examples=60)
@given(BODIES, BODIES, SUBJECTS)
def test_words_arrive_as_they_were_said(text: str, html: str, subject: str) -> None:
    assert_same(a_mail(text=text, html=html, subject=subject))


@settings(deadline=None, max_examples=60)
@given(ADDRESSES)
def test_addresses_are_written_as_the_package_writes_them(address: str) -> None:
    message = a_mail(address=address)
    try:
        data = build_mime(message, sender=SENDER)
    except DeliveryError:
        return
    assert data.count(b"\r\nTo:") == 1
    assert_same(message)


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("name", DIGESTS)
def test_every_kind_of_digest_is_read_as_it_was_worded(name: str, language: str) -> None:
    digest = DIGESTS[name]
    mail = render_email(replace(digest, to=replace(digest.to, language=language)), service_name="Céspedes")
    assert_same(a_mail(subject=mail.subject, text=mail.text, html=mail.html))
