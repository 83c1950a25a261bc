"""What is said in answer to a text that came in: its facts, before any wording."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from mowalert.domain.notices import Notice
from mowalert.domain.replies import Problem


class AnswerKind(StrEnum):
    """What one answer says."""

    STOPPED = "stopped"
    STARTED = "started"
    HELP = "help"
    WELCOME = "welcome"
    ALREADY = "already"
    MOWED = "mowed"
    MEASURED = "measured"
    WHY = "why"
    NOTHING_TOLD = "nothing_told"
    PAUSED = "paused"
    WHICH_LAWN = "which_lawn"
    NO_LAWN = "no_lawn"
    PROBLEM = "problem"
    NO_SUCH_HEIGHT = "no_such_height"
    REPORTED_SINCE = "reported_since"
    TOO_OLD = "too_old"
    TOO_LONG = "too_long"
    CANNOT = "cannot"
    NOT_UNDERSTOOD = "not_understood"


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a text. Heights in mm, dates local.

    ``on`` is the day of a cut, the last day of a pause, or that of a later report; ``chosen_mm`` the
    height a lawn is kept at, ``days`` the longest pause. ``page_url`` is the keeper's own page, empty
    where it must not be told. ``by_mail`` says that e-mail goes on.
    """

    kind: AnswerKind
    place: str = ""
    lawns: int = 1
    height_mm: float | None = None
    chosen_mm: float | None = None
    on: date | None = None
    days: int = 0
    notice: Notice | None = None
    problem: Problem | None = None
    page_url: str = ""
    by_mail: bool = False
