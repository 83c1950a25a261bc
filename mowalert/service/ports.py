"""What the use cases ask of the world: store, weather, channels and words."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Protocol

from mowalert.domain.arrays import Floats
from mowalert.domain.lookback import Told
from mowalert.domain.notices import Digest, OutgoingMessage, RenderedEmail
from mowalert.domain.stand import StandKey
from mowalert.domain.warnings import PlacedWarning
from mowalert.domain.weather import Ensemble, Place, PlaceWeather, Refusal, WeatherDay
from mowalert.domain.words import Channel, NoticeKind
from mowalert.service.ports_crews import Crews, Parks
from mowalert.service.ports_nights import Cells, Nights
from mowalert.service.ports_past import Past
from mowalert.service.ports_tallies import Tallies
from mowalert.service.records import (
    AnchorUpdate,
    BulletinRecord,
    CellRecord,
    EventRecord,
    GrowthRecord,
    GuideRecord,
    KeeperRecord,
    KeptForecast,
    KeptOff,
    LawnPlace,
    LawnRecord,
    LeasedMessage,
    NewMessage,
    Owner,
    RoundRecord,
    Said,
    SignupRecord,
    SiteRecord,
    StandRecord,
    ToldRecord,
)


class Transport(Protocol):
    """A way for messages to leave; raises DeliveryError."""

    @property
    def channel(self) -> Channel:
        """Whose messages it takes."""

    def send(self, message: OutgoingMessage) -> None:
        """Send one message."""

    def close(self) -> None:
        """Let go of connections."""


class JsonAsker(Protocol):
    """Asks services for JSON."""

    def get_json(self, source: str, url: str, params: Mapping[str, str] | None = None) -> tuple[int, Any]:
        """Return status and parsed body; raises SourceError if nothing usable came."""


class Words(Protocol):
    """Turns the facts of a digest into messages."""

    def email(self, digest: Digest) -> RenderedEmail:
        """Word an e-mail."""

    def sms(self, digest: Digest) -> str:
        """Word a short message."""


@dataclass(frozen=True, slots=True)
class FoundPlace:
    """A place of a name: what it is called, where that is in words, and its position. [°]"""

    name: str
    region: str
    latitude_deg: float
    longitude_deg: float


class Places(Protocol):
    """Finds places by name."""

    def find(self, name: str, *, language: str) -> list[FoundPlace]:
        """Return the places most likely meant; raises SourceError if they cannot be asked for."""


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a pull of many places brought: weather, places nobody served, and what was refused."""

    weather: tuple[PlaceWeather, ...]
    unserved: tuple[Place, ...]
    refused: tuple[tuple[int | None, Refusal], ...]


class WeatherSources(Protocol):
    """The configured sources in their order."""

    def pull(self, places: Sequence[Place], *, past_days: int, forecast_days: int, now: datetime) -> Pulled:
        """Ask for recent and coming days."""

    def history(self, places: Sequence[Place], *, first: date, last: date, now: datetime) -> Pulled:
        """Ask for past days, where a source keeps them."""

    def ensemble(self, places: Sequence[Place], *, forecast_days: int, now: datetime) -> list[Ensemble]:
        """Ask for many equally likely forecasts, where a source has them; none for places without."""


@dataclass(frozen=True, slots=True)
class PulledWarnings:
    """What one authority said: warnings in force and where, and what was refused.

    ``answered`` are the cells of which everything in force is among the found; ``replaced`` the ids of
    messages that are cancelled or stand corrected.
    """

    source: str
    answered: tuple[int, ...]
    found: tuple[PlacedWarning, ...]
    replaced: frozenset[str]
    refused: tuple[tuple[int | None, Refusal], ...]


class WarningSource(Protocol):
    """An authority whose warnings are shown beside our own advice."""

    name: str

    def pull(self, places: Sequence[Place], *, now: datetime) -> PulledWarnings:
        """Ask for what is in force at some places; what fails is told and never raised."""


