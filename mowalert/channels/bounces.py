"""Bounces and complaints: reading what mail systems report of mails sent, and where they leave it."""

import binascii
import imaplib
import logging
import mailbox
import quopri
import re
import ssl
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from email import message_from_bytes
from email.message import Message
from email.parser import HeaderParser
from email.policy import Compat32
from itertools import islice
from pathlib import Path
from typing import Any

from flufl.bounce import all_failures

from mowalert.errors import ConfigError, InputError, SourceError

COMPLAINT = "complaint"
"""The code of a complaint, where a bounce has its enhanced status."""
IMAP_TIMEOUT_S = 30.0

# A stranger may send any bytes here. What a real report has lies far below each of these.
MOST_OCTETS = 2 * 1024 * 1024
MOST_READ = 128 * 1024
"""A report stands before the mail it gives back, so that nothing of use comes later."""
MOST_BOUNDARIES = 20
"""Each level of parts makes the parser try every later line once more."""
MOST_RECIPIENTS = 50
MOST_PARTS = 100
MOST_BLOCKS = 200
DEEPEST = 8
LONGEST_FIELD = 8192
LONGEST_REASON = 200
LONGEST_ADDRESS = 254
"""RFC 5321 section 4.5.3.1.3, without the angle brackets."""
GUESSED_CHARACTERS = 64 * 1024
GUESSED_LINE = 500
"""The fallback's patterns take time by the square of a line's length."""

STATUS_TYPES = frozenset({"message/delivery-status", "message/global-delivery-status"})
RETURNED_TYPES = frozenset(
    {"message/rfc822", "message/global", "text/rfc822-headers", "message/global-headers"}
)
FAILED, DELAYED = ("failed", "error"), ("delayed",)
"""How an action begins; ``error`` is in no standard, and said by OpenSMTPD."""
FINE = ("delivered", "relayed", "expanded")
COMPLAINTS = frozenset({"abuse", "fraud", "opt-out", "opt-out-list"})
"""Feedback types that ask for less mail, of RFC 5965 section 7.3 and of common use; others, such as
``not-spam``, don't."""

