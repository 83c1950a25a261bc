"""Backups of either database, restored into either: the same rows, or nothing and a reason."""

import errno
import json
import os
import shutil
import stat
import threading
import zipfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from builders import NOW, a_keeper, a_message
from rows import ROWS, fill
from stores import contents, empty_store, migrate

from mowalert.errors import InputError, StoreError
from mowalert.service.backup import Backup, back_up, restore
from mowalert.store.backup import SqlCopies, tables_of
from mowalert.store.engine import SqlStore, open_engine
from mowalert.store.upgrade import head, schema_version, upgrade

OLDEST = "0001"


def keep(url: str, path: Path) -> Backup:
    return back_up(SqlCopies(url), path, at=NOW)


def bring_back(url: str, path: Path, *, replace: bool = False) -> Backup:
    return restore(SqlCopies(url), path, at=NOW, nothing_since=True, replace=replace)


def rows_of(url: str) -> dict[str, Any]:
    """Rows as plain text: what a driver makes of a moment or of JSON is not the point."""
    return {name: [list(map(str, row)) for row in rows] for name, rows in contents(url).items()}


@pytest.fixture(scope="module")
def lost(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A filled SQLite store; whoever changes it takes a copy."""
    path = tmp_path_factory.mktemp("lost") / "store.db"
    path.write_bytes(empty_store())
    fill(f"sqlite:///{path}", head())
    keep(f"sqlite:///{path}", path.with_name("kept.backup"))
    return path


@pytest.fixture
def backup(lost: Path, tmp_path: Path) -> Path:
    return shutil.copy(lost.with_name("kept.backup"), tmp_path / "kept.backup")


@pytest.fixture
def filled(store: SqlStore) -> str:
    fill(store.url, head())
    return store.url


def test_every_row_comes_back_in_either_database(filled: str, other_url: str, tmp_path: Path) -> None:
    path = tmp_path / "kept.backup"
    kept = keep(filled, path)
    assert kept == bring_back(other_url, path)
    assert rows_of(other_url) == rows_of(filled)
    assert {table.rows for table in kept.tables} == {ROWS}
    assert kept.made_at == NOW
    # And once more from there: the file holds the same rows, whichever database they came from.
    again = keep(other_url, tmp_path / "again.backup")
    assert [table.sha256 for table in again.tables] == [table.sha256 for table in kept.tables]
    assert_numbers_go_on(other_url)


def assert_numbers_go_on(url: str) -> None:
    """Who comes later gets a number that nobody had, not even somebody who was erased."""
    store = SqlStore(url)
    with store.begin() as work:
        assert work.keepers.add(a_keeper(round_id=1)) == ROWS + 5
    store.close()


def test_an_older_store_is_kept_as_it_is_and_brought_up_to_date(store_url: str, tmp_path: Path) -> None:
    old = f"sqlite:///{tmp_path / 'old.db'}"
    migrate(old, OLDEST)
    fill(old, OLDEST)
    assert keep(old, tmp_path / "old.backup").schema == OLDEST
    bring_back(store_url, tmp_path / "old.backup")
    upgrade(old)
    assert rows_of(store_url) == rows_of(old)


def test_a_newer_backup_is_refused_and_leaves_the_store_alone(backup: Path, store: SqlStore) -> None:
    rewrite(backup, lambda told: told | {"schema": "9999", "program": "77.0"})
    with pytest.raises(StoreError, match=r"9999, made by mowalert 77\.0"):
        bring_back(store.url, backup)
    assert schema_version(store.url) == head()


def test_a_newer_store_is_neither_kept_nor_replaced(backup: Path, lost: Path, tmp_path: Path) -> None:
    url = f"sqlite:///{shutil.copy(lost, tmp_path / 'newer.db')}"
    set_version(url, "9999")
    with pytest.raises(StoreError, match="newer than this program"):
        keep(url, tmp_path / "new.backup")
    with pytest.raises(StoreError, match="newer than this program"):
        bring_back(url, backup, replace=True)
    assert sorted(path.name for path in tmp_path.glob("*backup*")) == ["kept.backup"]


def test_a_store_with_rows_is_replaced_only_if_told(backup: Path, store_url: str, tmp_path: Path) -> None:
    whole = bring_back(store_url, backup)
    change(store_url, "UPDATE keeper SET name = 'Somebody new'")
    with pytest.raises(InputError, match=r"not empty.*--replace"):
        bring_back(store_url, backup)
    changed = keep(store_url, tmp_path / "changed.backup")
    assert [a.name for a, b in zip(changed.tables, whole.tables, strict=True) if a != b] == ["keeper"]
    change_a_row(tmp_path / "changed.backup")
    with pytest.raises(InputError, match="table keeper has other rows"):
        bring_back(store_url, tmp_path / "changed.backup", replace=True)
    assert keep(store_url, tmp_path / "unchanged.backup").tables == changed.tables
    bring_back(store_url, backup, replace=True)
    assert keep(store_url, tmp_path / "whole.backup").tables == whole.tables


def test_a_store_that_was_only_started_counts_as_empty(backup: Path, store: SqlStore) -> None:
    with store.begin() as work:
        work.set_meta("secret_key", "of the new store")
        work.commit()
    bring_back(store.url, backup)
    with store.begin() as work:
        assert work.get_meta("secret_key") is None


def drop_a_row(path: Path) -> None:
    rewrite(path, rows=lambda name, body: body[: body.rindex(b"\n", 0, -1) + 1] if name == "lawn" else body)


def change_a_row(path: Path) -> None:
    rewrite(path, rows=lambda name, body: body.replace(b"1 key", b"9 key") if name == "keeper" else body)


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
    backup: Path, lost: Path, tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    url = f"sqlite:///{shutil.copy(lost, tmp_path / 'store.db')}"
    change(url, "UPDATE keeper SET name = 'Somebody new'")
    before = rows_of(url)
    damage(backup)
    with pytest.raises(InputError, match=r"kept\.backup: "):
        bring_back(url, backup, replace=True)
    assert rows_of(url) == before


def test_rows_that_refer_to_nothing_are_refused(backup: Path, store_url: str) -> None:
    def lose_a_keeper(told: dict[str, Any]) -> dict[str, Any]:
        for table in told["tables"]:
            if table["name"] == "keeper":
                table |= {"rows": 0, "sha256": sha256(b"").hexdigest()}
        return told

    rewrite(backup, lose_a_keeper, rows=lambda name, body: b"" if name == "keeper" else body)
    with pytest.raises(StoreError, match=r"restored|lost its keeper"):
        bring_back(store_url, backup)
    assert schema_version(store_url) is None


def test_the_file_is_its_owners_and_never_replaces_another(lost: Path, tmp_path: Path) -> None:
    url, path = f"sqlite:///{lost}", tmp_path / "kept.backup"
    keep(url, path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(InputError, match="is there already"):
        keep(url, path)
    with pytest.raises(InputError, match="No such file"):
        keep(url, tmp_path / "nowhere" / "kept.backup")


def test_a_full_disk_leaves_no_half_a_file(
    lost: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def is_full(descriptor: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("os.fsync", is_full)
    with pytest.raises(InputError, match="No space left"):
        keep(f"sqlite:///{lost}", tmp_path / "kept.backup")
    assert list(tmp_path.iterdir()) == []


def test_there_must_be_a_store(store_url: str, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no store"):
        keep(store_url, tmp_path / "kept.backup")
    assert list(tmp_path.glob("*backup*")) == []


def test_others_write_while_a_backup_is_made_and_it_holds_one_moment(
    filled: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    store, made = SqlStore(filled), tables_of(head())

    def write() -> None:
        with store.begin() as work:
            work.set_meta("name", "written meanwhile")
            work.outbox.add(a_message())
            work.commit()

    def and_meanwhile(version: str) -> tuple[sa.Table, ...]:
        writer = threading.Thread(target=write)
        writer.start()
        writer.join(timeout=60)
        assert not writer.is_alive(), "the backup holds others up"
        return made

    change(filled, "SELECT setval('outbox_message_id_seq', 9)" if "postgres" in filled else "SELECT 1")
    monkeypatch.setattr("mowalert.store.backup.tables_of", and_meanwhile)
    kept = {table.name: table.rows for table in keep(filled, tmp_path / "kept.backup").tables}
    assert (kept["meta"], kept["outbox"]) == (ROWS, ROWS)
    with store.begin() as work:
        assert work.get_meta("name") == "written meanwhile"
    store.close()


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
