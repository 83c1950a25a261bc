"""A weather service on loopback that answers with recorded payloads, or misbehaves."""

import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Answer = tuple[int, bytes] | Callable[[str], tuple[int, bytes]]


class WeatherServer:
    """Answers by the beginning of the path; ``asked`` remembers every request."""

    def __init__(self) -> None:
        self.answers: dict[str, Answer] = {}
        self.asked: list[str] = []
        self.agents: list[str] = []
        self.slow_s = 0.0
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self._thread = threading.Thread(target=self._server.serve_forever, daemon=True)

    @property
    def url(self) -> str:
        host, port = self._server.server_address[:2]
        return f"http://{host!s}:{port}"

    def says(self, path: str, body: Any, status: int = 200) -> None:
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.answers[path] = (status, data)

    def asks(self, path: str, answer: Callable[[str], tuple[int, bytes]]) -> None:
        self.answers[path] = answer

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                outer.asked.append(self.path)
                outer.agents.append(self.headers.get("User-Agent", ""))
                time.sleep(outer.slow_s)
                status, data = outer._find(self.path)
                try:
                    self.send_response(status)
                    self.send_header("Content-Type", "application/json")
                    self.send_header("Content-Length", str(len(data)))
                    self.end_headers()
                    self.wfile.write(data)
                except OSError:
                    pass

            def log_message(self, *args: Any) -> None:
                pass

        return Handler

    def _find(self, path: str) -> tuple[int, bytes]:
        for start in sorted(self.answers, key=len, reverse=True):
            if path.startswith(start):
                answer = self.answers[start]
                return answer(path) if callable(answer) else answer
        return 404, b'{"title": "not here"}'

    @contextmanager
    def running(self) -> Iterator["WeatherServer"]:
        self._thread.start()
        try:
            yield self
        finally:
            self._server.shutdown()
            self._server.server_close()
            self._thread.join()
