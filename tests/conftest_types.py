"""Names that tests in several folders annotate with."""

from typing import Any, Protocol


class Checks(Protocol):
    """The check table and what was compared with it."""

    rows: dict[str, dict[str, Any]]
    sources: dict[str, str]
    seen: dict[str, list[tuple[str, str, str, str]]]

    def __getitem__(self, check: str) -> dict[str, Any]: ...

    def close(self, check: str, name: str, ours: float, theirs: float, tolerance: float) -> None: ...

    def within(self, check: str, name: str, ours: float, low: float, high: float) -> None: ...

    def same(self, check: str, name: str, ours: object, theirs: object) -> None: ...
