"""E-mail: handing a message to a server or a folder."""

from contextlib import suppress
from dataclasses import replace
from email.utils import parseaddr
from pathlib import Path

from email_validator import EmailNotValidError, validate_email

from mowalert.channels.mime import build_mime
from mowalert.channels.smtp import (
    FAULTS,
    Connection,
    HandOverError,
    LineDroppedError,
    RefusedError,
    Security,
    Server,
)
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError

SMTP_TIMEOUT_S = 30.0


class SmtpTransport:
    """Hands mails to a server over a connection kept open from one to the next.

    Parameters
    ----------
    host : str
        The server.
    port : int
        Its port.
    sender : str
        From.
    security : Security
        How the connection is protected.
    username : str
        Empty for none.
    password : str
        Never shown.
    timeout_s : float
        For each exchange.
    """

    channel = Channel.EMAIL

    def __init__(
        self,
        host: str,
        port: int,
        *,
        sender: str,
        security: Security = "none",
        username: str = "",
        password: str = "",
        timeout_s: float = SMTP_TIMEOUT_S,
    ) -> None:
        self._server = Server(host, port, security, username, password, timeout_s)
        self._sender, self._bounces_to = sender, parseaddr(sender)[1]
        self._connection: Connection | None = None

    def send(self, message: OutgoingMessage) -> None:
        """Send one mail; DeliveryError tells whether trying again can help."""
        if not message.address.isascii():
            message = replace(message, address=_in_ascii(message.address))
        data = build_mime(message, sender=self._sender)
        try:
            self._hand_over(message.address, data)
        except RefusedError as refusal:
            raise _refused(refusal) from refusal
        except LineDroppedError as drop:
            # The server may have taken it before the line dropped: the same Message-ID goes again.
            raise DeliveryError(
                str(drop), permanent=False, channel=Channel.EMAIL, fate_known=not drop.mail_is_out
            ) from drop

    def close(self) -> None:
        """Hang up."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.close()

    def _hand_over(self, address: str, data: bytes) -> None:
        """Use the connection there is, or a new one: servers close those that are idle or were used much."""
        if self._connection is not None:
            try:
                return self._hand_to(self._connection, address, data)
            except HandOverError as why:
                if not why.connection_was_old:
                    raise
        self._connection = self._connected()
        return self._hand_to(self._connection, address, data)

    def _hand_to(self, connection: Connection, address: str, data: bytes) -> None:
        try:
            connection.hand_over(self._bounces_to, address, data)
        except HandOverError as why:
            if not why.connection_lasts:
                self.close()
            raise

    def _connected(self) -> Connection:
        try:
            return Connection(self._server)
        except FAULTS as error:
            # A server that will not talk to us, or does not know our password, says nothing of a message.
            code = getattr(error, "smtp_code", "")
            reason = f"no connection: {type(error).__name__} {code}".rstrip()
            raise DeliveryError(reason, permanent=False, channel=Channel.EMAIL) from error


def _in_ascii(address: str) -> str:
    """An address whose domain has letters of other alphabets, as every server reads it."""
    try:
        found = validate_email(address, check_deliverability=False, test_environment=True).ascii_email
    except EmailNotValidError:
        found = None
    if found is None:
        raise DeliveryError("an address cannot be used", permanent=True, channel=Channel.EMAIL)
    return found


def _refused(refusal: RefusedError) -> DeliveryError:
    said = refusal.text.decode("ascii", "replace").split()
    # The server's words may repeat the address; its enhanced code says enough.
    reason = said[0] if said else ""
    # A sender, a content or a policy that is refused (RFC 3463, x.7.x) is no fault of the address.
    about_address = refusal.of_recipient and not reason.startswith(("4.7.", "5.7."))
    return DeliveryError(
        f"refused with {refusal.code} {reason}",
        permanent=refusal.code >= 500,
        channel=Channel.EMAIL,
        code=str(refusal.code) if about_address else "",
    )


class FileTransport:
    """Writes mails into a folder instead of sending them.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    sender : str
        From.
    """

    channel = Channel.EMAIL

    def __init__(self, folder: Path, *, sender: str) -> None:
        self._folder, self._sender = folder, sender

    def send(self, message: OutgoingMessage) -> None:
        """Write one mail; the same message again overwrites itself."""
        data = build_mime(message, sender=self._sender)
        path = self._folder / f"{message.created_at:%Y%m%d}-{message.message_id:06d}.eml"
        write_whole(path, data, channel=self.channel)

    def close(self) -> None:
        """Nothing to let go of."""


def write_whole(path: Path, data: bytes, *, channel: Channel) -> None:
    """Write a file so that nobody ever sees half of it; DeliveryError if the folder cannot be written now."""
    half = path.with_suffix(path.suffix + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half.write_bytes(data)
        half.replace(path)
    except OSError as error:
        with suppress(OSError):
            half.unlink(missing_ok=True)
        reason = f"{path.parent}: cannot be written: {error.strerror}"
        raise DeliveryError(reason, permanent=False, channel=channel) from error
