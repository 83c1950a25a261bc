"""Commands of the people of an organisation who are written to."""

from pathlib import Path
from typing import Annotated

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    OrganisationOption,
    moment,
    one_line_errors,
    opened,
    print_json,
    read_text,
)
from mowalert.cli.company import ConfirmOption, tell_set_up
from mowalert.service.crew_records import Role
from mowalert.service.crews.crew_setup import NewContact, keep_contact, remove_contact, void_contact_links
from mowalert.service.crews.crew_tables import CONTACT_COLUMNS, import_contacts
from mowalert.service.known import organisation

contacts_app = typer.Typer(no_args_is_help=True, help="People of an organisation who are written to.")


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.add_typer(contacts_app, name="contacts")


@contacts_app.command("add")
def add_contact(
    name: str,
    keeper: OrganisationOption,
    role: Annotated[Role, typer.Option(help="What they are sent.")],
    crew: Annotated[str, typer.Option(help="A lead's crew.")] = "",
    email: str = "",
    phone: str = "",
    language: Annotated[str, typer.Option(help="en or es.")] = "en",
    said_by: Annotated[str, typer.Option(help="Who says that they agreed to be written to.")] = "the office",
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Add a person, or change the one of that name."""
    with one_line_errors(), opened() as services:
        told = NewContact(name, role, crew, email, phone, language, said_by)
        kept = keep_contact(services.store, keeper, told, now=moment(at))
        if json:
            print_json(kept)
        else:
            typer.echo(f"{kept.name}: {kept.role}")


@contacts_app.command("remove")
def drop_contact(name: str, keeper: OrganisationOption) -> None:
    """Forget a person."""
    with one_line_errors(), opened() as services:
        remove_contact(services.store, keeper, name)
        typer.echo(f"{name} is forgotten")


@contacts_app.command("void-links")
def void_links(name: str, keeper: OrganisationOption) -> None:
    """Make every link void that a person was sent so far, as when a phone is lost; the next one is new."""
    with one_line_errors(), opened() as services:
        kept = void_contact_links(services.store, keeper, name)
        typer.echo(f"links of {kept.name} are void")


@contacts_app.command("list")
def list_contacts(keeper: OrganisationOption, json: JsonOption = False) -> None:
    """List the people of an organisation."""
    with one_line_errors(), opened() as services:
        with services.store.begin() as work:
            contacts = work.crews.contacts(organisation(work, keeper).keeper_id)
        if json:
            print_json(contacts)
            return
        for one in contacts:
            stopped = f" (stopped: {one.email_suspended})" if one.email_suspended else ""
            typer.echo(f"{one.name:<24} {one.role:<12} {one.email or one.phone or ''}{stopped}")


@contacts_app.command("import")
def contacts_from_table(
    file: Annotated[Path, typer.Argument(help=f"Table with the columns {', '.join(CONTACT_COLUMNS)}.")],
    keeper: OrganisationOption,
    confirm: ConfirmOption = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Add or change people from a table; every bad row is named, and nothing is stored if there is one.

    By importing you state that they agreed to be written to.
    """
    with one_line_errors(), opened() as services:
        report = import_contacts(services.store, keeper, read_text(file), now=moment(at), confirmed=confirm)
        tell_set_up(report, json=json)
