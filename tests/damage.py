"""How often a fault was tried and what it cost, told in a table at the end of a run.

Tests that break things try a sample by default, and everything with ``--hard``.
"""

from collections.abc import Mapping
from dataclasses import astuple, dataclass
from typing import Any

import pytest


@dataclass(slots=True)
class Tally:
    """Runs of one fault: how many were survived, and messages or reports lost and doubled in them."""

    runs: int = 0
    survived: int = 0
    lost: int = 0
    doubled: int = 0

    def add(self, other: "Tally") -> None:
        """Count another tally's runs too."""
        self.runs += other.runs
        self.survived += other.survived
        self.lost += other.lost
        self.doubled += other.doubled


TALLIES: dict[str, Tally] = {}


def counted(fault: str, *, survived: bool = True, lost: int = 0, doubled: int = 0) -> None:
    """Count one run of a fault."""
    TALLIES.setdefault(fault, Tally()).add(Tally(1, int(survived), lost, doubled))


def table(tallies: Mapping[str, Tally]) -> str:
    """Return the tallies as lines of a table."""
    width = max(len("fault"), *(len(fault) for fault in tallies))
    lines = [f"{'fault':<{width}}  {'runs':>5}  {'survived':>8}  {'lost':>4}  {'doubled':>7}"]
    lines += [
        f"{fault:<{width}}  {one.runs:>5}  {one.survived:>8}  {one.lost:>4}  {one.doubled:>7}"
        for fault, one in sorted(tallies.items())
    ]
    return "\n".join(lines) + "\n"


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--hard", action="store_true", help="break everything in every way, not a sample")


@pytest.fixture(scope="session")
def hard(request: pytest.FixtureRequest) -> bool:
    """Whether everything is to be tried, and not only a sample."""
    return bool(request.config.getoption("--hard"))


@pytest.hookimpl
def pytest_sessionfinish(session: pytest.Session) -> None:
    if hasattr(session.config, "workeroutput"):
        session.config.workeroutput["damage"] = {fault: astuple(one) for fault, one in TALLIES.items()}


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    for fault, figures in getattr(node, "workeroutput", {}).get("damage", {}).items():
        TALLIES.setdefault(fault, Tally()).add(Tally(*figures))


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    if TALLIES:
        terminalreporter.section("what was broken")
        terminalreporter.write(table(TALLIES))
