"""A folder of its own for each test, under a sky of our own."""

import os
from pathlib import Path
from shutil import copyfile

import pytest
from program import Program
from skies import Skies

from mowalert.store.upgrade import upgrade


@pytest.fixture
def skies(monkeypatch: pytest.MonkeyPatch) -> Skies:
    sky = Skies()
    monkeypatch.setattr("mowalert.wiring._weather", lambda settings, store: sky)
    return sky


@pytest.fixture(scope="session")
def empty_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with tables and nothing in them, to be copied: making one takes its time."""
    path = tmp_path_factory.mktemp("store") / "mowalert.db"
    upgrade(f"sqlite:///{path}")
    return path


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, skies: Skies) -> Program:
    """A fresh folder, without any store yet."""
    for name in [name for name in os.environ if name.startswith("MOWALERT_")]:
        monkeypatch.delenv(name)
    monkeypatch.chdir(tmp_path)
    return Program(tmp_path)


@pytest.fixture
def program(folder: Program, empty_store: Path) -> Program:
    (folder.folder / "var").mkdir()
    copyfile(empty_store, folder.folder / "var" / "mowalert.db")
    return folder
