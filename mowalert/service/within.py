"""Several use cases in one transaction: all of them are kept, or none."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, cast

from mowalert.service.ports import Work


class Within:
    """A store whose transactions are parts of one that is open; whoever opened it commits.

    Parameters
    ----------
    work : Work
        The open transaction.
    """

    def __init__(self, work: Work) -> None:
        self._work = work

    @contextmanager
    def begin(self) -> Iterator[Work]:
        """Take part in the transaction."""
        yield cast(Work, _Part(self._work))


class _Part:
    """The transaction, as seen by one of its parts: what is committed here waits for the rest."""

    def __init__(self, work: Work) -> None:
        self._work = work

    def commit(self) -> None:
        """Leave it to the whole."""

    def __getattr__(self, name: str) -> Any:
        return getattr(self._work, name)
