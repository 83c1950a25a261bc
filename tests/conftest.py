"""Fixtures every test may use."""

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from weather_server import WeatherServer

from mowalert.domain.grasses import Turf
from mowalert.parameters import load_turf
from mowalert.settings import config_file
from mowalert.store.engine import SqlStore
from mowalert.store.upgrade import upgrade

# A shared machine is slow at times: no test fails for being late. Fixtures here hold no state that an
# example could spoil.
settings.register_profile(
    "mowalert", deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
settings.load_profile("mowalert")

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
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path / 'store.db'}"
        return
    admin_url = request.getfixturevalue("postgres")
    name = f"mowalert_{uuid.uuid4().hex[:12]}"
    admin = sa.create_engine(admin_url, isolation_level="AUTOCOMMIT")
    with admin.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    try:
        yield sa.make_url(admin_url).set(database=name).render_as_string(hide_password=False)
    finally:
        with admin.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
        admin.dispose()


@pytest.fixture
def store(store_url: str) -> Iterator[SqlStore]:
    upgrade(store_url)
    opened = SqlStore(store_url)
    yield opened
    opened.close()
