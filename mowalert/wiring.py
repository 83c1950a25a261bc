"""The one place where settings become objects.

Weather clients and channels are loaded by the commands that ask or send, not by those that look.
"""

import gc
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property, partial
from importlib.util import find_spec
from secrets import token_urlsafe
from time import perf_counter
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from mowalert.domain.grasses import Turf
from mowalert.domain.words import Channel
from mowalert.errors import ConfigError
from mowalert.links import Links
from mowalert.parameters import load_turf
from mowalert.service.nights.totals import of_delivery
from mowalert.service.policy import Policy
from mowalert.service.ports import Transport
from mowalert.service.ports_past import Old
from mowalert.service.sending.deliver import DeliveryReport, SmsPolicy, deliver
from mowalert.service.sending.mail_pace import MailPace
from mowalert.settings import CallSettings, OpenMeteoSettings, Settings, WeatherSettings, config_file
from mowalert.store.engine import SqlStore
from mowalert.store.upgrade import refuse_other, schema_version, upgrade

if TYPE_CHECKING:
    from mowalert.channels.crew_sheets import CrewSheets
    from mowalert.channels.messages import Messages
    from mowalert.service.crews.crew_heat_notices import HeatOffice
    from mowalert.service.crews.handing_out import Office
    from mowalert.service.crews.morning import Dispatch
    from mowalert.service.ports import Places, WarningSource
    from mowalert.weather.budget import Limits
    from mowalert.weather.fallback import Source, WeatherService


@dataclass(frozen=True)  # without slots: what is made on first use is kept
class Services:
    """Everything a command needs, made from settings."""

    settings: Settings
    store: SqlStore
    turf: Turf
    policy: Policy
    sms: SmsPolicy

    @cached_property
    def sources(self) -> "WeatherService":
        """Weather in the configured order."""
        return _weather(self.settings, self.store)

    @cached_property
    def warning_sources(self) -> "Sequence[WarningSource]":
        """Authorities whose warnings are shown beside our advice."""
        return _warning_sources(self.settings)

    @cached_property
    def places(self) -> "Places":
        """The search of places by name."""
        from mowalert.weather.geocoding import OpenMeteoPlaces
        from mowalert.weather.http import Http

        chosen = self.settings.weather
        contact = chosen.contact or self.settings.service.contact_email
        # Somebody waits for the answer: one try, and not for long.
        http = Http(contact=contact, timeout_s=min(chosen.timeout_s, 6.0), tries=1, within_s=8.0)
        return OpenMeteoPlaces(http, url=chosen.open_meteo.geocoding_url)

    @cached_property
    def secret(self) -> str:
        """The key that signs links."""
        return _secret(self.settings, self.store)

    @cached_property
    def links(self) -> Links:
        """Signed links to the pages."""
        return Links(self.settings.service.base_url, self.secret)

    @cached_property
    def words(self) -> "Messages":
        """The wording of messages."""
        from mowalert.channels.messages import Messages

        chosen = self.settings.service
        return Messages(chosen.name, chosen.base_url, chosen.contact_email, self.links)

    @cached_property
    def crew_sheets(self) -> "CrewSheets":
        """The wording of crews' days and weeks."""
        from mowalert.channels.crew_sheets import CrewSheets

        return CrewSheets(self.settings.service.name)

    @cached_property
    def heat(self) -> "HeatOffice":
        """What tells of the crews' heat."""
        from mowalert.channels.heat_words import HeatMessages
        from mowalert.service.crews.crew_heat_notices import HeatOffice

        return HeatOffice(HeatMessages(self.settings.service.name), self.links)

    @cached_property
    def dispatch(self) -> "Dispatch":
        """What crews' days are planned with; ConfigError where the solver is not installed."""
        return _dispatch(self.settings)

    @cached_property
    def office(self) -> "Office | None":
        """What hands out crews' days; none where the solver is not installed."""
        from mowalert.service.crews.handing_out import Office

        return Office(self.dispatch, self.crew_sheets, self.links) if plans_days() else None

    @cached_property
    def pace(self) -> MailPace:
        """How many mails a domain gets, as long as this process lasts."""
        return MailPace(self.settings.email.domain_per_min)

    @property
    def kept_days(self) -> "Mapping[Old, int]":
        """How many days what is kept."""
        chosen = self.settings.retention.model_dump()
        return {what: chosen[f"{what.value}_days"] for what in Old}

    def transports(self) -> Mapping[Channel, Transport]:
        """Open a way out for each channel in use."""
        return _transports(self.settings)

    def deliver(self, *, now: datetime, most: int | None = None) -> DeliveryReport:
        """Send what the outbox holds over ways that are open as long as this takes, and count it."""
        began, ways = perf_counter(), self.transports()
        try:
            report = deliver(
                self.store, ways, self.turf, self.policy, self.sms, now=now, pace=self.pace, most=most
            )
        finally:
            for way in ways.values():
                way.close()
        with self.store.begin() as work:
            work.tallies.add(of_delivery(report, seconds=perf_counter() - began))
            work.commit()
        return report

    def close(self) -> None:
        """Let go of the store."""
        self.store.close()


