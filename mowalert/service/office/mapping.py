"""Whose column is which of ours: proposed by name, shown for confirmation, and kept for the next time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from re import sub
from typing import Any

from mowalert.errors import InputError
from mowalert.service.reading.lawn_rows import COLUMNS, missing_columns
from mowalert.service.reading.written import DayOrder, Decimals

WORK_COLUMNS = (
    "number", "client", "access", "gate", "dog", "district", "minutes", "crew", "visit_from", "visit_to",
)  # fmt: skip
"""What an office knows of the work, beside what a lawn is."""
ACRES = "area_acres"
OF_KEEPER = ("keeper", "kind", "email", "phone", "time_zone", "units", "silence")
"""What belongs to the organisation: told for every row, it is not what a column says of a client."""
REACHED = ("email", "phone")
OURS = (*COLUMNS, *WORK_COLUMNS, ACRES)
SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "keeper": ("company", "organisation", "organization", "empresa"),
    "number": (
        "account",
        "account no",
        "account number",
        "customer no",
        "property no",
        "property id",
        "id",
        "no",
        "site no",
        "numero",
    ),
    "client": ("customer", "customer name", "owner", "client name", "cliente"),
    "site": ("property", "property name", "location", "site name", "propiedad", "sitio"),
    "address": ("street", "street address", "service address", "direccion"),
    "latitude": ("lat", "latitud"),
    "longitude": ("lon", "lng", "long", "longitud"),
    "lawn": ("area name", "turf area", "zone", "cesped"),
    "grass": ("grass type", "turf", "turf type", "species", "hierba"),
    "height_mm": ("height mm", "mowing height mm", "cut height mm", "altura mm"),
    "height_in": ("height in", "mowing height in", "cut height in", "cut height inches", "height inches"),
    "area_m2": ("area m2", "size m2", "lawn m2", "square metres", "superficie m2"),
    "area_sqft": ("area sq ft", "area sqft", "lot size sq ft", "square feet", "turf sq ft", "size sq ft"),
    ACRES: ("acres", "lot acres", "turf acres"),
    "turf_class": ("class", "turf class", "clase"),
    "watering": ("irrigation", "irrigated", "riego"),
    "nitrogen": ("n lb per 1000 sq ft", "nitrogen lb"),
    "last_mown_on": ("last mowed", "last mown", "last cut", "last service", "ultimo corte"),
    "minutes": ("time", "duration", "est minutes", "labor minutes", "minutos"),
    "crew": ("team", "route", "cuadrilla"),
    "access": ("access notes", "notes", "instructions", "acceso", "notas"),
    "gate": ("gate code", "code", "porton"),
    "dog": ("pets", "dogs", "perro"),
    "district": ("region", "ward", "distrito"),
    "visit_from": ("from", "earliest", "open from", "desde"),
    "visit_to": ("to", "until", "latest", "open until", "hasta"),
}
"""Names of the trade and of offices, English and Spanish, as plain lower-case words."""


class Why(StrEnum):
    """Why a column is taken for one of ours."""

    SAVED = "as confirmed before"
    NAME = "same name"
    SYNONYM = "known by that name"
    SAID = "as you said"
    NONE = "left alone"
    TWICE = "another column fits as well: say which with --map"
    FIXED = "left alone: told for every row instead"
    CLIENTS = "left alone: a client's, it seems; --map takes it for the organisation's"


@dataclass(frozen=True, slots=True)
class Mapped:
    """One of the office's columns: which of ours it is, if any, and why."""

    theirs: str
    ours: str | None
    why: Why


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """All of an office's columns, values where it tells none, and how it writes figures and days.

    ``lost`` are columns that were confirmed before and that this sheet does not have.
    """

    columns: tuple[Mapped, ...]
    fixed: Mapping[str, str] = field(default_factory=dict)
    decimals: Decimals | None = None
    dates: DayOrder | None = None
    lost: tuple[str, ...] = ()

    def plain(self) -> dict[str, Any]:
        """Return what is worth keeping for the next time; a column left alone stays so."""
        return {
            "columns": {one.theirs: one.ours or "" for one in self.columns},
            "fixed": dict(self.fixed),
            "decimals": self.decimals,
            "dates": self.dates,
        }

    def with_usual(self, ours: str, text: str) -> "ColumnMapping":
        """Return the same with a value for one of ours, if nothing tells it."""
        if ours in self.theirs or ours in self.fixed:
            return self
        return replace(self, fixed={**self.fixed, ours: text})

    @property
    def theirs(self) -> dict[str, str]:
        """The office's name of each column of ours that it has."""
        return {one.ours: one.theirs for one in self.columns if one.ours is not None}

    @property
    def lacking(self) -> list[str]:
        """What of ours no lawn can do without, and neither a column nor a value tells; positions can wait."""
        told = {*self.theirs, *self.fixed, "latitude", "longitude"}
        return missing_columns(tuple(told))


