"""What the operator set for everything that is told."""

from dataclasses import dataclass
from datetime import timedelta

from mowalert.domain.words import Channel
from mowalert.links import Links

NO_PAGES = Links("", "")


@dataclass(frozen=True, slots=True)
class Policy:
    """What the operator set: channels in use, how old weather may be, and where links lead.

    With ``plans_days`` organisations that have crews are handed plans in place of plain lists.
    ``daily_calls`` are those a day that the first source of weather allows; none where it allows any number.
    """

    channels: frozenset[Channel]
    max_age: timedelta
    host: str = "localhost"
    plans_days: bool = False
    links: Links = NO_PAGES
    daily_calls: float | None = None
