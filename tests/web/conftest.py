"""The pages served for real on loopback, under a sky and a clock that a test sets."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from mail_server import Mailbox
from skies import Skies
from stores import empty_store
from web_people import BASE, Visitor, served

from mowalert.settings import load_settings
from mowalert.web.app import create_app
from mowalert.wiring import Services, open_services


@pytest.fixture
def sky(monkeypatch: pytest.MonkeyPatch) -> Skies:
    made = Skies()
    monkeypatch.setattr("mowalert.wiring._weather", lambda settings, store: made)
    return made


@pytest.fixture
def mailbox() -> Mailbox | None:
    """Mails become files; a test that needs a server has a fixture of this name of its own."""
    return None


@pytest.fixture
def services(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sky: Skies, mailbox: Mailbox | None
) -> Iterator[Services]:
    with services_in(tmp_path, monkeypatch, mailbox) as made:
        yield made


@contextmanager
def services_in(
    folder: Path, patch: pytest.MonkeyPatch, mailbox: Mailbox | None = None
) -> Iterator[Services]:
    """Services that keep everything in a folder."""
    for name in [name for name in os.environ if name.startswith("MOWALERT_")]:
        patch.delenv(name)
    data = folder / "var"
    data.mkdir()
    (data / "mowalert.db").write_bytes(empty_store())
    environ = {
        "MOWALERT_SERVICE__DATA_DIR": str(data),
        "MOWALERT_SERVICE__BASE_URL": BASE,
        "MOWALERT_SERVICE__NAME": "Turf Line",
        "MOWALERT_SERVICE__CONTACT_EMAIL": "turf@example.org",
        "MOWALERT_SERVICE__SECRET_KEY": "a secret of the tests",
        "MOWALERT_SMS__TRANSPORT": "file",
    } | ({} if mailbox is None else mailbox.settings)
    made = open_services(load_settings(None, environ=environ))
    try:
        yield made
    finally:
        made.close()


@pytest.fixture
def visitor(services: Services, sky: Skies, tmp_path: Path, mailbox: Mailbox | None) -> Iterator[Visitor]:
    with visiting(services, tmp_path, sky, mailbox) as made:
        yield made


@contextmanager
def visiting(
    services: Services, folder: Path, sky: Skies, mailbox: Mailbox | None = None
) -> Iterator[Visitor]:
    """Somebody whose browser reaches the pages."""
    made = Visitor(services, "", folder, sky, mailbox)
    with served(create_app(services, clock=lambda: made.now)) as url:
        made.url = url
        yield made
