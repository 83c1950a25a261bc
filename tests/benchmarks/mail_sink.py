"""A mail server that only counts, so lean that it is the client that is timed.

    python tests/benchmarks/mail_sink.py

Prints its port. ``VRFY`` answers how many mails it took and how many Message-IDs those had.
"""

import asyncio
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from subprocess import PIPE, Popen

HELLO = b"250-sink.example.org\r\n250-PIPELINING\r\n250 SIZE 10000000\r\n"
ANSWERS = {b"EHLO": HELLO, b"HELO": b"250 sink\r\n", b"DATA": b"354 go on\r\n", b"QUIT": b"221 bye\r\n"}


class Sink(asyncio.Protocol):
    def __init__(self, taken: Counter[bytes]) -> None:
        self.taken = taken
        self.waiting, self.in_mail = b"", False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        self.transport = transport
        transport.write(b"220 sink.example.org ESMTP\r\n")

    def data_received(self, data: bytes) -> None:
        self.waiting += data
        answers = b""
        while True:
            end = b"\r\n.\r\n" if self.in_mail else b"\r\n"
            found, separator, rest = self.waiting.partition(end)
            if not separator:
                break
            self.waiting = rest
            answers += self.mail(found) if self.in_mail else self.command(found)
        if answers:
            self.transport.write(answers)

    def command(self, line: bytes) -> bytes:
        verb = line[:4].upper()
        self.in_mail = verb == b"DATA"
        if verb == b"VRFY":
            return b"252 %d %d\r\n" % (self.taken.total(), len(self.taken))
        return ANSWERS.get(verb, b"250 OK\r\n")

    def mail(self, mail: bytes) -> bytes:
        self.in_mail = False
        self.taken[mail.partition(b"Message-ID: ")[2].partition(b"\r\n")[0]] += 1
        return b"250 taken\r\n"


async def serve() -> None:
    taken: Counter[bytes] = Counter()
    server = await asyncio.get_running_loop().create_server(lambda: Sink(taken), "127.0.0.1", 0)
    print(server.sockets[0].getsockname()[1], flush=True)
    await server.serve_forever()


@contextmanager
def a_sink() -> Iterator[int]:
    """Run the server in a process of its own; its port."""
    process = Popen([sys.executable, __file__], stdout=PIPE, text=True)
    assert process.stdout is not None
    try:
        yield int(process.stdout.readline())
    finally:
        process.terminate()
        process.wait()


if __name__ == "__main__":
    asyncio.run(serve())