class Rounds(Protocol):
    """Sending rounds."""

    def all(self) -> list[RoundRecord]:
        """Every round."""

    def ensure(
        self, *, daily_list: bool, time_zone: str, weekdays: int, minute_of_day: int, mixed: bool
    ) -> int:
        """Return the round's id, making it if needed."""

    def done(self, round_ids: Sequence[int], on: date, *, at: datetime, outcome: str, digests: int) -> None:
        """Mark rounds as done for a local date, and log it."""

    def last_log(self, limit: int) -> list[tuple[int, date, datetime, str, int]]:
        """The newest log entries: round, local date, moment, outcome, digests."""


@dataclass(frozen=True, slots=True)
class CallBucket:
    """Calls that may be made at once, as of a moment; below zero they are promised already."""

    left: float
    at: datetime


class Weather(Protocol):
    """Cells and their days."""

    def ensure_cell(self, latitude_deg: float, longitude_deg: float, utc_offset_min: int) -> int:
        """Return the cell's id, making it if needed."""

    def cells(self, cell_ids: Sequence[int] | None = None) -> list[CellRecord]:
        """Cells that hold lawns, or those asked for, in order of id."""

    def count(self) -> int:
        """How many cells there are."""

    def used_ids(self, within: Cells) -> list[int]:
        """Ids of cells of a span that hold lawns, in order."""

    def save(self, weather: Iterable[PlaceWeather]) -> None:
        """Keep days and what the cell was told, newer over older."""

    def save_history(self, weather: Iterable[PlaceWeather], *, asked: Sequence[int], on: date) -> None:
        """Keep past days where none are known yet, and remember that they were asked for."""

    def days(
        self, cell_ids: Sequence[int], *, first: date, last: date, hours: bool = True
    ) -> dict[int, list[WeatherDay]]:
        """Days of cells in order, with their hours or without; cells without days are absent."""

    def tables(self, cell_ids: Sequence[int], *, first: date, last: date) -> dict[int, Floats]:
        """Days of cells as growing needs them, shape (day, quantity); cells without days are absent.

        Quantities are those of ``StandWeather`` in its order, ``nan`` where one is not known.
        """

    def save_ensembles(self, ensembles: Iterable[Ensemble]) -> None:
        """Keep ensembles, newer over older."""

    def with_ensemble(self, cell_ids: Sequence[int], *, since: datetime) -> set[int]:
        """Cells that have an ensemble fetched since a moment."""

    def ensembles(self, cell_ids: Sequence[int], *, since: datetime) -> dict[int, Ensemble]:
        """Ensembles of cells that were fetched since a moment."""

    def refuse(self, refusals: Iterable[tuple[int | None, Refusal]], *, at: datetime) -> None:
        """Log weather that was not believed."""

    def refusals(self, limit: int) -> list[tuple[int | None, str, date | None, str, datetime]]:
        """The newest refusals: cell, source, day, reason, moment."""

    def spent(self, day: date) -> dict[str, float]:
        """Calls made on a UTC day, by source."""

    def spend(self, source: str, day: date, calls: float, *, most: float) -> bool:
        """Count calls of a day, unless they would be more than so many; whether they were counted."""

    def hold_bucket(self, source: str, span_s: int, *, full: float, at: datetime) -> CallBucket:
        """The bucket of a source and span, full where it is new; nobody else draws before this ends."""

    def keep_bucket(self, source: str, span_s: int, kept: CallBucket) -> None:
        """Keep a bucket as it is now."""


