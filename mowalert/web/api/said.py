"""What programs may say: nothing unknown, nothing guessed."""

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from mowalert.web.site import MOST_ID

TALLEST_MM = 10_000
NOTE = r"^[^\u0000-\u001f\u007f-\u009f]*$"
"""One line of text: no control characters."""
Id = Annotated[int, Field(ge=1, le=MOST_ID)]
HeightMm = Annotated[
    float, Field(gt=0, le=TALLEST_MM, description="Height of the grass. [mm]", examples=[70])
]


class Said(BaseModel):
    """A body."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


class Mowing(Said):
    """A cut that happened."""

    height_mm: HeightMm | None = Field(
        default=None, description="Height after the cut; the chosen height if not said. [mm]", examples=[65]
    )
    on: date | None = Field(
        default=None, description="Local day of the cut; today if not said.", examples=["2026-05-07"]
    )


class MeasuredHeight(Said):
    """A height measured with a ruler."""

    height_mm: HeightMm
    on: date | None = Field(
        default=None, description="Local day it was measured on; today if not said.", examples=["2026-05-07"]
    )


class LeaveAlone(Said):
    """Days on which a lawn is not to be mown."""

    reason: Literal["treatment", "event", "nesting", "noise"] = Field(description="Why.")
    first_on: date = Field(description="First day.", examples=["2026-05-09"])
    last_on: date = Field(description="Last day, included.", examples=["2026-05-10"])
    note: str = Field(
        default="", max_length=200, pattern=NOTE, description="What is said with it.", examples=["A concert."]
    )


class Pause(Said):
    """A wish for silence."""

    until: date | None = Field(description="Last silent day; null ends the pause.", examples=["2026-05-20"])


class VisitSaid(Said):
    """What became of a visit to a lawn."""

    lawn_id: Id
    outcome: Literal["done", "skipped"] = Field(description="What became of it.")
    on: date | None = Field(
        default=None, description="Local day; today if not said.", examples=["2026-05-07"]
    )
    reason: (
        Literal[
            "rain",
            "no_time",
            "locked",
            "dog",
            "too_wet",
            "held",
            "client",
            "machine",
            "not_needed",
            "other",
        ]
        | None
    ) = Field(default=None, description="Why it was skipped; needed then.")
    minutes: float | None = Field(
        default=None, gt=0, le=1440, description="Time at the lawn. [min]", examples=[25]
    )
    height_mm: HeightMm | None = Field(
        default=None, description="Height after the cut; the chosen height if not said. [mm]", examples=[65]
    )
    note: str = Field(default="", max_length=200, pattern=NOTE, description="A word for the record.")


class Asked(BaseModel):
    """What may follow the question mark."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class AskedPage(Asked):
    """Which page of a list."""

    after: int = Field(
        default=0, ge=0, le=MOST_ID, description="The last number of the page before: its `next`."
    )
    limit: int = Field(default=100, ge=1, le=200, description="Lawns on a page.")


class AskedNotices(Asked):
    """How many notices."""

    limit: int = Field(default=20, ge=1, le=200, description="How many, the newest first.")


class AskedVisits(Asked):
    """Visits of which days."""

    first: date | None = Field(
        default=None, description="First day; a month before the last if not said.", examples=["2026-05-01"]
    )
    last: date | None = Field(
        default=None, description="Last day, included; today if not said.", examples=["2026-05-31"]
    )


class AskedUndo(Asked):
    """Which report."""

    report_id: Id | None = Field(
        default=None, description="Take back this one, if it is the newest; a repeated request is harmless."
    )


class AskedTable(Asked):
    """What becomes of a table."""

    dry_run: bool = Field(default=False, description="Say what would become of it, and store nothing.")
    all_or_nothing: bool = Field(default=False, description="Store nothing if any row is bad: then 422.")
