"""A region whose adviser keeps a guide, a company and a city whose lawns follow it, and a year of weather."""

from datetime import date, timedelta

from skies import a_day, growing_weather
from web_people import Visitor
from web_programs import enrolled

from mowalert.domain.weather import Place, WeatherDay
from mowalert.service.region.guides import keep_guide
from mowalert.settings import config_file

REGION = "quillmere"
COLUMNS = "keeper,kind,email,site,latitude,longitude,grass,height_mm,watering,last_mown_on,last_height_mm"
PLACE = f"41.85,-93.15,kentucky_bluegrass,,none,2026-05-05,65,{REGION}"
TABLE = f"""{COLUMNS},guide
Town Greens,company,office@example.org,Elm Lane 1,{PLACE}
River Parks,parks,parks@example.org,River Oval,{PLACE}
"""


def drought(place: Place, on: date) -> WeatherDay:
    """Hot days without rain: grass wilts."""
    return a_day(on, t_min_c=22.0, t_max_c=37.0)


def a_region(visitor: Visitor) -> None:
    """Keep the guide, enrol who follows it, and let nights make the region's first bulletin."""
    made = visitor.services
    guide = config_file(f"guides/{REGION}.toml")
    keep_guide(made.store, made.turf, guide.read_text(), name=guide.name, now=visitor.now)
    enrolled(visitor, TABLE)
    _nights(visitor, 7)


def a_summer(visitor: Visitor) -> None:
    """Let grass grow, no weather come, a drought come and go."""
    _nights(visitor, 1, 7, 1)
    visitor.sky.down = True
    _nights(visitor, 3, 4)
    visitor.sky.down = False
    visitor.sky.day = drought
    _nights(visitor, 5, 5, 5, 5)
    visitor.sky.day = growing_weather
    _nights(visitor, 5, 5)


def _nights(visitor: Visitor, *days: int) -> None:
    for span in days:
        visitor.now += timedelta(days=span)
        visitor.night()
        visitor.deliver()
