"""A mail server that only counts, so lean that it is the client that is timed.

    python tests/benchmarks/mail_sink.py

Prints its port. ``VRFY`` answers how many mails it took and how many Message-IDs those had.
"""

import socket
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from subprocess import PIPE, Popen
from threading import Thread

HELLO = b"250-sink.example.org\r\n250-PIPELINING\r\n250 SIZE 10000000\r\n"
ANSWERS = {b"EHLO": HELLO, b"HELO": b"250 sink\r\n", b"DATA": b"354 go on\r\n", b"QUIT": b"221 bye\r\n"}
END = b"\r\n.\r\n"


def talk(line: socket.socket, taken: Counter[bytes]) -> None:
    """Answer one client until it hangs up; what came together is answered together."""
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    answers, waiting = b"220 sink.example.org ESMTP\r\n", b""
    with line:
        while True:
            line.sendall(answers)
            answers = b""
            while not waiting.endswith(b"\r\n"):
                got = line.recv(65536)
                if not got:
                    return
                waiting += got
            for command in waiting.splitlines():
                answers += answer(command, taken)
            waiting = b""
            if answers.endswith(ANSWERS[b"DATA"]):
                line.sendall(answers)
                mail = bytearray()
                while not mail.endswith(END):
                    got = line.recv(65536)
                    if not got:
                        return
                    mail += got
                taken[bytes(mail.partition(b"Message-ID: ")[2].partition(b"\r\n")[0])] += 1
                answers = b"250 taken\r\n"


def answer(command: bytes, taken: Counter[bytes]) -> bytes:
    verb = command[:4].upper()
    if verb == b"VRFY":
        return b"252 %d %d\r\n" % (taken.total(), len(taken))
    return ANSWERS.get(verb, b"250 OK\r\n")


def serve() -> None:
    taken: Counter[bytes] = Counter()
    with socket.create_server(("127.0.0.1", 0)) as server:
        print(server.getsockname()[1], flush=True)
        while True:
            Thread(target=talk, args=(server.accept()[0], taken), daemon=True).start()


@contextmanager
def a_sink() -> Iterator[int]:
    """Run the server in a process of its own; its port."""
    with Popen([sys.executable, __file__], stdout=PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield int(process.stdout.readline())
        finally:
            process.terminate()


if __name__ == "__main__":
    serve()
