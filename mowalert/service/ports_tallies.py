"""What the use cases ask of a store about what was done since the beginning."""

from collections.abc import Mapping
from typing import Protocol

Totals = Mapping[str, Mapping[str, float]]
"""By figure and label; sums that only ever grow, of all processes together."""


class Tallies(Protocol):
    """Sums since the beginning."""

    def add(self, more: Totals) -> None:
        """Add to them."""

    def all(self) -> Totals:
        """All of them."""
