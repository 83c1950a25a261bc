"""Rows of a keeper's table, read into lawns: every bad cell is named, nothing is guessed silently."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum
from math import isfinite
from typing import TypeVar
from zoneinfo import ZoneInfo

from mowalert.domain.grasses import Grass, Turf
from mowalert.domain.guides import Guide
from mowalert.domain.rounds import DAY_NAMES
from mowalert.domain.units import mm_from_inches
from mowalert.domain.words import Clippings, KeeperKind, Silence, Sun, Units, Watering
from mowalert.errors import InputError
from mowalert.service.local.places import country_of, time_zone_at
from mowalert.service.reading.addresses import email_in, phone_in

COLUMNS = (
    "keeper",
    "kind",
    "email",
    "phone",
    "time_zone",
    "units",
    "site",
    "address",
    "latitude",
    "longitude",
    "lawn",
    "grass",
    "height_mm",
    "height_in",
    "guide",
    "soil",
    "watering",
    "sun",
    "nitrogen",
    "area_m2",
    "area_sqft",
    "turf_class",
    "mowing_days",
    "mowing_hours",
    "clippings",
    "silence",
    "last_mown_on",
    "last_height_mm",
    "last_height_in",
)
WEEKEND = frozenset({5, 6})
WORKDAYS = frozenset({0, 1, 2, 3, 4})
SEASON_DAYS = 300
SQFT_M2 = 0.09290304
ROUNDED_MM = 0.5
"""How far two columns may lie apart that tell one length in two units."""
LONGEST_TEXT = 200
Word = TypeVar("Word", bound=StrEnum)


@dataclass(frozen=True, slots=True)
class Problem:
    """One bad cell: its line in the file, its column, what was found and what is allowed."""

    line: int
    column: str
    found: str
    allowed: str

    def __str__(self) -> str:
        """Say it in one line."""
        found = repr(self.found) if self.found else "nothing"
        return f"line {self.line}, column {self.column}: found {found}; allowed: {self.allowed}"


@dataclass(frozen=True, slots=True)
class LawnRow:
    """One good row. Heights in mm, area in m², ``nitrogen`` in lb/1000 ft²/yr.

    ``said`` names the columns that were filled in; the rest are defaults.
    """

    line: int
    keeper: str
    kind: KeeperKind
    email: str | None
    phone: str | None
    time_zone: str
    units: Units
    site: str
    address: str
    latitude_deg: float
    longitude_deg: float
    lawn: str
    grass: Grass
    height_mm: float
    soil: str
    watering: Watering
    sun: Sun
    nitrogen: float | None
    area_m2: float | None
    turf_class: str
    mowing_days: frozenset[int]
    mowing_hours: tuple[int, int]
    clippings: Clippings
    silence: Silence
    last_mown_on: date | None
    last_height_mm: float
    guide: str | None
    follows_guide: bool
    said: frozenset[str]


def missing_columns(header: Sequence[str]) -> list[str]:
    """Return what a table's header lacks to be usable at all."""
    names = set(header)
    needed = [name for name in ("keeper", "kind", "latitude", "longitude", "grass") if name not in names]
    if not names & {"email", "phone"}:
        needed.append("email or phone")
    if not names & {"height_mm", "height_in", "guide"}:
        needed.append("height_mm or height_in")
    return needed


def read_row(
    cells: Mapping[str, str], *, line: int, turf: Turf, guides: Mapping[str, Guide], now: datetime
) -> LawnRow | list[Problem]:
    """Read one row; every bad cell of it is named.

    Parameters
    ----------
    cells : Mapping[str, str]
        Text by column name.
    line : int
        Line of the row in its file.
    turf : Turf
        Grasses and soils.
    guides : Mapping[str, Guide]
        Region guides by id.
    now : datetime
        The moment; no cut can lie after its local day.

    Returns
    -------
    LawnRow | list[Problem]
        The lawn, or everything wrong with the row.
    """
    tidied = {name: " ".join(text.split()) for name, text in cells.items()}
    reader = _Reader(tidied, line, turf, guides, now)
    row = reader.read()
    return reader.problems if reader.problems or row is None else row


