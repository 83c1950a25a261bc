"""Time a homeowner's notice: wording it, building its mail, and handing it to a server on this machine.

    python tests/benchmarks/mails.py --mails 20000 --json

1. ``render_vs_naive``: a notice worded and built as a mail, against a plain program: the same templates rendered by
   Jinja for every notice, links signed and the mail built by their libraries as they come. It is given the words of
   the lawn for nothing. Processor time of one process.
2. ``send_vs_smtplib``: mails that are ready handed over a connection of ours, against smtplib with a new connection
   for every batch. By the clock, in turns of 200, to servers that only count, and of these the median: others' work on the machine
   makes single turns slow. The transport builds and sends the same mails once more.
"""

import argparse
import json
import smtplib
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from pathlib import Path
from statistics import median
from typing import Any, NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

from builders import NOW, a_digest, a_notice
from itsdangerous import URLSafeSerializer
from jinja2 import Environment, PackageLoader, select_autoescape
from mail_sink import a_sink
from markupsafe import Markup

from mowalert.channels import messages
from mowalert.channels.email import SmtpTransport
from mowalert.channels.lawn_words import cut_words
from mowalert.channels.messages import DigestWords, Messages
from mowalert.channels.mime import build_mime
from mowalert.channels.rendering import keep_together, tidy
from mowalert.channels.smtp import Connection, Server
from mowalert.channels.wording import wording_in
from mowalert.domain.notices import Digest, OutgoingMessage, RenderedEmail
from mowalert.domain.words import Channel
from mowalert.languages import translations
from mowalert.links import MOWED, PAGE, Links

URL, SECRET, NAME, SENDER = "https://mow.example.org", "s" * 43, "Turf Line", "Turf Line <turf@example.org>"
TARGETS = {"render_vs_naive": 20.0, "send_vs_smtplib": 1.5}
BATCH, TURN = 50, 200
MIDNIGHT = datetime(2026, 5, 7, tzinfo=UTC)


def digests(count: int) -> list[Digest]:
    """Notices of as many homeowners, each with a lawn, a height and a share of their own."""
    found = []
    for number in range(count):
        height_mm = 90 + number % 170 / 10
        lawn = a_notice(
            lawn_id=number,
            site_name=f"{number} Elm Street",
            height_mm=height_mm,
            removed_fraction=1 - 76.2 / height_mm,
        )
        one = a_digest(lawn)
        language = "es" if number % 4 == 0 else "en"
        found.append(replace(one, to=replace(one.to, keeper_id=number, language=language)))
    return found


def outgoing(number: int, mail: RenderedEmail, links: Links) -> OutgoingMessage:
    return OutgoingMessage(
        message_id=number,
        keeper_id=number,
        channel=Channel.EMAIL,
        address=f"keeper{number}@example.org",
        subject=mail.subject,
        text=mail.text,
        html=mail.html,
        rfc_message_id=f"<{number:032x}@mow.example.org>",
        unsubscribe_url=links.unsubscribe_url(number),
        created_at=NOW,
        useful_until=NOW,
    )


class Plain:
    """Words and builds mails as a program would that does every time what the libraries offer."""

    def __init__(self) -> None:
        self.environments = {language: self.environment(language) for language in ("en", "es")}

    def environment(self, language: str) -> Environment:
        made = Environment(
            loader=PackageLoader("mowalert.channels"),
            autoescape=select_autoescape(["html"]),
            trim_blocks=True,
            lstrip_blocks=True,
            extensions=["jinja2.ext.i18n"],
            finalize=keep_together,
        )
        made.install_gettext_translations(translations(language), newstyle=True)  # type: ignore[attr-defined]
        made.globals["say"] = wording_in(language)
        return made

    def url(self, place: str, purpose: str, *facts: int) -> str:
        return f"{URL}/{place}/{URLSafeSerializer(SECRET, salt=purpose).dumps(list(facts))}"

    def word(self, digest: Digest) -> RenderedEmail:
        say, environment = wording_in(digest.to.language), self.environments[digest.to.language]
        (lawn,) = digest.notices
        midnight = int(MIDNIGHT.timestamp())
        assert lawn.best_on is not None
        tap = self.url("did", MOWED, midnight + 30 * 86400, lawn.lawn_id, lawn.best_on.toordinal())
        cut = cut_words(lawn, say, digest.to.units, mowed_url=tap)._asdict()
        text, html = (environment.get_template(f"digest_cut.{kind}").render(cut) for kind in ("txt", "html"))
        words = DigestWords(
            subject=messages.subject(digest),
            title=messages.title(digest),
            day=say.day(digest.on, digest.to.units),
            how_to_stop="",
            text=text,
            html=Markup(html),  # noqa: S704 - escaped
            hot=False,
            someone_mows=True,
            credits=tuple(say.attribution(name) for name in digest.weather.sources),
            weather_of=f"{digest.weather.fetched_at:%Y-%m-%d %H:%M}",
            page_url=self.url(
                "my", PAGE, midnight + 400 * 86400, digest.to.keeper_id, digest.to.link_version
            ),
            stop_url="",
            service_name=NAME,
            base_url=URL,
        )._asdict()
        text, html = (environment.get_template(f"digest.{kind}").render(words) for kind in ("txt", "html"))
        return RenderedEmail(words["subject"], tidy(text), html)

    def build(self, message: OutgoingMessage) -> bytes:
        mail = EmailMessage(policy=SMTP)
        mail["From"] = Address("Turf Line", addr_spec="turf@example.org")
        mail["To"] = message.address
        mail["Subject"] = message.subject
        mail["Date"] = format_datetime(message.created_at)
        mail["Message-ID"] = message.rfc_message_id
        mail["Auto-Submitted"] = "auto-generated"
        mail["List-Unsubscribe"] = f"<{message.unsubscribe_url}>"
        mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
        mail.set_content(message.text)
        mail.add_alternative(message.html, subtype="html")
        return mail.as_bytes()


