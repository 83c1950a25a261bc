"""What failed last, for whoever asks how the service does."""

from datetime import datetime

from mowalert.service.ports import Store

LAST_FAILURE = "last_failure"
"""Name under which the store keeps it."""
FAILURES, ALL = "failures", "all"
"""Figure and label under which they are counted."""


def note_failure(store: Store, at: datetime, reason: str) -> None:
    """Remember the newest failure."""
    with store.begin() as work:
        work.set_meta(LAST_FAILURE, f"{at.isoformat()} {reason}")
        work.tallies.add({FAILURES: {ALL: 1}})
        work.commit()
