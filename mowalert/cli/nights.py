"""Commands that run the service."""

import logging
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Annotated, Any

import typer

from mowalert.cli.common import (
    AtOption,
    JsonOption,
    counted,
    moment,
    one_line_errors,
    opened,
    print_json,
    settings_now,
)
from mowalert.errors import ConfigError
from mowalert.service.failures import note_failure
from mowalert.service.nights.night import NightReport, run_night
from mowalert.service.sending.deliver import DeliveryReport
from mowalert.service.upkeep.retention import forget_daily, forget_old, old_rows
from mowalert.service.upkeep.status import CallState, Status, note_scheduler, status_of
from mowalert.store.upgrade import head, schema_version, upgrade
from mowalert.wiring import Services, settle_in

if TYPE_CHECKING:
    from mowalert.jobs.engine import Engine
    from mowalert.settings import Settings

NIGHTS = "nights"
"""Under this name one process at a time begins nights."""
HIDDEN = "**********"


def register(app: typer.Typer) -> None:
    """Add the commands."""
    app.command("check-config")(check_config)
    app.command("init-store")(init_store)
    app.command("night")(night)
    app.command("deliver")(deliver_messages)
    app.command("scheduler")(scheduler)
    app.command("worker")(worker)
    app.command("status")(status)
    app.command("tidy")(tidy)


def check_config(json: JsonOption = False) -> None:
    """Check the settings and say what they mean; secrets are not shown."""
    with one_line_errors():
        settings = settings_now()
        if json:
            print_json(_without_secrets(settings))
            return
        typer.echo(f"store    {settings.store_url.split('@')[-1]}")
        typer.echo(f"weather  {', '.join(settings.weather.sources)}")
        typer.echo(f"e-mail   {settings.email.transport}")
        typer.echo(f"sms      {settings.sms.transport}")
        typer.echo("settings are in order")


def _without_secrets(settings: "Settings") -> dict[str, Any]:
    """Settings as they may be shown: a store's password and a gateway's own fields are secrets as well."""
    from sqlalchemy import make_url

    shown = settings.model_dump(mode="json")
    shown["store"]["url"] = make_url(settings.store_url).render_as_string(hide_password=True)
    fields = shown["sms"]["fields"]
    shown["sms"]["fields"] = {name: text if "{" in text else HIDDEN for name, text in fields.items()}
    return shown


def init_store() -> None:
    """Make the store's tables, or bring them up to this version."""
    with one_line_errors():
        url = settings_now().store_url
        before = schema_version(url)
        upgrade(url)
        done = "is up to date" if before == head() else f"is now of version {head()}"
        typer.echo(f"the store {done}")


def night(at: AtOption = None, json: JsonOption = False) -> None:
    """Pull weather, grow the stands, and tell the rounds that have come."""
    _log_warnings()
    with one_line_errors(), opened() as services:
        if services.settings.jobs.runner == "celery":
            _give_out(services, moment(at), json=json)
            return
        settle_in()
        with services.store.alone(NIGHTS, wait=True):
            report = _night(services, moment(at))
        if json:
            print_json(report)
        else:
            _show_night(report)


def _give_out(services: Services, now: datetime, *, json: bool) -> None:
    """Give a night to the workers."""
    with _engine(services.settings) as engine, services.store.alone(NIGHTS, wait=True):
        shards = engine.begin_night(services, now=now)
    if json:
        print_json({"at": now, "shards_given": shards})
    else:
        typer.echo(f"{counted(shards, 'shard')} given to the workers")


@contextmanager
def _engine(settings: "Settings") -> Iterator["Engine"]:
    """The distributed runner; ConfigError where it is not installed, or its store cannot be shared."""
    if not settings.store_url.startswith("postgresql"):
        raise ConfigError(
            f"store.url: found {settings.store_url.partition(':')[0]!r}; with jobs.runner celery allowed is: "
            "a PostgreSQL URL"
        )
    try:
        from mowalert.jobs.engine import Engine
    except ModuleNotFoundError as error:
        reason = "jobs.runner celery needs the extra `engine`: bash deploy/bootstrap.sh engine"
        raise ConfigError(reason) from error
    engine = Engine(settings)
    try:
        yield engine
    finally:
        engine.close()