def render(count: int) -> dict[str, float]:
    """Milliseconds of processor a notice, ours and the plain program's; both say the same."""
    links, plain = Links(URL, SECRET), Plain()
    ours, some = Messages(NAME, URL, "", links), digests(count)
    assert [ours.email(one) for one in some[:20]] == [plain.word(one) for one in some[:20]]

    def by_us(digest: Digest) -> bytes:
        return build_mime(outgoing(digest.to.keeper_id, ours.email(digest), links), sender=SENDER)

    def plainly(digest: Digest) -> bytes:
        return plain.build(outgoing(digest.to.keeper_id, plain.word(digest), links))

    fast, slow = [], []
    for start in range(0, count, TURN):
        turn = some[start : start + TURN]
        fast.append(_processor_s(by_us, turn))
        slow.append(_processor_s(plainly, turn))
    texts = _processor_s(ours.sms, some)
    words = _processor_s(ours.email, some)
    return {
        "words_ms": words / count * 1e3,
        "text_message_ms": texts / count * 1e3,
        "words_and_mail_ms": sum(fast) / count * 1e3,
        "naive_words_and_mail_ms": sum(slow) / count * 1e3,
        "render_vs_naive": sum(slow) / sum(fast),
    }


def _processor_s(work: Callable[[Digest], object], some: Sequence[Digest]) -> float:
    began = time.process_time()
    for one in some:
        work(one)
    return time.process_time() - began


def send(count: int) -> dict[str, float]:
    """Mails a second, handed over by us and by smtplib in turns; and by our transport, which builds them as well."""
    links = Links(URL, SECRET)
    ours = Messages(NAME, URL, "", links)
    mails = [outgoing(one.to.keeper_id, ours.email(one), links) for one in digests(count)]
    by_us, plainly, built = list[Spent](), list[Spent](), list[Spent]()
    with a_sink() as port, a_sink() as other, a_sink() as third:
        connection = Connection(Server("127.0.0.1", port))
        way = SmtpTransport("127.0.0.1", third, sender=SENDER)
        for start in range(0, count, TURN):
            turn = mails[start : start + TURN]
            ready = [(mail.address, build_mime(mail, sender=SENDER)) for mail in turn]
            by_us.append(_spent(_by_us, connection, ready))
            plainly.append(_spent(_by_smtplib, other, ready))
            built.append(_spent(_built_and_sent, way, turn))
        connection.close()
        way.close()
        taken = [_taken(port), _taken(third)]
    size = min(TURN, count)
    return {
        "mails": count,
        "lost": sum(count - known for _, known in taken),
        "doubled": sum(arrived - known for arrived, known in taken),
        "mails_s": size / median(turn.clock_s for turn in by_us),
        "smtplib_mails_s": size / median(turn.clock_s for turn in plainly),
        "built_and_sent_mails_s": size / median(turn.clock_s for turn in built),
        "send_vs_smtplib": median(
            slow.clock_s / fast.clock_s for slow, fast in zip(plainly, by_us, strict=True)
        ),
        "send_vs_smtplib_processor": median(
            slow.processor_s / fast.processor_s for slow, fast in zip(plainly, by_us, strict=True)
        ),
    }


class Spent(NamedTuple):
    clock_s: float
    processor_s: float


def _spent(work: Callable[..., None], *given: Any) -> Spent:
    began, worked = time.perf_counter(), time.process_time()
    work(*given)
    return Spent(time.perf_counter() - began, time.process_time() - worked)


def _by_us(connection: Connection, ready: Sequence[tuple[str, bytes]]) -> None:
    for address, mail in ready:
        connection.hand_over("turf@example.org", address, mail)


def _built_and_sent(way: SmtpTransport, mails: Sequence[OutgoingMessage]) -> None:
    for mail in mails:
        way.send(mail)


def _by_smtplib(port: int, ready: Sequence[tuple[str, bytes]]) -> None:
    for first in range(0, len(ready), BATCH):
        with smtplib.SMTP("127.0.0.1", port) as server:
            for address, mail in ready[first : first + BATCH]:
                server.sendmail("turf@example.org", [address], mail)


def _taken(port: int) -> tuple[int, int]:
    with smtplib.SMTP("127.0.0.1", port) as server:
        mails, ids = server.verify("taken")[1].split()
    return int(mails), int(ids)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mails", type=int, default=20_000, help="mails handed over")
    parser.add_argument("--notices", type=int, default=5_000, help="notices worded")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    found: dict[str, Any] = render(chosen.notices) | send(chosen.mails)
    found = {name: round(value, 4) for name, value in found.items()}
    met = {name: found[name] >= least for name, least in TARGETS.items()}
    met["none_lost_or_doubled"] = not (found["lost"] or found["doubled"])
    found |= {"targets": TARGETS, "targets_met": met}
    print(json.dumps(found, indent=None if chosen.json else 2))


if __name__ == "__main__":
    main()
