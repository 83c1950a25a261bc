"""A way to the broker that a test can cut and mend, since the broker itself is everybody's."""

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress


class Proxy:
    """Passes bytes between a port of its own and another."""

    def __init__(self, host: str, port: int) -> None:
        self._there = host, port
        self._socket = socket.create_server(("127.0.0.1", 0))
        self._open: list[socket.socket] = []
        self._made: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._lock = threading.Lock()
        self._up = True
        self.knocked = threading.Event()
        """Set once somebody came while the way was cut."""

    @property
    def port(self) -> int:
        return int(self._socket.getsockname()[1])

    @contextmanager
    def running(self) -> Iterator["Proxy"]:
        self._start(self._serve)
        try:
            yield self
        finally:
            self.cut()
            with suppress(OSError):
                self._socket.shutdown(socket.SHUT_RDWR)
            for thread in self._threads:
                thread.join()
            for one in (self._socket, *self._made):
                one.close()

    def cut(self) -> None:
        """End every connection and take none."""
        with self._lock:
            self._up = False
            self.knocked.clear()
            for one in self._open:
                with suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)
            self._open.clear()

    def mend(self) -> None:
        """Take connections again."""
        with self._lock:
            self._up = True

    def _serve(self) -> None:
        while True:
            try:
                here, _ = self._socket.accept()
            except OSError:
                return
            with self._lock:
                if not self._up:
                    here.close()
                    self.knocked.set()
                    continue
                there = socket.create_connection(self._there)
                self._open += [here, there]
                self._made += [here, there]
            self._start(self._pass_on, here, there)
            self._start(self._pass_on, there, here)

    def _start(self, what: Callable[..., None], *given: socket.socket) -> None:
        thread = threading.Thread(target=what, args=given, daemon=True)
        self._threads.append(thread)
        thread.start()

    @staticmethod
    def _pass_on(one: socket.socket, other: socket.socket) -> None:
        with suppress(OSError):
            while piece := one.recv(65536):
                other.sendall(piece)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
