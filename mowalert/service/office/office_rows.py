"""One row of an office's sheet brought into our form: every cell read otherwise than written is told."""

from collections.abc import Callable
from dataclasses import dataclass, field
from re import fullmatch

from mowalert.errors import InputError
from mowalert.service.office.mapping import ACRES, WORK_COLUMNS
from mowalert.service.reading.day_hours import minute_of
from mowalert.service.reading.lawn_rows import SQFT_M2, Problem
from mowalert.service.reading.sheet import Figure
from mowalert.service.reading.written import Habits, day_in, figure_in

ACRE_M2 = 4046.8564224
INCHES_BELOW = 8.0
"""A bare number this small under a height in mm is refused: it looks like inches."""
_FIGURE = r"([0-9][0-9.,]*)\s*"
_LENGTH = _FIGURE + r'(mm|millimet(?:er|re)s?|cm|centimet(?:er|re)s?|in|in\.|inch|inches|"|″|\'\')'
_SIZE = _FIGURE + (
    r"(m2|m²|sq\.? ?m|sqm|square met(?:er|re)s?|sq\.? ?ft|sqft|ft2|ft²|square f(?:ee|oo)t|acres?|ac)\.?"
)
MM = {"mm": 1.0, "cm": 10.0, "in": 25.4}
M2 = {"m2": 1.0, "sqft": SQFT_M2, "acres": ACRE_M2}
LENGTHS = {"height_mm": "mm", "height_in": "in", "last_height_mm": "mm", "last_height_in": "in"}
SIZES = {"area_m2": "m2", "area_sqft": "sqft", ACRES: "acres"}
PLAIN_FIGURES = ("nitrogen", "minutes")
POSITION = ("latitude", "longitude")
FIGURES = (*LENGTHS, *SIZES, *PLAIN_FIGURES)
IDENTIFIERS = ("phone", "number", "gate")
YES, NO = ("yes", "y", "true", "si", "sí", "1"), ("no", "n", "false", "0")
SAME_SIZE = 0.02
"""How far two columns may lie apart that tell one area in two units, as a share."""
LONGEST_TEXT = 200


@dataclass(frozen=True, slots=True)
class WorkRow:
    """What an office knows of the work at one lawn. Minutes at the lawn, hours from midnight."""

    line: int
    number: str = ""
    client: str = ""
    access: str = ""
    gate: str = ""
    dog: str = ""
    district: str = ""
    minutes: float | None = None
    crew: str = ""
    visit_from_min: int | None = None
    visit_to_min: int | None = None


@dataclass(frozen=True, slots=True)
class Conversion:
    """A cell that is read otherwise than it is written: as what, with its unit."""

    line: int
    column: str
    written: str
    read_as: str


