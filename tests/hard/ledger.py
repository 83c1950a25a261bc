"""What was broken how often, and what it cost: lines of a file that the long run prints as a table."""

import json
import os
from pathlib import Path

# Read at once: fixtures clear the environment of what is ours.
TABLE = os.environ.get("MOWALERT_HARD_TABLE", "")


def note(fault: str, runs: int, survived: int, lost: int, doubled: int) -> None:
    """Write down the runs of one fault, where a table is kept.

    Parameters
    ----------
    fault : str
        What was broken.
    runs : int
        How often.
    survived : int
        In how many of them everything was as it must be in the end.
    lost : int
        Reports and messages that were lost.
    doubled : int
        Messages that went twice.
    """
    if TABLE:
        line = {"fault": fault, "runs": runs, "survived": survived, "lost": lost, "doubled": doubled}
        with Path(TABLE).open("a", encoding="utf-8") as file:
            file.write(f"{json.dumps(line)}\n")
