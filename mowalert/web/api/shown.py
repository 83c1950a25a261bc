"""What programs are shown. Heights are in millimetres, days are the keeper's own, moments are UTC."""

from collections.abc import Iterable
from datetime import date, datetime
from math import isfinite
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from mowalert.channels.wording import wording_in
from mowalert.domain.lawn import place_name
from mowalert.domain.notices import DayPart, DayReason, Notice
from mowalert.domain.rounds import DAY_NAMES, weekdays_in
from mowalert.domain.thirds import limit_height_mm, window_height_mm
from mowalert.domain.words import Clippings, HoldReason, NoticeKind, Sun, Watering
from mowalert.service.keepers.own_lawns import OwnLawn
from mowalert.service.keepers.own_reports import OwnKeptOff, OwnReport
from mowalert.service.lawns.look import LawnOutlook
from mowalert.service.reading.lawn_table import ImportReport
from mowalert.service.records import KeeperRecord


def _numbers(pairs: Iterable[tuple[str, float]]) -> dict[str, float | None]:
    return {name: number if isfinite(number) else None for name, number in pairs}


class Shown(BaseModel):
    """Part of an answer."""

    model_config = ConfigDict(from_attributes=True, frozen=True)


class Site(Shown):
    """Where a lawn is."""

    site_id: int
    name: str
    address: str
    latitude_deg: float
    longitude_deg: float


class Anchor(Shown):
    """The height a lawn grows from: reported, or assumed because nobody said."""

    on: date
    height_mm: float
    assumed: bool


class GuideVersion(Shown):
    """The region guide that speaks of a lawn."""

    guide_id: str
    version: int | None


class KeptOff(Shown):
    """Days on which a lawn is left alone, both included."""

    kept_off_id: int
    reason: HoldReason
    first_on: date
    last_on: date
    note: str


class Lawn(Shown):
    """A lawn, as it is set and as it stands."""

    lawn_id: int
    place: str = Field(description="What it is called in messages.")
    name: str
    site: Site
    grass: str
    grass_name: str
    chosen_height_mm: float
    window_height_mm: float = Field(description="At this height it may be cut.")
    limit_height_mm: float = Field(description="Above this height a cut takes more than the share allowed.")
    height_mm: float | None = Field(description="By the model, this evening; null without weather.")
    most_removed: float = Field(description="Largest share of the blade that a cut may take.")
    follows_guide: bool = Field(description="Whether its height is the guide's.")
    guide: GuideVersion | None
    anchor: Anchor
    kept_off: list[KeptOff] = Field(description="Days from today on, on which it is left alone.")
    turf_class: str
    soil: str
    watering: Watering
    sun: Sun
    nitrogen_lb_per_1000sqft: float | None
    area_m2: float | None
    clippings: Clippings
    mowing_days: list[str]
    mowing_from_h: int
    mowing_to_h: int


class Lawns(Shown):
    """A page of lawns."""

    lawns: list[Lawn]
    next: int | None = Field(description="What to ask the next page `after`; null if this is the last.")


class OutlookDay(Shown):
    """One day of a lawn; `low_mm` to `high_mm` is where eight forecasts in ten lie."""

    on: date
    height_mm: float
    low_mm: float | None
    high_mm: float | None
    growth_mm: float
    t_min_c: float | None
    t_max_c: float | None
    rain_mm: float | None
    hold: HoldReason | None
    window_open: bool
    over_limit: bool


class Spread(Shown):
    """When the limit is passed if the forecast errs; null is beyond the days known."""

    early_on: date | None
    likely_on: date | None
    late_on: date | None


class Outlook(Shown):
    """A lawn's days from today on, and where the weather is from; show `attributions` with it."""

    lawn_id: int
    place: str
    window_on: date | None
    limit_on: date | None
    spread: Spread | None
    limit_height_mm: float
    sources: list[str]
    attributions: list[str]
    fetched_at: datetime
    fresh: bool = Field(description="Whether the weather is young enough for advice.")
    days: list[OutlookDay]


class ToldNotice(Shown):
    """A notice as it was decided; `facts` are its numbers, some of which later versions may name anew."""

    told_id: int
    on: date
    kind: NoticeKind
    reason: HoldReason | None
    decided_at: datetime
    facts: dict[str, Any]


class ToldNotices(Shown):
    """What was told of a lawn, the newest first."""

    notices: list[ToldNotice]


class Hold(Shown):
    """A reason not to mow, with the numbers of its rule."""

    reason: HoldReason
    started_on: date
    ended_on: date | None
    expected_end_on: date | None
    note: str
    facts: Annotated[dict[str, float | None], BeforeValidator(_numbers)]


class PlannedCut(Shown):
    """One cut of a plan."""

    on: date
    height_before_mm: float
    height_after_mm: float
    removed_fraction: float


class Plan(Shown):
    """Cuts until the chosen height is reached; if growth outruns them, the height that can be kept."""

    cuts: list[PlannedCut]
    reaches_chosen: bool
    keepable_mm: float | None


class NoticeNow(Shown):
    """What is to be said of a lawn today."""

    lawn_id: int
    kind: NoticeKind
    on: date
    place: str
    address: str
    grass_name: str
    turf_class: str
    chosen_height_mm: float
    height_mm: float
    last_cut_on: date | None
    last_cut_assumed: bool
    reason: HoldReason | None
    holds: list[Hold]
    best_on: date | None
    best_part: DayPart
    day_reason: DayReason | None
    cut_to_mm: float | None
    removed_fraction: float | None
    window_on: date | None
    limit_on: date | None
    must_today: bool
    wait_until: date | None
    removed_if_waiting: float | None
    clippings: Clippings
    plan: Plan | None
    could_be_from: date | None
    could_be_to: date | None
    height_cap_mm: float | None
    area_m2: float | None


