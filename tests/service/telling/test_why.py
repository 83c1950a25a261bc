"""Why a notice said what it said, computed again and held against what was said."""

from datetime import timedelta

import pytest
import sqlalchemy as sa
from builders import TURF
from keepers import POLICY, START, Keeper, evening
from telling import tell_rounds

from mowalert.channels.messages import Messages
from mowalert.domain.grasses import Turf
from mowalert.domain.words import HoldReason, NoticeKind
from mowalert.errors import InputError
from mowalert.service.telling.why import Why, notices_of, why
from mowalert.store.engine import SqlStore
from mowalert.store.tables import told


@pytest.fixture
def keeper(store: SqlStore, turf: Turf) -> Keeper:
    """A company whose lawn has had three weeks to grow, and was told of it each morning."""
    made = Keeper(store, turf)
    for _ in range(14):
        made.wait(1)
        tell(made)
    return made


def tell(keeper: Keeper) -> None:
    # The morning's list is useful until six in the evening where the keeper is.
    now = evening(keeper.today) - timedelta(hours=2)
    tell_rounds(keeper.store, TURF, Messages("T"), POLICY, now=now)


def newest(keeper: Keeper) -> int:
    return notices_of(keeper.store, 1)[0].told_id


def ask(keeper: Keeper, told_id: int | None = None) -> Why:
    return why(keeper.store, TURF, POLICY, told_id or newest(keeper))


def test_what_is_computed_again_is_what_was_said(keeper: Keeper) -> None:
    chain = ask(keeper)
    assert chain.notice.kind in (NoticeKind.MOW, NoticeKind.MAY_MOW, NoticeKind.OVERGROWN)
    assert chain.moved == ()
    assert chain.again == chain.notice


def test_the_chain_leads_from_weather_to_height(keeper: Keeper) -> None:
    chain = ask(keeper)
    assert chain.days[0].on == chain.notice.last_cut_on
    assert chain.days[-1].on == chain.notice.on
    assert {day.source for day in chain.days} == {"nws"}
    assert chain.days[-1].height_mm == pytest.approx(chain.notice.height_mm)
    assert sum(day.gdd_c for day in chain.days[1:]) == pytest.approx(chain.notice.gdd_c)
    grown = sum(day.stand_growth_mm for day in chain.days[1:]) * chain.pace
    # The ceiling takes a little: at this height less than a tenth.
    assert 0.9 * grown < chain.notice.grown_mm < grown
    assert (chain.limit_height_mm, chain.window_height_mm) == pytest.approx((105.0, 93.33), abs=0.01)


def test_every_hold_is_shown_with_its_numbers_and_every_rule_with_its_word(keeper: Keeper) -> None:
    chain = ask(keeper)
    assert {hold.reason for hold in chain.holds} >= {HoldReason.HEAT, HoldReason.DROUGHT, HoldReason.COLD}
    assert all(hold.facts for hold in chain.holds)
    assert chain.in_force == ()
    assert [done for _, done in chain.rules] == [False] * (len(chain.rules) - 1) + [True]


def test_a_notice_that_was_altered_is_found_out(keeper: Keeper) -> None:
    told_id = newest(keeper)
    engine = sa.create_engine(keeper.store.url)
    with engine.begin() as connection:
        row = connection.execute(sa.select(told.c.facts).where(told.c.told_id == told_id)).scalar_one()
        change = {**row, "height_mm": row["height_mm"] + 10}
        connection.execute(sa.update(told).where(told.c.told_id == told_id).values(facts=change))
    engine.dispose()
    assert [name for name, _, _ in ask(keeper, told_id).moved] == ["height_mm"]


def test_a_cut_reported_later_does_not_change_why(keeper: Keeper) -> None:
    told_id = newest(keeper)
    keeper.wait(1)
    keeper.mow()
    chain = ask(keeper, told_id)
    assert chain.notice.last_cut_on == chain.days[0].on
    assert [name for name, _, _ in chain.moved if name in ("height_mm", "kind", "last_cut_on")] == []


def test_an_unknown_notice_is_a_clear_error(keeper: Keeper) -> None:
    with pytest.raises(InputError, match="there is no notice 999"):
        ask(keeper, 999)


def test_a_notice_of_a_lawn_cut_long_before_is_computed_again_after_its_cut(keeper: Keeper) -> None:
    """The curve of the cut's day is no longer kept; in spring the last cut was in autumn."""
    keeper.wait(45)
    tell(keeper)
    told_id = newest(keeper)
    keeper.mow()
    chain = ask(keeper, told_id)
    assert (chain.notice.on - START).days > 50
    assert chain.notice.last_cut_on == START
    assert chain.days[-1].height_mm == pytest.approx(chain.notice.height_mm)
    assert chain.moved == ()
