"""`kill -9` or a full disk at any step: nothing lost, no text twice, the mail in flight at most."""

import os
from collections.abc import Callable
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hard.ledger import note
from hard.victim import WORK
from hard.victims import Harm, Place, Stores, hurt_once

# Read at once: fixtures clear the environment of what is ours.
HARD = bool(os.environ.get("MOWALERT_HARD"))
RUNS = 8 if HARD else 1
"""Of each work on each database; 7 works on 2 databases."""
SHORT_ON_POSTGRES = ("deliver", "night", "report")
"""The others do on it what they do on SQLite."""
CASES = [
    (database, work)
    for database in ("sqlite", "postgresql")
    for work in sorted(WORK)
    if HARD or database == "sqlite" or work in SHORT_ON_POSTGRES
]
FULL_AT = 40_000
"""Bytes at which files stop growing: a few pages of a write-ahead log, past the file that guards it."""


@pytest.mark.parametrize(("database", "work"), CASES)
def test_a_kill_loses_nothing_and_doubles_nothing(
    database: str,
    work: str,
    stores_on: Callable[[str], Stores],
    place: Place,
    patterns: dict[str, Path | None],
    whole: dict[str, dict[str, Any]],
) -> None:
    stores = stores_on(database)
    unharmed = f"{work}, {stores.kind}"
    if unharmed not in whole:
        whole[unharmed], _ = hurt_once(work, stores, place, patterns[work], {})
    random = Random(work)
    harms, killed = [], 0
    for run in range(RUNS):
        # Not at the very last steps: how many there are differs by a few from run to run.
        kill = {"at_step": random.randint(1, max(1, whole[unharmed]["steps"] * 9 // 10))}
        if run % 2:
            kill = {"kill_after_s": random.uniform(0.0, whole[unharmed]["took_s"])}
        ended, harm = hurt_once(work, stores, place, patterns[work], kill)
        killed += ended["exit"] == -9
        harms.append(harm)
    lost, doubled = sum(harm.lost for harm in harms), sum(harm.doubled for harm in harms)
    survived = sum(not (harm.lost or harm.doubled) for harm in harms)
    note(f"kill -9, {unharmed}", RUNS, survived, lost, doubled)
    assert (lost, doubled, survived) == (0, 0, RUNS)
    assert killed >= (RUNS + 1) // 2, "too few were killed at work"


@pytest.mark.parametrize("work", sorted({*WORK} - {"backup"}))
def test_a_full_disk_ends_the_work_with_a_reason_and_harms_nothing(
    work: str, place: Place, patterns: dict[str, Path | None]
) -> None:
    stores = Stores(place.folder, None)
    ended, harm = hurt_once(work, stores, place, patterns[work], {"file_bytes": FULL_AT, "may_fail": True})
    note(f"disk full, {work}, SQLite", 1, harm == Harm(repeated=harm.repeated), harm.lost, harm.doubled)
    assert ended["error"].startswith(("StoreError", "InputError")), ended["error"]
    assert (harm.lost, harm.doubled) == (0, 0)
