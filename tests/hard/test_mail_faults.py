"""A mail server and a text gateway that fail at every stage: nothing is lost, and no text goes twice.

Seeded runs of a day and a half; in its second half the other side is well again.
"""

import re
import socketserver
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random

import pytest
from builders import THURSDAY, TURF, a_keeper, a_message, thursdays
from faulty import FaultyServer, Reply
from ledger import note
from stores import new_store

from mowalert.channels.email import SmtpTransport
from mowalert.channels.sms import HttpSms
from mowalert.domain.words import Channel
from mowalert.service.policy import Policy
from mowalert.service.ports import Transport
from mowalert.service.sending.deliver import SmsPolicy, deliver
from mowalert.store.engine import SqlStore

POLICY = Policy(frozenset(Channel), timedelta(hours=36))
NOON = datetime(2026, 5, 8, 16, 0, tzinfo=UTC)
MESSAGES = 2
WELL_AFTER = timedelta(hours=18)
DROP, SILENCE = "drop", "silence"
Fault = Callable[[str], str | None]


class Talk(socketserver.StreamRequestHandler):
    """One connection of a mail server that fails as its fault says, by stage."""

    timeout = 2.0
    server: "MailServer"

    def handle(self) -> None:
        with suppress(OSError):
            if self._say("greeting", "220 mail.example.org"):
                while line := self.rfile.readline(65536):
                    if not self._answer(line.decode("ascii", "replace").strip()):
                        return

    def _answer(self, line: str) -> bool:
        verb = line.split(" ")[0].split(":")[0].upper()
        match verb:
            case "EHLO" | "HELO":
                return self._say("EHLO", "250 mail.example.org")
            case "MAIL" | "RCPT":
                return self._say(verb, "250 OK")
            case "DATA":
                return self._say("DATA", "354 go on") and self._take()
            case "QUIT":
                self._send("221 bye")
                return False
            case _:
                return self._send("250 OK")

    def _take(self) -> bool:
        data = b""
        while not data.endswith(b"\r\n.\r\n"):
            line = self.rfile.readline(65536)
            if not line:
                return False
            data += line
        answer = self.server.fault("end of DATA")
        if answer is None or answer in (DROP, SILENCE):
            found = re.search(rb"Message-ID: (\S+)", data)
            self.server.taken[found[1].decode() if found else ""] += 1
        return self._send("250 OK") if answer is None else self._fail(answer)

    def _say(self, stage: str, usual: str) -> bool:
        answer = self.server.fault(stage)
        if stage == "DATA" and answer is not None and answer not in (DROP, SILENCE):
            self._send(answer)
            return True if answer.startswith("354") else not self.rfile.closed and self._answer_next()
        return self._send(usual) if answer is None else self._fail(answer)

    def _answer_next(self) -> bool:
        line = self.rfile.readline(65536)
        return bool(line) and self._answer(line.decode("ascii", "replace").strip())

    def _fail(self, answer: str) -> bool:
        if answer == DROP:
            return False
        if answer == SILENCE:
            self.server.stopped.wait(0.6)
            return False
        return self._send(answer)

    def _send(self, text: str) -> bool:
        self.wfile.write(f"{text}\r\n".encode())
        return True


class MailServer(socketserver.ThreadingTCPServer):
    """Counts what it took by Message-ID."""

    allow_reuse_address = daemon_threads = True
    block_on_close = False

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Talk)
        self.fault: Fault = lambda stage: None
        self.taken: Counter[str] = Counter()
        self.stopped = threading.Event()

    @contextmanager
    def running(self) -> Iterator["MailServer"]:
        thread = threading.Thread(target=partial(self.serve_forever, 0.02), daemon=True)
        thread.start()
        try:
            yield self
        finally:
            self.stopped.set()
            self.shutdown()
            self.server_close()
            thread.join()


@dataclass
class Greylist:
    """Refuses a mail's first tries."""

    tries: int = 0

    def __call__(self, stage: str) -> str | None:
        if stage == "RCPT":
            self.tries += 1
        return "451 4.7.1 greylisted, come again" if stage == "RCPT" and self.tries <= 2 * MESSAGES else None


def always(stage: str, answer: str) -> Fault:
    return lambda asked: answer if asked == stage else None


def at_random(random: Random) -> Fault:
    answers = ("451 4.3.0 try later", "421 4.3.2 shutting down", DROP, SILENCE)
    return lambda stage: random.choice(answers) if random.random() < 0.25 else None


STAGES = ("greeting", "EHLO", "MAIL", "RCPT", "DATA", "end of DATA")
MAIL_FAULTS: dict[str, Callable[[Random], Fault]] = {
    "greylisting": lambda random: Greylist(),
    "everything at random": at_random,
    "a server that will not talk": lambda random: always("greeting", "554 5.3.2 no service"),
    "a greeting that never comes": lambda random: always("greeting", SILENCE),
    "a line that drops after DATA": lambda random: always("end of DATA", DROP),
    **{f"451 at {stage}": lambda random, stage=stage: always(stage, "451 4.3.0 later") for stage in STAGES},
}


@dataclass
class Post:
    """A store with a keeper to whom some messages wait."""

    store: SqlStore
    channel: Channel
    ids: list[str] = field(default_factory=list)

    def deliver(self, way: Transport, now: datetime, random: Random) -> None:
        deliver(self.store, {self.channel: way}, TURF, POLICY, SmsPolicy(), now=now, random=random)

    @property
    def states(self) -> dict[str, int]:
        with self.store.begin() as work:
            return dict(work.outbox.states())

    @property
    def blamed(self) -> bool:
        with self.store.begin() as work:
            (keeper,) = work.keepers.all()
        return bool(keeper.email_suspended or keeper.phone_suspended)