class Stands(Protocol):
    """Stands and their curves."""

    def ensure(self, cell_id: int, key: StandKey) -> int:
        """Return the stand's id, making it if needed."""

    def of_cells(self, cell_ids: Sequence[int]) -> list[StandRecord]:
        """Stands of cells, in order of id."""

    def get(self, stand_ids: Sequence[int]) -> dict[int, StandRecord]:
        """Stands by id."""

    def growth(self, stand_ids: Sequence[int]) -> dict[int, GrowthRecord]:
        """Curves by stand; stands never grown are absent."""

    def save_growth(self, records: Sequence[GrowthRecord]) -> None:
        """Keep curves, newer over older."""

    def forget_growth(self, cell_ids: Sequence[int]) -> None:
        """Drop the curves of cells so that they are computed from their first day again."""

    def forget_curves(self, stand_ids: Sequence[int]) -> None:
        """Drop curves so that they are computed from their first day again; their lawns wait for a place."""

    def growth_dates(self, *, within: Cells | None = None) -> list[date]:
        """Every ``as_of`` there is, of all stands or of some cells'."""

    def keep_forecasts(self, forecasts: Sequence[KeptForecast], *, forget_before: date) -> list[int]:
        """Keep forecasts of growth to be judged later; stands that had none of that day yet."""

    def kept_forecasts(self, stand_ids: Sequence[int]) -> list[KeptForecast]:
        """Forecasts of growth kept for stands."""

    def forecast_errors(self) -> Floats:
        """Tallies of how far forecasts of growth lay off, shape (lead, class of error)."""

    def add_forecast_errors(self, more: Floats) -> None:
        """Add a night's tallies."""


class Keepers(Protocol):
    """Keepers and sites."""

    def by_key(self, key: str) -> KeeperRecord | None:
        """The keeper of a natural key."""

    def get(self, keeper_ids: Sequence[int]) -> dict[int, KeeperRecord]:
        """Keepers by id."""

    def all(self) -> list[KeeperRecord]:
        """Every keeper."""

    def organisations(self) -> list[KeeperRecord]:
        """Companies and parks departments, in order of id."""

    def by_email(self, address: str) -> list[KeeperRecord]:
        """Keepers of an e-mail address, in order of id."""

    def by_phone(self, number: str) -> list[KeeperRecord]:
        """Keepers of a phone number, in order of id."""

    def add(self, keeper: KeeperRecord) -> int:
        """Keep a new keeper; its id is given back."""

    def erase(self, keeper_id: int) -> None:
        """Delete a keeper and everything that belongs to them."""

    def change(self, keeper: KeeperRecord) -> None:
        """Keep a changed keeper."""

    def ensure_site(self, site: SiteRecord) -> tuple[SiteRecord, bool]:
        """Return the site of that keeper and key, and whether it was made now."""

    def change_site(self, site: SiteRecord) -> None:
        """Keep a changed site."""

    def sites(self, site_ids: Sequence[int]) -> dict[int, SiteRecord]:
        """Sites by id."""

    def note_no_weather(self, keeper_ids: Sequence[int], on: date | None) -> None:
        """Remember, or forget, that keepers were told there is no weather."""

    def missed_weather(self) -> list[KeeperRecord]:
        """Keepers told that there is no weather and nothing since."""

    def greet(self, keeper_ids: Sequence[int]) -> None:
        """Remember that a first message was written."""

    def suspend(self, keeper_id: int, channel: Channel, reason: str) -> None:
        """Send nothing more to an address."""


