"""A folder of its own for each test, under a sky of our own."""

import os
from pathlib import Path

import pytest
from program import Program
from skies import Skies
from stores import empty_store


@pytest.fixture
def skies(monkeypatch: pytest.MonkeyPatch) -> Skies:
    sky = Skies()
    monkeypatch.setattr("mowalert.wiring._weather", lambda settings, store: sky)
    monkeypatch.setattr("mowalert.wiring._warning_sources", lambda settings: ())
    return sky


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, skies: Skies) -> Program:
    """A fresh folder, without any store yet."""
    for name in [name for name in os.environ if name.startswith("MOWALERT_")]:
        monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)
    return Program(tmp_path)


@pytest.fixture
def program(folder: Program) -> Program:
    """A folder with an empty store."""
    (folder.folder / "var").mkdir()
    (folder.folder / "var" / "mowalert.db").write_bytes(empty_store())
    return folder
