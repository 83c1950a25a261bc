"""One property told twice in an office's sheet: neither row is guessed to be the right one."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from re import sub

from mowalert.service.office.office_rows import WorkRow
from mowalert.service.reading.lawn_rows import Problem

OF_SITE = (
    "number", "client", "access", "gate", "dog", "district", "visit_from_min", "visit_to_min",
)  # fmt: skip
"""What is known of a site, under one name in an office's row and in the store."""
PLACE = ("address", "latitude", "longitude")
SHORT = {"street": "st", "avenue": "ave", "road": "rd", "lane": "ln", "drive": "dr", "court": "ct"}


@dataclass(frozen=True, slots=True)
class Told:
    """A row in our form: a lawn's cells, and what is known of the work there."""

    cells: dict[str, str]
    work: WorkRow

    @property
    def names(self) -> set[str]:
        """What its site goes by."""
        found = (self.cells.get("site", ""), self.cells.get("address", ""), self.work.number)
        return {name.casefold() for name in found if name}

    @property
    def site(self) -> tuple[str, ...]:
        """What makes a site the same in two rows: whose it is, and its name, address or position."""
        whose = [self.cells.get(name, "").casefold() for name in ("keeper", "kind", "email", "phone")]
        name = self.cells.get("site") or self.cells.get("address")
        return (*whose, (name or ", ".join(self.cells.get(one, "") for one in PLACE[1:])).casefold())

    def said(self, column: str) -> str:
        """What the row says in a column of ours."""
        if column == "lawn":
            return f"{self.site[-1]}, {self.lawn}"
        found = self.cells.get(column) or getattr(self.work, column, None)
        return "" if found is None else str(found)

    @property
    def lawn(self) -> str:
        """A lawn's name, as the store has it."""
        return self.cells.get("lawn", "").casefold() or "lawn"


def refuse_doubles(told: dict[int, Told], problems: list[Problem]) -> list[str]:
    """Leave a row out that is another's word for word; refuse all that contradict one another.

    Parameters
    ----------
    told : dict[int, Told]
        Rows by line; repeated ones are taken out.
    problems : list[Problem]
        Where refused rows are named.

    Returns
    -------
    list[str]
        A remark for each row left out.
    """
    remarks = _leave_out_repeated(told)
    refused = _Refused(told, problems)
    for lines in _alike(told, lambda row: (row.site, row.lawn)):
        refused.add(lines, "lawn", "one row a lawn")
    for lines in _alike(told, _address_key):
        refused.add(lines, "address", "one row a property")
    for lines in _alike(told, lambda row: (row.site[:-1], row.work.number.casefold())):
        if len({told[line].site for line in lines}) > 1:
            refused.add(lines, "number", "one property a number")
    for lines in _alike(told, lambda row: (row.site,)):
        for column in (*PLACE, *OF_SITE):
            if len({_fact(told[line], column) for line in lines} - {""}) > 1:
                refused.add(lines, column.removesuffix("_min"), "the same for all lawns of a site")
    return remarks


def _leave_out_repeated(told: dict[int, Told]) -> list[str]:
    first: dict[tuple[object, ...], int] = {}
    remarks = []
    for line in sorted(told):
        row = told[line]
        work = tuple(getattr(row.work, name) for name in WorkRow.__dataclass_fields__ if name != "line")
        other = first.setdefault((tuple(sorted(row.cells.items())), work), line)
        if other != line:
            remarks.append(f"line {line}: the same row as line {other} again, left out")
            del told[line]
    return remarks


def _alike(told: Mapping[int, Told], key: Callable[[Told], tuple[object, ...]]) -> list[list[int]]:
    """Lines of rows that have a key in common, where there are several; an empty part makes none."""
    found: dict[object, list[int]] = {}
    for line, row in sorted(told.items()):
        parts = key(row)
        if "" not in parts[1:]:
            found.setdefault(parts, []).append(line)
    return [lines for lines in found.values() if len(lines) > 1]


def _address_key(row: Told) -> tuple[object, ...]:
    """An address in plain words, so that 12 Elm St. and 12 elm street are one."""
    words = sub(r"[^a-z0-9 ]+", " ", row.cells.get("address", "").casefold()).split()
    address = " ".join(SHORT.get(word, word) for word in words)
    return (row.site[:-1], row.cells.get("site", "").casefold()), address, row.lawn


def _fact(row: Told, column: str) -> str:
    if column in ("latitude", "longitude"):
        try:
            return f"{float(row.cells[column]):.6f}"
        except ValueError:
            return row.cells[column]
    found = row.cells.get(column, "") if column in PLACE else getattr(row.work, column)
    return "" if found is None else str(found)


class _Refused:
    """Rows refused because others say otherwise; each is named for one reason, and with the others' lines."""

    def __init__(self, told: Mapping[int, Told], problems: list[Problem]) -> None:
        self._told, self._problems, self._lines = told, problems, set[int]()

    def add(self, lines: Sequence[int], column: str, rule: str) -> None:
        if self._lines.issuperset(lines):
            return
        for line in lines:
            others = ", ".join(str(other) for other in lines if other != line)
            found = self._told[line].said(column)[:60]
            allowed = f"{rule}; line {others} says otherwise"
            self._problems.append(Problem(line, column, found, allowed))
        self._lines.update(lines)
