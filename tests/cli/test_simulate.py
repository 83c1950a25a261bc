"""Playing seasons from a table: what comes out, and what is said of a bad table."""

import csv
import json
import re
from datetime import date, timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from program import Program
from vega_datasets import data

SEATTLE = ("--latitude", 47.45, "--elevation", 110, "--grass", "perennial ryegrass", "--height-mm", 51)
DAY_KEYS = [
    "date", "gdd_c", "growth_mm", "height_mm", "et0_mm", "depletion_mm", "water_stress", "hold"
]  # fmt: skip
HEADER = "date,t_min_c,t_max_c,rain_mm"


@pytest.fixture(scope="module")
def seattle(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Seattle 2012 and 2013, from the table that a package carries."""
    path = tmp_path_factory.mktemp("weather") / "seattle.csv"
    rows = (row for row in data.seattle_weather().itertuples() if row.date.year < 2014)
    lines = [f"{row.date:%Y-%m-%d},{row.temp_min},{row.temp_max},{row.precipitation}" for row in rows]
    path.write_text("\n".join((HEADER, *lines)))
    return path


def days(count: int, first: date = date(2026, 4, 1), *, rain_mm: float = 3.0) -> list[str]:
    return [f"{first + timedelta(days=day)},8,18,{rain_mm}" for day in range(count)]


def weather(program: Program, *lines: str, header: str = HEADER) -> Path:
    return program.table("\n".join((header, *lines)) + "\n", "weather.csv")


def refused(program: Program, *lines: str, header: str = HEADER) -> str:
    path = weather(program, *lines, header=header)
    return program.refused("simulate", "--weather", path, *SEATTLE).removeprefix(f"{path}: ")


def test_the_json_has_just_what_is_promised(folder: Program, seattle: Path) -> None:
    season = folder.json("simulate", "--weather", seattle, *SEATTLE)
    assert list(season) == ["days", "mowings", "holds", "summary"]
    assert {tuple(day) for day in season["days"]} == {tuple(DAY_KEYS)}
    assert {tuple(cut) for cut in season["mowings"]} == {
        ("date", "height_before_mm", "height_after_mm", "removed_fraction")
    }
    assert {tuple(hold) for hold in season["holds"]} == {("start", "end", "reason")}
    assert list(season["summary"]) == [
        "mowings",
        "median_interval_days",
        "max_removed_fraction",
        "grown_mm",
        "clippings_n_kg_ha",
    ]
    assert [day["date"] for day in season["days"]][:: len(season["days"]) - 1] == ["2012-01-01", "2013-12-31"]


def test_the_json_agrees_with_itself(folder: Program, seattle: Path) -> None:
    season = folder.json("simulate", "--weather", seattle, *SEATTLE)
    by_date = {day["date"]: day for day in season["days"]}
    cuts = season["mowings"]
    summary = season["summary"]
    assert summary["mowings"] == len(cuts) > 20
    assert summary["max_removed_fraction"] == max(cut["removed_fraction"] for cut in cuts) <= 1 / 3 + 1e-9
    assert summary["grown_mm"] == pytest.approx(sum(day["growth_mm"] for day in season["days"]))
    for cut in cuts:
        assert by_date[cut["date"]]["height_mm"] == cut["height_before_mm"]
        assert by_date[cut["date"]]["hold"] is None
        left = cut["height_after_mm"] / cut["height_before_mm"]
        assert cut["removed_fraction"] == pytest.approx(1 - left)
    for hold in season["holds"]:
        assert by_date[hold["start"]]["hold"] is not None
        assert by_date[hold["end"]]["hold"] is not None
    assert {hold["reason"] for hold in season["holds"]} >= {"drought", "cold"}


def test_a_season_comes_out_the_same_to_the_last_digit(folder: Program, seattle: Path) -> None:
    once = folder("simulate", "--weather", seattle, *SEATTLE, "--json").out
    assert folder("simulate", "--weather", seattle, *SEATTLE, "--json").out == once
    assert not (folder.folder / "var").exists(), "playing a season needs no store"


def test_cutting_at_the_window_cuts_oftener_and_takes_a_quarter(folder: Program, seattle: Path) -> None:
    limit = folder.json("simulate", "--weather", seattle, *SEATTLE)["summary"]
    window = folder.json("simulate", "--weather", seattle, *SEATTLE, "--cut-at", "window")
    assert window["summary"]["mowings"] > 1.1 * limit["mowings"]
    usual = sorted(cut["removed_fraction"] for cut in window["mowings"])
    assert usual[len(usual) // 2] == pytest.approx(0.25, abs=0.03)


def test_the_days_are_written_as_csv(folder: Program, seattle: Path) -> None:
    told = folder("simulate", "--weather", seattle, *SEATTLE, "--csv", "days.csv")
    assert "cuts, median interval" in told.out
    rows = list(csv.DictReader(StringIO((folder.folder / "days.csv").read_text())))
    season = folder.json("simulate", "--weather", seattle, *SEATTLE)
    assert list(rows[0]) == DAY_KEYS
    assert [float(row["height_mm"]) for row in rows] == [day["height_mm"] for day in season["days"]]
    assert {row["hold"] for row in rows} == {day["hold"] or "" for day in season["days"]}


def test_json_and_csv_may_be_asked_for_together(folder: Program, seattle: Path) -> None:
    told = folder("simulate", "--weather", seattle, *SEATTLE, "--csv", "days.csv", "--json")
    assert json.loads(told.out)["days"]
    assert (folder.folder / "days.csv").exists()


def test_a_plot_is_drawn(folder: Program) -> None:
    path = weather(folder, *days(90))
    folder("simulate", "--weather", path, *SEATTLE, "--plot", "season.png")
    assert (folder.folder / "season.png").read_bytes().startswith(b"\x89PNG")
    told = folder.refused("simulate", "--weather", path, *SEATTLE, "--plot", "season.nonsense")
    assert "season.nonsense: cannot be written" in told


def test_a_season_is_told_day_by_day(folder: Program) -> None:
    told = folder("simulate", "--weather", weather(folder, *days(90)), *SEATTLE).out.splitlines()
    assert re.fullmatch(r"2026-04-\d\d  cut 7\d\.\d mm to 51\.0 mm, 3[23]% of the blade", told[0])
    assert [line[:10] for line in told[:-1]] == sorted(line[:10] for line in told[:-1])
    assert "largest share 3" in told[-1]


def test_watering_feeding_and_shade_do_what_they_should(folder: Program, seattle: Path) -> None:
    def grown(*words: object) -> float:
        season = folder.json("simulate", "--weather", seattle, *SEATTLE, *words)
        return float(season["summary"]["grown_mm"])

    dry = grown()
    assert grown("--watering", "regular") > 1.2 * dry
    assert grown("--sun", "shade") < dry
    assert grown("--soil", "sand") < dry

    def cuts(*words: object) -> int:
        return int(folder.json("simulate", "--weather", seattle, *SEATTLE, *words)["summary"]["mowings"])

    assert cuts("--nitrogen", 0.5) < cuts("--nitrogen", 4)


def test_a_short_table_is_enough(folder: Program) -> None:
    season = folder.json("simulate", "--weather", weather(folder, *days(1)), *SEATTLE)
    assert len(season["days"]) == 1
    assert season["summary"]["mowings"] == 0
    assert season["summary"]["median_interval_days"] is None


@pytest.mark.parametrize("ending", ["\n\n\n", "\r\n", ""])
def test_blank_lines_and_line_ends_are_harmless(folder: Program, ending: str) -> None:
    text = "\ufeff" + "\r\n".join((HEADER, *days(20))) + ending
    path = folder.table(text, "weather.csv")
    assert len(folder.json("simulate", "--weather", path, *SEATTLE)["days"]) == 20


def test_short_gaps_are_bridged_and_said(folder: Program) -> None:
    rows = days(30)
    rows[10] = rows[10].rpartition(",")[0].rpartition(",")[0] + ",,"
    del rows[20:22]
    told = folder("simulate", "--weather", weather(folder, *rows), *SEATTLE, "--json")
    assert len(json.loads(told.out)["days"]) == 30
    assert told.err == "3 days bridged: something was missing\n"


ROWS = days(5)
BAD_TABLES: dict[str, tuple[list[str], str, str]] = {
    "no header": ([], "", "the weather is empty; its first line must name the columns date, t_min_c"),
    "no days": ([], HEADER, "the weather has no days"),
    "no rain": (ROWS, "date,t_min_c,t_max_c,snow", "the weather lacks the column rain_mm"),
    "two columns": (ROWS, "day,low,high,rain", "lacks the column date, t_min_c, t_max_c, rain_mm"),
    "upside down": (["2026-04-01,18,8,0"], HEADER, "line 2: t_min_c 18 exceeds t_max_c 8"),
    "unsorted": ([*ROWS[3:], *ROWS[:3]], HEADER, "line 4: 2026-04-01 after 2026-04-05; the dates must rise"),
    "twice": ([*ROWS, ROWS[-1]], HEADER, "line 7: 2026-04-05 after 2026-04-05; the dates must rise, each"),
    "NaN": (["2026-04-01,NaN,8,0"], HEADER, "line 2: t_min_c 'NaN' is not a number from -70 to 45"),
    "infinite": (["2026-04-01,1,8,inf"], HEADER, "line 2: rain_mm 'inf' is not a number from 0 to 900"),
    "words": (["2026-04-01,1,warm,0"], HEADER, "line 2: t_max_c 'warm' is not a number from -65 to 57"),
    "Fahrenheit": (["2026-04-01,55,90,0"], HEADER, "line 2: t_min_c '55' is not a number from -70 to 45"),
    "dry rain": (["2026-04-01,1,8,-3"], HEADER, "line 2: rain_mm '-3' is not a number"),
    "no date": (["April,1,8,0"], HEADER, "line 2: 'April' is no date such as 2026-05-09"),
    "no such day": (["2026-02-30,1,8,0"], HEADER, "line 2: '2026-02-30' is no date"),
    "a long gap": ([*ROWS, "2026-06-01,8,18,0"], HEADER, "line 7: no days between 2026-04-05 and 2026-06-01"),
    "blank days": (
        [*ROWS, *(f"2026-04-0{day},,,0" for day in (6, 7, 8)), "2026-04-09,8,18,0"],
        HEADER,
        "no temperatures for more than 2 days up to 2026-04-08",
    ),
    "nothing known": (["2026-04-01,,,0"], HEADER, "the weather has no t_min_c"),
    "an open quote": (['"2026-04-01,1,8,0'], HEADER, "line 2: a quote is not closed"),
}


@pytest.mark.parametrize("case", BAD_TABLES)
def test_a_bad_table_is_refused_in_one_sentence(folder: Program, case: str) -> None:
    rows, header, why = BAD_TABLES[case]
    assert why in refused(folder, *rows, header=header)


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("--grass", "perenial rye"), "did you mean perennial_ryegrass"),
        (("--height-mm", 500), "perennial ryegrass is kept at 13 to"),
        (("--height-mm", "nan"), "perennial ryegrass is kept at 13 to"),
        (("--soil", "cheese"), "known are sand"),
    ],
)
def test_a_lawn_that_cannot_be_is_refused(folder: Program, words: tuple[Any, ...], why: str) -> None:
    path = weather(folder, *days(5))
    assert why in folder.refused("simulate", "--weather", path, *SEATTLE, *words)


def test_wrong_usage_ends_with_two(folder: Program) -> None:
    path = weather(folder, *days(5))
    for words in (
        ("--latitude", 99),
        ("--latitude", "nan"),
        ("--elevation", "inf"),
        ("--sun", "dark"),
        ("--cut-at", "noon"),
        ("--nitrogen", -1),
    ):
        folder("simulate", "--weather", path, *SEATTLE, *words, expect=2)
    folder("simulate", "--weather", path, expect=2)
    assert folder.refused("simulate", "--weather", "none.csv", *SEATTLE) == (
        "none.csv: No such file or directory"
    )


@pytest.mark.parametrize(
    ("file", "latitude", "grass", "height_mm", "watering", "resting"),
    [
        ("debilt_knmi/daily.csv", 52.1, "kentucky_bluegrass", 60, "none", "12 01 02"),
        ("ghcn_daily/milwaukee_wi.csv", 42.955, "fine_fescue", 75, "none", "12 01 02 03"),
        ("ghcn_daily/merced_ca.csv", 37.285, "buffalograss", 60, "regular", "12 01"),
        ("arizona_maricopa/daily.csv", 33.069, "zoysiagrass", 35, "regular", "12 01"),
        ("ghcn_daily/lexington_ky.csv", 38.041, "bermudagrass", 30, "none", "11 12 01 02 03"),
    ],
)
def test_real_seasons_are_mown_while_grass_grows(
    folder: Program,
    fields: Path,
    file: str,
    latitude: float,
    grass: str,
    height_mm: float,
    watering: str,
    resting: str,
) -> None:
    season = folder.json(
        *("simulate", "--weather", fields / file, "--latitude", latitude, "--grass", grass),
        *("--height-mm", height_mm, "--watering", watering),
    )
    cuts = season["mowings"]
    assert len(cuts) > 10
    assert max(cut["removed_fraction"] for cut in cuts) <= 1 / 3 + 1e-9
    off_season = [cut["date"] for cut in cuts if cut["date"][5:7] in resting.split()]
    assert len(off_season) <= 0.04 * len(cuts), off_season
    held = [hold for hold in season["holds"] if hold["reason"] != "waterlogged"]
    for cut in cuts:
        assert not any(hold["start"] <= cut["date"] <= hold["end"] for hold in held)
        # A cut that leaves the lawn taller than chosen is a stage after a hold.
        if cut["height_after_mm"] > height_mm + 1e-6:
            before = [hold["end"] for hold in season["holds"] if hold["start"] <= cut["date"]]
            assert before
            assert (date.fromisoformat(cut["date"]) - date.fromisoformat(max(before))).days <= 30
