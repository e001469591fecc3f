"""Dates as typed: order of day and month told by the column, serial numbers, two-digit years, months, clocks."""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

from study.intake.sheet_numbers import leave_blank, missing_reason, tell_missing
from study.intake.sheet_words import meaning_of
from study.intake.sheet_work import A_ZONE, Work
from study.model.layout import MONTH_ANSWERS
from study.model.units import plain

DATES = ("read_on", "placed_on", "pulled_on", "last_seen_on")

_ISO = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII).fullmatch
_YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
_THREE = re.compile(r"(\d{1,2})\s?[-/. ]\s?(\d{1,2})\s?[-/. ]\s?(\d{4}|\d{2})")
_EIGHT = re.compile(r"(19|20)\d{6}")
_SERIAL = re.compile(r"\d{5}(\.\d+)?")
_DAY_NAME = re.compile(r"(\d{1,2})(?:st|nd|rd|th|\.)?[-/. ]*([A-Za-zäéûÄÉ]{3,10})\.?,?[-/. ]*(\d{4}|'?\d{2})")
_NAME_DAY = re.compile(r"([A-Za-zäéûÄÉ]{3,10})\.?[-/. ]*(\d{1,2})(?:st|nd|rd|th)?,\s*(\d{4}|'?\d{2})|"
                       r"([A-Za-zäéûÄÉ]{3,10})\.?[-/. ]+(\d{1,2})(?:st|nd|rd|th)?[-/. ]+(\d{4})")  # fmt: skip
_NAME_YEAR = re.compile(r"([A-Za-zäéûÄÉ]{3,10})\.?[-/., ]*(\d{4}|'?\d{2})")
_MONTH_YEAR = re.compile(r"(\d{1,2})[-/.](\d{4})|(\d{4})[-/.](\d{1,2})")
_TIME = re.compile(
    r"(?:T|[ ,]+)(\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d+)?)?(?:\s?[AaPp]\.?[Mm]\.?)?)\s?(Z|UTC|GMT|[+-]\d{2}:?\d{2})?$"
)
_MONTHS = {
    name: number
    for number, names in enumerate(
        ("jan januar january janvier jän gennaio enero", "feb februar february février fevrier fév febbraio febrero",
         "mar mär mrz march märz mars marzo", "apr april avril avr aprile abril", "may mai maggio mayo mag",
         "jun june juni juin giugno junio giu", "jul july juli juillet luglio julio lug",
         "aug august août aout agosto ago", "sep sept september septembre settembre septiembre set",
         "oct okt october oktober octobre ottobre octubre ott", "nov november novembre noviembre",
         "dec dez december dezember décembre decembre dicembre diciembre dic"), start=1)
    for name in names.split()
}  # fmt: skip
_ORDERS = {"day month year": (0, 1), "month day year": (1, 0)}
_FROM = {"1900": date(1899, 12, 30), "1904": date(1904, 1, 1)}
_LONGEST = 60
"""Characters of a date; a longer cell is none."""
_SERIALS = (20_000, 80_000)
"""Serial numbers of 1954 to 2119 in the older system; others are no dates of a study."""


def settle_dates(work: Work) -> None:
    """Write dates as year-month-day; what has no day, or two readings, is asked about or refused."""
    for column in DATES:
        if column in work.columns:
            _settle(work, column)


def is_dated(cell: str) -> bool:
    """Whether a cell can be a day as laboratories write one, with or without its time."""
    text = plain(cell).strip("'") if 0 < len(cell) <= _LONGEST else ""
    text = _TIME.sub("", text).strip()
    if _SERIAL.fullmatch(text):
        return _SERIALS[0] <= float(text) <= _SERIALS[1]
    return bool(_THREE.fullmatch(text)) or _worded(text, 1980) is not None