def settle_in() -> None:
    """Let the collector pass over what is loaded by now: it stays, and is much more than a night's own."""
    gc.collect()
    gc.freeze()


def open_services(settings: Settings) -> Services:
    """Make everything from settings.

    Parameters
    ----------
    settings : Settings
        Checked settings.

    Returns
    -------
    Services
        Ready to use; a store without tables gets them.

    Raises
    ------
    StoreError
        If the store cannot be opened, or is of another version than the program.
    """
    store = open_store(settings)
    links = Links(settings.service.base_url, _secret(settings, store))
    return Services(
        settings=settings,
        store=store,
        turf=load_turf(config_file("grasses.toml")),
        policy=Policy(
            channels=_channels(settings),
            max_age=timedelta(hours=settings.weather.max_age_h),
            host=_host(settings),
            plans_days=plans_days(),
            links=links,
            daily_calls=settings.weather.daily_calls().get(settings.weather.sources[0]),
        ),
        sms=SmsPolicy(monthly_limit=settings.sms.monthly_limit),
    )


def open_store(settings: Settings) -> SqlStore:
    """Open the store; a new one gets its tables, one of another version is refused."""
    url = settings.store_url
    version = schema_version(url)
    if version is None:
        upgrade(url)
    else:
        refuse_other(version)
    return SqlStore(url)


def plans_days() -> bool:
    """Whether the solver of crews' routes is installed."""
    return find_spec("vroom") is not None


def _dispatch(settings: Settings) -> "Dispatch":
    from mowalert.domain.travel import by_great_circle
    from mowalert.service.crews.morning import Dispatch

    if not plans_days():
        raise ConfigError("crews' days need the extra `crews`: bash deploy/bootstrap.sh crews")
    from mowalert.planning.roads import RoadTable
    from mowalert.planning.routes import SolvedRoutes
    from mowalert.weather.http import Http

    chosen = settings.crews
    plain = partial(by_great_circle, speed_kmh=chosen.speed_kmh)
    if not chosen.roads_url:
        return Dispatch(SolvedRoutes(), plain)
    http = Http(contact=settings.service.contact_email, timeout_s=20.0)
    return Dispatch(SolvedRoutes(), plain, RoadTable(http, url=chosen.roads_url))


def call_limits(chosen: WeatherSettings) -> "Mapping[str, Limits]":
    """Return what may be asked of each source: what is set, or else its free service's limits, there."""
    from mowalert.weather import met_norway, open_meteo
    from mowalert.weather.budget import Limits

    meteo, met = chosen.open_meteo, chosen.met_norway
    free_meteo = meteo.url == open_meteo.FORECAST_URL and not meteo.api_key.get_secret_value()
    limits = {
        "open_meteo": _limits(meteo, open_meteo.FREE if free_meteo else Limits()),
        "nws": _limits(chosen.nws, Limits()),
        "met_norway": _limits(met, met_norway.FREE if met.url == met_norway.URL else Limits()),
    }
    return {name: some for name, some in limits.items() if name in chosen.sources and some != Limits()}


def _limits(chosen: CallSettings, usual: "Limits") -> "Limits":
    return replace(usual, **{name: float(calls) for name, calls in chosen.calls().items()})


def _weather(settings: Settings, store: SqlStore) -> "WeatherService":
    from mowalert.weather.budget import SharedBudget
    from mowalert.weather.fallback import WeatherService
    from mowalert.weather.http import Http
    from mowalert.weather.met_norway import MetNorway
    from mowalert.weather.nws import Nws
    from mowalert.weather.open_meteo import OpenMeteo

    chosen = settings.weather
    contact = chosen.contact or settings.service.contact_email
    cache = settings.service.data_dir / "weather-cache.db"
    plain = Http(contact=contact, timeout_s=chosen.timeout_s)
    # NWS and MET Norway want their Expires honoured; Open-Meteo sends none.
    polite = Http(contact=contact, timeout_s=chosen.timeout_s, cache=cache)
    made: dict[str, Source] = {
        "open_meteo": OpenMeteo(
            plain,
            url=chosen.open_meteo.url,
            archive_url=chosen.open_meteo.archive_url,
            ensemble_url=_ensemble_url(chosen.open_meteo),
            api_key=chosen.open_meteo.api_key.get_secret_value(),
        ),
        "nws": Nws(polite, url=chosen.nws.url),
        "met_norway": MetNorway(polite, url=chosen.met_norway.url),
    }
    if "grid" in chosen.sources:
        made["grid"] = _grid(settings)
    budget = SharedBudget(store, call_limits(chosen), longest_wait_s=chosen.longest_wait_s)
    return WeatherService([made[name] for name in chosen.sources], budget)


