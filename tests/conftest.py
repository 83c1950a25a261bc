"""Fixtures every test may use."""

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from stores import new_store
from weather_server import WeatherServer

from mowalert.domain.grasses import Turf
from mowalert.parameters import load_turf
from mowalert.settings import config_file
from mowalert.store import engine
from mowalert.store.engine import SqlStore
from mowalert.store.tables import metadata
from mowalert.store.upgrade import upgrade

# A shared machine is slow at times: no test fails for being late. Fixtures here hold no state that an
# example could spoil.
settings.register_profile(
    "mowalert", deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("mowalert")

# To wait for the disk at thousands of commits guards nothing here; `hard/test_disks.py` cuts the power.
engine.SYNCHRONOUS = "OFF"

ROOT = Path(__file__).resolve().parent.parent
POSTGRES = "postgresql+psycopg://postgres@127.0.0.1:5432/postgres"


@pytest.fixture(scope="session")
def shared_dir() -> Path:
    """Recorded payloads, field data and outside values; skips where they are absent."""
    folder = Path(os.environ.get("MOWALERT_SHARED", ROOT.parent / "shared"))
    if not folder.is_dir():
        if os.environ.get("MOWALERT_REQUIRE_SHARED"):
            pytest.fail(f"no reference data at {folder}")
        pytest.skip(f"no reference data at {folder}; MOWALERT_SHARED names where it is")
    return folder


@pytest.fixture(scope="session")
def payloads(shared_dir: Path) -> Path:
    """Recorded answers of weather services."""
    return shared_dir / "data" / "weather-payloads"


@pytest.fixture(scope="session")
def fields(shared_dir: Path) -> Path:
    """Real seasons and grass trials."""
    return shared_dir / "data" / "fields"


@pytest.fixture(scope="session")
def turf() -> Turf:
    return load_turf(config_file("grasses.toml"))


@pytest.fixture
def server() -> Iterator[WeatherServer]:
    with WeatherServer().running() as running:
        yield running


@pytest.fixture(scope="session")
def postgres() -> str:
    url = os.environ.get("MOWALERT_TEST_POSTGRES", POSTGRES)
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect():
            return url
    except sa.exc.SQLAlchemyError as error:
        pytest.skip(f"no PostgreSQL at {sa.make_url(url).host}: {type(error).__name__}")
    finally:
        engine.dispose()


@pytest.fixture(params=["sqlite", "postgresql"])
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database of each kind, gone after the test."""
    with _empty_database(request, tmp_path / "store.db") as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def other_url(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """A second one, of each kind again."""
    with _empty_database(request, tmp_path / "other.db") as url:
        yield url


@contextmanager
def _empty_database(request: pytest.FixtureRequest, path: Path) -> Iterator[str]:
    if request.param == "sqlite":
        yield f"sqlite:///{path}"
        return
    admin_url = request.getfixturevalue("postgres")
    name = f"mowalert_{uuid.uuid4().hex[:12]}"
    _admin(admin_url, f"CREATE DATABASE {name}")
    try:
        yield _database(admin_url, name)
    finally:
        _admin(admin_url, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture(scope="session")
def migrated_database(postgres: str) -> Iterator[str]:
    """A PostgreSQL store whose tables were made once; it is emptied after each test."""
    name = f"mowalert_{uuid.uuid4().hex[:12]}"
    _admin(postgres, f"CREATE DATABASE {name}")
    url = _database(postgres, name)
    upgrade(url)
    yield url
    _admin(postgres, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def postgres_store(migrated_database: str) -> Iterator[str]:
    """The URL of a PostgreSQL store with empty tables."""
    yield migrated_database
    _empty(migrated_database)


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SqlStore]:
    """A store with empty tables of each kind."""
    if request.param == "sqlite":
        opened = new_store(tmp_path / "store.db")
        yield opened
        opened.close()
        return
    opened = SqlStore(request.getfixturevalue("migrated_database"))
    yield opened
    opened.close()
    _empty(opened.url)


def _empty(url: str) -> None:
    names = ", ".join(f'"{table.name}"' for table in metadata.sorted_tables)
    _admin(url, f"TRUNCATE {names} RESTART IDENTITY CASCADE")


def _admin(url: str, command: str) -> None:
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(command)
    engine.dispose()


def _database(url: str, name: str) -> str:
    return sa.make_url(url).set(database=name).render_as_string(hide_password=False)
