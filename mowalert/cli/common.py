"""What every command shares: settings, the moment, one-line errors, and printing."""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from enum import Enum
from errno import EISDIR
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import orjson
import typer

from mowalert.errors import ConfigError, InputError, MowalertError

if TYPE_CHECKING:
    from mowalert.settings import Settings
    from mowalert.wiring import Services

JsonOption = Annotated[bool, typer.Option("--json", help="Print JSON.")]
AtOption = Annotated[
    str | None,
    typer.Option("--at", help="Moment to act at, such as 2026-05-07T22:05Z; now if not given."),
]
OrganisationOption = Annotated[str, typer.Option("--keeper", help="The organisation's name or number.")]
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
LARGEST_TEXT = 512 * 1024 * 1024
"""Of a file that is read whole: a table of some million lawns. [bytes]"""
CONFIG: dict[str, Path | None] = {"path": None}


@contextmanager
def one_line_errors() -> Iterator[None]:
    """Turn errors into one line on stderr and an exit code: 2 for input and settings, 1 for the rest."""
    try:
        yield
    except (ConfigError, InputError) as error:
        typer.echo(f"mowalert: {error}", err=True)
        raise typer.Exit(2) from error
    except MowalertError as error:
        typer.echo(f"mowalert: {error}", err=True)
        raise typer.Exit(1) from error
    except BrokenPipeError:
        sys.stderr.close()


def settings_now() -> "Settings":
    """Load the settings named on the command line or in the environment."""
    from mowalert.settings import load_settings

    return load_settings(CONFIG["path"], environ=os.environ)


@contextmanager
def opened(settings: "Settings | None" = None) -> Iterator["Services"]:
    """Open the services for one command, under the settings named or under some of its own."""
    from mowalert.wiring import open_services

    services = open_services(settings or settings_now())
    try:
        yield services
    finally:
        services.close()


def moment(at: str | None) -> datetime:
    """Return the moment meant; one without a zone is refused, since guessing loses an hour twice a year."""
    if at is None:
        return datetime.now(UTC)
    try:
        parsed = datetime.fromisoformat(at.replace("Z", "+00:00"))
    except ValueError as error:
        raise InputError(f"{at!r} is no moment such as 2026-05-07T22:05Z") from error
    if parsed.tzinfo is None:
        raise InputError(f"{at!r} has no zone: add Z for UTC, or an offset such as -05:00")
    return parsed.astimezone(UTC)


def day(text: str | None) -> date | None:
    """Return the date meant."""
    return None if text is None else needed_day(text)


def needed_day(text: str) -> date:
    """Return the date meant, of an option that cannot be left out."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(f"{text!r} is no date such as 2026-05-09") from error


def today_of(services: "Services", keeper: str, now: datetime) -> date:
    """Return the day it is where the organisation somebody named is."""
    from mowalert.service.known import organisation

    with services.store.begin() as work:
        return organisation(work, keeper).today(now)


def read_text(path: Path) -> str:
    """Return a file's text; InputError if it cannot be read as one."""
    try:
        if path.stat().st_size > LARGEST_TEXT:
            raise InputError(f"{path}: is larger than {LARGEST_TEXT >> 20} MiB; bring it in parts")
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: is not UTF-8 text") from error


def write_text(path: Path, text: str) -> None:
    """Write a file; InputError if it cannot be written."""
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise InputError(f"{path}: {error.strerror}") from error


def write_files(files: Sequence[tuple[Path, bytes]]) -> None:
    """Write some files, all of them or none; InputError if one cannot be written."""
    if len({path.resolve() for path, _ in files}) < len(files):
        raise InputError("two of the files have the same name")
    written: list[tuple[Path, Path]] = []
    try:
        for path, content in files:
            part = _part_of(path)
            written.append((part, path))
            part.write_bytes(content)
        for part, path in written:
            part.replace(path.resolve())
    except OSError as error:
        for part, _ in written:
            part.unlink(missing_ok=True)
        raise InputError(f"{path}: {error.strerror}") from error


def _part_of(path: Path) -> Path:
    """Where a file is written before it takes its name; a name that cannot be taken is refused first."""
    whole = path.resolve()
    if whole.exists() and not whole.is_file():
        raise OSError(EISDIR, "is no plain file")
    return whole.with_name(f".{whole.name}.{os.getpid()}")


def drawing(module: str) -> Any:
    """Load a module of this package that draws; InputError where matplotlib is not installed."""
    try:
        return import_module(f"mowalert.cli.{module}")
    except ImportError as error:
        raise InputError("--plot needs matplotlib: install mowalert[plots]") from error


def as_json(value: Any) -> Any:
    """Turn values into what JSON knows."""
    if is_dataclass(value) and not isinstance(value, type):
        return {entry.name: as_json(getattr(value, entry.name)) for entry in fields(value)}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, dict):
        return {str(key): as_json(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [as_json(item) for item in value]
    if isinstance(value, datetime):
        return value.isoformat()
    return value.isoformat() if isinstance(value, date) else value


def json_text(value: Any) -> str:
    """Return a value as JSON."""
    return orjson.dumps(as_json(value), option=orjson.OPT_INDENT_2 | orjson.OPT_APPEND_NEWLINE).decode()


def print_json(value: Any) -> None:
    """Print a value as JSON."""
    typer.echo(json_text(value), nl=False)


def counted(count: int, what: str) -> str:
    """Return a number with its noun: 1 lawn, 2 lawns."""
    return f"{count} {what}{'' if count == 1 else 's'}"
