"""Mail on the bytes that leave, and in talk with a real SMTP server."""

import email
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.policy import SMTP, default
from pathlib import Path
from random import Random
from typing import Any

import pytest
from aiosmtpd import smtp
from aiosmtpd.controller import Controller
from builders import LONG_URL, NOW, a_mail
from ports import free_port

from mowalert.channels.email import FileTransport, SmtpTransport
from mowalert.channels.mime import build_mime
from mowalert.errors import DeliveryError

SENDER = "Quillmere Lawns <turf@example.org>"


def test_long_header_values_stay_raw_on_the_wire() -> None:
    data = build_mime(a_mail(), sender=SENDER)
    assert f"List-Unsubscribe: <{LONG_URL}>\r\n".encode() in data
    assert b"List-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in data
    assert b"Message-ID: <abc123@mow.example.org>\r\n" in data
    assert max(map(len, data.split(b"\r\n"))) <= 998
    assert b"\n" not in data.replace(b"\r\n", b"")


def test_a_mail_parses_back_to_what_was_said() -> None:
    mail = email.message_from_bytes(build_mime(a_mail(), sender=SENDER), policy=default)
    assert mail["Subject"] == "Mow Saturday at 3 in"
    assert mail["Date"].datetime == NOW
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail["From"].addresses[0].addr_spec == "turf@example.org"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
    assert [part.get_content().strip() for part in mail.iter_parts()] == [
        "Mow: Saturday, 3½ in",
        "<p>Mow: Saturday, 3½ in</p>",
    ]
    assert not mail.defects


def test_without_a_public_address_there_is_no_unsubscribe_header() -> None:
    assert b"List-Unsubscribe" not in build_mime(a_mail(unsubscribe_url=""), sender=SENDER)


def test_the_same_message_gives_the_same_bytes_but_for_the_boundary() -> None:
    first, second = (build_mime(a_mail(), sender=SENDER) for _ in range(2))
    boundary = [email.message_from_bytes(data, policy=SMTP).get_boundary() for data in (first, second)]
    assert first.replace(str(boundary[0]).encode(), b"") == second.replace(str(boundary[1]).encode(), b"")


@pytest.mark.parametrize(
    "changes",
    [
        {"address": "ann@example.org\r\nBcc: all@example.org"},
        {"address": "not an address"},
        {"rfc_message_id": "<a@b>\r\nBcc: all@example.org"},
        {"unsubscribe_url": "https://example.org/\r\nBcc: all@example.org"},
        {"unsubscribe_url": "https://example.org/" + "x" * 1000},
    ],
)
def test_nothing_can_be_smuggled_into_a_header(changes: dict[str, str]) -> None:
    with pytest.raises(DeliveryError) as caught:
        build_mime(a_mail(**changes), sender=SENDER)
    assert caught.value.permanent


def test_a_line_end_in_a_subject_becomes_a_space() -> None:
    data = build_mime(a_mail(subject="Mow\r\nBcc: all@example.org"), sender=SENDER)
    mail = email.message_from_bytes(data, policy=default)
    assert mail["Subject"] == "Mow Bcc: all@example.org"
    assert mail["Bcc"] is None


