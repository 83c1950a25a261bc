"""Quillmere, a town that does not exist: one household, one company, one parks department."""

from csv import DictWriter
from io import StringIO
from zoneinfo import ZoneInfo

from mowalert.service.crew_records import Role
from mowalert.service.crews.crew_setup import NewContact

TOWN = "Quillmere"
LATITUDE_DEG, LONGITUDE_DEG, ELEVATION_M = 41.85, -93.15, 290.0
ZONE = ZoneInfo("America/Chicago")
STREETS = ("Larkspur Lane", "Tanner Row", "Old Orchard Road", "Copper Street", "Willow Bend", "Mill Rise")
COMPANY_GRASSES = (
    ("kentucky_bluegrass", 75, "regular"),
    ("tall_fescue", 90, "none"),
    ("perennial_ryegrass", 65, "regular"),
    ("kentucky_bluegrass", 70, "none"),
    ("fine_fescue", 80, "none"),
    ("zoysiagrass", 45, "none"),
)
PARKS = (
    ("Founders Park", "main lawn", "lawn", "kentucky_bluegrass", 75, "none"),
    ("Founders Park", "picnic lawn", "lawn", "tall_fescue", 90, "none"),
    ("Founders Park", "meadow edge", "meadow edge", "fine_fescue", 100, "none"),
    ("Weir Fields", "pitch one", "sports field", "perennial_ryegrass", 38, "regular"),
    ("Weir Fields", "pitch two", "sports field", "kentucky_bluegrass", 40, "regular"),
    ("Weir Fields", "ball diamond", "sports field", "bermudagrass", 25, "regular"),
    ("Weir Fields", "bank", "road verge", "tall_fescue", 100, "none"),
    ("Station Square", "event lawn", "event lawn", "perennial_ryegrass", 50, "regular"),
    ("Station Square", "strips", "lawn", "kentucky_bluegrass", 65, "none"),
    ("Ring Road", "north verge", "road verge", "buffalograss", 75, "none"),
    ("Ring Road", "south verge", "road verge", "fine_fescue", 100, "none"),
    ("Library Green", "lawn", "lawn", "kentucky_bluegrass", 75, "none"),
    ("Cemetery Hill", "old part", "lawn", "fine_fescue", 90, "none"),
    ("Cemetery Hill", "new part", "lawn", "tall_fescue", 90, "none"),
)
COLUMNS = (
    "keeper", "kind", "email", "phone", "units", "site", "address", "latitude", "longitude", "lawn",
    "grass", "height_mm", "guide", "watering", "turf_class", "area_m2",
)  # fmt: skip


COMPANY = "Greenway Crew"
PEOPLE = (
    NewContact("Dell Harrow", Role.DISPATCHER, email="office@example.com"),
    NewContact("Ana Soto", Role.CREW_LEAD, "Red crew", "red@example.com", language="es"),
    NewContact("Piet Lund", Role.CREW_LEAD, "Blue crew", "blue@example.com"),
    NewContact("June Alder", Role.OWNER, email="owner@example.com"),
)
"""Whom the company writes to."""
GUIDE = "quillmere"
"""The town's region guide, one of the examples."""


def lawns_csv() -> str:
    """Return the town's lawns in the import's columns."""
    text = StringIO()
    table = DictWriter(text, COLUMNS, lineterminator="\n", restval="")
    table.writeheader()
    table.writerows(row | {"guide": GUIDE} for row in [*_household(), *_company(), *_parks()])
    return text.getvalue()


def _household() -> list[dict[str, object]]:
    home = {
        "keeper": "Mara Ellwood",
        "kind": "homeowner",
        "email": "mara@example.org",
        "phone": "+1 555 555 0142",
        "units": "us",
        "site": "Home",
        "address": f"14 Larkspur Lane, {TOWN}",
    } | _near(0)
    return [
        home | {"lawn": "front", "grass": "kentucky_bluegrass", "height_mm": 76.2, "watering": "none"},
        home | {"lawn": "back", "grass": "tall_fescue", "height_mm": 88.9, "watering": "none"},
    ]


def _company() -> list[dict[str, object]]:
    crew = {"keeper": COMPANY, "kind": "company", "email": "office@example.com", "units": "us"}
    rows = []
    for number in range(26):
        grass, height_mm, watering = COMPANY_GRASSES[number % len(COMPANY_GRASSES)]
        street = STREETS[number % len(STREETS)]
        rows.append(
            crew
            | _near(number)
            | {
                "site": f"{3 + 4 * number} {street}",
                "address": f"{3 + 4 * number} {street}, {TOWN}",
                "grass": grass,
                "height_mm": height_mm,
                "watering": watering,
                "area_m2": 220 + 35 * (number % 7),
            }
        )
    return rows


def _parks() -> list[dict[str, object]]:
    office = {"keeper": f"{TOWN} Parks", "kind": "parks", "email": "parks@example.org", "units": "us"}
    sites = list(dict.fromkeys(site for site, *_ in PARKS))
    return [
        office
        | _near(sites.index(site))
        | {
            "site": site,
            "lawn": lawn,
            "turf_class": turf_class,
            "grass": grass,
            "height_mm": height_mm,
            "watering": watering,
        }
        for site, lawn, turf_class, grass, height_mm, watering in PARKS
    ]


def _near(number: int) -> dict[str, object]:
    """Scatter positions over the town, all in two weather cells."""
    return {
        "latitude": round(LATITUDE_DEG + 0.004 * (number % 5 - 2), 4),
        "longitude": round(LONGITUDE_DEG + 0.009 * (number % 8 - 4), 4),
    }
