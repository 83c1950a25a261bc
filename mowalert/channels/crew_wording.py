"""Times, ways, reasons and changes of a crew's day as people say them, in their language."""

from dataclasses import dataclass

from mowalert.channels.wording import Wording, wording_in
from mowalert.domain.crews import Change, ChangeKind, Fault, WhyLeft
from mowalert.domain.day_sheet import (
    CrewSheet,
    DaySheet,
    SheetHeld,
    SheetLawn,
    SheetLeft,
    SheetReader,
    SheetStop,
    WeekSummary,
)
from mowalert.domain.lawn import place_name
from mowalert.domain.units import MM_PER_INCH
from mowalert.domain.words import Clippings, Units
from mowalert.languages import N_, sentence, spoken

KM_A_MILE = 1.609344
NOON_MIN = 12 * 60
WHY_LEFT = {
    WhyLeft.NO_TIME: N_("no hours left"),
    WhyLeft.TOO_FAR: N_("too far for a day"),
    WhyLeft.HOURS: N_("its hours cannot be kept"),
    WhyLeft.NO_CREW: N_("its crew does not work"),
    WhyLeft.TOO_LONG: N_("longer than a day"),
}
WHY_MADE = {
    "morning": N_("This morning's plan"),
    "rain": N_("Planned again because the rain forecast changed"),
    "asked": N_("Planned again by the office"),
}
SKIPPED = {
    "rain": N_("it rained"),
    "no_time": N_("no time"),
    "locked": N_("it was locked"),
    "dog": N_("a dog was loose"),
    "too_wet": N_("the ground was too wet"),
    "held": N_("a hold was in force"),
    "client": N_("the client asked"),
    "machine": N_("a machine failed"),
    "not_needed": N_("it was not needed"),
    "other": N_("another reason"),
}
CLIPPINGS = {
    Clippings.LEAVE: N_("leave the clippings"),
    Clippings.COLLECT: N_("collect the clippings"),
    Clippings.CUT_TWICE: N_("heavy clippings: spread or collect"),
}
FAULTS = {
    "no working hours": N_("no working hours"),
    "its depot has no position": N_("its depot has no position"),
}