@dataclass
class Desk:
    """A mail server's answers, and what it took."""

    answers: dict[str, list[str]] = field(default_factory=dict)
    taken: list[bytes] = field(default_factory=list)
    drop_after_data: bool = False
    connections: int = 0
    pipelines: bool = False

    def _answer(self, stage: str, usual: str) -> str:
        waiting = self.answers.get(stage, [])
        return waiting.pop(0) if waiting else usual

    async def handle_EHLO(
        self, server: smtp.SMTP, session: Any, envelope: Any, hostname: str, responses: list[str]
    ) -> list[str]:
        self.connections += 1
        session.host_name = hostname
        return [responses[0], "250-PIPELINING", *responses[1:]] if self.pipelines else responses

    async def handle_MAIL(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        answer = self._answer("MAIL", "250 OK")
        if answer.startswith("250"):
            envelope.mail_from = address
        return answer

    async def handle_RCPT(self, server: Any, session: Any, envelope: Any, address: str, options: Any) -> str:
        answer = self._answer("RCPT", "250 OK")
        if answer.startswith("250"):
            envelope.rcpt_tos.append(address)
        return answer

    async def handle_DATA(self, server: smtp.SMTP, session: Any, envelope: Any) -> str:
        self.taken.append(envelope.content)
        if self.drop_after_data:
            self.drop_after_data = False
            server.transport.abort()
        return self._answer("DATA", "250 OK")


@contextmanager
def a_server(desk: Desk, **options: Any) -> Iterator[int]:
    controller = Controller(desk, hostname="127.0.0.1", port=free_port(), **options)
    controller.start()
    try:
        yield controller.port
    finally:
        controller.stop()


@pytest.fixture(params=[False, True], ids=["one by one", "pipelined"])
def desk(request: pytest.FixtureRequest) -> Desk:
    return Desk(pipelines=request.param)


@pytest.fixture
def transport(desk: Desk) -> Iterator[SmtpTransport]:
    with a_server(desk) as port:
        way = SmtpTransport("127.0.0.1", port, sender=SENDER, timeout_s=5)
        yield way
        way.close()


def test_mails_share_one_connection(desk: Desk, transport: SmtpTransport) -> None:
    for _ in range(3):
        transport.send(a_mail())
    assert (len(desk.taken), desk.connections) == (3, 1)
    assert email.message_from_bytes(desk.taken[0])["To"] == "ann@example.org"


@pytest.mark.parametrize("stage", ["MAIL", "RCPT", "DATA"])
@pytest.mark.parametrize(("answer", "permanent"), [("451 try later", False), ("550 no such user", True)])
def test_a_refusal_at_any_stage_tells_whether_to_try_again(
    desk: Desk, transport: SmtpTransport, stage: str, answer: str, permanent: bool
) -> None:
    desk.answers[stage] = [answer]
    with pytest.raises(DeliveryError) as caught:
        transport.send(a_mail())
    assert caught.value.permanent is permanent
    assert str(caught.value).startswith(f"refused with {answer[:3]}")
    assert caught.value.code == (answer[:3] if stage == "RCPT" else ""), "only this is about the address"
    transport.send(a_mail())
    assert desk.taken


def test_a_refusal_touches_no_other_mail(desk: Desk, transport: SmtpTransport) -> None:
    random = Random(7)
    arrived, refused = [], []
    for number in range(40):
        stage = random.choice(["", "", "MAIL", "RCPT", "DATA"])
        desk.answers[stage] = [random.choice(["450 4.2.0 later", "550 5.1.1 no"])]
        mail = a_mail(address=f"keeper{number}@example.org", rfc_message_id=f"<{number}@mow.example.org>")
        try:
            transport.send(mail)
            arrived.append(mail.rfc_message_id)
        except DeliveryError:
            refused.append(stage)
    taken = {email.message_from_bytes(data)["Message-ID"] for data in desk.taken}
    contents_refused = refused.count("DATA")
    assert set(arrived) <= taken
    assert (len(desk.taken), len(taken)) == (len(arrived) + contents_refused,) * 2
    assert set(refused) == {"MAIL", "RCPT", "DATA"}


def test_a_server_that_has_had_enough_of_a_connection_gets_another(
    desk: Desk, transport: SmtpTransport
) -> None:
    for _ in range(2):
        transport.send(a_mail())
    desk.answers["MAIL"] = ["421 4.7.0 too many mails"]
    transport.send(a_mail())
    assert (len(desk.taken), desk.connections) == (3, 2)


def test_an_address_that_no_server_reads_is_refused_for_good(transport: SmtpTransport) -> None:
    with pytest.raises(DeliveryError) as caught:
        transport.send(a_mail(address="ñandú@example.org"))
    assert caught.value.permanent


def test_a_domain_of_other_letters_is_written_so_that_every_server_reads_it(
    desk: Desk, transport: SmtpTransport
) -> None:
    transport.send(a_mail(address="ann@münchen.example"))
    assert email.message_from_bytes(desk.taken[0])["To"] == "ann@xn--mnchen-3ya.example"


def test_a_policy_that_refuses_us_does_not_blame_the_address(desk: Desk, transport: SmtpTransport) -> None:
    desk.answers["RCPT"] = ["550 5.7.1 your network is on a list"]
    with pytest.raises(DeliveryError) as caught:
        transport.send(a_mail())
    assert (caught.value.permanent, caught.value.code) == (True, "")


def test_a_line_that_drops_after_data_leaves_the_fate_unknown_and_the_next_try_the_same_id(
    desk: Desk, transport: SmtpTransport
) -> None:
    desk.drop_after_data = True
    with pytest.raises(DeliveryError) as caught:
        transport.send(a_mail())
    assert not caught.value.permanent
    assert not caught.value.fate_known
    transport.send(a_mail())
    ids = [email.message_from_bytes(data)["Message-ID"] for data in desk.taken]
    assert ids == ["<abc123@mow.example.org>"] * 2


def test_a_server_that_restarts_is_connected_to_again(desk: Desk) -> None:
    port = free_port()
    way = SmtpTransport("127.0.0.1", port, sender=SENDER, timeout_s=5)
    for _ in range(2):
        controller = Controller(desk, hostname="127.0.0.1", port=port)
        controller.start()
        way.send(a_mail())
        controller.stop()
    assert len(desk.taken) == 2
    with pytest.raises(DeliveryError) as caught:
        way.send(a_mail())
    assert not caught.value.permanent


def test_a_server_that_offers_no_tls_gets_no_mail_where_tls_is_asked_for(desk: Desk) -> None:
    with a_server(desk) as port:
        way = SmtpTransport("127.0.0.1", port, sender=SENDER, security="starttls", timeout_s=5)
        with pytest.raises(DeliveryError):
            way.send(a_mail())
        way.close()
    assert desk.taken == []


def test_a_certificate_nobody_vouches_for_is_refused(desk: Desk, tmp_path: Path) -> None:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(*_certificate(tmp_path))
    with a_server(desk, tls_context=context) as port:
        way = SmtpTransport("127.0.0.1", port, sender=SENDER, security="starttls", timeout_s=5)
        with pytest.raises(DeliveryError):
            way.send(a_mail())
        way.close()
    assert desk.taken == []


def _certificate(folder: Path) -> tuple[str, str]:
    """A certificate of its own making, from the system's openssl."""
    import subprocess

    key, certificate = folder / "key.pem", folder / "certificate.pem"
    words = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-subj", "/CN=127.0.0.1"]
    words += ["-days", "2", "-keyout", str(key), "-out", str(certificate)]
    try:
        subprocess.run(words, check=True, capture_output=True)
    except FileNotFoundError:
        pytest.skip("no openssl to make a certificate with")
    return str(certificate), str(key)


def test_mails_can_be_left_in_a_folder(tmp_path: Path) -> None:
    way = FileTransport(tmp_path / "mail", sender=SENDER)
    way.send(a_mail())
    way.send(a_mail())
    (left,) = (tmp_path / "mail").iterdir()
    assert email.message_from_bytes(left.read_bytes())["Message-ID"] == "<abc123@mow.example.org>"


def test_a_folder_that_cannot_be_written_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "mail").write_text("a file, not a folder")
    with pytest.raises(DeliveryError, match="mail: cannot be written") as refused:
        FileTransport(tmp_path / "mail", sender=SENDER).send(a_mail())
    assert not refused.value.permanent
    assert refused.value.fate_known