def _settle(work: Work, column: str) -> None:
    cells = work.columns[column]
    places: dict[str, list[int]] = {}
    for place, cell in enumerate(cells):
        if cell and not _ISO(cell):
            places.setdefault(cell, []).append(place)
    done: dict[str, str] = {}
    reasons: dict[str, list[int]] = {}
    numeric: dict[str, tuple[int, int, int]] = {}
    for cell, where in places.items():
        reason = missing_reason(work, cell)
        if reason:
            done[cell] = ""
            leave_blank(work, column, where, reason, reasons)
    clock = _Clock(work, column, places)
    short: dict[str, list[int]] = {}
    months: dict[str, date] = {}
    serials: list[str] = []
    for cell in places:
        if cell in done or len(cell) > _LONGEST:
            continue
        text = clock.day_text(cell)
        if _ISO(text):
            done[cell] = text
        elif _SERIAL.fullmatch(text) and _SERIALS[0] <= float(text) <= _SERIALS[1]:
            serials.append(cell)
        elif match := _THREE.fullmatch(text):
            numeric[cell] = (int(match[1]), int(match[2]), _year(match[3], work.layout.two_digit_years_from))
            if len(match[3]) == 2:
                short.setdefault("years", []).extend(places[cell])
        elif (day := _worded(text, work.layout.two_digit_years_from)) is not None:
            if day[1]:
                done[cell] = day[0].isoformat()
            else:
                months[cell] = day[0]
            if re.search(r"(?<!\d)\d\d$", text):
                short.setdefault("years", []).extend(places[cell])
    done.update(_serials(work, column, serials, places))
    done.update(_ordered(work, column, numeric, places))
    _months(work, column, months, places)
    if short:
        first = work.layout.two_digit_years_from
        work.note(f"{work.headings.get(column, column)}: two-digit years lie in {first} to {first + 99}.")
    tell_missing(work, column, reasons)
    open_cells = {*numeric, *months, *serials} - done.keys()
    for cell, where in places.items():
        if cell not in done and cell not in open_cells:
            for place in where:
                work.problem(place, column, cell, *_refusal(cell))
    work.columns[column] = [cell if not cell or _ISO(cell) else done.get(cell, "") for cell in cells]
    for place, cell in enumerate(work.columns[column]):
        if cell and not _exists(cell):
            work.problem(place, column, cell, "is not a date.", "Write year-month-day, such as 2026-03-31.")
            work.columns[column][place] = ""


@lru_cache(maxsize=65536)
def _exists(text: str) -> bool:
    try:
        return bool(date.fromisoformat(text))
    except ValueError:
        return False


def _refusal(cell: str) -> tuple[str, str]:
    if meaning_of(cell)[0] == "released":
        return "is an event and no date.", "Say it in the failure pattern and give the day it was found."
    return "is not a date.", "Write year-month-day, such as 2026-03-31."


def _year(text: str, first: int) -> int:
    number = int(text.lstrip("'"))
    if len(text.lstrip("'")) == 4:
        return number
    return first + (number - first) % 100


def _worded(text: str, first: int) -> tuple[date, bool] | None:
    """A date written with the year first or with the month's name, and whether its day is known."""
    try:
        if match := _YEAR_FIRST.fullmatch(text):
            return date(int(match[1]), int(match[2]), int(match[3])), True
        if _EIGHT.fullmatch(text):
            return date(int(text[:4]), int(text[4:6]), int(text[6:])), True
        if match := _DAY_NAME.fullmatch(text):
            return date(_year(match[3], first), _MONTHS[match[2].casefold()], int(match[1])), True
        if match := _NAME_DAY.fullmatch(text):
            name, day, year = match.groups()[:3] if match[1] else match.groups()[3:]
            return date(_year(year, first), _MONTHS[name.casefold()], int(day)), True
        if match := _NAME_YEAR.fullmatch(text):
            return date(_year(match[2], first), _MONTHS[match[1].casefold()], 1), False
        if match := _MONTH_YEAR.fullmatch(text):
            return date(int(match[2] or match[3]), int(match[1] or match[4]), 1), False
    except (KeyError, ValueError):
        return None
    return None