def _show_night(report: NightReport) -> None:
    pull, grow, tell = report.pull, report.grow, report.tell
    sources = ", ".join(f"{count} from {name}" for name, count in pull.by_source)
    typer.echo(f"weather  {_weather_line(pull.asked, pull.served, pull.unserved, sources)}")
    typer.echo(
        f"growth   {counted(grow.grown, 'stand')} grown, {grow.stale} without weather, "
        f"{counted(grow.anchored, 'lawn')} placed"
    )
    typer.echo(f"silence  {counted(report.assumed, 'cut')} assumed")
    typer.echo(
        f"told     {counted(tell.rounds, 'round')}, {tell.skipped} skipped, "
        f"{counted(tell.digests, 'digest')}, {counted(tell.messages, 'message')}"
    )
    mornings = report.mornings
    if mornings.planned or mornings.changed or mornings.failed:
        typer.echo(
            f"crews    {counted(mornings.planned, 'day')} planned, {mornings.changed} planned again, "
            f"{counted(mornings.messages, 'message')}, {mornings.failed} failed"
        )
    for record in tell.told:
        typer.echo(f"         lawn {record.lawn_id}: {record.kind} {record.reason or ''}".rstrip())
    if tell.notices > len(tell.told):
        typer.echo(f"         and {counted(tell.notices - len(tell.told), 'lawn')} more")


def _weather_line(asked: int, served: int, unserved: int, sources: str) -> str:
    if not asked:
        return "fresh enough, nothing asked"
    if not served:
        return f"no source answered for {counted(asked, 'cell')}; `mowalert status` says why"
    return f"{served} of {counted(asked, 'cell')} ({sources}), {unserved} without"


def _night(services: Services, now: datetime) -> NightReport:
    return run_night(
        services.store,
        services.sources,
        services.turf,
        services.words,
        services.policy,
        now=now,
        warning_sources=services.warning_sources,
        office=services.office,
        heat=services.heat,
        shard_cells=services.settings.jobs.shard_cells,
    )


def deliver_messages(at: AtOption = None, json: JsonOption = False) -> None:
    """Send what the outbox holds."""
    _log_warnings()
    with one_line_errors(), opened() as services:
        if services.settings.jobs.runner == "celery":
            with _engine(services.settings) as engine:
                engine.begin_delivery(now=moment(at) if at else None)
            typer.echo("given to the workers", err=True)
            return
        report = _deliver(services, moment(at))
        if json:
            print_json(report)
        else:
            _show_delivery(report)
        if report.failed or report.retried or report.unknown:
            raise typer.Exit(1)


def _show_delivery(report: DeliveryReport) -> None:
    typer.echo(
        f"{report.sent} sent, {report.failed} failed, {report.retried} to be tried again, "
        f"{report.deferred} held for later, {report.cancelled} cancelled, {report.expired} expired, "
        f"{report.unknown} of unknown fate"
    )
    for error, count in Counter(report.errors).items():
        typer.echo(f"{count} x {error}", err=True)


def _deliver(services: Services, now: datetime) -> DeliveryReport:
    from mowalert.jobs.delivery import send_batch

    return send_batch(services, now=now)


def scheduler(
    every_min: Annotated[
        float, typer.Option("--every-min", min=0.01, help="Minutes from one tick to the next.")
    ] = 10.0,
) -> None:
    """Run until stopped: pull, rounds and delivery, one tick at a time."""
    import structlog

    from mowalert.jobs.logs import log_to_stderr
    from mowalert.jobs.scheduler import run_scheduler

    with one_line_errors(), opened() as services, ExitStack() as stack:
        log_to_stderr()
        settle_in()
        celery = services.settings.jobs.runner == "celery"
        engine = stack.enter_context(_engine(services.settings)) if celery else None

        def tick(now: datetime) -> None:
            with services.store.alone(NIGHTS) as alone:
                if not alone:
                    structlog.get_logger().info("another scheduler is at it")
                elif engine is None:
                    work_alone(now)
                else:
                    shards = engine.begin_night(services, now=now)
                    engine.begin_delivery()
                    structlog.get_logger().info("tick done", shards_given=shards)
                if alone:
                    tidy_daily(now)

        def work_alone(now: datetime) -> None:
            night_report = _night(services, now)
            delivery = _deliver(services, now)
            structlog.get_logger().info(
                "tick done",
                run=str(night_report.night_id),
                cells=night_report.pull.served,
                stands=night_report.grow.grown,
                digests=night_report.tell.digests,
                sent=delivery.sent,
                failed=delivery.failed,
            )

        def tidy_daily(now: datetime) -> None:
            gone = forget_daily(services.store, services.kept_days, now=now)
            if gone is not None and any(gone.rows.values()):
                counts = {what.value: rows for what, rows in gone.rows.items()}
                structlog.get_logger().info("old rows forgotten", whole=gone.whole, **counts)

        note_scheduler(services.store, every_min)
        run_scheduler(tick, every_min=every_min, failed=partial(note_failure, services.store))
        note_scheduler(services.store, None)