class Lawns(Protocol):
    """Lawns, their anchors and events."""

    def add(self, lawn: LawnRecord) -> int:
        """Keep a new lawn; its id is given back."""

    def change(self, lawn: LawnRecord) -> None:
        """Keep a changed lawn."""

    def by_key(self, site_id: int, key: str) -> LawnRecord | None:
        """The lawn of a natural key."""

    def get(self, lawn_ids: Sequence[int]) -> list[LawnRecord]:
        """Lawns by id, in order of id."""

    def of_keepers(self, keeper_ids: Sequence[int]) -> list[LawnRecord]:
        """Lawns of keepers, in order of id."""

    def all_ids(self) -> list[int]:
        """Every lawn's id."""

    def page(
        self, *, after: int, limit: int, guide: str | None = None, keeper_id: int | None = None
    ) -> list[LawnRecord]:
        """The next lawns after an id, in order of id: of all, of a keeper, or those a guide speaks of."""

    def due_ids(
        self,
        round_ids: Sequence[int],
        *,
        as_of: date,
        limit_day: int,
        window_day: int | None,
        within: Cells | None = None,
    ) -> list[int]:
        """Ids of lawns of rounds whose limit, or window, falls before the curve's value of a day.

        ``limit_day`` and ``window_day`` count days from ``as_of``; answered from the index.
        """

    def hold_ids(self, round_ids: Sequence[int], *, within: Cells | None = None) -> list[int]:
        """Ids of lawns a hold was told of and not yet released."""

    def untold_hold_ids(self, round_ids: Sequence[int], *, within: Cells | None = None) -> list[int]:
        """Ids of lawns of keepers who asked for all holds, in stands with one they don't know of."""

    def owners(self, lawn_ids: Sequence[int], within: Cells) -> list[Owner]:
        """Whose lawns these are, in order of keeper and lawn."""

    def unanchored(self, stand_ids: Sequence[int]) -> list[LawnPlace]:
        """Lawns of stands that have no place on their curve yet."""

    def anchored_after(self, stand_ids: Sequence[int], on: date) -> list[LawnPlace]:
        """Lawns of stands with an anchor later than a day."""

    def earliest_unanchored(self, *, within: Cells | None = None) -> dict[int, date]:
        """By cell: the earliest anchor date of lawns without a place on their curve."""

    def advised_before(self, on: date, *, within: Cells | None = None) -> list[LawnRecord]:
        """Lawns whose advised day lies before a date and is still open."""

    def anchor(self, updates: Sequence[AnchorUpdate]) -> None:
        """Give lawns their place on the curve."""

    def said(self, said: Sequence[Said]) -> None:
        """Remember what was told."""

    def happened(self, events: Sequence[EventRecord]) -> None:
        """Keep events."""

    def events(self, lawn_id: int) -> list[EventRecord]:
        """A lawn's events that were not undone, in order."""

    def events_between(
        self, lawn_ids: Sequence[int], *, first: date, last: date
    ) -> dict[int, list[EventRecord]]:
        """Events of lawns on some days, both included, that were not undone, by lawn and in order."""

    def undo_last(self, lawn_id: int, *, at: datetime) -> EventRecord | None:
        """Undo the newest reported event of a lawn and return it."""

    def keep_off(self, days: KeptOff) -> int:
        """Keep days on which a lawn is left alone; their number is given back."""

    def allow_again(self, kept_off_id: int, *, at: datetime) -> KeptOff | None:
        """Take such days back and return them; none if there are none of that number."""

    def kept_off(self, lawn_ids: Sequence[int], *, since: date) -> dict[int, list[KeptOff]]:
        """Days on which lawns are left alone, by lawn, that do not end before a date."""

    def kept_off_ids(self, round_ids: Sequence[int], on: date, *, within: Cells | None = None) -> list[int]:
        """Ids of lawns left alone on a date, of keepers who asked for all holds and don't know of it."""

    def guided_ids(
        self, round_ids: Sequence[int], guide_ids: Sequence[str], *, within: Cells | None = None
    ) -> list[int]:
        """Ids of lawns guides speak of, of keepers who asked for all holds, with none told."""

    def counts(self) -> Mapping[str, int]:
        """How many keepers, sites, lawns, stands and cells there are."""


