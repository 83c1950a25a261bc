"""Backups of either database, restored into either: the same rows, or nothing and a reason."""

import json
import stat
import threading
import zipfile
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from builders import NOW, a_keeper, a_message
from rows import ROWS, fill
from stores import contents

from mowalert.domain.rounds import Timetable
from mowalert.errors import InputError, StoreError
from mowalert.service.backup import Backup, back_up, restore
from mowalert.store.backup import SqlCopies, tables_of
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import head, schema_version, upgrade, upgrade_within

OLDEST = "0001"


def migrate(url: str, version: str) -> None:
    engine = open_engine(url)
    with engine.connect() as connection:
        upgrade_within(connection, version)
        connection.commit()
    engine.dispose()


def bring_back(url: str, path: Path, *, replace: bool = False) -> Backup:
    return restore(SqlCopies(url), path, at=NOW, nothing_since=True, replace=replace)


def rows_of(url: str) -> dict[str, Any]:
    """Rows as plain text: what a driver makes of a moment or of JSON is not the point."""
    return {name: [list(map(str, row)) for row in rows] for name, rows in contents(url).items()}


@pytest.fixture
def filled(store_url: str) -> str:
    upgrade(store_url)
    fill(store_url, head())
    return store_url


@pytest.fixture
def backup(tmp_path: Path) -> Path:
    """A backup of a filled SQLite store."""
    url = f"sqlite:///{tmp_path / 'lost.db'}"
    upgrade(url)
    fill(url, head())
    back_up(SqlCopies(url), tmp_path / "kept.backup", at=NOW)
    return tmp_path / "kept.backup"


def test_every_row_comes_back_in_either_database(filled: str, other_url: str, tmp_path: Path) -> None:
    path = tmp_path / "kept.backup"
    kept = back_up(SqlCopies(filled), path, at=NOW)
    assert kept == bring_back(other_url, path)
    assert rows_of(other_url) == rows_of(filled)
    assert {table.rows for table in kept.tables} == {ROWS}
    assert kept.made_at == NOW
    # And once more from there: the file holds the same rows, whichever database they came from.
    again = back_up(SqlCopies(other_url), tmp_path / "again.backup", at=NOW)
    assert [table.sha256 for table in again.tables] == [table.sha256 for table in kept.tables]


def test_who_comes_later_gets_a_number_that_nobody_had(postgres: str, filled: str, tmp_path: Path) -> None:
    if filled.startswith("sqlite"):
        pytest.skip("SQLite gives out the highest number of the rows that are there")
    back_up(SqlCopies(filled), tmp_path / "kept.backup", at=NOW)
    bring_back(filled, tmp_path / "kept.backup", replace=True)
    store = SqlStore(filled)
    with store.begin() as work:
        assert work.keepers.add(a_keeper(round_id=1)) == ROWS + 5
    store.close()


@pytest.mark.parametrize("version", [OLDEST, "0004"])
def test_an_older_store_is_backed_up_as_it_is_and_brought_up_to_date(
    store_url: str, other_url: str, tmp_path: Path, version: str
) -> None:
    migrate(store_url, version)
    fill(store_url, version)
    kept = back_up(SqlCopies(store_url), tmp_path / "old.backup", at=NOW)
    assert kept.schema == version
    bring_back(other_url, tmp_path / "old.backup")
    assert schema_version(other_url) == head()
    upgrade(store_url)
    assert rows_of(other_url) == rows_of(store_url)


def test_a_newer_backup_is_refused_and_leaves_the_store_alone(backup: Path, store_url: str) -> None:
    upgrade(store_url)
    rewrite(backup, lambda told: told | {"schema": "9999", "program": "77.0"})
    before = rows_of(store_url)
    with pytest.raises(StoreError, match=r"9999, made by mowalert 77\.0"):
        bring_back(store_url, backup)
    assert rows_of(store_url) == before


def test_a_newer_store_is_neither_backed_up_nor_replaced(backup: Path, filled: str, tmp_path: Path) -> None:
    set_version(filled, "9999")
    with pytest.raises(StoreError, match="newer than this program"):
        back_up(SqlCopies(filled), tmp_path / "new.backup", at=NOW)
    with pytest.raises(StoreError, match="newer than this program"):
        bring_back(filled, backup, replace=True)
    assert sorted(path.name for path in tmp_path.glob("*backup*")) == ["kept.backup"]


def test_a_store_with_rows_is_replaced_only_if_told(backup: Path, store_url: str) -> None:
    bring_back(store_url, backup)
    whole = rows_of(store_url)
    change(store_url, "UPDATE keeper SET name = 'Somebody new'")
    changed = rows_of(store_url)
    with pytest.raises(InputError, match="not empty.*--replace"):
        bring_back(store_url, backup)
    assert rows_of(store_url) == changed
    bring_back(store_url, backup, replace=True)
    assert rows_of(store_url) == whole


def test_a_store_that_was_only_started_counts_as_empty(backup: Path, store_url: str) -> None:
    upgrade(store_url)
    store = SqlStore(store_url)
    with store.begin() as work:
        work.set_meta("secret_key", "of the new store")
        work.commit()
    store.close()
    bring_back(store_url, backup)
    assert "of the new store" not in str(contents(store_url)["meta"])


def drop_a_row(path: Path) -> None:
    rewrite(path, rows=lambda name, body: body[: body.rindex(b"\n", 0, -1) + 1] if name == "lawn" else body)


def change_a_row(path: Path) -> None:
    rewrite(path, rows=lambda name, body: body.replace(b"1 name", b"9 name") if name == "keeper" else body)


def lose_a_table(path: Path) -> None:
    rewrite(path, rows=lambda name, body: None if name == "event" else body)


