"""Commands that take in bounces: one mail from a pipe, or whatever lies in a mailbox."""

import mailbox
from collections import Counter
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import AtOption, JsonOption, counted, moment, one_line_errors, opened, print_json
from mowalert.errors import ConfigError, InputError, StoreError
from mowalert.wiring import Services

TEMPORARY = 75
"""What tells a mail server to hand the mail over again later: EX_TEMPFAIL of sysexits.h."""
OUTCOMES = {
    "suspended": "suspended an address",
    "counted": "counted, below the limit",
    "already": "of an address that was suspended before",
    "repeated": "taken before",
    "nobody": "of nobody here",
}


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("bounce")(bounce)
    app.command("bounces")(bounces)


def bounce(at: AtOption = None, json: JsonOption = False) -> None:
    """Take in one bounce or complaint from standard input, as a mail server's pipe hands it over."""
    with one_line_errors():
        from mowalert.channels.bounces import MOST_OCTETS

        raw = typer.get_binary_stream("stdin").read(MOST_OCTETS + 1)
        try:
            with opened() as services:
                _show(_taken(services, raw, moment(at)), json=json)
        except StoreError as error:
            typer.echo(f"mowalert: {error}", err=True)
            raise typer.Exit(TEMPORARY) from error


def bounces(
    maildir: Annotated[Path | None, typer.Option("--maildir", help="Folder of mails.")] = None,
    imap: Annotated[bool, typer.Option("--imap", help="The mailbox of [email] bounce_imap_host.")] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Take in the bounces of a mailbox; mails that are none stay where they are."""
    with one_line_errors(), opened() as services:
        if (maildir is None) is not imap:
            raise InputError("say --maildir FOLDER or --imap")
        now = moment(at)
        found = _of_server(services, now) if maildir is None else _of_folder(services, maildir, now)
        _show(sum(found, Counter()), json=json)


def _taken(services: Services, raw: bytes, now: datetime) -> Counter[str]:
    """Take in a mail; how many reports met which end, or that it held none."""
    from mowalert.channels.bounces import read_bounce
    from mowalert.service.sending.bounced import take_bounce

    try:
        reports = read_bounce(raw, host=services.policy.host)
    except InputError:
        reports = []
    taken = [take_bounce(services.store, services.links, report, now=now) for report in reports]
    return Counter(one.outcome.value for one in taken) or Counter({"unread": 1})


def _of_folder(services: Services, folder: Path, now: datetime) -> Iterator[Counter[str]]:
    from mowalert.channels.bounces import from_maildir

    for key, raw in from_maildir(folder):
        taken = _taken(services, raw, now)
        if "unread" not in taken:
            mailbox.Maildir(folder, create=False).discard(key)
        yield taken


def _of_server(services: Services, now: datetime) -> Iterator[Counter[str]]:
    from mowalert.channels.bounces import from_imap

    chosen = services.settings.email
    if not chosen.bounce_imap_host:
        raise ConfigError("email.bounce_imap_host: found nothing; allowed is: the mail server's name")
    mails = from_imap(
        chosen.bounce_imap_host,
        chosen.bounce_imap_port,
        chosen.bounce_imap_username,
        chosen.bounce_imap_password.get_secret_value(),
        chosen.bounce_imap_folder,
        tls=chosen.bounce_imap_tls,
    )
    for raw in mails:
        yield _taken(services, raw, now)


def _show(taken: Counter[str], *, json: bool) -> None:
    counts = {name: taken[name] for name in (*OUTCOMES, "unread")}
    if json:
        print_json(counts)
        return
    reports = sum(counts.values()) - counts["unread"]
    typer.echo(f"{counted(reports, 'report')}, {counted(counts['unread'], 'mail')} without any")
    for name, said in OUTCOMES.items():
        if counts[name]:
            typer.echo(f"{counts[name]:>6} {said}")