def _serials(work: Work, column: str, serials: Sequence[str], places: dict[str, list[int]]) -> dict[str, str]:
    """Serial numbers of days, in the system the workbook states, or the one that is answered."""
    if not serials:
        return {}
    where = [place for cell in serials for place in places[cell]]
    system = work.layout.date_system or work.date_system
    if not system:
        first = serials[0]
        meant = {name: start + timedelta(days=int(float(first))) for name, start in _FROM.items()}
        system = work.ask(
            "date system",
            f"“{first}” in {work.rows(where)} is a spreadsheet's number of a day: {meant['1900']} in the 1900 system, "
            f"{meant['1904']} in the 1904 system.",
            ("1900", "1904"),
        )
        if system:
            work.remember("date_system", system)
    if not system:
        return {}
    work.note(f"{work.headings.get(column, column)}: numbers in {work.rows(where)} are days of the {system} system.")
    return {cell: (_FROM[system] + timedelta(days=int(float(cell)))).isoformat() for cell in serials}


def _ordered(
    work: Work, column: str, numeric: dict[str, tuple[int, int, int]], places: dict[str, list[int]]
) -> dict[str, str]:
    """Dates of three numbers in the order that the column itself tells."""
    if not numeric:
        return {}
    heading = work.headings.get(column, column)
    order = work.layout.date_orders.get(heading, "")
    day_first = [cell for cell, (first, second, _) in numeric.items() if first > 12 >= second]
    month_first = [cell for cell, (first, second, _) in numeric.items() if second > 12 >= first]
    if not order and day_first and month_first:
        counts = [sum(len(places[cell]) for cell in cells) for cells in (day_first, month_first)]
        few = day_first if counts[0] < counts[1] else month_first
        for cell in [*day_first, *month_first] if counts[0] == counts[1] else few:
            for place in places[cell]:
                do = "Write all dates of the column in one order, best as 2026-03-31."
                work.problem(place, column, cell, "has day and month in another order than other rows.", do)
        return dict.fromkeys(numeric, "")
    if not order:
        order = "day month year" if day_first else "month day year" if month_first else ""
        shows = (day_first or month_first or [""])[0]
        told = f"shown by {shows} in {work.rows(places[shows])}" if shows else ""
        if not order and all("." in cell and "/" not in cell for cell in numeric):
            order, told = "day month year", "as dates with points are written"
        doubtful = [cell for cell, (first, second, _) in numeric.items() if first != second]
        if not order and doubtful:
            first, second, year = numeric[doubtful[0]]
            order = work.ask(
                f"date order {heading}",
                f"Every date of “{heading}” can be read in two orders, such as “{doubtful[0]}” in "
                f"{work.rows(places[doubtful[0]])}: {year}-{second:02d}-{first:02d} or "
                f"{year}-{first:02d}-{second:02d}.",
                tuple(_ORDERS),
            )
            told = "as answered"
            if not order:
                return {}
        order = order or "day month year"
        if told:
            work.note(f"{heading}: dates are {order.replace(' ', ', ')}, {told}.")
            work.remember("date_orders", {heading: order})
    day, month = _ORDERS.get(order, (0, 1))
    done = {}
    for cell, parts in numeric.items():
        try:
            done[cell] = date(parts[2], parts[month], parts[day]).isoformat()
        except ValueError:
            done[cell] = ""
            for place in places[cell]:
                what = f"is not a date in the order {order} of this column."
                work.problem(place, column, cell, what, "Correct it, best as 2026-03-31.")
    return done