ENHANCED = re.compile(r"(?<![\d.])([245])\.(\d{1,3})\.(\d{1,3})(?![\d.]*\d)")
"""An enhanced status code, RFC 3463 section 2, and no part of an IP address."""
REPLY = re.compile(r"(?<![\d.])([45])\d\d(?![\d.]*\d)")
ADDRESS = re.compile(r"[^\s<>()\[\],;:\"@]+@[^\s<>()\[\],;:\"@]+")
CODE_POINT = re.compile(r"\\x\{([0-9A-Fa-f]{2,6})\}")
BOUNDARY = re.compile(rb"boundary[\s*\d]*=", re.IGNORECASE)
DAEMON = re.compile(r"\b(mail(er)?-?daemon|mdaemon|postmaster)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Bounce:
    """What was reported of one address.

    ``code`` is the enhanced status (RFC 3463) such as ``5.1.1`` or empty, ``reason`` one line of what
    was said, ``rfc_message_id`` that of our mail, angle brackets included, or empty. Anyone can write
    a bounce: without one of our message ids it is hearsay.
    """

    address: str
    permanent: bool
    code: str
    reason: str
    rfc_message_id: str


@dataclass(frozen=True, slots=True)
class Complaint(Bounce):
    """A person called the mail unwanted; ``address`` is empty where the reporter conceals it."""


class _Readable(Compat32):
    """Headers as short text, in UTF-8 (RFC 6532) where they are not ASCII, and never as an object."""

    def header_fetch_parse(self, name: str, value: str) -> str:
        return _utf8(value[:LONGEST_FIELD].encode("utf-8", "surrogateescape"))


POLICY = _Readable()
# What the library fails on is passed over here: without this, Python prints its traces for want of a log.
logging.getLogger("flufl.bounce").addHandler(logging.NullHandler())


def read_bounce(raw: bytes, *, host: str) -> list[Bounce]:
    """Read what a mail says of addresses that could not be reached, or of people who complain.

    Parameters
    ----------
    raw : bytes
        The mail as it arrived.
    host : str
        Right-hand side of our own message ids; ids of others are not told.

    Returns
    -------
    list[Bounce]
        One for each address, in the report's order; none for reports of success, automatic
        replies, ordinary mail, and whatever cannot be read.

    Raises
    ------
    InputError
        If the mail is larger than 2 MiB.

    References
    ----------
    .. [1] RFC 3464, delivery status notifications; RFC 6533, with addresses beyond ASCII.
    .. [2] RFC 5965, feedback reports.
    """
    if len(raw) > MOST_OCTETS:
        raise InputError(f"a mail of {len(raw)} bytes is too large for a bounce: at most {MOST_OCTETS}")
    message = _parsed(raw[:MOST_READ])
    if message is None:
        return []
    parts = list(islice(_parts(message), MOST_PARTS + 1))
    if len(parts) > MOST_PARTS:
        return []
    kinds = {part.get_content_type() for part in parts}
    rfc_message_id = _our_message_id(message, parts, host)
    if "message/feedback-report" in kinds:
        return _once_each(_complaints(parts, rfc_message_id))
    if blocks := list(_status_blocks(parts)):
        return _once_each(_bounces(blocks, rfc_message_id))
    # A receipt (RFC 8098) tells of a mail that arrived.
    if "message/disposition-notification" in kinds or not _is_from_a_mail_system(message):
        return []
    return _once_each(_guessed(message, parts, rfc_message_id))


def _parsed(raw: bytes) -> Message | None:
    if len(BOUNDARY.findall(raw)) > MOST_BOUNDARIES:
        return None
    try:
        return message_from_bytes(raw.replace(b"\r\n", b"\n"), policy=POLICY)
    except Exception:
        # The library has no promise for hostile bytes: charsets and nesting make it fail in many ways.
        return None


def _parts(message: Message, depth: int = 0) -> Iterator[Message]:
    """Parts in order, without looking into the mail that is given back: it may be a bounce itself."""
    if message.get_content_maintype() != "multipart" or not message.is_multipart() or depth == DEEPEST:
        yield message
        return
    for part in _inner(message):
        yield from _parts(part, depth + 1)


def _inner(part: Message) -> list[Message]:
    inner = part.get_payload() if part.is_multipart() else []
    return [one for one in inner if isinstance(one, Message)]


def _text(part: Message) -> str:
    """Write out a part's body, also where the library took it for a mail or for blocks of headers."""
    if not part.is_multipart():
        data = part.get_payload(decode=True)
        return _utf8(data) if isinstance(data, bytes) else ""
    body = "\n\n".join(_written_out(inner) for inner in _inner(part))
    return _utf8(_decoded(body.encode(), part.get("content-transfer-encoding", "")))


def _written_out(message: Message) -> str:
    head = "".join(f"{name}: {value}\n" for name, value in message.items())
    return head if message.is_multipart() else f"{head}\n{_text(message)}"


def _decoded(data: bytes, encoding: str) -> bytes:
    """Undo a transfer encoding, which the library does not do for what it took for a mail."""
    if encoding.strip().lower() == "quoted-printable":
        return quopri.decodestring(data)
    if encoding.strip().lower() == "base64":
        with suppress(binascii.Error):
            return binascii.a2b_base64(data)
    return data


def _utf8(data: bytes) -> str:
    return data.decode("utf-8", "replace").replace("\r\n", "\n")


def _fields(text: str) -> Message:
    return HeaderParser(policy=POLICY).parsestr(text.lstrip("\n"))


def _blocks(part: Message) -> list[Message]:
    """Blocks of fields between blank lines, RFC 3464 section 2.1."""
    return [_fields(block) for block in re.split(r"\n[ \t]*\n", _text(part))[:MOST_BLOCKS] if block]


def _our_message_id(message: Message, parts: list[Message], host: str) -> str:
    """Find which of our mails a report is about, the surest place first."""
    ours = rf"<[!-;=?A-~]{{1,150}}@{re.escape(host)}>"
    for part in parts:
        if part.get_content_type() in RETURNED_TYPES and (
            found := re.search(ours, _fields(_text(part)).get("message-id", ""), re.IGNORECASE)
        ):
            return found[0]
    for name in ("references", "in-reply-to"):
        if found := re.search(ours, message.get(name, ""), re.IGNORECASE):
            return found[0]
    # Our sender's address may have the same right-hand side: the header's name has to stand before it.
    quoted = re.compile(rf"message-id:[ \t]*({ours})", re.IGNORECASE)
    for part in parts:
        if part.get_content_maintype() == "text" and (found := quoted.search(_text(part))):
            return found[1]
    return ""


def _once_each(found: Iterable[Bounce]) -> list[Bounce]:
    """Keep one report for each address, a permanent one before others."""
    kept: dict[str, Bounce] = {}
    for bounce in islice(found, MOST_RECIPIENTS):
        before = kept.get(bounce.address)
        if before is None or (bounce.permanent and not before.permanent):
            kept[bounce.address] = bounce
    return list(kept.values())


def _status_blocks(parts: list[Message]) -> Iterator[Message]:
    """Per-recipient blocks whose action is a known one."""
    known = FAILED + DELAYED + FINE
    for part in parts:
        if part.get_content_type() in STATUS_TYPES:
            blocks = _blocks(part)
            yield from (block for block in blocks if _action(block).startswith(known) and _recipient(block))


def _action(block: Message) -> str:
    return block.get("action", "").strip().lower()


def _bounces(blocks: list[Message], rfc_message_id: str) -> Iterator[Bounce]:
    for block in blocks:
        action = _action(block)
        if action.startswith(FINE):
            continue
        status, said = block.get("status", ""), block.get("diagnostic-code", "")
        code = _code(status, said)
        yield Bounce(
            address=_recipient(block),
            permanent=action.startswith(FAILED) and _class(code, said) == "5",
            code=code,
            reason=_one_line(re.sub(r"^\s*[\w-]+\s*;", "", said)) or _one_line(status or action),
            rfc_message_id=rfc_message_id,
        )


def _recipient(block: Message) -> str:
    """Read the address we wrote to, or the one it was sent on to where that is all that is told."""
    values = (block.get(name, "") for name in ("original-recipient", "final-recipient"))
    return next((address for value in values if (address := _address(value))), "")


def _address(value: str) -> str:
    kind, semicolon, address = value.partition(";")
    if not semicolon:
        kind, address = "rfc822", value
    if kind.strip().lower() == "utf-8":
        # RFC 6533 section 3: code points in ASCII's stead.
        address = CODE_POINT.sub(lambda found: _letter(int(found[1], 16)), address)
    elif kind.strip().lower() != "rfc822":
        return ""
    found = ADDRESS.search(address[:1000])
    local, _, domain = found[0].rpartition("@") if found else ("", "", "")
    plain = f"{local}@{domain.rstrip('.').lower()}"
    usable = len(plain) <= LONGEST_ADDRESS and plain.isprintable() and "\ufffd" not in plain
    return plain if local and domain.strip(".") and usable else ""


def _letter(code_point: int) -> str:
    return chr(code_point) if code_point <= 0x10FFFF and not 0xD800 <= code_point < 0xE000 else "\ufffd"


def _code(status: str, said: str) -> str:
    """Choose the status code; what the other server said in detail before a general ``5.0.0``."""
    codes = [found[0] for text in (status, said) if (found := ENHANCED.search(text))]
    general = len(codes) == 2 and codes[0].endswith(".0.0") and codes[1][0] == codes[0][0]
    return codes[1] if general else next(iter(codes), "")


def _class(code: str, said: str) -> str:
    if code:
        return code[0]
    reply = REPLY.search(said)
    return reply[1] if reply else ""


def _one_line(text: str) -> str:
    letters = (letter if letter.isprintable() else " " for letter in text)
    return " ".join("".join(letters).split())[:LONGEST_REASON].rstrip()


def _complaints(parts: list[Message], rfc_message_id: str) -> Iterator[Complaint]:
    for part in parts:
        if part.get_content_type() == "message/feedback-report":
            for block in _blocks(part):
                yield from _complaints_of(block, parts, rfc_message_id)


def _complaints_of(block: Message, parts: list[Message], rfc_message_id: str) -> Iterator[Complaint]:
    kind = block.get("feedback-type", "").strip().lower()
    if kind not in COMPLAINTS:
        return
    told = block.get_all("original-rcpt-to", []) + block.get_all("removal-recipient", [])
    returned = [part for part in parts if part.get_content_type() in RETURNED_TYPES]
    written_to = [_fields(_text(part)).get("to", "") for part in returned]
    addresses = [address for value in told if (address := _address(value))]
    addresses = addresses or [address for value in written_to if (address := _address(value))]
    if not addresses and not rfc_message_id:
        return
    reason = _one_line(f"{kind}, reported by {block.get('user-agent', '') or 'a mail service'}")
    for address in addresses or [""]:
        yield Complaint(address, True, COMPLAINT, reason, rfc_message_id)


def _is_from_a_mail_system(message: Message) -> bool:
    """Tell a mail server's bounce from a person's mail that quotes one, and from automatic replies."""
    if message.get("x-failed-recipients") or DAEMON.search(message.get("from", "")):
        return True
    # RFC 5321 section 4.5.5: reports have no return path, and automatic replies may have none.
    automatic = message.get("auto-submitted", "").strip().lower().startswith("auto-replied")
    automatic = automatic or any(name in message for name in ("x-autoreply", "x-autorespond"))
    return message.get("return-path", "").strip() == "<>" and not automatic


def _guessed(message: Message, parts: list[Message], rfc_message_id: str) -> Iterator[Bounce]:
    """Read bounces of no standard by the patterns the library has collected."""
    lines = _tamed(parts)
    if not message.get("from", "").strip():
        # The library fails on a mail that names no sender.
        del message["from"]
        message["From"] = "nobody"
    try:
        temporary, permanent = all_failures(message)
    except Exception:
        # Its patterns were made for real bounces and have no promise for anything else.
        return
    for found in sorted(permanent | temporary):
        if address := _address(found.decode("utf-8", "replace")):
            said = _said_of(address, lines)
            code = _code("", said)
            yield Bounce(
                address=address,
                permanent=found in permanent and _class(code, said) != "4",
                code=code,
                reason=_one_line(said or message.get("subject", "")),
                rfc_message_id=rfc_message_id,
            )


def _tamed(parts: list[Message]) -> list[str]:
    """Shorten the parts, in place, to what the library's patterns can take; their lines are given back."""
    room, kept = GUESSED_CHARACTERS, []
    for part in parts:
        returned = part.get_content_maintype() != "text"
        lines = [] if returned else [line[:GUESSED_LINE] for line in _text(part)[:room].splitlines()]
        room = max(0, room - sum(len(line) + 1 for line in lines))
        part.set_payload("\n".join(lines))
        del part["content-transfer-encoding"]
        kept += lines
    return kept


def _said_of(address: str, lines: list[str]) -> str:
    """Find the line with a code that stands on or soon after the line with the address."""
    named = [at for at, line in enumerate(lines) if address.lower() in line.lower()]
    near = (line for at in named for line in lines[at : at + 6])
    return next((line for line in near if ENHANCED.search(line) or REPLY.search(line)), "")


def from_maildir(path: Path) -> Iterator[tuple[str, bytes]]:
    """Read the mails a delivery agent left in a Maildir.

    Parameters
    ----------
    path : Path
        The folder with ``cur``, ``new`` and ``tmp``.

    Yields
    ------
    tuple[str, bytes]
        A mail's key and its bytes, the oldest first; of one that is too large for `read_bounce`,
        just enough to be refused there. It stays until the caller discards the key
        (`mailbox.Maildir.discard`), so that a crash loses none.

    Raises
    ------
    ConfigError
        If there is no such Maildir, or it cannot be read.
    """
    try:
        box = mailbox.Maildir(path, create=False)
        for key in sorted(box.keys()):
            if (raw := _content(box, key)) is not None:
                yield key, raw
    except mailbox.NoSuchMailboxError as error:
        raise ConfigError(f"{path}: there is no Maildir") from error
    except OSError as error:
        raise ConfigError(f"{path}: cannot be read as a Maildir: {error.strerror}") from error


def _content(box: mailbox.Maildir, key: str) -> bytes | None:
    try:
        with box.get_file(key) as file:
            return bytes(file.read(MOST_OCTETS + 1))
    except KeyError:  # another program took it meanwhile
        return None


def from_imap(
    host: str, port: int, username: str, password: str, folder: str, *, tls: bool
) -> Iterator[bytes]:
    """Read the unseen mails of a folder on a mail server.

    Parameters
    ----------
    host : str
        The server.
    port : int
        Its port.
    username : str
        Of the mailbox that bounces go to.
    password : str
        Never shown.
    folder : str
        Such as ``INBOX``.
    tls : bool
        Encrypt from the first byte on; without it the password is readable on the way.

    Yields
    ------
    bytes
        One mail; of one that is too large for `read_bounce`, just enough to be refused there. It is
        marked as seen when the next is asked for and not before, so that a crash loses none.

    Raises
    ------
    SourceError
        If the server cannot be reached, or refuses; permanent if it refuses.
    """
    try:
        with _connected(host, port, tls=tls) as server:
            server.login(username, password)
            _asked(server.select(_quoted(folder)))
            for uid in _asked(server.uid("SEARCH", "UNSEEN"))[0].split():
                for raw in _fetched(server, uid.decode()):
                    yield raw
                    _asked(server.uid("STORE", uid.decode(), "+FLAGS.SILENT", r"(\Seen)"))
    except (imaplib.IMAP4.error, OSError, UnicodeError) as error:
        raise _not_read(host, error) from error


def _not_read(host: str, error: Exception) -> SourceError:
    # To the library a dropped line is an abort, and so is a mailbox that may only be read.
    lost = isinstance(error, (OSError, imaplib.IMAP4.abort)) and not isinstance(error, imaplib.IMAP4.readonly)
    said = type(error).__name__ if lost else "login or folder was refused"
    return SourceError(f"bounces at {host}: {said}", permanent=not lost, source="imap")


@contextmanager
def _connected(host: str, port: int, *, tls: bool) -> Iterator[imaplib.IMAP4]:
    if tls:
        context = ssl.create_default_context()
        server: imaplib.IMAP4 = imaplib.IMAP4_SSL(host, port, ssl_context=context, timeout=IMAP_TIMEOUT_S)
    else:
        server = imaplib.IMAP4(host, port, timeout=IMAP_TIMEOUT_S)
    try:
        yield server
    finally:
        # Where the line has dropped, the library's own goodbye fails and leaves the socket open.
        with suppress(imaplib.IMAP4.error, OSError):
            server.logout()
        with suppress(OSError):
            server.shutdown()


def _quoted(folder: str) -> str:
    escaped = folder.replace("\\", r"\\").replace('"', r"\"")
    return f'"{escaped}"'


def _asked(answer: tuple[str, list[Any]]) -> list[Any]:
    """Give an answer's data, if it is one: the library raises for some refusals and returns others."""
    if answer[0] != "OK":
        raise imaplib.IMAP4.error(answer[0])
    return answer[1]


def _fetched(server: imaplib.IMAP4, uid: str) -> list[bytes]:
    """Fetch a mail without marking it; none if another program removed it meanwhile."""
    data = _asked(server.uid("FETCH", uid, f"(BODY.PEEK[]<0.{MOST_OCTETS + 1}>)"))
    return [item[1] for item in data if isinstance(item, tuple)][:1]
