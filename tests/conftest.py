"""Fixtures every test may use."""

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def shared_dir() -> Path:
    """Folder of recorded payloads, field data and outside values; skips where it is absent."""
    folder = Path(os.environ.get("MOWALERT_SHARED", ROOT.parent / "shared"))
    if not folder.is_dir():
        if os.environ.get("MOWALERT_REQUIRE_SHARED"):
            pytest.fail(f"MOWALERT_SHARED names no folder: {folder}")
        pytest.skip(f"no shared reference data at {folder}; set MOWALERT_SHARED")
    return folder
