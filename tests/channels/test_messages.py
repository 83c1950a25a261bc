"""What is said: the same facts in text, HTML and one short message, for every kind of digest."""

import re
from dataclasses import replace
from datetime import date

import pytest
from builders import NOW, THURSDAY, a_digest, a_notice
from digests import DIGESTS, HOLDS, MOW, MUST, OVERGROWN, SAID, Words, a_hold
from hypothesis import given
from hypothesis import strategies as st

from mowalert.channels.gsm import sms_size
from mowalert.channels.messages import render_email, render_sms
from mowalert.channels.wording import wording_in
from mowalert.domain.notices import CrewHeat, DayReason, HoldFacts, WeatherStamp
from mowalert.domain.words import DigestKind, HoldReason, KeeperKind, NoticeKind, Units


def numbers_in(text: str) -> set[str]:
    return set(re.findall(r"\d+(?:[.:]\d+)?", text))


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", DIGESTS)
def test_text_and_html_carry_the_same_facts(name: str, units: Units) -> None:
    digest = DIGESTS[name]
    mail = render_email(replace(digest, to=replace(digest.to, units=units)), service_name="Turf Line")
    html = str(Words(mail.html))
    for notice in digest.notices:
        assert notice.site_name in mail.text
        assert notice.site_name in html
    # The HTML's bar of height names the limit as well.
    assert numbers_in(mail.text) - numbers_in(html) == set()
    assert 0 < len(mail.subject) <= 60
    assert not re.search(r"None|nan|\{\{|\}\}|\{%|Undefined", mail.text + mail.html)
    assert "look at the grass" in mail.text.casefold()
    assert "NOAA" in mail.text


@pytest.mark.parametrize("units", list(Units))
@pytest.mark.parametrize("name", DIGESTS)
def test_a_short_message_is_one_part(name: str, units: Units) -> None:
    digest = DIGESTS[name]
    for first in (False, True):
        digest = replace(digest, to=replace(digest.to, units=units), first_message=first)
        text = render_sms(digest, service_name="Turf Line")
        assert (sms_size(text).parts, sms_size(text).encoding) == (1, "GSM-7")
        assert text.startswith("Turf Line: ")
        assert ("STOP" in text) is first


def test_a_weekend_notice_gives_day_height_share_wait_and_clippings() -> None:
    text = render_email(a_digest(MOW), service_name="Turf Line").text
    assert "Saturday, May 9" in text
    assert "at 3 in" in text
    assert "takes 26 %" in text
    assert "until Saturday, May 16, a cut would take 38 %" in text
    assert "Leave the clippings" in text


def test_a_number_and_its_unit_stay_on_one_line() -> None:
    mail = render_email(a_digest(MOW), service_name="Turf Line")
    assert re.search(r"\d\u00a0%", mail.html)
    assert not re.search(r"[\d¼½¾] (?:%|in\b)", mail.html)
    assert "\u00a0" not in mail.text


def test_names_with_commas_are_told_apart() -> None:
    say = wording_in("en")
    assert say.names(["Weir Fields, bank", "Ring Road, verge", "Green"]) == (
        "Weir Fields, bank; Ring Road, verge and Green"
    )
    assert say.names(["Oval", "Hill", "Green"]) == "Oval, Hill and Green"


def test_metric_keepers_read_millimetres() -> None:
    text = render_email(a_digest(MOW, units=Units.METRIC), service_name="Turf Line").text
    assert "at 77 mm" in text
    assert "Saturday 9 May" in text
    assert " in." not in text


def test_a_plan_gives_every_cut_its_day() -> None:
    text = render_email(a_digest(OVERGROWN), service_name="Turf Line").text
    assert "at most a third" in text
    assert "Tuesday, May 12" in text


@pytest.mark.parametrize("hold", HOLDS, ids=lambda hold: hold.reason.value)
@pytest.mark.parametrize("units", list(Units))
def test_every_hold_says_why_and_what_to_do_instead(hold: HoldFacts, units: Units) -> None:
    mail = render_email(a_digest(a_hold(hold), units=units), service_name="Turf Line")
    assert mail.subject.startswith("Leave the lawn: ")
    first, second = mail.text.split("hold.\n", 1)[1].strip().splitlines()[:2]
    assert len(first) > 20
    assert len(second) > 20
    assert str(Words(mail.html)).count("hold") >= 1


def test_a_hold_names_a_legal_height_cap_and_overrides_it_never() -> None:
    mail = render_email(a_digest(a_hold(height_cap_mm=203.2)), service_name="Turf Line")
    for words in (mail.text, str(Words(mail.html))):
        assert "maximum height of 8 in: it applies as well" in words


def test_parks_read_each_hold_under_its_own_reason() -> None:
    text = render_email(DIGESTS["parks holds"], service_name="Turf Line").text
    drought, heat = text.index("drought hold (1)"), text.index("heat hold (1)")
    assert drought < text.index("River Oval") < heat < text.index("Hill Green")
    assert "Ring Road" in text[text.index("HOLD ENDS") :]


def test_the_list_puts_first_what_must_be_cut_today() -> None:
    text = render_email(DIGESTS["morning list"], service_name="Turf Line").text
    assert text.index("MUST BE CUT TODAY (1)") < text.index("3 Elm Yard")
    assert text.index("3 Elm Yard") < text.index("MAY BE CUT (1)") < text.index("4 Elm Yard")


def test_crews_read_the_heat_and_whose_plan_comes_first() -> None:
    heat = CrewHeat(THURSDAY, 96.0, 15, True, 6, 10)
    mail = render_email(replace(DIGESTS["morning list"], crew_heat=heat), service_name="Turf Line")
    for words in (mail.text, str(Words(mail.html))):
        assert "96 °F" in words
        assert "employer's heat plan and the law come first" in words


