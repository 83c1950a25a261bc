"""A database that hangs up, or starts again, at any step: one error in a line, nothing lost or doubled."""

from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest
from hard.ledger import note
from hard.servers import Server, own_server
from hard.victim import WORK, lose_connections
from hard.victims import Place, Stores, hurt_once

from mowalert.errors import StoreError
from mowalert.store.engine import SqlStore

TIMES = {"no connection": 12, "no server": 6}
"""Of each work."""
SHORT = {"no connection": ("night",), "no server": ("deliver",)}


@pytest.fixture(scope="module")
def database() -> Iterator[Server]:
    with own_server() as server:
        yield server


@pytest.mark.parametrize("happens", sorted(TIMES))
def test_a_database_that_goes_away_loses_nothing_and_doubles_nothing(
    happens: str,
    database: Server,
    place: Place,
    patterns: dict[str, Path | None],
    tmp_path: Path,
    hard: bool,
) -> None:
    stores, random = Stores(tmp_path, database.url), Random(happens)
    noticed = 0
    for work in sorted(WORK) if hard else SHORT[happens]:
        unharmed, _ = hurt_once(work, stores, place, patterns[work], {})
        for _ in range(TIMES[happens] if hard else 1):
            hurt = {
                "happens": happens,
                "at_step": random.randint(1, unharmed["steps"] * 9 // 10),
                "restart": database.restart,
                "may_fail": True,
            }
            ended, harm = hurt_once(work, stores, place, patterns[work], hurt)
            note(f"{happens}, {work}", 1, not (harm.lost or harm.doubled), harm.lost, harm.doubled)
            assert ended.get("error", "StoreError: ").startswith("StoreError: "), (work, hurt, ended)
            assert "\n" not in ended.get("error", "")
            assert (harm.lost, harm.doubled) == (0, 0), (work, hurt)
            noticed += "error" in ended
    assert noticed or not hard, "it must have been in the middle of something"


def test_who_loses_what_keeps_others_out_says_so_and_goes_on(postgres_store: str) -> None:
    store = SqlStore(postgres_store)

    def interrupted() -> None:
        with store.alone("nights") as alone:
            assert alone
            lose_connections({"url": postgres_store})
            with store.begin() as work:
                work.set_meta("done", "yes")
                work.commit()

    with pytest.raises(StoreError):
        interrupted()
    with store.alone("nights") as alone, store.begin() as work:
        assert alone
        assert work.get_meta("done") == "yes"
    store.close()