class Outbox(Protocol):
    """Messages on their way, and what was told."""

    def add(self, message: NewMessage) -> bool:
        """Queue a message; ``False`` if whoever it is for already has one of that kind for that day."""

    def add_all(self, messages: Sequence[NewMessage]) -> list[NewMessage]:
        """Queue messages; those are given back that were queued, in their order."""

    def tell(self, told: Sequence[ToldRecord]) -> None:
        """Keep notices as they were decided."""

    def keepers_told(self, lawn_ids: Sequence[int], on: date) -> set[int]:
        """Keepers of some lawns who were told something of them on a date."""

    def told(self, lawn_id: int | None, *, limit: int) -> list[ToldRecord]:
        """The newest notices, of one lawn or of all."""

    def notice(self, told_id: int) -> ToldRecord | None:
        """One notice by its number."""

    def told_between(
        self, lawn_ids: Sequence[int], kinds: Sequence[NoticeKind], *, first: date, last: date
    ) -> dict[int, list[Told]]:
        """What was told of lawns on some days, both included, by lawn and in order."""

    def lease(self, *, now: datetime, until: datetime, limit: int) -> list[LeasedMessage]:
        """Take messages that may go now; nobody else gets them until the lease ends."""

    def mark_sending(self, message_id: int, *, attempts: int) -> bool:
        """Remember that a message is on its way: if nothing more is heard, its fate is unknown.

        ``False``, and it must not go, where it was leased again or stopped since it was leased for that try.
        """

    def settle(self, message_id: int, state: str, *, at: datetime, error: str = "") -> None:
        """Give a message its last state."""

    def retry(self, message_id: int, *, next_try_at: datetime, error: str) -> None:
        """Put a message back for a later try."""

    def expire(self, *, now: datetime) -> int:
        """Expire whatever is no longer useful; how many."""

    def doubt(self, *, until: datetime) -> int:
        """Give up what waits and was made up to a moment, since its fate is unknown; how many."""

    def cancel_for_lawn(self, keeper_id: int, lawn_id: int, *, at: datetime) -> int:
        """Cancel waiting messages that speak of this lawn of a keeper alone; how many."""

    def cancel_older(self, keeper_ids: Sequence[int], before: date, *, at: datetime) -> int:
        """Cancel keepers' own waiting advice of earlier days; how many."""

    def cancel_waiting(self, keeper_id: int, channels: Collection[Channel], *, at: datetime) -> int:
        """Cancel whatever waits for a keeper on some channels; how many."""

    def of_keeper(self, keeper_id: int, *, limit: int) -> list[dict[str, Any]]:
        """The newest messages of a keeper, as plain values."""

    def written_for(self, keeper_id: int, on: date, kind: str) -> dict[int, datetime]:
        """When messages of a kind for a day were written, by contact; those without are absent."""

    def sms_this_month(self, keeper_id: int | None, *, since: datetime) -> int:
        """Count short messages sent since a moment, of one keeper or of all."""

    def states(self) -> Mapping[str, int]:
        """How many messages are in which state."""

    def oldest_due(self, *, now: datetime) -> datetime | None:
        """Since when the message that has waited longest could have gone; none where none waits."""


class Guides(Protocol):
    """Region guides, every version ever kept, and the lawns they speak of."""

    def keep(self, record: GuideRecord) -> None:
        """Keep a version."""

    def get(self, guide_id: str, version: int) -> GuideRecord | None:
        """One version."""

    def newest(self) -> list[GuideRecord]:
        """The newest version of every guide, in order of id."""

    def versions(self, guide_id: str) -> list[GuideRecord]:
        """Every version of a guide, the oldest first."""

    def lawns(self, guide_id: str) -> list[LawnRecord]:
        """Lawns a guide speaks of, in order of id."""

    def followers(self, guide_id: str, grass: str, *, not_at_mm: float) -> list[LawnRecord]:
        """Lawns of a grass that follow the guide's heights and are kept at another height."""