def _months(work: Work, column: str, months: dict[str, date], places: dict[str, list[int]]) -> None:
    """Months without a day: an interval and no date, so refused unless it is said which day stands for one.

    Both ends stay in the note of the row. Counted at the shortest dwell, no duration is longer for what is not known.
    """
    if not months:
        return
    where = [place for cell in months for place in places[cell]]
    cell, start = next(iter(months.items()))
    answer = work.ask(
        "month only",
        f"“{cell}” in {work.rows(where)} names a month and no day: it lies somewhere in {start} to {_last(start)}. "
        "Counted at the shortest dwell (placed late, pulled early), no duration becomes too long by it.",
        MONTH_ANSWERS,
        told=work.layout.month_only,
    )
    if not answer:
        for cell in months:
            for place in places[cell]:
                do = "Give the day as 2026-03-31, or say which day stands for a month."
                work.problem(place, column, cell, "is a month and no date.", do, question="month only")
        return
    work.remember("month_only", answer)
    heading, stand = work.headings.get(column, column), dict[str, list[int]]()
    for cell, first in months.items():
        for place in places[cell]:
            which = answer
            if answer == "shortest dwell":
                which = "first day" if _ends_a_dwell(work, column, place) else "last day"
            stand.setdefault(which, []).append(place)
            between = f"a month without a day: somewhere in {first} to {_last(first)}"
            work.remark(place, f"{column}: typed {plain(cell)}, {between}")
            work.columns[column][place] = _DAY_OF[which](first).isoformat()
    for which, at in stand.items():
        said = f"{which}, for the {answer}" if which != answer else which
        work.note(f"{heading}: months without a day in {work.rows(at)} stand at their {said}.")


def _ends_a_dwell(work: Work, column: str, place: int) -> bool:
    """Whether a day makes a dwell shorter by being earlier: of a pull, or of a reading that stands for one."""
    if column != "read_on":
        return column in ("pulled_on", "last_seen_on")
    here = {name: work.columns[name][place] for name in ("read_on", "pulled_on", "L_look") if name in work.columns}
    return work.pulled_when_read or bool(here.get("L_look")) or here["read_on"] == here.get("pulled_on")


def _last(day: date) -> date:
    return day.replace(day=calendar.monthrange(day.year, day.month)[1])


_DAY_OF: dict[str, Callable[[date], date]] = {
    "first day": lambda day: day, "middle day": lambda day: day.replace(day=15), "last day": _last
}  # fmt: skip


class _Clock:
    """Cuts the time off a date; a time with an offset from UTC becomes the day in the laboratory's zone."""

    def __init__(self, work: Work, column: str, places: dict[str, list[int]]) -> None:
        self.zone: tzinfo | None = _zone(work.layout.zone)
        timed = [cell for cell in places if len(cell) <= _LONGEST and _TIME.search(cell)]
        zoned = [cell for cell in timed if (match := _TIME.search(cell)) and match[2]]
        heading = work.headings.get(column, column)
        if zoned and not self.zone:
            answer = work.ask(
                "zone",
                f"“{zoned[0]}” in {work.rows(places[zoned[0]])} is a time with an offset from UTC; the day depends on "
                "where the laboratory's clocks stand.",
                (A_ZONE, "UTC", "as written"),
                free=lambda text: _zone(text) is not None,
            )
            self.zone = _zone(answer) if answer != "as written" else None
            if self.zone:
                work.remember("zone", answer)
        if zoned and self.zone:
            work.note(f"{heading}: times with an offset are days in {self.zone}.")
        elif timed:
            work.note(f"{heading}: times of day were left out; dwell counts whole days.")

    def day_text(self, cell: str) -> str:
        """The date as typed, without its time."""
        text = plain(cell).strip("'")
        match = _TIME.search(text)
        if not match:
            return text
        head = text[: match.start()].strip()
        if not match[2] or not self.zone or not (_ISO(head) or _YEAR_FIRST.fullmatch(head)):
            return head
        try:
            year, month, day = map(int, re.split(r"[-/.]", head))
            hour, minute = match[1].split(":")[:2]
            offset = match[2] if match[2][0] in "+-" else "+00:00"
            ahead = timedelta(hours=int(offset[1:3]), minutes=int(offset[-2:]))
            written = datetime(year, month, day, int(hour), int(minute[:2]), tzinfo=UTC)
            instant = written - ahead if offset[0] == "+" else written + ahead
            return instant.astimezone(self.zone).date().isoformat()
        except (ValueError, OverflowError):
            return head


def _zone(name: str) -> tzinfo | None:
    if not name or len(name) > 60:
        return None
    try:
        return UTC if name.upper() == "UTC" else ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return None
