"""Warnings of weather services, as they were given: which are in force, and nothing reworded."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from mowalert.domain.areas import Area


class WarningKind(StrEnum):
    """What a warning is about, as far as work on turf is concerned."""

    HEAT = "heat"
    FREEZE = "freeze"
    STORM = "storm"
    AIR = "air"
    OTHER = "other"


class Severity(StrEnum):
    """How bad it may get, in the words of CAP 1.2, the worst first."""

    EXTREME = "extreme"
    SEVERE = "severe"
    MODERATE = "moderate"
    MINOR = "minor"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class OfficialWarning:
    """One warning in its sender's own words.

    ``ends_at`` is the end of the event where the sender tells it, else the moment its message lapses.
    ``areas`` are the sender's names of places, ``language`` a tag such as ``en-US``. ``url`` and
    ``instruction`` may be empty.
    """

    warning_id: str
    sender: str
    event: str
    kind: WarningKind
    severity: Severity
    headline: str
    onset_at: datetime
    ends_at: datetime
    areas: tuple[str, ...] = ()
    url: str = ""
    instruction: str = ""
    language: str = ""


@dataclass(frozen=True, slots=True)
class AreaWarning:
    """A warning and where it holds."""

    warning: OfficialWarning
    areas: tuple[Area, ...]


@dataclass(frozen=True, slots=True)
class PlacedWarning:
    """A warning and the weather cells it touches; none where its area is known by name only."""

    warning: OfficialWarning
    cell_ids: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class AlertMessage:
    """One message of an authority: it warns, renews or ends a warning, or only tests the way.

    ``for_real`` messages are meant for the public, and no test or exercise. ``replaces`` are ids of
    earlier messages this one stands in for, or cancels.
    """

    alert_id: str
    for_real: bool
    cancels: bool
    replaces: frozenset[str]
    sent_at: datetime
    warnings: tuple[AreaWarning, ...]


def replaced(messages: Iterable[AlertMessage]) -> frozenset[str]:
    """Return ids of messages that others cancelled or stand in for.

    Parameters
    ----------
    messages : Iterable[AlertMessage]
        Messages of one source; what a test refers to stays.

    Returns
    -------
    frozenset[str]
        Ids, whether or not their messages are among the given.
    """
    known = [message for message in messages if message.for_real]
    sent = {message.alert_id: message.sent_at for message in known}
    return frozenset(
        old
        for message in known
        for old in message.replaces
        # Two messages that each claim to replace the other must not both vanish.
        if message.cancels or old not in sent or sent[old] < message.sent_at
    )


def in_force(messages: Iterable[AlertMessage], *, now: datetime) -> list[AreaWarning]:
    """Return warnings that hold now or are still to come, each once, the worst first.

    Parameters
    ----------
    messages : Iterable[AlertMessage]
        Messages of one source.
    now : datetime
        The moment.

    Returns
    -------
    list[AreaWarning]
        Warnings meant for real, neither cancelled nor replaced nor over.
    """
    known = list(messages)
    gone = replaced(known)
    standing = {
        found.warning.warning_id: found
        for message in known
        if message.for_real and not message.cancels and message.alert_id not in gone
        for found in message.warnings
        if found.warning.ends_at > now
    }
    return sorted(standing.values(), key=lambda found: worst_first(found.warning))


def worst_first(warning: OfficialWarning) -> tuple[int, datetime, str]:
    """Return a key that sorts the worst first, then the soonest."""
    return list(Severity).index(warning.severity), warning.onset_at, warning.warning_id
