"""What the use cases ask of a store about nights that are worked on shard by shard."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any, Protocol

Cells = tuple[int, int]
"""First and last weather cell of a span, both included."""
EVERY_CELL: Cells = (0, 2**31 - 1)


class NightState(StrEnum):
    """How far a night is: ``told`` once its rounds are marked, ``left`` where a newer one took over."""

    OPEN = "open"
    TOLD = "told"
    DONE = "done"
    LEFT = "left"


class ShardState(StrEnum):
    """How far a shard is; ``failed`` after too many tries."""

    WAITING = "waiting"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class NightRecord:
    """A night: its moment, the rounds it tells, and its shards of cells, numbered from 0.

    One more shard, numbered ``shards``, is the end: what can only be done once all others are.
    """

    night_id: int
    at: datetime
    round_ids: tuple[int, ...]
    shards: int
    state: NightState = NightState.OPEN

    @property
    def is_open(self) -> bool:
        """Whether there is still something to do."""
        return self.state in (NightState.OPEN, NightState.TOLD)


@dataclass(frozen=True, slots=True)
class ShardRecord:
    """Cells of a night that one worker takes at a time.

    ``digests`` counts by round, ``left_lawns`` are of keepers whose lawns lie in several shards, and
    ``report`` says what each step did.
    """

    night_id: int
    shard: int
    first_cell: int
    last_cell: int
    state: ShardState = ShardState.WAITING
    tries: int = 0
    sent_at: datetime | None = None
    digests: Mapping[int, int] = field(default_factory=dict)
    left_lawns: tuple[int, ...] = ()
    report: Mapping[str, Any] = field(default_factory=dict)

    @property
    def cells(self) -> Cells:
        """The span of cells."""
        return self.first_cell, self.last_cell


class Nights(Protocol):
    """Nights and their shards."""

    def lock(self) -> None:
        """Let nobody else begin a night until this transaction ends."""

    def begin(self, at: datetime, round_ids: Sequence[int], cells: Sequence[Cells]) -> NightRecord:
        """Keep a new night with a shard for each span of cells; one still open is left."""

    def open(self) -> NightRecord | None:
        """The night that is being worked on."""

    def newest(self) -> NightRecord | None:
        """The newest night, whatever became of it."""

    def get(self, night_id: int) -> NightRecord | None:
        """One night."""

    def hold(self, night_id: int) -> bool:
        """Whether a night is open; where it is, none takes over before this transaction ends."""

    def mark(self, night_id: int, state: NightState) -> None:
        """Say how far a night is."""

    def shards(self, night_id: int) -> list[ShardRecord]:
        """Shards of a night in order, the end last."""

    def shard(self, night_id: int, shard: int) -> ShardRecord:
        """One shard."""

    def tried(self, night_id: int, shard: int) -> int:
        """Count a try; how many there were with it."""

    def sent(self, night_id: int, shards: Sequence[int], at: datetime) -> None:
        """Remember when shards were given to the workers."""

    def add_digests(self, night_id: int, shard: int, more: Mapping[int, int]) -> None:
        """Count digests by round."""

    def close(
        self,
        night_id: int,
        shard: int,
        state: ShardState,
        *,
        left_lawns: Sequence[int] = (),
        report: Mapping[str, Any] | None = None,
    ) -> None:
        """Say that a shard is done, or given up."""

    def forget(self, *, before: datetime) -> int:
        """Forget nights before a moment; how many."""