def _grid(settings: Settings) -> "Source":
    if find_spec("xarray") is None or find_spec("netCDF4") is None:
        raise ConfigError("weather.sources: grid needs the extra `grid`: bash deploy/bootstrap.sh grid")
    if not settings.weather.grid.paths:
        raise ConfigError(
            "weather.grid.paths: found nothing; allowed is: paths or addresses of the model's files"
        )
    from mowalert.weather.grid import Grid
    from mowalert.weather.grid_files import GridFiles

    chosen = settings.weather
    files = GridFiles(
        chosen.grid.paths,
        folder=settings.service.data_dir / "grid",
        contact=chosen.contact or settings.service.contact_email,
        timeout_s=chosen.timeout_s,
        max_age=timedelta(hours=chosen.grid.max_age_h),
    )
    return Grid(files, name=chosen.grid.name, farthest_km=chosen.grid.farthest_km)


def _warning_sources(settings: Settings) -> "Sequence[WarningSource]":
    from mowalert.weather.alerts import NwsAlerts
    from mowalert.weather.cap_feeds import CapFeed
    from mowalert.weather.documents import Documents
    from mowalert.weather.http import Http

    chosen = settings.weather
    contact = chosen.contact or settings.service.contact_email
    made: list[WarningSource] = []
    if chosen.alerts.nws and "nws" in chosen.sources:
        cache = settings.service.data_dir / "weather-cache.db"
        polite = Http(contact=contact, timeout_s=chosen.timeout_s, cache=cache)
        made.append(NwsAlerts(polite, url=chosen.nws.url, cell_degrees=chosen.cell_degrees))
    plain = Documents(contact=contact, timeout_s=chosen.timeout_s)
    made += [CapFeed(plain, url, cell_degrees=chosen.cell_degrees) for url in chosen.alerts.cap_urls]
    return made


def _ensemble_url(chosen: OpenMeteoSettings) -> str:
    """The ensemble's address; whoever asks a host of their own for forecasts names one for this too."""
    usual = OpenMeteoSettings()
    moved = chosen.url != usual.url and chosen.ensemble_url == usual.ensemble_url
    return "" if moved else chosen.ensemble_url


def _channels(settings: Settings) -> frozenset[Channel]:
    used = {Channel.EMAIL: settings.email.transport, Channel.SMS: settings.sms.transport}
    return frozenset(channel for channel, transport in used.items() if transport != "off")


def _secret(settings: Settings, store: SqlStore) -> str:
    """The key that signs links: the operator's, or one made once and kept in the store."""
    if settings.service.secret_key is not None:
        return settings.service.secret_key.get_secret_value()
    with store.begin() as work:
        secret = work.get_meta("secret_key")
        if secret is None:
            secret = token_urlsafe(32)
            work.set_meta("secret_key", secret)
            work.commit()
    return secret


def _host(settings: Settings) -> str:
    """The name Message-IDs end in: the public address's, else the sender's."""
    public = urlsplit(settings.service.base_url).hostname
    return public or settings.email.sender.rpartition("@")[2].rstrip("> ") or "localhost"


def _transports(settings: Settings) -> Mapping[Channel, Transport]:
    from mowalert.channels.email import FileTransport, SmtpTransport
    from mowalert.channels.sms import FileSms, sms_gateway

    ways: dict[Channel, Transport] = {}
    email, sms = settings.email, settings.sms
    if email.transport == "smtp":
        ways[Channel.EMAIL] = SmtpTransport(
            email.host,
            email.port,
            sender=email.sender,
            security=email.security,
            username=email.username,
            password=email.password.get_secret_value(),
        )
    elif email.transport == "file":
        ways[Channel.EMAIL] = FileTransport(settings.mail_folder(), sender=email.sender)
    if sms.transport == "http":
        if not sms.url.get_secret_value():
            raise ConfigError("sms.url: found nothing; allowed is: the gateway's address")
        ways[Channel.SMS] = sms_gateway(
            sms.url.get_secret_value(),
            method=sms.method,
            fields=sms.fields,
            success_pattern=sms.success_pattern,
        )
    elif sms.transport == "file":
        ways[Channel.SMS] = FileSms(settings.sms_folder())
    return ways
