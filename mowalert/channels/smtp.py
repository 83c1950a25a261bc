"""One connection to a mail server, over which mails are handed one after another."""

import smtplib
import ssl
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import Literal

from mowalert.channels.mime import SIMPLE_ADDRESS

Answer = tuple[int, bytes]
GO_ON, TAKEN, CLOSING = 354, 250, 421
WANTED, RECIPIENT = ((250,), (250, 251), (GO_ON,)), 1
"""Answers to sender, recipient and announcement of a mail that let it go on; the second of these."""
FAULTS = (OSError, smtplib.SMTPException)
"""What a connection or a server can do to us; passwords that are refused are of the second kind."""
Security = Literal["none", "starttls", "tls"]


@dataclass(frozen=True, slots=True)
class Server:
    """Where a mail server is and how we talk to it; ``username`` is empty for none."""

    host: str
    port: int
    security: Security = "none"
    username: str = ""
    password: str = ""
    timeout_s: float = 30.0


class HandOverError(Exception):
    """A mail was not taken.

    ``connection_lasts`` if the next can go over it; ``connection_was_old`` if it is no fault of the mail and
    another connection may take it.
    """

    connection_lasts = connection_was_old = False


class RefusedError(HandOverError):
    """The server said no.

    Parameters
    ----------
    answer : Answer
        Its code and words.
    of_recipient : bool
        Whether it said so of the recipient.
    """

    def __init__(self, answer: Answer, *, of_recipient: bool = False) -> None:
        super().__init__(f"{answer[0]}")
        self.code, self.text = answer
        self.of_recipient = of_recipient
        self.connection_was_old = self.code == CLOSING
        self.connection_lasts = of_recipient and not self.connection_was_old


class LineDroppedError(HandOverError):
    """The connection failed.

    Parameters
    ----------
    fault : Exception
        How.
    mail_is_out : bool
        Whether the mail was on its way, and may have arrived all the same.
    """

    def __init__(self, fault: Exception, *, mail_is_out: bool) -> None:
        # The library hides how a line dropped behind an error of its own.
        how = fault.__context__ or fault
        super().__init__(type(how).__name__)
        self.mail_is_out = mail_is_out
        self.connection_was_old = not mail_is_out and not isinstance(how, TimeoutError)


class Connection:
    """A connection; where the server offers PIPELINING (RFC 2920), a mail takes two exchanges, else four.

    Parameters
    ----------
    server : Server
        Whom to talk to; what goes wrong in greeting it is one of ``FAULTS``.
    """

    def __init__(self, server: Server) -> None:
        self._smtp = _connected(server)
        self._pipelines = self._smtp.has_extn("pipelining")
        self._takes_size = self._smtp.has_extn("size")

    def hand_over(self, sender: str, recipient: str, mail: bytes) -> None:
        """Hand over one mail.

        Parameters
        ----------
        sender : str
            Address that bounces go to.
        recipient : str
            Address it is for.
        mail : bytes
            The mail, with CRLF line ends.

        Raises
        ------
        RefusedError
            If the server said no.
        LineDroppedError
            If there is no connection any more.
        """
        size = f" SIZE={len(mail)}" if self._takes_size else ""
        try:
            self._announce(
                f"MAIL FROM:{_in_brackets(sender)}{size}", f"RCPT TO:{_in_brackets(recipient)}", "DATA"
            )
        except FAULTS as fault:
            raise LineDroppedError(fault, mail_is_out=False) from fault
        try:
            # A line that is a dot ends the mail: what begins with one gets another, RFC 5321 section 4.5.2.
            self._smtp.send(mail.replace(b"\r\n.", b"\r\n..") + b".\r\n")
            answer = self._smtp.getreply()
        except FAULTS as fault:
            raise LineDroppedError(fault, mail_is_out=True) from fault
        if answer[0] != TAKEN:
            raise RefusedError(answer)

    def close(self) -> None:
        """Say goodbye."""
        with suppress(*FAULTS):
            self._smtp.quit()

    def _announce(self, *commands: str) -> None:
        """Say from whom, for whom, and that a mail follows; RefusedError if one of these is not accepted."""
        if self._pipelines:
            self._smtp.send("\r\n".join(commands) + "\r\n")
        refused: RefusedError | None = None
        code = 0
        for stage, command in enumerate(commands):
            try:
                code, text = self._answer_to(command)
            except FAULTS:
                if refused is None:
                    raise
                break
            if refused is None and code not in WANTED[stage]:
                refused = RefusedError((code, text), of_recipient=stage == RECIPIENT)
                if not self._pipelines:
                    break
        if refused is not None:
            if refused.code != CLOSING:
                self._start_over(awaits_mail=code == GO_ON)
            raise refused

    def _answer_to(self, command: str) -> Answer:
        if not self._pipelines:
            self._smtp.send(f"{command}\r\n")
        return self._smtp.getreply()

    def _start_over(self, *, awaits_mail: bool) -> None:
        """Leave nothing of a refused mail behind; where it is awaited all the same, send an empty one."""
        with suppress(*FAULTS):
            if awaits_mail:
                self._smtp.send(".\r\n")
                self._smtp.getreply()
            self._smtp.rset()


def _connected(server: Server) -> smtplib.SMTP:
    where, timeout_s = (server.host, server.port), server.timeout_s
    if server.security == "tls":
        smtp: smtplib.SMTP = smtplib.SMTP_SSL(*where, timeout=timeout_s, context=_trusting_known_issuers())
    else:
        smtp = smtplib.SMTP(*where, timeout=timeout_s)
    try:
        if server.security == "starttls":
            smtp.starttls(context=_trusting_known_issuers())
        if server.username:
            smtp.login(server.username, server.password)
        smtp.ehlo_or_helo_if_needed()
    except FAULTS:
        smtp.close()
        raise
    return smtp


@cache
def _trusting_known_issuers() -> ssl.SSLContext:
    return ssl.create_default_context()


def _in_brackets(address: str) -> str:
    return f"<{address}>" if SIMPLE_ADDRESS.fullmatch(address) else _quoted(address)


@lru_cache(maxsize=64)
def _quoted(address: str) -> str:
    return smtplib.quoteaddr(address)