@dataclass(slots=True)
class OfficeRow:
    """A row while its cells are brought into our form; they are changed in place, and told of."""

    line: int
    cells: dict[str, str]
    habits: Habits
    problems: list[Problem] = field(default_factory=list)
    conversions: list[Conversion] = field(default_factory=list)
    with_unit: set[str] = field(default_factory=set)

    def read(self) -> WorkRow:
        """Read every cell that is ours to read; what is of the work is taken out of them."""
        for name in POSITION:
            self._degrees(name)
        for name in IDENTIFIERS:
            self._identifier(name)
        for name, unit in LENGTHS.items():
            self._measured(name, unit, _LENGTH, MM)
        for name, unit in SIZES.items():
            self._measured(name, unit, _SIZE, M2)
        for name in PLAIN_FIGURES:
            self._become(name, lambda text: figure_in(text, self.habits))
        self._bare_inches()
        self._acres()
        self._watering()
        self._become("last_mown_on", lambda text: day_in(text, self.habits.dates).isoformat())
        return self._work()

    def _wrong(self, column: str, allowed: str) -> None:
        self.problems.append(Problem(self.line, column, self.cells.get(column, "")[:60], allowed))

    def _become(self, name: str, reader: Callable[[str], str], unit: str = "") -> None:
        """Let a cell become what a reader makes of it; a change is told, and what cannot be read named."""
        text = self.cells.get(name, "")
        if not text:
            return
        try:
            found = reader(text)
        except InputError as error:
            self._wrong(name, str(error))
            return
        if found != text:
            self.cells[name] = found
            read_as = f"{found} {unit}".rstrip()
            if read_as != text.casefold():
                self.conversions.append(Conversion(self.line, name, text, read_as))

    def _degrees(self, name: str) -> None:
        """Degrees have no thousands: their only mark stands before the decimals."""
        marks = [letter for letter in self.cells.get(name, "") if letter in ",."]
        self._become(name, lambda text: text.replace(",", ".") if len(marks) == 1 else text)

    def _identifier(self, name: str) -> None:
        text = self.cells.get(name, "")
        if isinstance(text, Figure):
            return
        if fullmatch(r"[0-9](?:[.,][0-9]+)?[eE]\+?[0-9]+", text):
            self._wrong(name, "all its digits: a spreadsheet has shortened it; format the column as text")
        elif whole := fullmatch(r"([0-9]{3,})[.,]0+", text):
            self._become(name, lambda _: whole[1])

    def _measured(self, name: str, unit: str, form: str, units: dict[str, float]) -> None:
        """A unit in the cell counts before the column's own."""

        def read(text: str) -> str:
            found = fullmatch(form, text.casefold())
            if not found:
                return figure_in(text, self.habits)
            self.with_unit.add(name)
            figure, said = figure_in(found[1], self.habits), _unit(found[2])
            number = _number(figure)
            return figure if said == unit or number is None else f"{number * units[said] / units[unit]:.10g}"

        self._become(name, read, unit)

    def _bare_inches(self) -> None:
        for name in (name for name, unit in LENGTHS.items() if unit == "mm" and name not in self.with_unit):
            text = self.cells.get(name, "")
            if 0 < (_number(text) or 0) < INCHES_BELOW:
                hint = f"write {text} in, or map the column to {name[:-3]}_in"
                self._wrong(name, f"a height in mm; {text} looks like inches: {hint}")

    def _acres(self) -> None:
        text = self.cells.pop(ACRES, "")
        if not text or any(problem.column == ACRES for problem in self.problems):
            return
        acres = _number(text)
        if acres is None or not 0 < acres < 1000:
            self.problems.append(Problem(self.line, ACRES, text[:60], "acres, such as 0.25"))
            return
        area_m2 = acres * ACRE_M2
        for name, unit in (("area_m2", "m2"), ("area_sqft", "sqft")):
            other = _number(self.cells.get(name, ""))
            if other is not None and abs(other * M2[unit] - area_m2) > SAME_SIZE * area_m2:
                allowed = f"the same as {name}, {other:g}; leave one empty"
                self.problems.append(Problem(self.line, ACRES, text, allowed))
        if not self.cells.get("area_m2") and not self.cells.get("area_sqft"):
            self.cells["area_m2"] = f"{area_m2:.1f}"
            self.conversions.append(Conversion(self.line, ACRES, text, f"{area_m2:.0f} m²"))

    def _watering(self) -> None:
        word = self.cells.get("watering", "").casefold()
        if word in YES or word in NO:
            self._become("watering", lambda _: "regular" if word in YES else "none")

    def _work(self) -> WorkRow:
        told = {name: self.cells.pop(name, "") for name in WORK_COLUMNS}
        for name, text in told.items():
            if len(text) > LONGEST_TEXT or not text.isprintable():
                allowed = f"plain text of at most {LONGEST_TEXT} letters"
                self.problems.append(Problem(self.line, name, text[:60], allowed))
        first, last = self._minute("visit_from", told), self._minute("visit_to", told)
        if first is not None and last is not None and first >= last:
            allowed = f"a time after {told['visit_from']}"
            self.problems.append(Problem(self.line, "visit_to", told["visit_to"], allowed))
        texts = {name: str(told[name]) for name in ("number", "client", "access", "gate", "dog", "district")}
        return WorkRow(
            self.line,
            **texts,
            minutes=self._minutes(told["minutes"]),
            crew=told["crew"],
            visit_from_min=first,
            visit_to_min=last,
        )

    def _minute(self, name: str, told: dict[str, str]) -> int | None:
        if not told[name]:
            return None
        try:
            return minute_of(told[name])
        except InputError:
            self.problems.append(Problem(self.line, name, told[name][:60], "a time such as 8:30"))
            return None

    def _minutes(self, text: str) -> float | None:
        minutes = _number(text) if text else None
        named = any(problem.column == "minutes" for problem in self.problems)
        if text and not named and (minutes is None or not 1 <= minutes <= 600):
            self.problems.append(Problem(self.line, "minutes", text[:60], "minutes from 1 to 600"))
            return None
        return minutes


def _unit(said: str) -> str:
    """The unit a word means: mm, cm or in; m2, sqft or acres."""
    plain = said.replace(" ", "").replace(".", "")
    if plain.startswith("ac"):
        return "acres"
    if "ft" in plain or "foot" in plain or "feet" in plain:
        return "sqft"
    if plain.startswith(("m2", "m²", "sqm", "squaremet")):
        return "m2"
    return {"m": "mm", "c": "cm"}.get(plain[0], "in")


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
