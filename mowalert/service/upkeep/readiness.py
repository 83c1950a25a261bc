"""Whether the service can do its work: each check with its outcome in words anybody may read."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from mowalert.errors import StoreError
from mowalert.service.nights.night import LAST_NIGHT, is_overdue
from mowalert.service.ports import Store
from mowalert.service.upkeep.status import EVERY_MIN, UNSCHEDULED_MIN


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that must hold, whether it does, and what was found."""

    name: str
    passed: bool
    found: str


def checks(store: Store, *, wanted_schema: str, now: datetime) -> tuple[Check, ...]:
    """Check what the service cannot do without.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    wanted_schema : str
        Version of the tables that this program needs.
    now : datetime
        The moment.

    Returns
    -------
    tuple[Check, ...]
        Store, schema and nights; of a store that cannot be read only the first.
    """
    try:
        with store.begin() as work:
            schema = work.schema_version()
            last, every_min = work.get_meta(LAST_NIGHT), work.get_meta(EVERY_MIN)
    except StoreError:
        # What the driver said may name hosts and paths: that is for the log, not for whoever asks.
        return (Check("store", False, "cannot be read"),)
    return (
        Check("store", True, "can be read"),
        _schema(schema, wanted_schema),
        _nights(datetime.fromisoformat(last) if last else None, float(every_min or 0), now),
    )


def _schema(found: str | None, wanted: str) -> Check:
    fits = found == wanted
    return Check("schema", fits, f"version {found}{'' if fits else f', wanted is {wanted}'}")


def _nights(last: datetime | None, every_min: float, now: datetime) -> Check:
    overdue = is_overdue(last, now=now, every=timedelta(minutes=every_min or UNSCHEDULED_MIN))
    if last is None:
        return Check("nights", not overdue, "none has run yet")
    return Check("nights", not overdue, f"the newest was {(now - last).total_seconds() / 3600:.1f} h ago")
