"""What is said to a mail server, word for word, by one that answers as told."""

import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import pytest

from mowalert.channels.smtp import Connection, LineDroppedError, RefusedError, Server

MAIL = b"Subject: x\r\n\r\n.\r\n.. dots\r\nend\r\n"
HELLO = "250-here\r\n250-PIPELINING\r\n250 SIZE 1000"


@dataclass
class Listener:
    """Answers a verb as told; ``heard`` are the commands, ``mails`` what came after 354."""

    answers: dict[str, str] = field(default_factory=dict)
    heard: list[str] = field(default_factory=list)
    mails: list[bytes] = field(default_factory=list)

    @contextmanager
    def listening(self) -> Iterator[Connection]:
        listener = self

        class Talk(socketserver.StreamRequestHandler):
            timeout = 5.0

            def handle(self) -> None:
                self.wfile.write(b"220 here\r\n")
                while line := self.rfile.readline():
                    text = line.decode().strip()
                    listener.heard.append(text)
                    answer = listener.answers.get(text.split()[0].upper(), "250 OK")
                    if answer == "drop":
                        return
                    self.wfile.write(f"{answer}\r\n".encode())
                    if answer.startswith("354") and not self.takes_mail():
                        return

            def takes_mail(self) -> bool:
                lines = list(iter(self.rfile.readline, b".\r\n"))
                listener.mails.append(b"".join(lines))
                answer = listener.answers.get("end", "250 taken")
                if answer != "drop":
                    self.wfile.write(f"{answer}\r\n".encode())
                return answer != "drop"

        with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as server:
            server.daemon_threads = True
            thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
            thread.start()
            connection = Connection(Server("127.0.0.1", server.server_address[1], timeout_s=5.0))
            try:
                yield connection
            finally:
                connection.close()
                server.shutdown()
                thread.join()


def a_listener(**answers: str) -> Listener:
    return Listener({"EHLO": HELLO, "DATA": "354 go on"} | answers)


def test_lines_that_begin_with_a_dot_arrive_with_one_more() -> None:
    listener = a_listener()
    with listener.listening() as connection:
        connection.hand_over("us@example.org", "ann@example.org", MAIL)
    assert listener.mails == [b"Subject: x\r\n\r\n..\r\n... dots\r\nend\r\n"]
    assert listener.heard[1:4] == [
        f"MAIL FROM:<us@example.org> SIZE={len(MAIL)}",
        "RCPT TO:<ann@example.org>",
        "DATA",
    ]


def test_a_refused_recipient_gets_nothing_though_the_server_awaits_a_mail() -> None:
    listener = a_listener(RCPT="550 5.1.1 nobody")
    with listener.listening() as connection:
        with pytest.raises(RefusedError) as caught:
            connection.hand_over("us@example.org", "ann@example.org", MAIL)
        assert (caught.value.code, caught.value.of_recipient) == (550, True)
        assert listener.mails == [b""]
        listener.answers["RCPT"] = "250 OK"
        connection.hand_over("us@example.org", "bob@example.org", MAIL)
    assert len(listener.mails) == 2


def test_the_first_refusal_counts() -> None:
    listener = a_listener(MAIL="452 4.3.1 full", RCPT="503 MAIL first", DATA="503 RCPT first")
    with listener.listening() as connection, pytest.raises(RefusedError) as caught:
        connection.hand_over("us@example.org", "ann@example.org", MAIL)
    assert (caught.value.code, caught.value.of_recipient) == (452, False)
    assert listener.mails == []


def test_a_refusal_is_heard_though_the_line_drops_behind_it() -> None:
    listener = a_listener(RCPT="550 5.1.1 nobody", DATA="drop")
    with listener.listening() as connection, pytest.raises(RefusedError) as caught:
        connection.hand_over("us@example.org", "ann@example.org", MAIL)
    assert caught.value.of_recipient


@pytest.mark.parametrize(
    ("stage", "is_out"), [("MAIL", False), ("RCPT", False), ("DATA", False), ("end", True)]
)
def test_only_a_mail_that_was_on_its_way_may_have_arrived(stage: str, is_out: bool) -> None:
    listener = a_listener(**{stage: "drop"})
    with listener.listening() as connection, pytest.raises(LineDroppedError) as caught:
        connection.hand_over("us@example.org", "ann@example.org", MAIL)
    assert caught.value.mail_is_out is is_out
    assert caught.value.connection_was_old is not is_out
    assert bool(listener.mails) is is_out


def test_a_server_that_knows_no_extensions_is_asked_line_by_line() -> None:
    listener = a_listener(EHLO="500 what?", RCPT="450 4.2.0 later")
    with listener.listening() as connection, pytest.raises(RefusedError):
        connection.hand_over("us@example.org", "ann@example.org", MAIL)
    assert listener.heard == [
        listener.heard[0],
        listener.heard[1],
        "MAIL FROM:<us@example.org>",
        "RCPT TO:<ann@example.org>",
        "rset",
        "quit",
    ]