def test_cautions_stand_where_someone_is_told_to_mow_and_nowhere_else() -> None:
    assert "eye and ear protection" in render_email(a_digest(MOW), service_name="T").text
    assert "eye and ear protection" not in render_email(a_digest(a_hold()), service_name="T").text


def test_doubt_is_said_when_it_matters() -> None:
    unsure = replace(MOW, could_be_from=date(2026, 5, 8))
    mail = render_email(a_digest(unsure), service_name="T")
    assert "could be due from Friday" in mail.text
    assert "could be due from Friday" in mail.html
    assert "could be due" not in render_email(a_digest(MOW), service_name="T").text


def test_an_assumed_cut_is_named_as_one() -> None:
    assumed = replace(MOW, last_cut_assumed=True)
    assert "We take it you last cut on" in render_email(a_digest(assumed), service_name="T").text


def test_the_weather_is_named_with_its_age() -> None:
    stamp = WeatherStamp(("open_meteo", "met_norway"), NOW, True)
    text = render_email(replace(a_digest(MOW), weather=stamp), service_name="T").text
    assert "Open-Meteo" in text
    assert "MET Norway" in text
    assert "2026-05-07 22:05 UTC" in text


def test_the_first_message_says_who_writes_and_how_to_stop() -> None:
    digest = replace(a_digest(MOW), first_message=True)
    assert (
        "write to help@example.org"
        in render_email(digest, service_name="Turf Line", contact="help@example.org").text
    )
    assert "first message from Turf Line" in render_email(digest, service_name="Turf Line").html


def test_markup_in_names_is_text() -> None:
    evil = '<script>alert("x")</script> & Sons'
    named = replace(MOW, site_name=evil, lawn_name=evil, address=evil)
    for digest in (
        a_digest(named),
        a_digest(replace(MUST, site_name=evil, address=evil), kind=DigestKind.MORNING_LIST),
        a_digest(a_hold(site_name=evil), kind=DigestKind.PARKS_HOLDS),
    ):
        mail = render_email(digest, service_name=evil)
        assert "<script" not in mail.html
        assert "&lt;script&gt;" in mail.html
        assert evil in mail.text


def test_a_template_mark_in_a_name_stays_a_name() -> None:
    mail = render_email(a_digest(replace(MOW, site_name="{{ 7 * 7 }}")), service_name="T")
    assert "{{ 7 * 7 }}" in mail.text
    assert "49" not in mail.text


@given(
    st.text(max_size=300),
    st.text(min_size=1, max_size=60),
    st.sampled_from([*NoticeKind]),
    st.sampled_from([*DigestKind]),
    st.sampled_from([*KeeperKind]),
    st.sampled_from([*Units]),
    st.integers(1, 9),
    st.booleans(),
)
def test_a_short_message_is_one_part_whatever_the_names(
    site: str,
    sender: str,
    kind: NoticeKind,
    digest_kind: DigestKind,
    keeper_kind: KeeperKind,
    units: Units,
    lawns: int,
    first: bool,
) -> None:
    notice = a_notice(kind, site_name=site, lawn_name=site, grass_name=site)
    digest = a_digest(*[notice] * lawns, kind=digest_kind, keeper_kind=keeper_kind, units=units)
    text = render_sms(replace(digest, first_message=first), service_name=sender)
    size = sms_size(text)
    assert (size.parts, size.encoding) == (1, "GSM-7")
    assert ("STOP" in text) is first


def test_a_short_message_promises_no_email_to_who_has_none() -> None:
    digest = DIGESTS["morning list"]
    texter = replace(digest, to=replace(digest.to, reads_email=False))
    assert "Details by e-mail." in render_sms(digest, service_name="T")
    assert "e-mail" not in render_sms(texter, service_name="T")


def test_a_parks_subject_names_as_many_holds_as_fit() -> None:
    digest = DIGESTS["parks holds"]
    assert render_email(digest, service_name="T").subject == "Drought hold starts: 1 lawn and more"
    two = replace(digest, notices=(digest.notices[0], digest.notices[2]))
    subject = render_email(two, service_name="T").subject
    assert subject == "Drought hold starts: 1 lawn; drought hold ends: 1 lawn"


def test_a_guide_is_named_with_its_version_and_its_heights_where_the_lawn_is_kept_otherwise() -> None:
    mail = render_email(a_digest(a_notice(guide=SAID), units=Units.METRIC), service_name="Turf Line")
    for body in (mail.text, mail.html):
        said = "The region guide has Kentucky bluegrass at 80 mm to 100 mm now."
        assert said in body.replace("\u00a0", " ")
        assert "Sharp!" in body
        assert "¡Afilada!" not in body
        assert "Region guide: Hill country, version 3" in body
    within = a_notice(guide=SAID, chosen_height_mm=85.0)
    mail = render_email(a_digest(within, units=Units.METRIC), service_name="Turf Line")
    assert "The region guide has" not in mail.text


def test_another_share_of_the_blade_is_said_as_what_it_is() -> None:
    notice = a_notice(third=0.25, day_reason=DayReason.LAST_SAFE)
    mail = render_email(a_digest(notice), service_name="Turf Line")
    assert "before a cut would take more than 25 %" in mail.text
    assert "a cut would take over 25 %" in render_sms(a_digest(notice), service_name="Turf Line")


def test_dates_that_were_set_are_told_with_their_end() -> None:
    days = HoldFacts(HoldReason.NESTING, THURSDAY, ended_on=date(2026, 7, 15), note="Birds nest here.")
    mail = render_email(a_digest(a_hold(days)), service_name="Turf Line")
    assert "Birds nest here. From Thursday, May 7 to Wednesday, July 15." in mail.text
