"""What a contact of an organisation may see and say: their link opens their role's part, and no other."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from mowalert.domain.day_sheet import DaySheet
from mowalert.links import WORK, Links
from mowalert.service.crew_records import ContactRecord, Role, VisitRecord
from mowalert.service.crews.day_plans import newest_sheets, with_visits
from mowalert.service.ports import Store
from mowalert.service.records import KeeperRecord

SHOWN_BACK, SHOWN_AHEAD = timedelta(days=14), timedelta(days=3)


@dataclass(frozen=True, slots=True)
class OwnWork:
    """A contact, whom they work for, and the days they may see, each in its newest version."""

    contact: ContactRecord
    keeper: KeeperRecord
    today: date
    sheets: Sequence[DaySheet]
    visits: Sequence[VisitRecord]

    @property
    def sees_all(self) -> bool:
        """Whether they see every crew's part."""
        return self.contact.role is not Role.CREW_LEAD

    def sheet(self, on: date) -> DaySheet | None:
        """Return a day's plan."""
        return next((sheet for sheet in self.sheets if sheet.on == on), None)

    def may_see(self, crew_id: int) -> bool:
        """Whether a crew's part is theirs to see: one of their days', or for a lead their own."""
        if not self.sees_all:
            return self.contact.crew_id == crew_id
        return any(sheet.crew(crew_id) is not None for sheet in self.sheets)

    def may_report(self, lawn_id: int, on: date) -> bool:
        """Whether a lawn is theirs to report of: any, or for a lead one of their crew's that day."""
        if self.sees_all:
            return True
        sheet = self.sheet(on)
        crew = sheet.crew(self.contact.crew_id) if sheet and self.contact.crew_id is not None else None
        return crew is not None and any(stop.lawn.lawn_id == lawn_id for stop in crew.listed)


def own_work(store: Store, links: Links, token: str, *, now: datetime) -> OwnWork | None:
    """Return what a contact's link opens; none where it was altered, has ended or was made void.

    Parameters
    ----------
    store : Store
        Where everything is kept.
    links : Links
        Reads links.
    token : str
        From the link.
    now : datetime
        The moment, aware.

    Returns
    -------
    OwnWork | None
        The contact and their days.
    """
    facts = links.facts(WORK, token, now=now)
    if facts is None or len(facts) != 2:
        return None
    with store.begin() as work:
        contact = work.crews.contact(int(facts[0]))
        if contact is None or contact.link_version != facts[1]:
            return None
        keeper = work.keepers.get([contact.keeper_id])[contact.keeper_id]
        today = keeper.today(now)
        first, last = today - SHOWN_BACK, today + SHOWN_AHEAD
        sheets = newest_sheets(work, keeper.keeper_id, first=first, last=last)
        visits = work.crews.visits(keeper.keeper_id, first=first, last=today)
    return OwnWork(contact, keeper, today, [with_visits(one, visits) for one in sheets], visits)
