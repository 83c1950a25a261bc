"""Letters that a person waits for leave at once, not at the next tick of the scheduler."""

import structlog

from mowalert.errors import MowalertError
from mowalert.web.site import Site

log = structlog.get_logger()


def deliver_soon(site: Site) -> None:
    """Send what the outbox holds; what cannot go now goes with the next delivery."""
    try:
        site.services.deliver(now=site.now)
    except MowalertError as error:
        log.warning("not delivered at once", reason=type(error).__name__)
