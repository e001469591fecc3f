"""A whole study in one sheet: what each coupon is, how it left and what was read on it; a room of the imports."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from study.commands.sheet_difference import columns_of, stands
from study.commands.sheets import READ_COLUMNS
from study.commands.whole_sheet_nouns import NO_WORDS, Known, Nouns, SheetCoupon, SheetSet, WholeSheet, among, is_number
from study.errors import Question
from study.intake.plausibility import AS_TYPED
from study.intake.reading_columns import COLUMNS, kinds_taken
from study.intake.sheet_local import STILL
from study.intake.sheet_tongues import TIME_UNITS
from study.intake.sheet_words import HELD, RELEASED
from study.intake.sheet_work import row_words
from study.intake.table_file import Row
from study.model.coupon import ROLES
from study.model.own_mark import tidy_mark
from study.model.protocol import Protocol
from study.model.pull import TIME_ZERO, TIME_ZERO_DAYS, add_months, due_on, pull_group
from study.model.reading import REPEATED
from study.model.units import plain

UNUSUAL_AGES = "unusual ages"
LOOK_DAYS, PLANNED_DAYS = "look days", "on the planned days"
NOT_READ, KEEP_IN_NOTE = "not read", "keep it in the note"
_FAR_DAYS = 120
"""Days from the planned age beyond which somebody is asked [common-practice]."""
PLACED_STILL = "coupons still placed"
PLACED_ANSWERS = ("next pull", "spread over the pulls to come", "spares")
_IN_PLACE = {"in place", "placed", "still placed", "still in place", "waiting", "on test", "open", "running"}
_LEFT = {
    "pulled": "pulled", "removed": "pulled", "tested": "pulled", "done": "pulled", "read": "pulled",
    "pulled in error": "pulled in error", "wrong pull": "pulled in error", "lost": "lost", "missing": "lost",
    "damaged": "damaged", "broken": "damaged", "released by itself": "released by itself",
    "released": "released by itself", "fell": "released by itself", "fell off": "released by itself",
    "fallen": "released by itself", "dropped": "released by itself", "failed in place": "released by itself",
}  # fmt: skip
LEFT_ANSWERS = tuple(dict.fromkeys(_LEFT.values()))
_ROLES = {"time zero": "time-zero", "t0": "time-zero", "zero": "time-zero", "reference": "control", "reserve": "spare"}
_SPAN = re.compile(r"(\d+)\s*([^\W\d_]*)\.?")
_ZERO = {"0", "t0", "zero", "time zero", "time-zero", "start", "initial", "start value"}
"""How sheets name the pull of coupons that are read without having dwelt."""
NEAREST = "the nearest by its dates"
NO_PULL = "is not in the schedule."


class Taking(Nouns):
    """Works through the rows of a sheet: what each coupon is, how it left, what was read on it."""

    def __init__(
        self, known: Known, protocol: Protocol, answers: Mapping[str, str], today: date,
        words: Mapping[str, Mapping[str, str]] = NO_WORDS,
    ) -> None:  # fmt: skip
        super().__init__(known, answers, words)
        self.protocol, self.today = protocol, today
        self._first: dict[str, SheetCoupon] = {}
        self._odd: list[str] = []
        self._waiting: dict[tuple[SheetSet, str], int] = {}
        self._beside: dict[tuple[str, str], list[int]] = {}
        self._untold: list[int] = []
        self._kinds: dict[str, set[str]] = {}
        """What was read on each coupon, over all of its rows."""
        self._read_at: dict[str, str] = {}
        """When each was read after its pull, where the headings say it."""

    def take(self, rows: Sequence[Row]) -> WholeSheet:
        """Everything the rows say."""
        self.made.note(
            f"The sets are registered under the protocol {self.protocol.key}, version {self.protocol.version}."
        )
        for row in rows:
            mark = tidy_mark(row.cells.get("coupon", ""))
            kinds = {kind for kind in COLUMNS if stands(row, kind)}
            self._kinds.setdefault(mark, set()).update(kinds)
            if kinds - {"colour_before", *REPEATED} and row.cells.get("read_at"):
                self._read_at.setdefault(mark, row.cells["read_at"])
        for row in rows:
            self._row(row)
        if self._odd and self.answers.get(UNUSUAL_AGES) != AS_TYPED:
            shown = "; ".join(self._odd[:12]) + (f"; and {len(self._odd) - 12} more" if len(self._odd) > 12 else "")
            what = f"Pulled at another age than the pull they are written for, which may be a wrong year: {shown}."
            self.made.questions.setdefault(UNUSUAL_AGES, Question(UNUSUAL_AGES, what, (AS_TYPED,)))
        if "test" in self.made.questions:
            rows_of = [*dict.fromkeys(self._untold)]
            has = "has" if len(rows_of) == 1 else "have"
            what = f"{row_words(rows_of).capitalize()} {has} neither a force nor a hold angle, and no column says for "
            what += "which test coupons are. One answer is for all of them; where they differ, add a column “test”."
            self.made.questions["test"] = replace(self.made.questions["test"], what=what)
        self._ask_beside()
        return self.made

    def _row(self, row: Row) -> None:
        mark = tidy_mark(row.cells.get("coupon", ""))
        if mark and mark in self._first:
            self._again(row, self._first[mark])
            return
        if mark in self.known.marks:
            self.wrong(row, "coupon", "is a coupon of this study already.", "Import its readings with read import.")
            return
        before = len(self.made.problems), len(self.made.questions)
        placed = self.day(row, "placed_on", needed=True)
        if placed and placed > self.today:
            self.wrong(row, "placed_on", f"lies after {self.today}.", "Check the year.")
        role = self._role(row)
        of = self._set(row, role, placed or self.today)
        test = self._test(row, blank=role == "blank")
        left = self._pull(row)
        label = self._label(row, of, test, left)
        if not mark or (len(self.made.problems), len(self.made.questions)) != before:
            if mark:
                self._first[mark] = SheetCoupon(row.cells["coupon"], row, of, test, label)
            return
        coupon = SheetCoupon(row.cells["coupon"], row, of, test, label)
        self._first[mark] = coupon
        self.made.coupons.append(coupon)
        self._reading(row, coupon)

    def _again(self, row: Row, first: SheetCoupon) -> None:
        """Another row of a coupon holds more readings of it; what it is must not differ."""
        names = ("adhesive", "lot", "substrate", "environment", "placed_on", "pulled_on", "role", "test")
        for name in names:
            cell, other = row.cells.get(name, ""), first.row.cells.get(name, "")
            if cell and cell != other:
                what = f"is “{other}” in row {first.row.number} of the same coupon."
                self.wrong(row, name, what, "Make them agree, or give the piece another mark.")
        self._reading(row, first)

    def _reading(self, row: Row, coupon: SheetCoupon) -> None:
        cells = dict(row.cells)
        if cells.get("failure_pattern") in (RELEASED, HELD):
            cells |= {"failure_pattern": "", "side": ""}  # an event of the pull and no pattern
        self._not_asked_for(row, cells, coupon)
        if not any(map(cells.get, READ_COLUMNS)):
            return
        if not cells.get("read_on") and cells.get("L_look") and cells.get("read_at"):
            cells["read_on"] = self._look_day(cells["read_at"], coupon)
        if not cells.get("read_on"):
            looked = bool(cells.get("L_look"))
            cells["read_on"] = "" if looked else coupon.row.cells.get("pulled_on") or cells.get("placed_on", "")
            if cells["read_on"]:
                self.made.note("Readings without a day of their own are dated on the day of the pull.")
        self.made.readings.append(Row(row.number, cells))

    def _look_day(self, typed: str, coupon: SheetCoupon) -> str:
        """The day of a look in place that its heading alone dates: the planned one, if somebody says so."""
        match = _SPAN.fullmatch(plain(typed).casefold())
        unit = TIME_UNITS.get(match[2], "") if match else ""
        what = (
            "Looks in place are dated by their headings alone, such as “{typed}”: were they made on the planned days?"
        )
        if match is None or not unit or not self.ask(LOOK_DAYS, what.format(typed=typed), (PLANNED_DAYS,)):
            return ""
        self.made.note("Looks in place without a day of their own are dated on the planned day, as answered.")
        count, placed = int(match[1]), coupon.of.placed_on
        if unit in ("d", "w"):
            return (placed + timedelta(days=count * (7 if unit == "w" else 1))).isoformat()
        return add_months(placed, count * (12 if unit == "y" else 1)).isoformat()

    def _not_asked_for(self, row: Row, cells: dict[str, str], coupon: SheetCoupon) -> None:
        """Take out of the cells what the coupon's test does not read; it is kept in the note, if that is answered."""
        asked = kinds_taken(self.protocol.quantities(coupon.test, blank=coupon.of.role == "blank"))
        asked += REPEATED if self.protocol.seen_in_place else ()
        for kind in COLUMNS:
            if kind in asked or not stands(Row(row.number, cells), kind):
                continue
            told = " ".join(cells[column] for column in COLUMNS[kind] if cells.get(column))
            cells["note"] = "; ".join(part for part in (cells.get("note", ""), f"{kind}: {told}") if part)
            now = Row(row.number, cells)
            others = {name for other in COLUMNS if other != kind and stands(now, other) for name in columns_of(other)}
            cells |= dict.fromkeys({*columns_of(kind)} - others, "")
            self._beside.setdefault((coupon.test, kind), []).append(row.number)

    def _ask_beside(self) -> None:
        self.made.asked.add(NOT_READ)
        if not self._beside:
            return
        together: dict[tuple[str, str], list[str]] = {}
        for (test, kind), rows in self._beside.items():
            together.setdefault((test, row_words([*dict.fromkeys(rows)])), []).append(kind.replace("_", " "))
        said = "; ".join(f"{', '.join(kinds)} beside {test} in {rows}" for (test, rows), kinds in together.items())
        if self.answers.get(NOT_READ) == KEEP_IN_NOTE:
            self.made.note(f"Kept in the note, since {self.protocol.key} does not read it: {said}.")
        else:
            what = f"The protocol {self.protocol.key} does not read {said}."
            self.made.questions[NOT_READ] = Question(NOT_READ, what, (KEEP_IN_NOTE,))

    def _set(self, row: Row, role: str, placed: date) -> SheetSet:
        blank = role == "blank"
        adhesive = "" if blank else self.adhesive(row)
        lot = "" if blank else self.lot(row, adhesive)
        diameter = 0.0 if blank else self.number(row, "dot_diameter_mm", "The diameter of the dots [mm]")
        dots = 0.0 if blank else self.number(row, "dots", "How many dots a coupon has")
        load = row.cells.get("dwell_load_n", "")
        if not load and not blank:
            self.made.note("No dwell load stands in the sheet for some coupons; they are taken as without load.")
        return SheetSet(
            lot, adhesive, self.substrate(row), self.environment(row), diameter, int(dots),
            float(load) if is_number(load) else 0.0, placed, role,
        )  # fmt: skip

    def _role(self, row: Row) -> str:
        typed = row.cells.get("role", "")
        role = _ROLES.get(typed.casefold(), among(typed, ROLES))
        if typed and not role:
            role = self.told(row, "role", "is not a role that is known.", ROLES)
        if role:
            return role
        placed, pulled = row.cells.get("placed_on", ""), row.cells.get("pulled_on", "")
        kind = plain(row.cells.get("pull_kind", "")).casefold()
        if placed and placed == pulled and _LEFT.get(kind, "pulled") == "pulled":
            self.made.note("Coupons pulled on the day they were placed are taken as time-zero coupons.")
            return "time-zero"
        if self._at_zero(row):
            self.made.note("Coupons of the pull at zero are taken as time-zero coupons.")
            return "time-zero"
        return "test"

    def _at_zero(self, row: Row) -> bool:
        """Whether its pull is the one without any dwell: by its word, unless its days say otherwise, or as answered."""
        asked = self._with_pull(row)
        if among(self.told_before(asked, "pull"), (TIME_ZERO,)):
            return bool(self.told(asked, "pull", NO_PULL, (TIME_ZERO,)))
        if asked.cells["pull"].casefold() not in _ZERO:
            return False
        placed, pulled = self.day(row, "placed_on"), self.day(row, "pulled_on")
        return placed is None or pulled is None or (pulled - placed).days <= TIME_ZERO_DAYS

    def _test(self, row: Row, *, blank: bool) -> str:
        tests = [test.method for test in self.protocol.tests]
        typed = row.cells.get("test", "")
        if typed:
            titles = {self.protocol.method(key).title.casefold(): key for key in tests}
            found = among(typed, tests) or titles.get(typed.casefold(), "")
            return found or self.told(row, "test", f"is not a test of {self.protocol.key}.", tests) or tests[0]
        if len(tests) == 1 or blank:
            return tests[0]
        given = self._kinds.get(tidy_mark(row.cells.get("coupon", "")), set())
        for key in tests:
            if given & set(self.protocol.quantities(key)) & {"removal_force", "hold_angle"}:
                return key
        self._untold.append(row.number)
        return self.ask("test", "For which test are coupons without a reading?", tuple(tests)) or tests[0]

    def _pull(self, row: Row) -> date | None:
        """Notes how a coupon left its placement; the day, or None if it is still there."""
        typed, on = plain(row.cells.get("pull_kind", "")).casefold(), self.day(row, "pulled_on")
        typed = typed or ("released by itself" if row.cells.get("failure_pattern") == RELEASED else "")
        kind = _LEFT.get(typed, "") if typed else "pulled"
        if typed and not kind and typed not in _IN_PLACE:
            kind = self.told(row, "pull_kind", "is not a way a coupon leaves.", (*LEFT_ANSWERS, STILL))
            if not kind:
                return on
        if typed in _IN_PLACE or kind == STILL or (on is None and not typed):
            if on is not None:
                self.wrong(row, "pull_kind", f"stands beside a pull on {on}.", "Clear one of the two.")
            return None
        if on is None:
            self.wrong(row, "pulled_on", f"is blank beside “{typed}”.", "Give the day it was pulled, found or missed.")
        else:
            seen = row.cells.get("last_seen_on", "") if kind == "released by itself" else ""
            cells = {"coupon": row.cells.get("coupon", ""), "on": on.isoformat(), "as": kind, "last_seen_on": seen}
            self.made.pulls.append(Row(row.number, cells))
        return on

    def _label(self, row: Row, of: SheetSet, test: str, left: date | None) -> str:
        """The pull of the schedule a coupon is destined to: as written, by its dates, or as answered."""
        schedule, row = self.protocol.schedule, self._with_pull(row)
        typed = row.cells["pull"]
        if of.role in ("time-zero", "spare"):
            return ""
        if typed:
            labels = tuple(pull.label for pull in schedule.pulls)
            # Where the sheet names the role itself, a pull at zero would contradict it.
            zero = () if row.cells.get("role") else (TIME_ZERO,)
            answers = (*labels, *zero, *([NEAREST] if left else ()))
            found = self._written(typed) or self.told(row, "pull", NO_PULL, answers)
            if found == NEAREST and left is not None:
                return self._nearest(of, left)
            meant = next((pull for pull in schedule.pulls if pull.label == found), None)
            if left is not None and meant is not None:
                planned, age = (due_on(of.placed_on, meant) - of.placed_on).days, (left - of.placed_on).days
                # A wrong year is far off on any schedule; a pull some weeks late is ordinary.
                if abs(age - planned) > max(_FAR_DAYS, planned / 2):
                    self._odd.append(f"row {row.number}, {row.cells.get('coupon', '')}: {age} d, written for {found}")
            return found
        if left is not None:
            group = pull_group(schedule, of.placed_on, left)
            if group in {pull.label for pull in schedule.pulls}:
                return group
            return self._nearest(of, left)
        coming = [p.label for p in schedule.pulls if due_on(of.placed_on, p) >= self.today] or [""]
        what = "Some coupons are still placed and no column says for which pull they are meant."
        answer = self.ask(PLACED_STILL, what, PLACED_ANSWERS)
        if answer == PLACED_ANSWERS[1]:
            place = self._waiting[of, test] = self._waiting.get((of, test), -1) + 1
            return coming[place % len(coming)]
        return coming[0] if answer == PLACED_ANSWERS[0] else ""

    def _with_pull(self, row: Row) -> Row:
        """The row with its pull as it says it, or as the headings of what was read on its coupon after its pull do."""
        typed = plain(row.cells.get("pull", "")) or self._read_at.get(tidy_mark(row.cells.get("coupon", "")), "")
        return Row(row.number, {**row.cells, "pull": typed})

    def _nearest(self, of: SheetSet, left: date) -> str:
        self.made.note("Coupons pulled outside every window keep their real age and belong to the nearest pull.")
        pulls = self.protocol.schedule.pulls
        return min(pulls, key=lambda pull: abs((due_on(of.placed_on, pull) - left).days)).label

    def _written(self, typed: str) -> str:
        """The label that a cell means: “3 months”, “3 mo”, “3m”, a bare 3 where the schedule has 3 months."""
        labels = {pull.label.casefold(): pull.label for pull in self.protocol.schedule.pulls}
        text = plain(typed).casefold()
        match = _SPAN.fullmatch(text)
        unit = TIME_UNITS.get(match[2] or "m", "") if match else ""
        if text in labels or match is None or not unit:
            return labels.get(text, "")
        count = int(match[1])
        start = date(2001, 1, 1)
        meant = {"d": count, "w": 7 * count}.get(unit)
        for pull in self.protocol.schedule.pulls:
            months = count * 12 if unit == "y" else count
            days = meant if meant is not None else (add_months(start, months) - start).days
            if (due_on(start, pull) - start).days == days:
                return pull.label
        return ""