def propose(
    header: Sequence[str],
    *,
    saved: Mapping[str, Any] | None = None,
    said: Mapping[str, str] | None = None,
    fixed: Mapping[str, str] | None = None,
    decimals: Decimals | None = None,
    dates: DayOrder | None = None,
) -> ColumnMapping:
    """Propose which of an office's columns is which of ours.

    Parameters
    ----------
    header : Sequence[str]
        The office's column names.
    saved : Mapping[str, Any] | None
        A mapping kept before, as ``plain`` gives it.
    said : Mapping[str, str] | None
        What somebody says now: theirs to ours; an empty name leaves a column alone.
    fixed : Mapping[str, str] | None
        Values where the sheet tells none; of the organisation, whatever the sheet tells.
    decimals : Decimals | None
        The mark before the office's decimals, where somebody says so.
    dates : DayOrder | None
        The order of its days and months, likewise.

    Returns
    -------
    ColumnMapping
        A proposal. Where two columns fit one of ours, neither is taken.

    Raises
    ------
    InputError
        If something is said of a column that is not there, or twice, or of none of ours.
    """
    kept = saved or {}
    told, values = dict(said or {}), {**kept.get("fixed", {}), **(fixed or {})}
    _check_said(header, told, fixed or {})
    for ours in values:
        _check_ours(ours)
    before = kept.get("columns", {})
    found = [_for_organisation(_mapped(name, before, told), values) for name in header]
    return ColumnMapping(
        tuple(_once(found)),
        values,
        decimals or (Decimals(kept["decimals"]) if kept.get("decimals") else None),
        dates or (DayOrder(kept["dates"]) if kept.get("dates") else None),
        tuple(name for name, ours in before.items() if ours and name not in header),
    )


def _check_said(header: Sequence[str], told: Mapping[str, str], fixed: Mapping[str, str]) -> None:
    meant = [ours for ours in told.values() if ours]
    for theirs in told:
        if theirs not in header:
            raise InputError(f"the sheet has no column {theirs!r}; it has {', '.join(header)}")
    for ours in meant:
        _check_ours(ours)
        if meant.count(ours) > 1:
            raise InputError(f"two columns are said to be {ours}; say one")
        if ours in fixed and ours in OF_KEEPER:
            raise InputError(f"{ours} is told for every row and said to be a column; say one")


def _check_ours(name: str) -> None:
    if name not in OURS:
        raise InputError(f"{name!r} is no column of ours; allowed: {', '.join(OURS)}")


def _mapped(theirs: str, saved: Mapping[str, str], said: Mapping[str, str]) -> Mapped:
    if theirs in said:
        return Mapped(theirs, said[theirs] or None, Why.SAID if said[theirs] else Why.NONE)
    if theirs in saved and saved[theirs] in ("", *OURS):
        return Mapped(theirs, saved[theirs] or None, Why.SAVED if saved[theirs] else Why.NONE)
    name = _plain(theirs)
    for ours in OURS:
        if name == _plain(ours):
            return Mapped(theirs, ours, Why.NAME)
    for ours, names in SYNONYMS.items():
        if name in names:
            return Mapped(theirs, ours, Why.SYNONYM)
    return Mapped(theirs, None, Why.NONE)


def _plain(name: str) -> str:
    """A column's name in plain words: ``Cut height (in.)`` is ``cut height in``."""
    accents = str.maketrans("áéíóúñ²", "aeioun2")
    return " ".join(sub(r"[^a-z0-9]+", " ", name.casefold().translate(accents)).split())


def _for_organisation(one: Mapped, fixed: Mapping[str, str]) -> Mapped:
    """A column by its name alone says nothing of an organisation that is told for every row."""
    if one.why is not Why.SAID and one.ours in OF_KEEPER and one.ours in fixed:
        return replace(one, ours=None, why=Why.FIXED)
    if one.why in (Why.NAME, Why.SYNONYM) and one.ours in REACHED and "keeper" in fixed:
        return replace(one, ours=None, why=Why.CLIENTS)
    return one


def _once(found: Sequence[Mapped]) -> list[Mapped]:
    """Take none of several columns that fit one of ours, unless somebody says, or said, which."""
    said = {one.ours for one in found if one.why is Why.SAID}
    counts = [one.ours for one in found if one.ours is not None]
    result = []
    for one in found:
        sure = one.why is Why.SAID or (one.why is Why.SAVED and one.ours not in said)
        rival = one.ours is not None and counts.count(one.ours) > 1
        result.append(replace(one, ours=None, why=Why.TWICE) if rival and not sure else one)
    return result
