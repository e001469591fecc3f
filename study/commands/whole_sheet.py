"""A whole study in one sheet: what each coupon is, how it left and what was read on it; a room of the imports."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date

from study.commands.whole_sheet_nouns import Known, Nouns, SheetCoupon, SheetSet, WholeSheet, among, is_number
from study.errors import Question
from study.intake.plausibility import AS_TYPED
from study.intake.reading_columns import COLUMNS
from study.intake.sheet_words import HELD, RELEASED
from study.intake.table_file import Row
from study.model.coupon import ROLES
from study.model.own_mark import tidy_mark
from study.model.protocol import Protocol
from study.model.pull import add_months, due_on, pull_group
from study.model.units import plain

UNUSUAL_AGES = "unusual ages"
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
_ROLES = {"time zero": "time-zero", "t0": "time-zero", "zero": "time-zero", "reference": "control", "reserve": "spare"}
_SPAN = re.compile(r"(\d+)\s*(d|days?|w|wk|wks|weeks?|m|mo|mon|months?|y|yr|yrs|years?)?\.?")


class Taking(Nouns):
    """Works through the rows of a sheet: what each coupon is, how it left, what was read on it."""

    def __init__(self, known: Known, protocol: Protocol, answers: Mapping[str, str], today: date) -> None:
        super().__init__(known, answers)
        self.protocol, self.today = protocol, today
        self._first: dict[str, SheetCoupon] = {}
        self._odd: list[str] = []
        self._waiting: dict[tuple[SheetSet, str], int] = {}

    def take(self, rows: Sequence[Row]) -> WholeSheet:
        """Everything the rows say."""
        for row in rows:
            self._row(row)
        if self._odd and self.answers.get(UNUSUAL_AGES) != AS_TYPED:
            shown = "; ".join(self._odd[:12]) + (f"; and {len(self._odd) - 12} more" if len(self._odd) > 12 else "")
            what = f"Pulled at another age than the pull they are written for, which may be a wrong year: {shown}."
            self.made.questions.setdefault(UNUSUAL_AGES, Question(UNUSUAL_AGES, what, (AS_TYPED,)))
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
        if not any(row.cells.get(column) for columns in COLUMNS.values() for column in columns if column != "side"):
            return
        cells = dict(row.cells)
        if cells.get("failure_pattern") in (RELEASED, HELD):
            cells |= {"failure_pattern": "", "side": ""}  # an event of the pull and no pattern
            if not any(cells.get(columns[0]) for columns in COLUMNS.values()):
                return
        if not cells.get("read_on"):
            looked = bool(cells.get("L_look"))
            cells["read_on"] = "" if looked else coupon.row.cells.get("pulled_on") or cells.get("placed_on", "")
            if cells["read_on"]:
                self.made.note("Readings without a day of their own are dated on the day of the pull.")
        self.made.readings.append(Row(row.number, cells))

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
            self.wrong(row, "role", "is not a role.", f"Write one of {', '.join(ROLES)}, or leave it blank for test.")
        placed, pulled = row.cells.get("placed_on", ""), row.cells.get("pulled_on", "")
        if not role and placed and placed == pulled and not row.cells.get("pull_kind"):
            self.made.note("Coupons pulled on the day they were placed are taken as time-zero coupons.")
            return "time-zero"
        return role or "test"

    def _test(self, row: Row, *, blank: bool) -> str:
        tests = [test.method for test in self.protocol.tests]
        typed = row.cells.get("test", "")
        if typed:
            titles = {self.protocol.method(key).title.casefold(): key for key in tests}
            found = among(typed, tests) or titles.get(typed.casefold(), "")
            if not found:
                self.wrong(row, "test", f"is not a test of {self.protocol.key}.", f"Write one of {', '.join(tests)}.")
            return found or tests[0]
        if len(tests) == 1 or blank:
            return tests[0]
        given = {"hold_angle" if column == "hold_angle_deg" else kind for kind, columns in COLUMNS.items()
                 for column in columns[:1] if row.cells.get(column)}  # fmt: skip
        for key in tests:
            if given & set(self.protocol.quantities(key)) & {"removal_force", "hold_angle"}:
                return key
        what = "Rows have neither a force nor a hold angle, and no column says for which test the coupons are."
        return self.ask("test", what, tuple(tests)) or tests[0]

    def _pull(self, row: Row) -> date | None:
        """Notes how a coupon left its placement; the day, or None if it is still there."""
        typed, on = plain(row.cells.get("pull_kind", "")).casefold(), self.day(row, "pulled_on")
        typed = typed or ("released by itself" if row.cells.get("failure_pattern") == RELEASED else "")
        kind = _LEFT.get(typed, "") if typed else "pulled"
        if typed in _IN_PLACE or (on is None and not typed):
            if on is not None:
                self.wrong(row, "pull_kind", f"stands beside a pull on {on}.", "Clear one of the two.")
            return None
        if not kind:
            words = ", ".join(dict.fromkeys((*_LEFT.values(), "in place")))
            self.wrong(row, "pull_kind", "is not a way a coupon leaves.", f"Write one of {words}.")
        elif on is None:
            self.wrong(row, "pulled_on", f"is blank beside “{typed}”.", "Give the day it was pulled, found or missed.")
        else:
            seen = row.cells.get("last_seen_on", "") if kind == "released by itself" else ""
            cells = {"coupon": row.cells.get("coupon", ""), "on": on.isoformat(), "as": kind, "last_seen_on": seen}
            self.made.pulls.append(Row(row.number, cells))
        return on

    def _label(self, row: Row, of: SheetSet, test: str, left: date | None) -> str:
        """The pull of the schedule a coupon is destined to: as written, by its dates, or as answered."""
        schedule, typed = self.protocol.schedule, row.cells.get("pull", "")
        if of.role in ("time-zero", "spare"):
            return ""
        if typed:
            found = self._written(typed)
            if not found:
                labels = ", ".join(pull.label for pull in schedule.pulls)
                self.wrong(row, "pull", "is not in the schedule.", f"Write one of {labels}.")
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
            self.made.note("Coupons pulled outside every window keep their real age and belong to the nearest pull.")
            return min(schedule.pulls, key=lambda pull: abs((due_on(of.placed_on, pull) - left).days)).label
        coming = [p.label for p in schedule.pulls if due_on(of.placed_on, p) >= self.today] or [""]
        what = "Some coupons are still placed and no column says for which pull they are meant."
        answer = self.ask(PLACED_STILL, what, PLACED_ANSWERS)
        if answer == PLACED_ANSWERS[1]:
            place = self._waiting[of, test] = self._waiting.get((of, test), -1) + 1
            return coming[place % len(coming)]
        return coming[0] if answer == PLACED_ANSWERS[0] else ""

    def _written(self, typed: str) -> str:
        """The label that a cell means: “3 months”, “3 mo”, “3m”, a bare 3 where the schedule has 3 months."""
        labels = {pull.label.casefold(): pull.label for pull in self.protocol.schedule.pulls}
        text = plain(typed).casefold()
        match = _SPAN.fullmatch(text)
        if text in labels or match is None:
            return labels.get(text, "")
        count, unit = int(match[1]), (match[2] or "m")[0]
        start = date(2001, 1, 1)
        meant = {"d": count, "w": 7 * count}.get(unit)
        for pull in self.protocol.schedule.pulls:
            months = count * 12 if unit == "y" else count
            days = meant if meant is not None else (add_months(start, months) - start).days
            if (due_on(start, pull) - start).days == days:
                return pull.label
        return ""
