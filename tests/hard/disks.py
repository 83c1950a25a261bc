"""Disks of a test's own: one that fills up or lets nobody write, and one whose power can be cut."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

DISK_MIB = 16
FILLER = "filler"


@contextmanager
def mounted(folder: Path, *how: str) -> Iterator[Path]:
    """Mount something at a new folder; the test is skipped where that is not allowed."""
    folder.mkdir()
    done = subprocess.run(["mount", *how, str(folder)], capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"nothing can be mounted: {done.stderr.strip()}")
    try:
        yield folder
    finally:
        # Whatever the test still holds open keeps the disk, not its place.
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    with mounted(folder, "-t", "tmpfs", "-o", f"size={DISK_MIB}m", "tmpfs") as disk:
        yield disk


@contextmanager
def read_only(disk: Path) -> Iterator[None]:
    """Let nobody write for as long as a block lasts; the superuser neither."""
    _remount(disk, "ro")
    try:
        yield
    finally:
        _remount(disk, "rw")


def _remount(disk: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(disk)], check=True)


@contextmanager
def full(disk: Path) -> Iterator[None]:
    """Leave a disk without a free byte for as long as a block lasts."""
    seen = os.statvfs(disk)
    with (disk / FILLER).open("wb") as filler:
        os.posix_fallocate(filler.fileno(), 0, seen.f_bavail * seen.f_frsize)
    try:
        yield
    finally:
        (disk / FILLER).unlink()


class Image:
    """A disk in a file, of which only what was written through survives a power cut."""

    def __init__(self, folder: Path) -> None:
        self._image, self._at_rest = folder / "disk.image", folder / "disk.at-rest"
        self.folder = folder / "disk"
        with self._image.open("wb") as file:
            file.truncate(DISK_MIB << 20)
        made = subprocess.run(["mkfs.ext4", "-qF", str(self._image)], check=False)
        if made.returncode:
            pytest.skip("no disk can be made")

    @contextmanager
    def running(self) -> Iterator["Image"]:
        with mounted(self.folder, "-o", "loop", str(self._image)):
            yield self
        self._image.unlink()

    @property
    def power_cut(self) -> dict[str, Any]:
        """What a job must know."""
        return {"happens": "no power", "image": str(self._image), "at_rest": str(self._at_rest)}

    @contextmanager
    def under_power(self) -> Iterator[None]:
        """Write through what there is; after the block the disk is as a power cut in it left it."""
        subprocess.run(["sync", "--file-system", str(self.folder)], check=True)
        yield
        if self._at_rest.exists():
            subprocess.run(["umount", str(self.folder)], check=True)
            self._at_rest.replace(self._image)
            subprocess.run(["mount", "-o", "loop", str(self._image), str(self.folder)], check=True)
