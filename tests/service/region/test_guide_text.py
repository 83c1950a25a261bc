"""A guide is read whole or refused whole, with everything that is wrong with it."""

from pathlib import Path

import pytest
from builders import TURF
from hypothesis import given
from hypothesis import strategies as st

from mowalert.errors import ConfigError
from mowalert.service.region.guide_text import read_guide
from mowalert.settings import config_file

GOOD = """
guide = "hill"
version = 1
title = "Hill country"
region = "hills"
adviser = "an adviser"
[[heights]]
grass = "tall fescue"
season = ["03-01", "06-14"]
mm = [70, 95]
usual_mm = 80
"""
EXAMPLES = sorted(config_file("guides").glob("*.toml"))


def problems(text: str) -> list[str]:
    with pytest.raises(ConfigError) as caught:
        read_guide(text, TURF, name="hill.toml")
    return str(caught.value).splitlines()


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_examples_are_good_and_complete(path: Path) -> None:
    guide = read_guide(path.read_text(encoding="utf-8"), TURF)
    assert guide.guide_id == path.stem
    assert "invented" in guide.adviser
    assert len({row.grass_id for row in guide.heights}) >= 6
    assert guide.habits
    assert guide.hours
    assert guide.treatments
    assert guide.dates
    assert all(set(lines) == {"en", "es"} for lines in (guide.says or {}).values())


def test_there_are_two_examples() -> None:
    assert len(EXAMPLES) == 2


def test_a_grass_may_be_named_as_people_do() -> None:
    assert read_guide(GOOD, TURF).heights[0].grass_id == "tall_fescue"


def test_every_mistake_is_named_at_once() -> None:
    text = (
        GOOD.replace("version = 1", "version = 0\ncolour = 'green'")
        + """
[[heights]]
grass = "tall fescoo"
season = ["03-01", "06-14"]
mm = [70, 95]
usual_mm = 80
[[heights]]
grass = "tall fescue"
season = ["06-01", "09-31"]
mm = [70, 95]
usual_mm = 80
[[heights]]
grass = "zoysiagrass"
season = ["06-01", "09-30"]
mm = [20, 900]
usual_mm = 10
[[heights]]
grass = "tall fescue"
season = ["06-10", "09-30"]
mm = [95, 70]
usual_mm = 80
"""
    )
    found = "\n".join(problems(text))
    for said in (
        "hill.toml: version: found '0'",
        "colour: unknown key",
        "heights[2].grass: 'tall fescoo' is no grass known here; did you mean",
        "heights[3].season[2]: found '09-31'; allowed is: a month and a day such as 04-15",
        "heights[4]: mm: found 20 to 900; zoysiagrass is kept at 10 to 76.5 mm",
        "heights[4]: usual_mm: found 10",
        "heights[5]: mm: found 95 to 70",
        "heights[5].season: overlaps heights[1] for tall_fescue, lawn",
    ):
        assert said in found


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("[rules]\none_third = 0.6", "rules.one_third"),
        ('[[rules.hours]]\ndays = ["sun"]\nfrom = 18\nto = 9', "from 18 is not before to 9"),
        ('[[rules.hours]]\ndays = ["sunday"]\nfrom = 9\nto = 18', "rules.hours[1].days[1]"),
        ("[rules.height_cap_mm]\nlawn = -1", "rules.height_cap_mm.lawn"),
        ("[rules.treatments.weed_control]\nafter_days = 900", "rules.treatments.weed_control.after_days"),
        ('[says.snow]\nen = "Brr."', "says.snow: unknown"),
        ('[says.mow]\nfr = "Tondez."', "says.mow.fr"),
        ('[says.mow]\nen = "two\\nlines"', "says.mow.en"),
        (f'[says.mow]\nen = "{"x" * 300}"', "says.mow.en"),
        (
            '[[rules.dates]]\nreason = "heat"\nseason = ["04-01", "05-01"]\nnote = "x"',
            "rules.dates[1].reason",
        ),
    ],
)
def test_rules_out_of_range_are_refused(more: str, said: str) -> None:
    assert any(said in line for line in problems(GOOD + more))


def test_what_is_no_toml_is_refused() -> None:
    assert "is no TOML" in problems("guide = = 1")[0]
    assert "longer than" in problems("#" * 300_000)[0]
    assert problems("a = " + "[" * 5000 + "]" * 5000)


@given(st.text(max_size=300))
def test_no_text_makes_it_fall_over(text: str) -> None:
    with pytest.raises(ConfigError):
        read_guide(text, TURF)
