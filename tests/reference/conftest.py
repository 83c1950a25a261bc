"""Outside values: rows of the check table, and the report of ours beside theirs."""

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

REPORT = Path(__file__).with_name("REPORT.md")
HEAD = """# Outside values, ours beside theirs

Written by the reference tests. A row is one value of one check; its source stands below by number.
`tolerance` is how far ours may lie away; bands and words have none.

| check | value | ours | theirs | tolerance | source |
|---|---|---|---|---|---|
"""


@dataclass
class Checks:
    """The check table and what was compared with it."""

    rows: dict[str, dict[str, Any]]
    sources: dict[str, str]
    seen: dict[str, list[tuple[str, str, str, str]]] = field(default_factory=dict)

    def __getitem__(self, check: str) -> dict[str, Any]:
        self.seen.setdefault(check, [])
        return self.rows[check]

    def close(self, check: str, name: str, ours: float, theirs: float, tolerance: float) -> None:
        """Compare a number, and remember it."""
        self._note(check, name, f"{ours:.6g}", f"{theirs:.6g}", f"{tolerance:g}")
        assert ours == pytest.approx(theirs, abs=tolerance), f"{check} {name}"

    def within(self, check: str, name: str, ours: float, low: float, high: float) -> None:
        """Hold a number against a band, and remember it."""
        self._note(check, name, f"{ours:.4g}", f"{low:g} to {high:g}", "")
        assert low <= ours <= high, f"{check} {name}: {ours} is not in {low} to {high}"

    def same(self, check: str, name: str, ours: object, theirs: object) -> None:
        """Compare what has no tolerance, and remember it."""
        self._note(check, name, str(ours)[:60], str(theirs)[:60], "exact")
        assert ours == theirs, f"{check} {name}"

    def _note(self, check: str, name: str, ours: str, theirs: str, tolerance: str) -> None:
        self.seen.setdefault(check, []).append((name, ours, theirs, tolerance))

    def report(self) -> str:
        """Return the whole report, in the order of the table."""
        used = [name for name in self.sources if any(name in self.rows[row]["source"] for row in self.seen)]
        numbers = {name: index + 1 for index, name in enumerate(used)}
        lines = []
        for check, row in self.rows.items():
            for name, ours, theirs, tolerance in sorted(self.seen.get(check, [])):
                cells = [check, name, ours, theirs, tolerance]
                cells.append(", ".join(f"[{numbers[source]}]" for source in row["source"]))
                lines.append("| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |")
        sources = [f"{numbers[name]}. {self.sources[name]}" for name in used]
        return HEAD + "\n".join(lines) + "\n\n## Sources\n\n" + "\n".join(sources) + "\n"


CHECKS: list[Checks] = []


@pytest.fixture(scope="session")
def checks(shared_dir: Path) -> Checks:
    table = json.loads((shared_dir / "reference" / "checks.json").read_text(encoding="utf-8"))
    rows = {row["id"]: row for group in table["groups"] for row in group["rows"]}
    made = Checks(rows, table["sources"])
    CHECKS.append(made)
    return made


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Run the test of completeness after all others of this folder."""
    items.sort(key=lambda item: item.name == "test_every_check_is_looked_at")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    """Write the report when everything here ran and passed."""
    if exitstatus == 0 and CHECKS and len(CHECKS[0].seen) == len(CHECKS[0].rows):
        text = CHECKS[0].report()
        if not REPORT.exists() or REPORT.read_text(encoding="utf-8") != text:
            REPORT.write_text(text, encoding="utf-8")


@pytest.fixture
def numbers() -> Callable[[dict[str, Any]], list[tuple[str, float]]]:
    """Items of a mapping that are numbers."""
    return lambda mapping: [(key, float(value)) for key, value in mapping.items() if _is_number(value)]


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
