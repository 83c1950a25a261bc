"""A PostgreSQL server of a test's own, that may be started again without asking anybody."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from ports import free_port

PROGRAMS = Path("/usr/lib/postgresql")
OWNER = "postgres"
"""Who runs it where the superuser tests: the server refuses to be the superuser's."""
SETTINGS = "-c fsync=off -c shared_buffers=16MB -c max_connections=20 -c listen_addresses=127.0.0.1"


class Server:
    """A running server."""

    def __init__(self, programs: Path, folder: Path) -> None:
        self._folder, self._port = folder, free_port()
        self._control = [str(programs / "pg_ctl"), "-D", str(folder), "-l", f"{folder}/log", "-s"]
        self._as: dict[str, Any] = {"user": OWNER, "group": OWNER} if not os.getuid() else {}
        self._run(str(programs / "initdb"), "-D", str(folder), "-U", OWNER, "-A", "trust", "-N")
        self._run(*self._control, "-w", "-o", self._options, "start")

    @property
    def url(self) -> str:
        return f"postgresql+psycopg://{OWNER}@127.0.0.1:{self._port}/postgres"

    @property
    def restart(self) -> list[str]:
        """The command that breaks everything off and starts again, for whoever may run it."""
        command = [*self._control, "-w", "-m", "immediate", "-o", self._options, "restart"]
        return ["setpriv", f"--reuid={OWNER}", "--clear-groups", *command] if self._as else command

    def stop(self) -> None:
        self._run(*self._control, "-m", "immediate", "stop")

    @property
    def _options(self) -> str:
        return f"-p {self._port} -k {self._folder} {SETTINGS}"

    def _run(self, *command: str) -> None:
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd="/", **self._as)


@contextmanager
def own_server() -> Iterator[Server]:
    """Run a server for as long as a block lasts; the test is skipped where there is none to run."""
    found = sorted(PROGRAMS.glob("*/bin/initdb"))
    if not found:
        pytest.skip(f"no PostgreSQL below {PROGRAMS}")
    # Not below pytest's folder, into which only its owner may look.
    with TemporaryDirectory(dir="/tmp") as folder:
        if not os.getuid():
            shutil.chown(folder, OWNER, OWNER)
        server = Server(found[-1].parent, Path(folder))
        try:
            yield server
        finally:
            server.stop()
