"""A server on loopback that breaks off, drips, lies and repeats itself, as a test tells it."""

import gzip
import json
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from typing import Any

PAUSE_S = 0.02
"""Between the bytes of a body that drips."""


@dataclass(frozen=True, slots=True)
class Reply:
    """What is sent back, and how it goes wrong.

    ``cut`` bytes of the body are sent at most, ``resets`` ends with a reset instead of a close,
    ``silent_s`` is waited before anything comes, ``drips`` sends a few bytes at a time.
    """

    body: bytes = b""
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    cut: int | None = None
    resets: bool = False
    silent_s: float = 0.0
    drips: bool = False
    raw: bytes | None = None


def as_json(value: Any, **how: Any) -> Reply:
    """Reply with JSON."""
    return Reply(json.dumps(value).encode(), **how)


def packed(reply: Reply) -> Reply:
    """The same reply, compressed."""
    return Reply(gzip.compress(reply.body), reply.status, {**reply.headers, "Content-Encoding": "gzip"})


class FaultyServer:
    """Answers every request with what ``reply`` says of its path."""

    def __init__(self, reply: Callable[[str], Reply]) -> None:
        self.reply = reply
        self.asked: list[str] = []
        self._socket = socket.create_server(("127.0.0.1", 0))
        self._stopped = threading.Event()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._socket.getsockname()[1]}"

    @contextmanager
    def running(self) -> Iterator["FaultyServer"]:
        thread = threading.Thread(target=self._serve, daemon=True)
        thread.start()
        try:
            yield self
        finally:
            self._stopped.set()
            with suppress(OSError):
                socket.create_connection(self._socket.getsockname()).close()
            thread.join()
            self._socket.close()

    def _serve(self) -> None:
        while not self._stopped.is_set():
            connection, _ = self._socket.accept()
            threading.Thread(target=self._answer, args=(connection,), daemon=True).start()

    def _answer(self, connection: socket.socket) -> None:
        # A fault may leave headers that cannot be sent at all.
        with connection, suppress(OSError, ValueError):
            asked = b""
            while b"\r\n\r\n" not in asked:
                piece = connection.recv(65536)
                if not piece:
                    return
                asked += piece
            path = asked.split(b" ", 2)[1].decode()
            self.asked.append(path)
            self._send(connection, self.reply(path))

    def _send(self, connection: socket.socket, reply: Reply) -> None:
        self._stopped.wait(reply.silent_s)
        if reply.raw is not None:
            connection.sendall(reply.raw)
            return
        headers = {
            "Content-Type": "application/json",
            "Content-Length": str(len(reply.body)),
            **reply.headers,
        }
        lines = [f"HTTP/1.1 {reply.status} so", *(f"{name}: {text}" for name, text in headers.items())]
        connection.sendall("\r\n".join([*lines, "Connection: close", "", ""]).encode())
        body = reply.body if reply.cut is None else reply.body[: reply.cut]
        if reply.drips:
            self._drip(connection, body)
        else:
            connection.sendall(body)
        if reply.resets:
            # No time to linger: the peer sees a reset.
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))

    def _drip(self, connection: socket.socket, body: bytes) -> None:
        for start in range(0, len(body), 3):
            if self._stopped.is_set():
                return
            connection.sendall(body[start : start + 3])
            time.sleep(PAUSE_S)
