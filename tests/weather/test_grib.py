"""GRIB messages are read like any other gridded file, where the extra ``grib`` is installed."""

import subprocess
import sys
from importlib.util import find_spec
from math import log
from pathlib import Path

import orjson
import pytest


@pytest.mark.skipif(find_spec("cfgrib") is None, reason="the extra `grib` is not installed")
def test_sums_and_moments_of_grib_messages_become_a_day(tmp_path: Path) -> None:
    program = Path(__file__).with_name("grib_program.py")
    done = subprocess.run(
        [sys.executable, program, tmp_path / "model.grib2"], capture_output=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr.decode()
    day = orjson.loads(done.stdout)
    # Step 24 is the moment 00:00 of the second day; the point at 286 E is the second column.
    assert day["on"] == "2026-07-17"
    assert day["t_min_c"] == pytest.approx(283.0 + 0.1 - 273.15, abs=0.01)
    assert day["t_max_c"] == pytest.approx(283.0 + 11.5 + 0.1 - 273.15, abs=0.01)
    assert day["rain_mm"] == pytest.approx(24 * 0.5, abs=0.01)
    assert day["radiation_mj_m2"] == pytest.approx(24.0, abs=0.01)
    assert day["wind_2m_ms"] == pytest.approx(5.0 * 4.87 / log(67.8 * 10 - 5.42), abs=0.01)
    assert day["t_dew_c"] == pytest.approx(6.85, abs=0.01)