class _Reader:
    """Reads the cells of one row and collects what is wrong with them."""

    def __init__(
        self, cells: Mapping[str, str], line: int, turf: Turf, guides: Mapping[str, Guide], now: datetime
    ) -> None:
        self.cells, self.line, self.turf, self.guides, self.now = cells, line, turf, guides, now
        self.problems: list[Problem] = []

    def read(self) -> LawnRow | None:
        keeper = self._text("keeper", needed=True)
        kind = self._choice("kind", KeeperKind, None)
        position = self._position()
        zone_there = self._zone_there(position)
        zone = self._zone(zone_there)
        country = country_of(zone_there) if zone_there else None
        email, phone = self._email(), self._phone(country)
        if not self._cell("email") and not self._cell("phone"):
            self._wrong("email", "", "an e-mail address, or a phone number in column phone")
        grass, guide = self._grass(), self._guide()
        by_guide_mm = self._by_guide(guide, grass, zone)
        height_mm = by_guide_mm or self._height(grass)
        mown_on = self._mown_on(zone)
        last_mm = self._last_height(height_mm, grass)
        hours = self._hours(kind)
        days = self._days(kind)
        units = self._choice("units", Units, Units.US if country == "US" else Units.METRIC)
        soil = self._soil()
        watering = self._choice("watering", Watering, Watering.NONE)
        sun = self._choice("sun", Sun, Sun.FULL)
        feed = "pounds of nitrogen per 1000 square feet and year, 0 to 10"
        nitrogen = self._number("nitrogen", 0, 10, feed)
        area_m2 = self._area()
        clippings = self._choice("clippings", Clippings, Clippings.LEAVE)
        silence = self._choice("silence", Silence, _usual_silence(kind))
        site, address, lawn, turf_class = (
            self._text(name) for name in ("site", "address", "lawn", "turf_class")
        )
        if (
            self.problems
            or kind is None
            or position is None
            or zone is None
            or grass is None
            or height_mm is None
            or units is None
            or soil is None
            or watering is None
            or sun is None
            or clippings is None
            or silence is None
            or days is None
            or hours is None
        ):
            return None
        return LawnRow(
            line=self.line,
            keeper=keeper,
            kind=kind,
            email=email,
            phone=phone,
            time_zone=zone,
            units=units,
            site=site or address or _usual_site(kind, position),
            address=address,
            latitude_deg=position[0],
            longitude_deg=position[1],
            lawn=lawn or "lawn",
            grass=grass,
            height_mm=height_mm,
            soil=soil,
            watering=watering,
            sun=sun,
            nitrogen=nitrogen,
            area_m2=area_m2,
            turf_class=turf_class,
            mowing_days=days,
            mowing_hours=hours,
            clippings=clippings,
            silence=silence,
            last_mown_on=mown_on,
            last_height_mm=last_mm or height_mm,
            guide=guide.guide_id if guide else None,
            follows_guide=by_guide_mm is not None,
            said=frozenset(name for name, text in self.cells.items() if text),
        )

    def _cell(self, name: str) -> str:
        return self.cells.get(name, "")

    def _wrong(self, column: str, found: str, allowed: str) -> None:
        self.problems.append(Problem(self.line, column, found[:60], allowed))

    def _text(self, name: str, *, needed: bool = False) -> str:
        text = self._cell(name)
        if needed and not text:
            self._wrong(name, text, "a name")
        if len(text) > LONGEST_TEXT or not text.isprintable():
            self._wrong(name, text, f"plain text of at most {LONGEST_TEXT} letters")
        return text

    def _choice(self, name: str, words: type[Word], usual: Word | None) -> Word | None:
        text = self._cell(name).casefold()
        if not text and usual is not None:
            return usual
        try:
            return words(text)
        except ValueError:
            self._wrong(name, self._cell(name), f"one of {', '.join(word.value for word in words)}")
            return None

    def _number(self, name: str, lowest: float, highest: float, allowed: str) -> float | None:
        text = self._cell(name)
        if not text:
            return None
        try:
            number = float(text)
        except ValueError:
            number = float("nan")
        if not (isfinite(number) and lowest <= number <= highest):
            point = ", with a point for the decimals" if "," in text else ""
            self._wrong(name, text, allowed + point)
            return None
        return number

    def _position(self) -> tuple[float, float] | None:
        before = len(self.problems)
        found = []
        for name, most in (("latitude", 90), ("longitude", 180)):
            if not self._cell(name):
                self._wrong(name, "", f"degrees from -{most} to {most}")
            found.append(self._number(name, -most, most, f"degrees from -{most} to {most}"))
        if len(self.problems) > before or found[0] is None or found[1] is None:
            return None
        return found[0], found[1]

    def _zone_there(self, position: tuple[float, float] | None) -> str | None:
        if position is None:
            return None
        try:
            return time_zone_at(*position)
        except InputError as error:
            self._wrong("latitude", f"{position[0]:g}, {position[1]:g}", f"a place on land; {error}")
            return None

    def _zone(self, zone_there: str | None) -> str | None:
        said = self._cell("time_zone")
        if not said:
            return zone_there
        try:
            return ZoneInfo(said).key
        except (KeyError, ValueError, OSError):
            self._wrong("time_zone", said, f"an IANA zone such as {zone_there or 'Europe/Paris'}")
            return None

    def _email(self) -> str | None:
        text = self._cell("email")
        if not text:
            return None
        try:
            return email_in(text)
        except ValueError as error:
            self._wrong("email", text, f"an e-mail address ({error})")
            return None

    def _phone(self, country: str | None) -> str | None:
        text = self._cell("phone")
        if not text:
            return None
        number = phone_in(text, country)
        if number is None:
            self._wrong("phone", text, "a phone number, best with its country code: +1 555 555 0100")
        return number

    def _grass(self) -> Grass | None:
        text = self._cell("grass")
        try:
            return self.turf.grass(text)
        except InputError as error:
            self._wrong("grass", text, f"a grass known here: {_hint(error)}")
            return None

    def _either(self, base: str, lowest_mm: float, highest_mm: float, allowed: str) -> float | None:
        """A length given in mm or in inches, in one of two columns."""
        mm = self._number(f"{base}_mm", lowest_mm, highest_mm, allowed)
        inches = self._number(f"{base}_in", lowest_mm / 25.4 - 0.005, highest_mm / 25.4 + 0.005, allowed)
        of_inches = None if inches is None else round(float(mm_from_inches(inches)), 2)
        self._agree(f"{base}_mm", mm, f"{base}_in", of_inches, ROUNDED_MM)
        return of_inches if mm is None else mm

    def _agree(self, name: str, one: float | None, other_name: str, other: float | None, by: float) -> None:
        """Refuse a quantity that two columns tell differently."""
        if one is not None and other is not None and abs(one - other) > by:
            self._wrong(other_name, self._cell(other_name), f"the same as {name}, {one:g}; leave one empty")

    def _guide(self) -> Guide | None:
        text = self._cell("guide").casefold()
        if text in ("", "none"):
            return None
        if text not in self.guides:
            known = ", ".join(self.guides) or "none yet; `mowalert guides add FILE` adds one"
            self._wrong("guide", text, f"a region guide known here: {known}")
        return self.guides.get(text)

    def _by_guide(self, guide: Guide | None, grass: Grass | None, zone: str | None) -> float | None:
        """The guide's usual height today, for a lawn that is told no height of its own."""
        if guide is None or grass is None or self._cell("height_mm") or self._cell("height_in"):
            return None
        today = self.now.astimezone(ZoneInfo(zone)).date() if zone else self.now.date()
        row = guide.height(grass.grass_id, self._cell("turf_class"), today)
        return None if row is None else row.usual_mm

    def _height(self, grass: Grass | None) -> float | None:
        if not self._cell("height_mm") and not self._cell("height_in"):
            self._wrong(
                "height_mm", "", "the height the lawn is cut to, in mm, or in inches in column height_in"
            )
            return None
        if grass is None:
            return None
        low, high, usual = grass.lowest_mm, grass.highest_mm, grass.usual_mm
        allowed = (
            f"{grass.name} is kept at {low:g} to {high:g} mm ({low / 25.4:.2g} to {high / 25.4:.2g} in), "
            f"usually at {usual[0]:g} to {usual[1]:g} mm"
        )
        return self._either("height", low, high, allowed)

    def _last_height(self, height_mm: float | None, grass: Grass | None) -> float | None:
        if height_mm is None or grass is None:
            return None
        highest = min(6 * height_mm, grass.ceiling_mm - 1)
        allowed = f"a height after the last cut of 2 to {highest:.0f} mm for a lawn kept at {height_mm:g} mm"
        last_mm = self._either("last_height", 2.0, highest, allowed)
        if last_mm is not None and not self._cell("last_mown_on"):
            self._wrong("last_mown_on", "", "the day of the last cut, where its height is told")
        return last_mm

    def _mown_on(self, zone: str | None) -> date | None:
        text = self._cell("last_mown_on")
        if not text:
            return None
        try:
            on = date.fromisoformat(text)
        except ValueError:
            self._wrong("last_mown_on", text, "a date such as 2026-05-09")
            return None
        today = self.now.astimezone(ZoneInfo(zone)).date() if zone else self.now.date()
        if on > today:
            self._wrong("last_mown_on", text, f"a day up to today, {today}")
        elif on < today - timedelta(days=SEASON_DAYS):
            self._wrong("last_mown_on", text, f"a cut of this season, at most {SEASON_DAYS} days ago")
        return on

    def _days(self, kind: KeeperKind | None) -> frozenset[int] | None:
        text = self._cell("mowing_days").casefold()
        if not text:
            return WEEKEND if kind is KeeperKind.HOMEOWNER else WORKDAYS
        names = [name[:3] for name in text.replace(",", " ").replace(";", " ").split()]
        if not names or any(name not in DAY_NAMES for name in names):
            self._wrong("mowing_days", text, "weekdays such as: sat sun")
            return None
        return frozenset(DAY_NAMES.index(name) for name in names)

    def _hours(self, kind: KeeperKind | None) -> tuple[int, int] | None:
        text = self._cell("mowing_hours")
        if not text:
            return (9, 18) if kind is KeeperKind.HOMEOWNER else (7, 17)
        try:
            start, _, stop = text.partition("-")
            hours = (_hour(start), _hour(stop))
            if not 0 <= hours[0] < hours[1] <= 24:
                raise ValueError(text)
        except ValueError:
            self._wrong("mowing_hours", text, "hours from-to such as 9-18 or 07:00-17:00")
            return None
        return hours

    def _soil(self) -> str | None:
        text = self._cell("soil")
        try:
            return self.turf.soil(text) if text else "loam"
        except InputError as error:
            self._wrong("soil", text, f"a soil known here: {_hint(error)}")
            return None

    def _area(self) -> float | None:
        area_m2 = self._number("area_m2", 0.5, 1e7, "square metres, 0.5 to 10,000,000")
        sqft = self._number("area_sqft", 5, 1e8, "square feet, 5 to 100,000,000")
        of_sqft = None if sqft is None else round(sqft * SQFT_M2, 2)
        self._agree("area_m2", area_m2, "area_sqft", of_sqft, 0.02 * (area_m2 or 0.0))
        return of_sqft if area_m2 is None else area_m2


def _hour(text: str) -> int:
    return datetime.strptime(text.strip(), "%H:%M").hour if ":" in text else int(text)  # noqa: DTZ007 - a time of day


def _usual_silence(kind: KeeperKind | None) -> Silence:
    return Silence.CUT if kind is KeeperKind.HOMEOWNER else Silence.UNCUT


def _usual_site(kind: KeeperKind, position: tuple[float, float]) -> str:
    return "Home" if kind is KeeperKind.HOMEOWNER else f"{position[0]:.7g}, {position[1]:.7g}"


def _hint(error: InputError) -> str:
    """What of an error helps on: the words that are known, or near."""
    return str(error).partition("; ")[2]
