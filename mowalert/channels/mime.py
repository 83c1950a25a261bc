"""A mail, byte by byte right: text and HTML with the same facts, and headers that programs can read.

Headers are written by Python's e-mail package, once each: senders, subjects and dates are few. Bodies are
ours, so their encoding is settled. The package would take as long for one mail as this does for dozens.
"""

import re
from binascii import b2a_qp
from datetime import datetime
from email.errors import HeaderDefect, HeaderParseError
from email.headerregistry import Address
from email.policy import SMTP as SMTP_POLICY
from email.utils import format_datetime, parseaddr
from functools import lru_cache

from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError

LINE_OCTETS = 998
"""Longest line of a mail, RFC 5322 section 2.1.1."""
RAW_VALUE = re.compile(rf"[!-\x7f]{{0,{LINE_OCTETS - 24}}}")
"""What may stand in a header as it is: no spaces, none of the characters that end or fold a line."""
LABEL = "[A-Za-z0-9](?:[A-Za-z0-9-]{0,30}[A-Za-z0-9])?"
SIMPLE_ADDRESS = re.compile(
    rf"(?=.{{6,70}}\Z)[A-Za-z0-9_+-]+(?:\.[A-Za-z0-9_+-]+)*@(?:{LABEL}\.)+[A-Za-z]{{2,20}}"
)
"""An address that nobody would quote, encode or fold."""
BOUNDARY = "=_words"
"""Between the parts: a body in quoted-printable cannot hold it, RFC 2045 section 6.7."""
FIXED_HEADERS = (
    "Auto-Submitted: auto-generated\r\n"
    "MIME-Version: 1.0\r\n"
    f'Content-Type: multipart/alternative; boundary="{BOUNDARY}"\r\n'
)
PART = (
    f"\r\n--{BOUNDARY}\r\n"
    'Content-Type: text/{}; charset="utf-8"\r\n'
    "Content-Transfer-Encoding: quoted-printable\r\n\r\n"
)
PLAIN_PART, HTML_PART = PART.format("plain").encode(), PART.format("html").encode()
END = f"\r\n--{BOUNDARY}--\r\n".encode()


def build_mime(message: OutgoingMessage, *, sender: str) -> bytes:
    """Build a mail.

    Parameters
    ----------
    message : OutgoingMessage
        What to send.
    sender : str
        From, such as ``Name <address>``.

    Returns
    -------
    bytes
        The mail with CRLF line ends, the same for the same message. Unsubscribe headers (RFC 2369, RFC 8058)
        stay raw, however long: Python's own folding would turn a long address into an encoded word.
    """
    headers = "".join(
        (
            _address_header("From", sender),
            _to(message.address),
            _text_header("Subject", " ".join(message.subject.split())),
            _date(message.created_at),
            FIXED_HEADERS,
            f"Message-ID: {_one_line(message.rfc_message_id)}\r\n",
            _unsubscribe(message.unsubscribe_url),
        )
    )
    parts = (PLAIN_PART, _encoded(message.text), HTML_PART, _encoded(message.html), END)
    return headers.encode("ascii") + b"".join(parts)


def _to(address: str) -> str:
    if SIMPLE_ADDRESS.fullmatch(address):
        return f"To: {address}\r\n"
    return _address_header("To", address)


def _unsubscribe(url: str) -> str:
    if not url:
        return ""
    return f"List-Unsubscribe: <{_one_line(url)}>\r\nList-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n"


def _one_line(value: str) -> str:
    if not RAW_VALUE.fullmatch(value):
        raise DeliveryError("a header value cannot be sent", permanent=True, channel=Channel.EMAIL)
    return value


def _encoded(body: str) -> bytes:
    return b2a_qp(b"\r\n".join([*(body.encode().splitlines() or [b""]), b""]))


@lru_cache(maxsize=1024)
def _address_header(name: str, text: str) -> str:
    return _folded(name, address_of(text))


@lru_cache(maxsize=4096)
def _text_header(name: str, text: str) -> str:
    return _folded(name, text)


@lru_cache(maxsize=64)
def _date(moment: datetime) -> str:
    return f"Date: {format_datetime(moment)}\r\n"


def _folded(name: str, value: str | Address) -> str:
    folded: str = SMTP_POLICY.fold(*SMTP_POLICY.header_store_parse(name, value))
    return folded


def address_of(text: str) -> Address:
    """Read an address such as ``Name <address>``; DeliveryError if it can be none."""
    name, address = parseaddr(text)
    if not address or any(letter in text for letter in "\r\n"):
        raise DeliveryError("an address cannot be used", permanent=True, channel=Channel.EMAIL)
    try:
        return Address(display_name=name, addr_spec=address)
    except (HeaderDefect, HeaderParseError) as error:
        raise DeliveryError("an address cannot be used", permanent=True, channel=Channel.EMAIL) from error