@dataclass(frozen=True, slots=True)
class CrewWording:
    """Says what stands on a sheet, for readers of one language and one kind of units."""

    language: str
    units: Units

    @property
    def say(self) -> Wording:
        """Numbers, heights and days."""
        return wording_in(self.language)

    def time(self, minute: int) -> str:
        """Say a time of the day by the reader's clock."""
        hour, past = divmod(minute % (24 * 60), 60)
        if self.units is Units.METRIC:
            return f"{hour}:{past:02}"
        half = "am" if minute % (24 * 60) < NOON_MIN else "pm"
        return f"{(hour - 1) % 12 + 1}:{past:02} {half}"

    def way(self, km: float) -> str:
        """Say how far something is to drive."""
        if self.units is Units.METRIC:
            return f"{self.say.number(km, digits=1)} km"
        return f"{self.say.number(km / KM_A_MILE, digits=1)} mi"

    def minutes(self, minutes: float) -> str:
        """Say how long something takes."""
        return self.say.gettext("{minutes} min").format(minutes=round(minutes))

    def hours(self, hours: float) -> str:
        """Say a number of hours."""
        return self.say.gettext("{hours} h").format(hours=self.say.number(hours, digits=1))

    def place(self, lawn: SheetLawn) -> str:
        """Say which lawn it is."""
        return place_name(lawn.site_name, lawn.lawn_name)

    def cut(self, lawn: SheetLawn) -> str:
        """Say the height to cut to; up where down would take too much."""
        removed = 1 - lawn.cut_to_mm / max(lawn.height_mm, lawn.cut_to_mm)
        return self.say.cut_height(lawn.cut_to_mm, removed, self.units)

    def grown(self, lawn: SheetLawn) -> str:
        """Say how much it has grown since its last cut."""
        if self.units is Units.METRIC:
            mm = f"{round(lawn.grown_mm)} mm"
        else:
            mm = self.say.ngettext("{inches} in", "{inches} in", 2).format(
                inches=self.say.number(lawn.grown_mm / MM_PER_INCH, digits=1)
            )
        if lawn.last_cut_on is None:
            return mm
        said = (
            self.say.gettext("{grown} since about {day}")
            if lawn.last_cut_assumed
            else self.say.gettext("{grown} since {day}")
        )
        return said.format(grown=mm, day=self.say.day(lawn.last_cut_on, self.units))

    def shares(self, lawn: SheetLawn) -> str:
        """Say the share a cut to the chosen height takes today and on the next two days."""
        today, tomorrow, after = (self.say.percent(share) for share in lawn.removed)
        said = self.say.gettext("takes {today} today, {tomorrow} tomorrow, {after} in two days")
        return said.format(today=today, tomorrow=tomorrow, after=after)

    def clippings(self, lawn: SheetLawn) -> str:
        """Say what to do with the clippings."""
        return self.say.gettext(CLIPPINGS[lawn.clippings])

    def todo(self, lawn: SheetLawn) -> str:
        """Say what to do: the height, in steps where one cut cannot bring it down, and the clippings."""
        said = self.say.gettext("Cut to {height}, {clippings}")
        cut = said.format(height=self.cut(lawn), clippings=self.clippings(lawn))
        if lawn.cut_to_mm <= lawn.chosen_mm + 0.5:
            return cut
        kept = self.say.height(lawn.chosen_mm, self.units)
        if lawn.staged_next_on is None:
            steps = self.say.gettext("in steps down to {height}").format(height=kept)
        else:
            said = self.say.gettext("in steps: {height} next, {day}")
            steps = said.format(height=kept, day=self.say.day(lawn.staged_next_on, self.units))
        return f"{cut} ({steps})"

    def share_row(self, lawn: SheetLawn) -> str:
        """Say the shares of today, tomorrow and in two days; ! marks one over the limit."""
        marked = (f"{self.say.percent(share)}{' !' if share > lawn.limit else ''}" for share in lawn.removed)
        return " · ".join(marked)

    def notes(self, lawn: SheetLawn) -> list[tuple[str, str]]:
        """Say what must be known on the spot: a word, and what stands behind it."""
        notes = (
            (self.say.gettext("Gate"), lawn.gate),
            (self.say.gettext("Dog"), lawn.dog),
            (self.say.gettext("Access"), lawn.access),
            (self.say.gettext("Hours"), self.window(lawn)),
        )
        return [(word, said) for word, said in notes if said]

    def window(self, lawn: SheetLawn) -> str:
        """Say the hours a site asks for; empty for any."""
        first, last = lawn.visit_from_min, lawn.visit_to_min
        if first is None and last is None:
            return ""
        if first is None and last is not None:
            return self.say.gettext("until {time}").format(time=self.time(last))
        if last is None and first is not None:
            return self.say.gettext("from {time}").format(time=self.time(first))
        return f"{self.time(first or 0)} – {self.time(last or 0)}"

    def warnings(self, lawn: SheetLawn) -> list[str]:
        """Say what to look out for: a treatment or an event ahead, a visit skipped before."""
        lines = []
        for hold in lawn.cautions:
            said = self.say.gettext("{hold} from {day}.")
            name = sentence(self.say.hold_name(hold.reason))
            line = said.format(hold=name, day=self.say.day(hold.started_on, self.units))
            lines.append(f"{line} {hold.note}".strip())
        return lines + self.skips(lawn)

    def skips(self, lawn: SheetLawn) -> list[str]:
        """Say why it was skipped the last time, if it was."""
        if not lawn.skipped:
            return []
        said = self.say.gettext("Skipped last time: {why}.").format(why=self.skip_reason(lawn.skipped))
        return [f"{said} {lawn.skipped_note}".strip()]

    def skip_reason(self, reason: str) -> str:
        """Say why visits were skipped."""
        return self.say.gettext(SKIPPED.get(reason, SKIPPED["other"]))

    def outcome(self, stop: SheetStop) -> str:
        """Say what became of a stop; empty before."""
        if stop.outcome == "skipped":
            return f"{self.say.gettext('Skipped')}: {self.skip_reason(stop.reason or 'other')}"
        return self.say.gettext("Done") if stop.outcome else ""

    def why_left(self, why: WhyLeft) -> str:
        """Say why a lawn is on no crew's list."""
        return self.say.gettext(WHY_LEFT[why])

    def left(self, left: SheetLeft) -> list[str]:
        """Say what else to know of a lawn that does not fit: why, if not for want of hours, and a skip."""
        why = [] if left.why is WhyLeft.NO_TIME else [self.why_left(left.why)]
        return [*why, *self.skips(left.lawn)]

    def why_made(self, sheet: DaySheet) -> str:
        """Say why this version of the plan was made."""
        return self.say.gettext(WHY_MADE.get(sheet.why, WHY_MADE["asked"]))

    def fault(self, fault: Fault) -> str:
        """Say what could not be planned with."""
        return f"{fault.about}: {self.say.gettext(FAULTS.get(fault.what, fault.what))}"

    def held(self, held: SheetHeld) -> str:
        """Say why a lawn is not to be mown."""
        if not held.holds:
            return ""
        first = held.holds[0]
        return f"{self.say.hold_reason(first, self.units)} {self.say.how_long(first, self.units)}".strip()

    def change(self, change: Change, sheet: DaySheet) -> str:
        """Say how one lawn's place in the day has changed."""
        crews = {crew.crew_id: crew.name for crew in sheet.crews}
        before = crews.get(change.crew_before or 0, str(change.crew_before or ""))
        after = crews.get(change.crew_after or 0, str(change.crew_after or ""))
        said = {
            ChangeKind.ADDED: self.say.gettext("{place}: new, {after} at {at}"),
            ChangeKind.DROPPED: self.say.gettext("{place}: no longer today, was {before} at {was}"),
            ChangeKind.MOVED: self.say.gettext("{place}: now {after} at {at}, was {before} at {was}"),
            ChangeKind.RETIMED: self.say.gettext("{place}: now at {at}, was {was} ({after})"),
        }[change.kind]
        return said.format(
            place=self._name_of(change.lawn_id, sheet),
            before=before,
            after=after,
            at=self.time(change.starts_after_min or 0),
            was=self.time(change.starts_before_min or 0),
        )

    def _name_of(self, lawn_id: int, sheet: DaySheet) -> str:
        planned = (stop.lawn for crew in sheet.crews for stop in crew.listed)
        known = (*planned, *(left.lawn for left in sheet.left_out), *sheet.dropped)
        return next((self.place(lawn) for lawn in known if lawn.lawn_id == lawn_id), str(lawn_id))

    def crew_line(self, crew: CrewSheet) -> str:
        """Say a crew's day in one line."""
        if not crew.stops:
            return self.past(crew) if crew.past else self.say.gettext("nothing is due for this crew")
        said = self.say.ngettext("{count} stop", "{count} stops", len(crew.stops))
        parts = (
            said.format(count=len(crew.stops)),
            f"{self.time(crew.leaves_min)} – {self.time(crew.back_min)}",
            self.say.gettext("{hours} of mowing").format(hours=self.hours(crew.work_min / 60)),
            self.way(crew.travel_km),
            *((self.past(crew),) if crew.past else ()),
        )
        return ", ".join(parts)

    def past(self, crew: CrewSheet) -> str:
        """Say how many stops are past."""
        return self.say.gettext("{count} done or skipped").format(count=len(crew.past))

    def subject(self, sheet: DaySheet, crew: CrewSheet | None) -> str:
        """Say what a mail is about, in few words."""
        day = self.say.day(sheet.on, self.units)
        stops = sum(len(one.stops) for one in ([crew] if crew else sheet.crews))
        if crew is not None:
            said = self.say.ngettext("{day}: {count} stop, {crew}", "{day}: {count} stops, {crew}", stops)
            said = said.format(day=day, count=stops, crew=crew.name)
        else:
            said = self.say.ngettext("{day}: {count} stop", "{day}: {count} stops", stops)
            said = said.format(day=day, count=stops)
            if sheet.left_out:
                left = self.say.gettext("{count} do not fit").format(count=len(sheet.left_out))
                said = f"{said}, {left}"
        return said if sheet.version == 1 else self.say.gettext("Changed: {subject}").format(subject=said)

    def week_subject(self, week: WeekSummary) -> str:
        """Say what the weekly mail is about."""
        if week.ahead.short_on is None:
            said = self.say.ngettext("Week: {count} cut done", "Week: {count} cuts done", week.done)
            return said.format(count=week.done)
        return self.say.gettext("Week: hours fall short from {weekday}").format(
            weekday=self.say.weekday(week.ahead.short_on)
        )


def words_for(to: SheetReader) -> CrewWording:
    """Return the words of a reader: their language and their units."""
    return CrewWording(spoken(to.language), to.units)
