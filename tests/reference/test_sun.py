"""Day length beside an almanac's sunrise and sunset (NOAA's formulas, through astral)."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

import pytest
from conftest_types import Checks

from mowalert.domain.evapotranspiration import daylight_hours

PLACES = ("greenwich", "minneapolis", "sydney", "quito")


@pytest.mark.parametrize("place", PLACES)
def test_day_length_lies_just_below_the_almanacs(place: str, checks: Checks) -> None:
    """FAO-56's day is the geometric one: refraction and the sun's radius add some minutes."""
    astral_sun = pytest.importorskip("astral.sun", reason="astral comes with the reference extra")
    astral = pytest.importorskip("astral")
    check = f"sun.{place}"
    row = checks[check]
    i = row["inputs"]
    on, zone = date.fromisoformat(i["local_date"]), ZoneInfo(i["time_zone"])
    observer = astral.Observer(i["latitude_deg"], i["longitude_deg"], i["elevation_m"])
    times = astral_sun.sun(observer, date=on, tzinfo=zone)
    for name in ("sunrise", "sunset"):
        theirs = datetime.fromisoformat(f"{on} {row['expected'][f'{name}_local']}").replace(tzinfo=zone)
        apart = abs((times[name] - theirs).total_seconds()) / 60
        checks.within(check, f"{name}, minutes apart", round(apart, 2), 0, 2)
    almanac_h = (times["sunset"] - times["sunrise"]).total_seconds() / 3600
    ours = float(daylight_hours(i["latitude_deg"], on.timetuple().tm_yday))
    checks.within(check, "almanac minus FAO-56, h", round(almanac_h - ours, 3), 0.08, 0.35)


def test_the_midnight_sun_gives_twenty_four_hours(checks: Checks) -> None:
    row = checks["sun.tromso"]
    on = date.fromisoformat(row["inputs"]["local_date"])
    ours = float(daylight_hours(row["inputs"]["latitude_deg"], on.timetuple().tm_yday))
    checks.close("sun.tromso", "hours", ours, row["expected"]["fao56_daylight_hours"], 1e-9)
