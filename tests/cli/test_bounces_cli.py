"""Bounces through the command line: from a pipe, a folder, and a mail server."""

import mailbox
import socketserver
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from program import Program
from typer.testing import CliRunner, Result

from mowalert.cli.app import app

HEADER = "keeper,kind,email,latitude,longitude,grass,height_mm,last_mown_on"
ANN = "Ann Lee,homeowner,ann@example.org,42.745,-73.752,kentucky_bluegrass,65,2026-04-30"
EVENING, LATER = "2026-05-07T22:05Z", "2026-05-08T10:00Z"
NO_BOUNCE = b"From: bob@example.org\nTo: turf@localhost\nSubject: hello\n\nAre you there?\n"


@pytest.fixture
def ann(program: Program) -> Program:
    """A folder in which Ann was sent one mail."""
    program("lawns", "import", program.table(f"{HEADER}\n{ANN}\n"), "--at", "2026-05-06T12:00Z")
    program("night", "--at", EVENING)
    program("deliver", "--at", EVENING)
    return program


def a_report(program: Program, *, status: str = "5.1.1", message_id: str = "") -> bytes:
    """What a mail server sends back of the one mail, or of another."""
    ((ours,),) = program.rows("SELECT rfc_message_id FROM outbox")
    return f"""\
From: Mail Delivery System <MAILER-DAEMON@relay.example.org>
To: turf@localhost
Subject: Undelivered
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="cut here"

--cut here
Content-Type: message/delivery-status

Reporting-MTA: dns; relay.example.org

Final-Recipient: rfc822; ann@example.org
Action: failed
Status: {status}
Diagnostic-Code: smtp; 550 {status} no such mailbox here

--cut here
Content-Type: message/rfc822

Message-ID: {message_id or ours}
Subject: Mow Saturday

text
--cut here--
""".encode()


def piped(raw: bytes, *words: str) -> Result:
    return CliRunner().invoke(app, ["bounce", "--at", LATER, *words], input=raw)


def suspended(program: Program) -> str | None:
    ((reason,),) = program.rows("SELECT email_suspended FROM keeper")
    return None if reason is None else str(reason)


def test_a_bounce_from_a_pipe_suspends_the_address(ann: Program) -> None:
    ran = piped(a_report(ann))
    assert ran.exit_code == 0
    assert ran.stdout.split("\n")[0] == "1 report, 0 mails without any"
    assert "1 suspended an address" in ran.stdout
    assert suspended(ann) == "the mailbox does not exist"
    assert "1 taken before" in piped(a_report(ann)).stdout


def test_nobody_is_written_to_after_their_mailbox_is_gone(ann: Program) -> None:
    piped(a_report(ann))
    ann("night", "--at", "2026-05-14T22:05Z")
    assert ann.rows("SELECT count(*) FROM outbox WHERE state = 'ready'") == [(0,)]


@pytest.mark.parametrize("raw", [NO_BOUNCE, b"", b"\xff" * 500, b"x" * (2 * 1024 * 1024 + 5)])
def test_a_pipe_takes_any_mail_so_that_the_server_does_not_send_it_back(ann: Program, raw: bytes) -> None:
    ran = piped(raw)
    assert (ran.exit_code, ran.stdout) == (0, "0 reports, 1 mail without any\n")
    assert suspended(ann) is None


def test_a_store_that_is_away_makes_the_server_try_again(
    ann: Program, monkeypatch: pytest.MonkeyPatch
) -> None:
    raw = a_report(ann)
    monkeypatch.setenv("MOWALERT_STORE__URL", "postgresql+psycopg://nobody@127.0.0.1:1/nothing")
    ran = piped(raw)
    assert ran.exit_code == 75
    assert ran.stderr.startswith("mowalert: ")
    assert "Traceback" not in ran.output


def test_what_became_of_a_mail_as_json(ann: Program) -> None:
    ran = piped(a_report(ann, message_id="<other@localhost>"), "--json")
    assert '"counted": 1' in ran.stdout
    assert '"suspended": 0' in ran.stdout


