"""The program run in process, as a user would in a folder of their own."""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from typer.testing import CliRunner

from mowalert.cli.app import app


@dataclass
class Told:
    """What a command said."""

    out: str
    err: str


@dataclass
class Program:
    """Runs commands in one folder."""

    folder: Path

    def __call__(self, *words: object, expect: int = 0) -> Told:
        ran = CliRunner().invoke(app, [str(word) for word in words])
        if ran.exception is not None and not isinstance(ran.exception, SystemExit):
            raise ran.exception
        assert ran.exit_code == expect, ran.output
        assert "Traceback" not in ran.output
        return Told(ran.stdout, ran.stderr)

    def json(self, *words: object, expect: int = 0) -> Any:
        return json.loads(self(*words, "--json", expect=expect).out)

    def refused(self, *words: object, code: int = 2) -> str:
        """Run a command that must fail; its one line on stderr, without the program's name."""
        told = self(*words, expect=code)
        assert told.out == ""
        lines = told.err.splitlines()
        assert len(lines) == 1, told.err
        assert lines[0].startswith("mowalert: ")
        return lines[0].removeprefix("mowalert: ")

    def table(self, text: str | bytes, name: str = "lawns.csv") -> Path:
        path = self.folder / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    def at(self, name: str, monkeypatch: pytest.MonkeyPatch) -> "Program":
        """Go on in another folder, with a store of its own."""
        folder = self.folder / name
        folder.mkdir()
        monkeypatch.chdir(folder)
        return Program(folder)

    def rows(self, query: str) -> list[tuple[Any, ...]]:
        """Look into the store."""
        engine = sa.create_engine(self.store_url)
        try:
            with engine.connect() as connection:
                return [tuple(row) for row in connection.execute(sa.text(query))]
        finally:
            engine.dispose()

    def write(self, change: str) -> None:
        """Change the store behind the program's back."""
        engine = sa.create_engine(self.store_url)
        with engine.begin() as connection:
            connection.execute(sa.text(change))
        engine.dispose()

    @property
    def store_url(self) -> str:
        return f"sqlite:///{self.folder / 'var' / 'mowalert.db'}"

    def dump(self) -> dict[str, list[tuple[Any, ...]]]:
        """Every row of every table of the store."""
        engine = sa.create_engine(self.store_url)
        try:
            tables = sa.MetaData()
            tables.reflect(engine)
            with engine.connect() as connection:
                return {
                    name: sorted(map(tuple, connection.execute(sa.select(table))), key=repr)
                    for name, table in tables.tables.items()
                }
        finally:
            engine.dispose()