def a_post(folder: Path, channel: Channel) -> Post:
    post = Post(new_store(folder / "post.db"), channel)
    with post.store.begin() as work:
        work.keepers.add(a_keeper(phone="+15555550101", round_id=thursdays(work)))
        for number in range(MESSAGES):
            post.ids.append(f"<m{number}@example.org>")
            work.outbox.add(
                a_message(
                    channel=channel,
                    address="ann@example.org" if channel is Channel.EMAIL else "+15555550101",
                    rfc_message_id=post.ids[-1],
                    local_date=THURSDAY + timedelta(days=number),
                    lawn_ids=(),
                    created_at=NOON,
                    not_before=NOON,
                    useful_until=NOON + timedelta(days=2),
                )
            )
        work.commit()
    return post


HOURS = (0, 0.1, 1, 4, 12, 18, 22, 30, 42)


@pytest.mark.parametrize("name", sorted(MAIL_FAULTS))
def test_every_mail_arrives_once_the_server_is_well(name: str, tmp_path: Path, hard: bool) -> None:
    runs = 12 if hard else 1
    lost = doubled = survived = 0
    for seed in range(runs):
        post = a_post(tmp_path, Channel.EMAIL)
        with MailServer().running() as server:
            server.fault, ill = MAIL_FAULTS[name](Random(seed)), True
            way = SmtpTransport(
                "127.0.0.1", server.server_address[1], sender="Turf <t@example.org>", timeout_s=0.3
            )
            for hours in HOURS:
                if ill and hours * 3600 >= WELL_AFTER.total_seconds():
                    server.fault, ill = lambda stage: None, False
                post.deliver(way, NOON + timedelta(hours=hours), Random(seed))
            way.close()
            missing = set(post.ids) - server.taken.keys()
            again = sum(times - 1 for times in server.taken.values())
        may_go_again = name in ("a line that drops after DATA", "everything at random")
        lost, doubled = lost + len(missing), doubled + again
        well = not missing and not post.blamed and (may_go_again or not again)
        survived += well and post.states == {"sent": MESSAGES}
        post.store.close()
    note(f"mail: {name}", runs, survived, lost, doubled)
    assert (survived, lost) == (runs, 0)


@pytest.mark.parametrize("stage", ["MAIL", "DATA", "end of DATA"])
def test_a_refusal_that_is_not_of_the_address_does_not_blame_it(stage: str, tmp_path: Path) -> None:
    post = a_post(tmp_path, Channel.EMAIL)
    with MailServer().running() as server:
        server.fault = always(stage, "550 5.1.8 we do not like your sender")
        way = SmtpTransport("127.0.0.1", server.server_address[1], sender="t@example.org", timeout_s=2)
        post.deliver(way, NOON, Random(1))
        way.close()
    assert (post.states, post.blamed) == ({"failed": MESSAGES}, False)
    post.store.close()


GATEWAY_FAULTS: dict[str, Reply] = {
    "200 with an error body": Reply(b'{"status": "error", "code": 30003}'),
    "200 with a page": Reply(b"<html>Sign in", headers={"Content-Type": "text/html"}),
    "an answer cut short": Reply(b'{"status": "queued"}', cut=5),
    "nothing": Reply(raw=b""),
    "a reset": Reply(b"{}", cut=0, resets=True),
    "a slow gateway": Reply(b'{"status": "queued"}', silent_s=0.6),
    "503": Reply(b"later", status=503),
    "429": Reply(b"slow down", status=429),
}


@pytest.mark.parametrize("name", sorted(GATEWAY_FAULTS))
def test_no_text_goes_twice_whatever_its_gateway_answers(name: str, tmp_path: Path, hard: bool) -> None:
    runs = 12 if hard else 1
    lost = doubled = survived = 0
    for seed in range(runs):
        post, random, asked = a_post(tmp_path, Channel.SMS), Random(seed), Counter[str]()
        fault = GATEWAY_FAULTS[name]
        taken: Counter[str] = Counter()

        def reply(path: str, *, fault: Reply = fault, random: Random = random) -> Reply:
            number = path.rpartition("id=")[2]
            asked[number] += 1  # noqa: B023 - read before the next run begins
            ill = asked[number] == 1 or random.random() < 0.5  # noqa: B023
            # A refusal is no delivery; whatever else may have been one.
            taken[number] += not (ill and fault.status != 200)  # noqa: B023
            return fault if ill else Reply(b'{"status": "queued"}')

        with FaultyServer(reply).running() as server:
            way = HttpSms(
                f"{server.url}/send",
                method="GET",
                fields={"id": "{id}"},
                success_pattern="queued",
                timeout_s=0.3,
            )
            for hours in HOURS:
                post.deliver(way, NOON + timedelta(hours=hours), Random(seed))
            way.close()
        again = sum(times - 1 for times in taken.values() if times)
        states = post.states
        settled = sum(states.get(state, 0) for state in ("sent", "failed", "unknown"))
        lost, doubled = lost + MESSAGES - settled, doubled + again
        survived += settled == MESSAGES and not again and not post.blamed
        post.store.close()
    note(f"text: {name}", runs, survived, lost, doubled)
    assert (survived, lost, doubled) == (runs, 0, 0)
