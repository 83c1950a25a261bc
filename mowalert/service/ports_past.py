"""What the use cases ask of a store about what is old."""

from datetime import date
from enum import StrEnum
from typing import Protocol


class Old(StrEnum):
    """What is forgotten once it is old.

    ``records`` are visits and told holds: what a client's record of a season is written from.
    """

    MESSAGES = "messages"
    NOTICES = "notices"
    RECORDS = "records"
    PLANS = "plans"
    ROUNDS = "rounds"
    REFUSALS = "refusals"
    WEATHER = "weather"


class Past(Protocol):
    """What a store has of the past."""

    def forget(self, what: Old, *, before: date, after: int, limit: int) -> tuple[int, int | None]:
        """Look at the next rows, and forget the old ones: how many, and where to go on; none at the end."""

    def old(self, what: Old, *, before: date) -> int:
        """How many rows are old."""