def worker(
    processes: Annotated[
        int, typer.Option("--processes", min=1, help="Shards worked on at once, one a process.")
    ] = 2,
) -> None:
    """Work on the shards and messages a scheduler gives out, until stopped."""
    from mowalert.jobs.logs import log_to_stderr

    with one_line_errors():
        settings = settings_now()
        if settings.jobs.runner != "celery":
            raise ConfigError(f"jobs.runner: found {settings.jobs.runner!r}; for workers allowed is: celery")
        with _engine(settings) as engine:
            log_to_stderr()
            raise typer.Exit(engine.work(processes=processes))


def _log_warnings() -> None:
    from mowalert.jobs.logs import log_to_stderr

    # Stdout is for what the command itself says.
    log_to_stderr(least=logging.WARNING)


def status(at: AtOption = None, json: JsonOption = False) -> None:
    """Show what is enrolled, how old the weather is, and what became of messages."""
    with one_line_errors(), opened() as services:
        limits = services.settings.weather.daily_calls()
        seen = status_of(services.store, now=moment(at), daily_calls=limits)
        if json:
            print_json(seen)
            return
        _show_status(seen)


def _show_status(seen: Status) -> None:
    typer.echo(", ".join(counted(count, name) for name, count in seen.counts.items()))
    age = "never" if seen.last_night_age_h is None else f"{seen.last_night_age_h:.1f} h ago"
    typer.echo(f"last night: {age}{'; nights have stopped' if seen.overdue and seen.last_night_at else ''}")
    if seen.scheduler_every_min is not None:
        typer.echo(f"scheduler: every {seen.scheduler_every_min:g} min")
    if seen.night is not None and seen.night.state not in ("done", "left"):
        shards = ", ".join(f"{count} {state}" for state, count in sorted(seen.night.shards.items()))
        typer.echo(f"night of {_minute(seen.night.at)}: under way, shards: {shards}")
    if seen.last_failure is not None:
        typer.echo(f"last failure: {_minute(seen.last_failure.at)}: {seen.last_failure.reason}")
    ages = [cell.age_h for cell in seen.weather if cell.age_h is not None]
    oldest = f"oldest {max(ages):.1f} h" if ages else "none yet"
    typer.echo(f"weather: {len(ages)} of {counted(len(seen.weather), 'cell')}, {oldest}")
    for one in seen.calls:
        typer.echo(f"calls: {_calls_line(one)}")
    outbox = ", ".join(f"{count} {state}" for state, count in sorted(seen.outbox.items()))
    waits = "" if seen.oldest_due_min is None else f"; one could have gone {seen.oldest_due_min:.0f} min ago"
    typer.echo(f"outbox: {outbox or 'empty'}{waits}")
    for entry in seen.rounds:
        digests = f", {counted(entry.digests, 'digest')}" if entry.outcome == "done" else ""
        typer.echo(f"round {entry.round_id} of {entry.local_date}: {entry.outcome}{digests}")
    refused = Counter((at_text[:16], source, reason) for at_text, source, reason in seen.refusals)
    for (at_text, source, reason), count in refused.items():
        times = f" ({count} times)" if count > 1 else ""
        typer.echo(f"refused {at_text.replace('T', ' ')} UTC {source}: {reason}{times}")


def tidy(
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Only count what would go.")] = False,
    at: AtOption = None,
    json: JsonOption = False,
) -> None:
    """Forget what is older than [retention] keeps it; the scheduler does so once a day."""
    with one_line_errors(), opened() as services:
        now, days = moment(at), services.kept_days
        if dry_run:
            found = old_rows(services.store, days, now=now)
        else:
            found = forget_old(services.store, days, now=now, most=sys.maxsize)
        if json:
            print_json(found.rows)
            return
        for what, rows in found.rows.items():
            typer.echo(f"{what.value:<10}{rows:>12,} {'would be ' if dry_run else ''}forgotten")


def _calls_line(of: CallState) -> str:
    if of.most is None:
        return f"{of.source} {of.calls:,.0f} today"
    spent = "; spent, cells without weather wait for another source or for tomorrow" if of.spent else ""
    return f"{of.source} {of.calls:,.0f} of {of.most:,.0f} today{spent}"


def _minute(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"