def tell_other_counts(path: Path) -> None:
    def more(told: dict[str, Any]) -> dict[str, Any]:
        told["tables"][0]["rows"] += 1
        return told

    rewrite(path, more)


def add_a_table(path: Path) -> None:
    def more(told: dict[str, Any]) -> dict[str, Any]:
        return told | {"tables": [*told["tables"], told["tables"][0] | {"name": "unheard_of"}]}

    rewrite(path, more)


def cut_it_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-500])


def flip_a_byte(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 0xFF
    path.write_bytes(bytes(data))


def be_something_else(path: Path) -> None:
    path.write_text("keeper,kind,email\n")


def be_of_another_form(path: Path) -> None:
    rewrite(path, lambda told: told | {"format": 99})


def go(path: Path) -> None:
    path.unlink()


DAMAGES = [
    drop_a_row,
    change_a_row,
    lose_a_table,
    tell_other_counts,
    add_a_table,
    cut_it_short,
    flip_a_byte,
    be_something_else,
    be_of_another_form,
    go,
]


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda damage: damage.__name__)
def test_a_damaged_backup_changes_nothing(
    backup: Path, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    url = f"sqlite:///{tmp_path / 'store.db'}"
    bring_back(url, backup)
    change(url, "UPDATE keeper SET name = 'Somebody new'")
    before = rows_of(url)
    damage(backup)
    with pytest.raises(InputError, match=r"kept\.backup: "):
        bring_back(url, backup, replace=True)
    assert rows_of(url) == before


def test_a_damaged_backup_changes_nothing_in_postgresql(backup: Path, store_url: str) -> None:
    bring_back(store_url, backup)
    before = rows_of(store_url)
    change_a_row(backup)
    with pytest.raises(InputError):
        bring_back(store_url, backup, replace=True)
    assert rows_of(store_url) == before


def test_rows_that_refer_to_nothing_are_refused(backup: Path, store_url: str) -> None:
    def lose_a_keeper(told: dict[str, Any]) -> dict[str, Any]:
        for table in told["tables"]:
            if table["name"] == "keeper":
                table |= {"rows": 0, "sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}
        return told

    rewrite(backup, lose_a_keeper, rows=lambda name, body: b"" if name == "keeper" else body)
    with pytest.raises(StoreError):
        bring_back(store_url, backup)
    assert schema_version(store_url) is None


def test_the_file_is_its_owners_and_never_replaces_another(filled: str, tmp_path: Path) -> None:
    path = tmp_path / "kept.backup"
    back_up(SqlCopies(filled), path, at=NOW)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(InputError, match="is there already"):
        back_up(SqlCopies(filled), path, at=NOW)
    with pytest.raises(InputError, match="No such file"):
        back_up(SqlCopies(filled), tmp_path / "nowhere" / "kept.backup", at=NOW)


def test_there_must_be_a_store(store_url: str, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no store"):
        back_up(SqlCopies(store_url), tmp_path / "kept.backup", at=NOW)
    assert list(tmp_path.glob("*backup*")) == []


def test_others_write_while_a_backup_is_made_and_it_holds_one_moment(
    store_url: str, other_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    upgrade(store_url)
    store = SqlStore(store_url)
    table = Timetable(False, "America/New_York", 8, 1080)
    with store.begin() as work:
        round_id = work.rounds.ensure(
            daily_list=False,
            time_zone=table.time_zone,
            weekdays=table.weekdays,
            minute_of_day=table.minute_of_day,
            mixed=False,
        )
        keeper_id = work.keepers.add(a_keeper(round_id=round_id))
        work.commit()

    def write_both() -> None:
        with store.begin() as work:
            work.keepers.add(a_keeper(key="late", round_id=round_id))
            work.outbox.add(a_message(keeper_id=keeper_id, local_date=NOW.date() + timedelta(days=9)))
            work.commit()

    made = tables_of(head())

    def and_meanwhile(version: str) -> tuple[sa.Table, ...]:
        writer = threading.Thread(target=write_both)
        writer.start()
        writer.join(timeout=20)
        assert not writer.is_alive(), "the backup holds others up"
        return made

    monkeypatch.setattr("mowalert.store.backup.tables_of", and_meanwhile)
    back_up(SqlCopies(store_url), tmp_path / "kept.backup", at=NOW)
    monkeypatch.undo()
    store.close()
    bring_back(other_url, tmp_path / "kept.backup")
    assert (len(contents(other_url)["keeper"]), len(contents(other_url)["outbox"])) == (1, 0)
    assert (len(contents(store_url)["keeper"]), len(contents(store_url)["outbox"])) == (2, 1)


def rewrite(
    path: Path,
    told: Callable[[dict[str, Any]], dict[str, Any]] = lambda told: told,
    *,
    rows: Callable[[str, bytes], bytes | None] = lambda name, body: body,
) -> None:
    """Write a backup anew with something changed."""
    with zipfile.ZipFile(path) as archive:
        bodies = {name: archive.read(name) for name in archive.namelist()}
    listed = json.loads(bodies.pop("backup.json"))
    with zipfile.ZipFile(path, "w") as archive:
        for name, body in bodies.items():
            if (kept := rows(name.removesuffix(".jsonl"), body)) is not None:
                archive.writestr(name, kept)
        archive.writestr("backup.json", json.dumps(told(listed)))


def set_version(url: str, version: str) -> None:
    change(url, f"UPDATE alembic_version SET version_num = '{version}'")  # noqa: S608


def change(url: str, command: str) -> None:
    engine = open_engine(url)
    with engine.begin() as connection:
        connection.execute(sa.text(command))
    engine.dispose()
