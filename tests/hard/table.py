"""Print what a long run has written down: `python tests/hard/table.py FILE`."""

import json
import sys
from collections.abc import Iterable
from pathlib import Path

FIGURES = ("runs", "survived", "lost", "doubled")


def table(lines: Iterable[str]) -> str:
    """Return written lines as a table, those of one fault added up."""
    sums: dict[str, list[int]] = {}
    for line in lines:
        told = json.loads(line)
        known = sums.setdefault(told["fault"], [0] * len(FIGURES))
        sums[told["fault"]] = [old + int(told[name]) for old, name in zip(known, FIGURES, strict=True)]
    width = max(map(len, ("fault", *sums)))
    shown = [f"{'fault':<{width}}" + "".join(f"  {name:>8}" for name in FIGURES)]
    shown += [
        f"{fault:<{width}}" + "".join(f"  {figure:>8}" for figure in figures)
        for fault, figures in sorted(sums.items())
    ]
    return "\n".join(shown)


if __name__ == "__main__":
    sys.stdout.write(f"{table(Path(sys.argv[1]).read_text(encoding='utf-8').splitlines())}\n")
