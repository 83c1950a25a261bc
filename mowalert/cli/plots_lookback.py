"""The plot of a look back: what share of the cuts was on time, readable without colour."""

from pathlib import Path

import matplotlib as mpl
from matplotlib import pyplot as plt
from matplotlib.axes import Axes

from mowalert.cli.lookback import row_name
from mowalert.cli.plots import save
from mowalert.domain.lookback import Figures
from mowalert.service.region.lookback import LookBack

INK, PAPER = "#2f2f2f", "white"
BANDS = (
    ("on_time", "on time", ""),
    ("near_miss", "near miss", ".."),
    ("too_much", "too much", "//"),
    ("severe", "severe", "xxxx"),
)
"""Field, words and hatch of each band, from good to bad: the denser, the worse."""
MOST_ROWS = 70
"""Rows drawn: all a region has, and of a keeper's lawns as many as one picture holds."""
NAMED_FROM, COUNTED_FROM = 0.1, 0.04
"""Share of a bar from which its part has room for its name, and for its number."""
LONGEST_NAME = 40


def draw_look_back(back: LookBack, path: Path) -> None:
    """Draw the bands of the reported cuts, a bar for each row; InputError if the file cannot be written."""
    rows = _rows(back)
    figure, axes = plt.subplots(figsize=(11, 1.8 + 0.42 * len(rows)), layout="constrained")
    for place, (_, figures) in enumerate(rows):
        _bar(axes, place, figures)
    axes.set_yticks(range(len(rows)), [name for name, _ in rows])
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0, 1)
    axes.set_xticks([0, 0.25, 0.5, 0.75, 1], ["0 %", "25 %", "50 %", "75 %", "100 %"])
    axes.set_xlabel("reported cuts of which the height before is known")
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.tick_params(left=False)
    axes.set_title(f"{_short(back.of)}, {back.first_on} to {back.last_on}{_left_out(back)}", loc="left")
    bars = [
        mpl.patches.Patch(facecolor=PAPER, edgecolor=INK, hatch=hatch, label=words)
        for _, words, hatch in BANDS
    ]
    figure.legend(handles=bars, loc="outside lower left", ncols=len(BANDS), frameon=False, fontsize=8)
    save(figure, path)


def _rows(back: LookBack) -> list[tuple[str, Figures]]:
    """Every row and the total; of many lawns those of which most cuts took too much."""
    rows = [(_short(row_name(row, group.by)), row.figures) for group in back.groups for row in group.rows]
    if len(rows) > MOST_ROWS:
        rows = sorted(rows, key=lambda row: -(row[1].too_much + row[1].severe))[:MOST_ROWS]
    if back.total is not None:
        rows.append(("all" if back.groups else _short(back.of), back.total))
    return rows


def _left_out(back: LookBack) -> str:
    lawns = sum(len(group.rows) for group in back.groups)
    return f" ({MOST_ROWS} of {lawns}, most cuts too short first)" if lawns > MOST_ROWS else ""


def _short(name: str) -> str:
    short = name if len(name) <= LONGEST_NAME else f"{name[: LONGEST_NAME - 1]}…"
    # A dollar sign would begin a formula.
    return short.replace("$", r"\$")


def _bar(axes: Axes, place: int, figures: Figures) -> None:
    known = figures.cuts - figures.share_unknown
    left = 0.0
    for field, words, hatch in BANDS:
        count = int(getattr(figures, field))
        if not count:
            continue
        width = count / known
        axes.barh(place, width, left=left, height=0.7, facecolor=PAPER, edgecolor=INK, hatch=hatch)
        label = f"{count} {words}" if width >= NAMED_FROM else f"{count}" if width >= COUNTED_FROM else ""
        box = {"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}
        axes.text(
            left + width / 2, place, label, ha="center", va="center", fontsize=8, bbox=box if label else None
        )
        left += width
    if not known:
        axes.text(0.01, place, "no cut of which the share is known", va="center", fontsize=8)