def test_a_folders_bounces_are_taken_away_and_other_mails_stay(ann: Program) -> None:
    box = mailbox.Maildir(ann.folder / "box")
    for raw in (a_report(ann), NO_BOUNCE, a_report(ann)):
        box.add(raw)
    told = ann("bounces", "--maildir", ann.folder / "box", "--at", LATER).out
    assert told.splitlines()[0] == "2 reports, 1 mail without any"
    assert suspended(ann) == "the mailbox does not exist"
    (left,) = list(mailbox.Maildir(ann.folder / "box"))
    assert left["Subject"] == "hello"
    assert ann.json("bounces", "--maildir", ann.folder / "box", "--at", LATER)["unread"] == 1


def test_what_is_asked_for_wrongly_is_one_clear_line(ann: Program) -> None:
    assert "--maildir FOLDER or --imap" in ann.refused("bounces")
    assert "--maildir FOLDER or --imap" in ann.refused("bounces", "--imap", "--maildir", "box")
    assert "there is no Maildir" in ann.refused("bounces", "--maildir", "box")
    assert "email.bounce_imap_host" in ann.refused("bounces", "--imap")


@contextmanager
def a_mail_server(mails: dict[int, bytes]) -> Iterator[tuple[int, list[str]]]:
    """As far of a mail server as is needed: its port, and what was asked of it."""
    asked: list[str] = []

    class Talk(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            self.wfile.write(b"* OK ready\r\n")
            while line := self.rfile.readline().decode().strip():
                tag, _, command = line.partition(" ")
                asked.append(command)
                self.wfile.write(answer(command) + f"{tag} OK done\r\n".encode())

    def answer(command: str) -> bytes:
        match command.split()[:3]:
            case ["CAPABILITY"]:
                return b"* CAPABILITY IMAP4rev1\r\n"
            case ["UID", "SEARCH", _]:
                return f"* SEARCH {' '.join(map(str, mails))}\r\n".encode()
            case ["UID", "FETCH", uid]:
                raw = mails[int(uid)]
                return b"* 1 FETCH (UID %d BODY[]<0> {%d}\r\n%b)\r\n" % (int(uid), len(raw), raw)
        return b""

    with socketserver.ThreadingTCPServer(("127.0.0.1", 0), Talk) as server:
        threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True).start()
        try:
            yield int(server.server_address[1]), asked
        finally:
            server.shutdown()


def test_a_servers_bounces_are_read_and_marked_as_seen(ann: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    with a_mail_server({4: NO_BOUNCE, 7: a_report(ann)}) as (port, asked):
        settings = {"HOST": "127.0.0.1", "PORT": port, "TLS": "false", "USERNAME": "turf", "FOLDER": "Back"}
        for name, value in settings.items():
            monkeypatch.setenv(f"MOWALERT_EMAIL__BOUNCE_IMAP_{name}", str(value))
        secret = ann.folder / "password"
        secret.write_text("hush\n")
        monkeypatch.setenv("MOWALERT_EMAIL__BOUNCE_IMAP_PASSWORD_FILE", str(secret))
        told = ann("bounces", "--imap", "--at", LATER).out
    assert told.splitlines()[0] == "1 report, 1 mail without any"
    assert suspended(ann) == "the mailbox does not exist"
    assert 'LOGIN turf "hush"' in asked
    assert 'SELECT "Back"' in asked
    assert [command for command in asked if "STORE" in command] == [
        f"UID STORE {uid} +FLAGS.SILENT (\\Seen)" for uid in (4, 7)
    ]


def test_a_server_that_is_away_is_one_clear_line(ann: Program, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MOWALERT_EMAIL__BOUNCE_IMAP_HOST", "127.0.0.1")
    monkeypatch.setenv("MOWALERT_EMAIL__BOUNCE_IMAP_PORT", "1")
    assert "bounces at 127.0.0.1" in ann.refused("bounces", "--imap", code=1)