class Bulletins(Protocol):
    """Bulletins of region guides by week, and the stands they are made of."""

    def keep(self, record: BulletinRecord) -> bool:
        """Keep a week's bulletin; ``False`` if the week has one already, which stays as it is."""

    def get(self, guide_id: str, week_on: date) -> BulletinRecord | None:
        """One week's."""

    def newest(self, guide_id: str, *, limit: int) -> list[BulletinRecord]:
        """The newest of a guide, the newest first."""

    def latest(self) -> list[BulletinRecord]:
        """The newest of every guide, in order of id."""

    def beside(self, guide_id: str, week_on: date) -> tuple[date | None, date | None]:
        """The kept weeks next before and after one."""

    def say(self, guide_id: str, week_on: date, said: str, *, at: datetime) -> None:
        """Put an adviser's words into a week's bulletin, over those it had."""

    def stand_ids(self, guide_id: str) -> list[int]:
        """Stands of the lawns a guide speaks of, in order of id."""

    def sites_by_cell(self, guide_id: str) -> dict[int, int]:
        """How many places the guide speaks of lie in each weather cell."""

    def any_fresh(self, guide_id: str, *, since: datetime, on: date) -> bool:
        """Whether a stand of the guide has weather fetched since a moment that reaches a day."""


class Signups(Protocol):
    """Sign-ups, how often somebody tried something, and addresses never to be written to."""

    def add(self, record: SignupRecord) -> int:
        """Keep a sign-up; its number is given back."""

    def get(self, signup_id: int) -> SignupRecord | None:
        """One sign-up."""

    def of_keeper(self, keeper_id: int) -> list[SignupRecord]:
        """Sign-ups of a keeper."""

    def confirmed(self, signup_id: int, *, at: datetime) -> None:
        """Remember that it was confirmed."""

    def forget_unconfirmed(self, *, before: datetime) -> int:
        """Forget sign-ups never confirmed, and keepers who only ever asked; how many sign-ups."""

    def attempt(self, what: str, mark: str, *, at: datetime) -> None:
        """Count that somebody tried something."""

    def forget_attempts(self, *, before: datetime) -> int:
        """Forget what was tried before a moment; how many."""

    def attempts(self, what: str, mark: str | None, *, since: datetime) -> int:
        """How often it was tried since a moment, under one mark or at all."""

    def silence(self, mark: str, *, at: datetime) -> None:
        """Never write to an address again; only its mark is kept."""

    def is_silenced(self, mark: str) -> bool:
        """Whether an address is never to be written to."""


@dataclass(frozen=True, slots=True)
class OperatorRecord:
    """Someone who may look at how the service does, and when their password was set."""

    name: str
    password_hash: str = field(repr=False)
    changed_at: datetime


@dataclass(frozen=True, slots=True)
class FailedMessages:
    """Messages that failed for one reason: by which channel, how many, and when the newest was written."""

    channel: Channel
    reason: str
    count: int
    newest_at: datetime


class Operators(Protocol):
    """Who may look at how the service does, and what only they are shown."""

    def keep(self, operator: OperatorRecord) -> None:
        """Keep an operator, newer over older."""

    def get(self, name: str) -> OperatorRecord | None:
        """The operator of a name."""

    def remove(self, name: str) -> bool:
        """Remove an operator; ``False`` if there is none of that name."""

    def all(self) -> list[OperatorRecord]:
        """Every operator, by name."""

    def failed_messages(self, *, among: int, limit: int) -> list[FailedMessages]:
        """Messages that failed among so many newest, by channel and reason, the newest first."""


@dataclass(frozen=True, slots=True)
class ApiKeyRecord:
    """A key of a keeper's programs: what it may do, and its digest; the key itself is not kept."""

    key_id: int
    keeper_id: int
    name: str
    digest: str = field(repr=False)
    scopes: tuple[str, ...]
    created_at: datetime
    revoked_at: datetime | None = None


class ApiKeys(Protocol):
    """Keys with which programs ask in a keeper's name, and the lawns they open."""

    def add(self, record: ApiKeyRecord) -> int:
        """Keep a new key; its number is given back."""

    def of_digest(self, digest: str) -> ApiKeyRecord | None:
        """The key of a digest, revoked or not."""

    def all(self) -> list[ApiKeyRecord]:
        """Every key, in order of number."""

    def revoke(self, key_id: int, *, at: datetime) -> ApiKeyRecord | None:
        """Make a key void and return it; the first moment stays; none if there is none of that number."""

    def lock(self, key_id: int) -> None:
        """Let nobody else say anything with a key until this transaction ends."""


