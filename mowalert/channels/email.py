"""E-mail: handing a message to a server or a folder."""

import smtplib
import ssl
from contextlib import suppress
from email.utils import parseaddr
from pathlib import Path
from typing import Literal

from mowalert.channels.mime import build_mime
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import ConfigError, DeliveryError

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
    security : Literal["none", "starttls", "tls"]
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
        security: Literal["none", "starttls", "tls"] = "none",
        username: str = "",
        password: str = "",
        timeout_s: float = SMTP_TIMEOUT_S,
    ) -> None:
        self._host, self._port, self._security = host, port, security
        self._username, self._password = username, password
        self._sender, self._timeout_s = sender, timeout_s
        self._server: smtplib.SMTP | None = None

    def send(self, message: OutgoingMessage) -> None:
        """Send one mail; DeliveryError tells whether trying again can help."""
        data = build_mime(message, sender=self._sender)
        server = self._connected()
        try:
            server.sendmail(parseaddr(self._sender)[1], [message.address], data)
        except smtplib.SMTPRecipientsRefused as error:
            code, text = next(iter(error.recipients.values()))
            self._reset()
            raise _refused(code, text, of_recipient=True) from error
        except smtplib.SMTPResponseException as error:
            self.close()
            raise _refused(error.smtp_code, error.smtp_error) from error
        except (OSError, smtplib.SMTPException) as error:
            self.close()
            # The server may have taken it before the line dropped: the same Message-ID goes again.
            raise DeliveryError(
                f"{type(error).__name__}", permanent=False, channel=Channel.EMAIL, fate_known=False
            ) from error

    def close(self) -> None:
        """Hang up."""
        server, self._server = self._server, None
        if server is not None:
            with suppress(OSError, smtplib.SMTPException):
                server.quit()

    def _connected(self) -> smtplib.SMTP:
        if self._server is not None and self._is_alive(self._server):
            return self._server
        try:
            self._server = self._connect()
        except (OSError, smtplib.SMTPException) as error:
            # A server that will not talk to us, or does not know our password, says nothing of a message.
            code = getattr(error, "smtp_code", "")
            reason = f"no connection: {type(error).__name__} {code}".rstrip()
            raise DeliveryError(reason, permanent=False, channel=Channel.EMAIL) from error
        return self._server

    def _is_alive(self, server: smtplib.SMTP) -> bool:
        try:
            return server.noop()[0] == 250
        except (OSError, smtplib.SMTPException):
            return False

    def _connect(self) -> smtplib.SMTP:
        context = ssl.create_default_context()
        if self._security == "tls":
            server: smtplib.SMTP = smtplib.SMTP_SSL(
                self._host, self._port, timeout=self._timeout_s, context=context
            )
        else:
            server = smtplib.SMTP(self._host, self._port, timeout=self._timeout_s)
        try:
            if self._security == "starttls":
                server.starttls(context=context)
            if self._username:
                server.login(self._username, self._password)
        except (OSError, smtplib.SMTPException):
            server.close()
            raise
        return server

    def _reset(self) -> None:
        if self._server is not None:
            with suppress(OSError, smtplib.SMTPException):
                self._server.rset()


def _refused(code: int, text: bytes | str, *, of_recipient: bool = False) -> DeliveryError:
    said = text.decode("ascii", "replace") if isinstance(text, bytes) else text
    # The server's words may repeat the address; its enhanced code says enough.
    reason = said.split()[0] if said.split() else ""
    # A sender, a content or a policy that is refused (RFC 3463, x.7.x) is no fault of the address.
    about_address = of_recipient and not reason.startswith(("4.7.", "5.7."))
    return DeliveryError(
        f"refused with {code} {reason}",
        permanent=code >= 500,
        channel=Channel.EMAIL,
        code=str(code) if about_address else "",
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
        write_whole(self._folder / f"{message.created_at:%Y%m%d}-{message.message_id:06d}.eml", data)

    def close(self) -> None:
        """Nothing to let go of."""


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that nobody ever sees half of it; ConfigError if the folder cannot be written."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        half = path.with_suffix(path.suffix + ".part")
        half.write_bytes(data)
        half.replace(path)
    except OSError as error:
        raise ConfigError(f"{path.parent}: cannot be written: {error.strerror}") from error
