"""One batch of the outbox, whoever sends it: its lines carry one run."""

from datetime import datetime
from secrets import token_hex
from time import perf_counter

import structlog
from structlog.contextvars import bound_contextvars

from mowalert.service.sending.deliver import DeliveryReport
from mowalert.wiring import Services

log = structlog.get_logger()


def send_batch(
    services: Services, *, now: datetime, most: int | None = None, run: str | None = None
) -> DeliveryReport:
    """Send what the outbox holds.

    Parameters
    ----------
    services : Services
        What it is sent with.
    now : datetime
        The moment.
    most : int | None
        Messages at most; none for all.
    run : str | None
        What the lines of this batch are marked with; a new name if none is given.

    Returns
    -------
    DeliveryReport
        What became of them.
    """
    began = perf_counter()
    with bound_contextvars(run=run or f"delivery.{token_hex(4)}"):
        report = services.deliver(now=now, most=most)
        log.info(
            "delivered",
            sent=report.sent,
            failed=report.failed,
            retried=report.retried,
            seconds=round(perf_counter() - began, 3),
        )
    return report