@dataclass(frozen=True, slots=True)
class InboundRecord:
    """A text that came in: its gateway's number, whose, what it asked for and when; never what it said."""

    gateway_id: str
    keeper_id: int | None
    kind: str
    at: datetime


class Inbound(Protocol):
    """Texts that came in."""

    def add(self, record: InboundRecord) -> bool:
        """Remember a text; ``False`` if one of that number came before."""

    def count(self, keeper_id: int, kind: str, *, since: datetime) -> int:
        """How many texts of a kind a keeper has sent since a moment."""

    def of_keeper(self, keeper_id: int) -> list[InboundRecord]:
        """A keeper's texts, the oldest first."""

    def lock(self, keeper_ids: Sequence[int]) -> None:
        """Let no other text of these keepers be answered until this transaction ends."""


@dataclass(frozen=True, slots=True)
class SentMail:
    """Whom a mail was sent to, and where."""

    keeper_id: int
    address: str


class Bounces(Protocol):
    """Mails that may come back."""

    def sent(self, rfc_message_id: str) -> SentMail | None:
        """The mail of that Message-ID; none if it is not ours."""


class Warnings(Protocol):
    """Official warnings and the cells they touch."""

    def keep(self, pulled: PulledWarnings) -> None:
        """Keep what a source said, over what it said before of the cells it answered for."""

    def forget_ended(self, *, now: datetime) -> int:
        """Forget warnings that are over; how many."""

    def in_force(self, cell_ids: Sequence[int] | None = None, *, now: datetime) -> list[PlacedWarning]:
        """Warnings of some cells, or all, that are not over, the worst first."""


class Work(Protocol):
    """One transaction; leaving without ``commit`` rolls back."""

    @property
    def rounds(self) -> Rounds:
        """Sending rounds."""

    @property
    def weather(self) -> Weather:
        """Cells and their days."""

    @property
    def stands(self) -> Stands:
        """Stands and their curves."""

    @property
    def keepers(self) -> Keepers:
        """Keepers and sites."""

    @property
    def lawns(self) -> Lawns:
        """Lawns, their anchors and events."""

    @property
    def outbox(self) -> Outbox:
        """Messages, and what was told."""

    @property
    def guides(self) -> Guides:
        """Region guides."""

    @property
    def bulletins(self) -> Bulletins:
        """Bulletins of region guides."""

    @property
    def signups(self) -> Signups:
        """Sign-ups."""

    @property
    def inbound(self) -> Inbound:
        """Texts that came in."""

    @property
    def bounces(self) -> Bounces:
        """Mails that may come back."""

    @property
    def keys(self) -> ApiKeys:
        """Keys of keepers' programs."""

    @property
    def operators(self) -> Operators:
        """Who may look at how the service does."""

    @property
    def warnings(self) -> Warnings:
        """Official warnings."""

    @property
    def crews(self) -> Crews:
        """Crews, contacts, plans and visits."""

    @property
    def parks(self) -> Parks:
        """Turf classes and their holds, restrictions, and the crews' heat."""

    @property
    def nights(self) -> Nights:
        """Nights and their shards."""

    @property
    def tallies(self) -> Tallies:
        """Sums since the beginning."""

    @property
    def past(self) -> Past:
        """What is old."""

    def commit(self) -> None:
        """Make it last."""

    def get_meta(self, name: str) -> str | None:
        """A value the service keeps for itself."""

    def set_meta(self, name: str, value: str) -> None:
        """Keep a value."""

    def schema_version(self) -> str | None:
        """Version of the tables."""


class Store(Protocol):
    """Where everything is kept."""

    def begin(self) -> AbstractContextManager[Work]:
        """Begin one transaction."""