class NoticesNow(Shown):
    """Lawns and what is to be said of them today."""

    on: date = Field(description="The keeper's local day.")
    lawns: list[NoticeNow]


class Report(Shown):
    """A report as it is kept."""

    report_id: int
    lawn_id: int
    kind: str
    on: date
    height_mm: float | None
    height_before_mm: float | None = Field(description="By the model, before it; null if not known.")
    removed_fraction: float | None = Field(description="Share of the blade a cut took.")
    taught: bool = Field(description="Whether the lawn's own pace heeds it.")
    repeated: bool = Field(description="Whether it was known already, and nothing was added.")


class ReportUndone(Shown):
    """A report that no longer counts."""

    report_id: int
    lawn_id: int
    kind: str
    on: date
    height_mm: float | None
    undone_at: datetime


class KeptOffSaid(KeptOff):
    """Days as they are kept."""

    lawn_id: int
    repeated: bool = Field(description="Whether they were known already, and nothing was added.")


class KeptOffUndone(KeptOff):
    """Days that no longer count."""

    lawn_id: int
    undone_at: datetime


class Paused(Shown):
    """A keeper's silence."""

    paused_until: date | None = Field(description="Last silent day; null if messages go out.")


class RowProblem(Shown):
    """One bad cell of a table."""

    line: int
    column: str
    found: str
    allowed: str


class Imported(Shown):
    """How a table went; a row with any problem was refused whole."""

    stored: bool
    added: int
    changed: int
    unchanged: int
    refused_rows: int
    problems: list[RowProblem]
    extra_columns: list[str] = Field(description="Columns not known here; they were left alone.")


def show_lawn(own: OwnLawn) -> Lawn:
    """Show a lawn."""
    lawn = own.lawn
    return Lawn(
        lawn_id=lawn.lawn_id,
        place=place_name(own.site.name, lawn.name),
        name=lawn.name,
        site=Site.model_validate(own.site),
        grass=lawn.grass,
        grass_name=own.grass.name,
        chosen_height_mm=lawn.chosen_mm,
        window_height_mm=window_height_mm(lawn.chosen_mm, lawn.third),
        limit_height_mm=limit_height_mm(lawn.chosen_mm, lawn.third),
        height_mm=own.height_mm,
        most_removed=lawn.third,
        follows_guide=lawn.follows_guide,
        guide=GuideVersion(guide_id=lawn.guide, version=own.guide_version) if lawn.guide else None,
        anchor=Anchor(on=lawn.anchored_on, height_mm=lawn.anchor_height_mm, assumed=lawn.anchor_assumed),
        kept_off=[KeptOff.model_validate(days) for days in own.kept_off],
        turf_class=lawn.turf_class,
        soil=own.stand.soil,
        watering=own.stand.watering,
        sun=own.stand.sun,
        nitrogen_lb_per_1000sqft=lawn.nitrogen,
        area_m2=lawn.area_m2,
        clippings=lawn.clippings,
        mowing_days=[DAY_NAMES[day] for day in sorted(weekdays_in(lawn.mowing_days))],
        mowing_from_h=lawn.mow_from_h,
        mowing_to_h=lawn.mow_to_h,
    )


def show_outlook(seen: LawnOutlook, keeper: KeeperRecord) -> Outlook:
    """Show a lawn's days."""
    say = wording_in(keeper.language)
    return Outlook(
        lawn_id=seen.lawn.lawn_id,
        place=seen.place,
        window_on=seen.window_on,
        limit_on=seen.limit_on,
        spread=None if seen.spread is None else Spread.model_validate(seen.spread),
        limit_height_mm=seen.limit_mm,
        sources=list(seen.sources),
        attributions=[say.attribution(source) for source in seen.sources],
        fetched_at=seen.fetched_at,
        fresh=seen.fresh,
        days=[OutlookDay.model_validate(day) for day in seen.days],
    )


def show_notice(notice: Notice) -> NoticeNow:
    """Show what is to be said of a lawn."""
    place = place_name(notice.site_name, notice.lawn_name)
    values = {name: getattr(notice, name) for name in NoticeNow.model_fields if name != "place"}
    return NoticeNow.model_validate({**values, "place": place})


def show_report(made: OwnReport) -> Report:
    """Show a report."""
    event = made.event
    return Report(
        report_id=event.event_id,
        lawn_id=event.lawn_id,
        kind=event.kind,
        on=event.on,
        height_mm=event.height_mm,
        height_before_mm=event.before_mm,
        removed_fraction=made.removed_fraction,
        taught=made.taught,
        repeated=made.repeated,
    )


def show_kept_off(said: OwnKeptOff) -> KeptOffSaid:
    """Show days on which a lawn is left alone."""
    days = said.days
    return KeptOffSaid(
        kept_off_id=days.kept_off_id,
        lawn_id=days.lawn_id,
        reason=days.reason,
        first_on=days.first_on,
        last_on=days.last_on,
        note=days.note,
        repeated=said.repeated,
    )


def show_import(report: ImportReport) -> Imported:
    """Show how a table went."""
    return Imported.model_validate(report)


class VisitShown(Shown):
    """A visit as it is kept; ``removed`` is the share of the blade the cut took by the model."""

    visit_id: int
    lawn_id: int
    crew_id: int | None
    on: date
    outcome: str
    reason: str | None
    note: str
    minutes: float | None
    height_mm: float | None
    removed: float | None
    reported_by: str
    reported_at: datetime


class VisitsShown(Shown):
    """Visits in order of day."""

    visits: list[VisitShown]
