"""Short messages through a gateway on loopback: what was taken, what was not, and what nobody knows."""

import json
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from builders import NOW
from ports import free_port

from mowalert.channels.sms import AppriseSms, FileSms, HttpSms, sms_gateway
from mowalert.domain.notices import OutgoingMessage
from mowalert.domain.words import Channel
from mowalert.errors import DeliveryError

FIELDS = {"to": "{to}", "text": "{text}", "reference": "{id}", "from": "TURF"}


@dataclass
class Gateway:
    """Answers as told; ``asked`` has method, path and body of each request."""

    answer: tuple[int, bytes] | None = (200, b'{"status": "queued"}')
    asked: list[tuple[str, str, bytes]] = field(default_factory=list)
    url: str = ""


@pytest.fixture
def gateway() -> Iterator[Gateway]:
    state = Gateway()

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length") or 0))
            state.asked.append((self.command, self.path, body))
            if state.answer is None:
                # Took the request and hangs up without a word.
                self.connection.close()
                return
            status, data = state.answer
            self.send_response(status)
            self.send_header("Content-Length", str(len(data)))
            self.send_header("Location", "/elsewhere")
            self.end_headers()
            self.wfile.write(data)

        do_POST = do_GET  # noqa: N815 - the library's name

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.handle_error = lambda *args: None  # type: ignore[method-assign]
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    state.url = f"http://127.0.0.1:{server.server_address[1]}/send"
    yield state
    server.shutdown()
    server.server_close()
    thread.join()


def a_text(text: str = "Turf: mow Saturday at 3 in.") -> OutgoingMessage:
    return OutgoingMessage(9, 1, Channel.SMS, "+15555550101", "", text, "", "<x@y>", "", NOW, NOW)


def send(url: str, **options: Any) -> None:
    way = HttpSms(url, fields=FIELDS, timeout_s=2, **options)
    try:
        way.send(a_text())
    finally:
        way.close()


@pytest.mark.parametrize(
    ("method", "read"),
    [
        ("POST", lambda path, body: {k: v[0] for k, v in parse_qs(body.decode()).items()}),
        ("POST-JSON", lambda path, body: json.loads(body)),
        ("GET", lambda path, body: {k: v[0] for k, v in parse_qs(urlsplit(path).query).items()}),
    ],
)
def test_fields_are_filled_in(gateway: Gateway, method: str, read: Callable[..., Any]) -> None:
    send(gateway.url, method=method)
    verb, path, body = gateway.asked[0]
    assert verb == method.partition("-")[0]
    assert read(path, body) == {
        "to": "+15555550101",
        "text": "Turf: mow Saturday at 3 in.",
        "reference": "9",
        "from": "TURF",
    }


def test_a_text_that_holds_a_mark_of_ours_stays_as_it_is(gateway: Gateway) -> None:
    way = HttpSms(gateway.url, fields=FIELDS)
    way.send(a_text("call {to} about {id}"))
    way.close()
    assert parse_qs(gateway.asked[0][2].decode())["text"] == ["call {to} about {id}"]


@pytest.mark.parametrize(
    ("answer", "permanent", "known"),
    [
        ((400, b"bad number"), True, True),
        ((401, b"no"), True, True),
        ((404, b"no"), True, True),
        ((429, b"slow down"), False, True),
        ((500, b"oops"), False, True),
        ((302, b""), True, True),
        ((200, b'{"status": "error"}'), True, True),
        (None, False, False),
    ],
)
def test_every_answer_is_told_apart(
    gateway: Gateway, answer: tuple[int, bytes] | None, permanent: bool, known: bool
) -> None:
    gateway.answer = answer
    with pytest.raises(DeliveryError) as caught:
        send(gateway.url, success_pattern='"queued"')
    assert (caught.value.permanent, caught.value.fate_known) == (permanent, known)
    assert len(gateway.asked) == 1, "never twice by itself"


def test_a_gateway_that_is_not_there_has_sent_nothing() -> None:
    with pytest.raises(DeliveryError) as caught:
        send(f"http://127.0.0.1:{free_port()}/send")
    assert (caught.value.permanent, caught.value.fate_known) == (False, True)


def test_a_secret_in_the_address_is_not_told(gateway: Gateway) -> None:
    gateway.answer = (500, b"oops")
    with pytest.raises(DeliveryError) as caught:
        send(f"{gateway.url}?key=hush")
    assert "hush" not in str(caught.value)


def test_texts_can_be_left_in_a_folder(tmp_path: Path) -> None:
    FileSms(tmp_path).send(a_text())
    FileSms(tmp_path).send(a_text())
    (left,) = tmp_path.iterdir()
    assert left.read_text() == "+15555550101\nTurf: mow Saturday at 3 in.\n"


def test_other_gateways_go_through_the_library_of_many(gateway: Gateway) -> None:
    pytest.importorskip("apprise")
    host = urlsplit(gateway.url).netloc
    way = sms_gateway(f"json://{host}/{{to}}", method="POST", fields={}, success_pattern="")
    assert isinstance(way, AppriseSms)
    way.send(a_text())
    verb, path, body = gateway.asked[0]
    assert (verb, path) == ("POST", "/15555550101")
    assert json.loads(body)["message"] == "Turf: mow Saturday at 3 in."
    gateway.answer = (500, b"oops")
    with pytest.raises(DeliveryError) as caught:
        way.send(a_text())
    assert not caught.value.fate_known
