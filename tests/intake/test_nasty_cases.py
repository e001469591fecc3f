"""Nasty sheets: each case of what laboratories really hand in, and what must happen with it; all files are invented."""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from study.errors import FileRefused
from study.intake.understanding import Understood, columns_guess, understand
from study.model.layout import Layout
from study.model.own_mark import near_marks, tidy_mark

SHEETS = Path(__file__).parent / "nasty" / "sheets"
SCALE = {"residue scale": "0 to 5, 0 is clean"}


def sheet(name: str, **answers: str) -> Understood:
    """The named sheet, understood with answers by key; "_" in a keyword stands for a space."""
    return understand(SHEETS / f"{name}.csv", answers={key.replace("_", " "): value for key, value in answers.items()})


def cells(found: Understood, column: str) -> list[str]:
    """One of our columns, from the top."""
    return [row.cells[column] for row in found.table.rows]


def forces(found: Understood) -> list[str]:
    """Forces with their units, as a person would type them."""
    return [f"{row.cells['removal_force']} {row.cells['force_unit']}".strip() for row in found.table.rows]


def asked(found: Understood) -> list[str]:
    """Keys of the open questions."""
    return [question.key for question in found.questions]


def said(found: Understood, words: str) -> bool:
    """Whether a note says so."""
    return any(words in note for note in found.notes)


def wrong(found: Understood) -> list[tuple[int, str]]:
    """Row and value of every problem."""
    return [(problem.row, problem.value) for problem in found.problems]


@pytest.fixture
def book(tmp_path: Path) -> Callable[..., Path]:
    """Writes a workbook of rows, changed by a function before it is saved."""

    def write(rows: list[list[Any]], change: Callable[[Any, Any], None] = lambda book, sheet: None) -> Path:
        made = openpyxl.Workbook()
        page = made.active
        assert page is not None
        for row in rows:
            page.append(row)
        change(made, page)
        path = tmp_path / "book.xlsx"
        made.save(path)
        return path

    return write


def test_01_a_decimal_comma_is_told_by_the_whole_file() -> None:
    """3,47 shows what 1,234 means; the guess is shown."""
    found = sheet("01-decimal-comma")
    assert forces(found) == ["3.47 N", "12.5 N", "1.234 N"]
    assert said(found, "Decimal comma, from 2 cells of the file")
    assert found.layout.decimal_mark == ","
    assert not found.questions
    assert not found.problems


@pytest.mark.parametrize(("answer", "force"), [("decimal comma", "1.234 N"), ("thousands comma", "1234 N")])
def test_01_one_ambiguous_comma_is_asked_about(answer: str, force: str) -> None:
    """1,234 alone can be either."""
    assert asked(sheet("01-one-ambiguous")) == ["decimal mark"]
    found = sheet("01-one-ambiguous", decimal_mark=answer)
    assert forces(found)[0] == force
    assert not found.questions


def test_02_mixed_marks_are_refused_with_their_rows() -> None:
    """1.234,5 and 1,234.5 in one sheet: nothing is guessed, each row is listed."""
    found = sheet("02-mixed-marks")
    assert [row for row, _ in wrong(found)] == [0, 2, 3, 4, 5]
    assert "rows 2, 4 and 5" in found.problems[0].what
    assert forces(found) == ["", "", "", "", "7 N"]


def test_02_thousands_may_be_grouped_in_several_ways() -> None:
    """A point, a thin space and a no-break space before one and the same decimal comma."""
    assert forces(sheet("02-one-way")) == ["1234.5 gf", "1234.5 gf", "1234.5 gf", "7.25 gf"]


@pytest.mark.parametrize(("answer", "force"), [("decimal point", "1.234"), ("thousands point", "1234")])
def test_02_a_layout_of_decimal_commas_does_not_swallow_points(tmp_path: Path, answer: str, force: str) -> None:
    """Points with three digits behind them, in a file of a laboratory that usually has commas."""
    path = tmp_path / "points.csv"
    path.write_text("Coupon;Date;Force (N)\nAB-001;2025-03-01;1.234\nAB-002;2025-03-01;5.678\n")
    layout = Layout(decimal_mark=",")
    assert asked(understand(path, layout=layout)) == asked(understand(path)) == ["decimal mark"]
    assert cells(understand(path, layout=layout, answers={"decimal mark": answer}), "removal_force")[0] == force


def test_03_every_row_keeps_its_own_unit() -> None:
    """Gram-force, newton and pound-force in one column are no trouble where each row says so."""
    assert forces(sheet("03-unit-per-row")) == ["510 gf", "5.1 N", "0.52 kgf", "1.15 lbf"]


@pytest.mark.parametrize(
    ("name", "answer", "units"),
    [
        ("03-unit-jump", "gf in rows 2, 3 and 4", ["gf", "gf", "gf", "N", "N", "N"]),
        ("03-unit-jump", "as typed", ["N"] * 6),
        ("03-ten-times", "kgf in rows 3, 5 and 7", ["N", "kgf", "N", "kgf", "N", "kgf"]),
    ],
)
def test_03_a_jump_of_a_hundred_or_ten_times_is_suspected(name: str, answer: str, units: list[str]) -> None:
    """510 then 5.1 in one unit is as far apart as gram-force and newton; a person decides."""
    found = sheet(name)
    assert asked(found) == ["unit jump"]
    assert answer in found.questions[0].answers
    assert cells(sheet(name, unit_jump=answer), "force_unit") == units


def test_03_ordinary_scatter_is_not_suspected(tmp_path: Path) -> None:
    """Forces that double and treble are still one unit."""
    path = tmp_path / "scatter.csv"
    path.write_text("coupon,read_on,removal_force,force_unit\n" + "".join(
        f"C{n},2025-03-01,{force},N\n" for n, force in enumerate((1.1, 2.4, 4.9, 7.0, 9.8, 3.3))
    ))  # fmt: skip
    assert not understand(path).questions


def test_04_units_typed_into_the_cell_are_parsed_and_the_conversion_is_shown() -> None:
    """5.1 N, 0.52kgf, 1.15 lbf and 520 g in a field for numbers."""
    found = sheet("04-units-in-cells")
    assert forces(found) == ["5.1 N", "0.52 kgf", "1.15 lbf", "520 gf", ">50 N"]
    assert said(found, "0.52 kgf × 9.80665 N/kgf = 5.0995 N")
    assert not found.questions
    assert not found.problems


def test_04_units_that_disagree_are_a_problem() -> None:
    """5.1 N beside a unit column that says kgf; 0.52 kgf beside kg agrees."""
    assert wrong(sheet("04-units-disagree")) == [(2, "5.1 N")]


def test_05_unit_names_are_made_one_and_unknown_ones_are_errors() -> None:
    """Seven spellings, and one that is never taken as one to one."""
    found = sheet("05-unit-spellings")
    assert cells(found, "force_unit") == [
        "N/25 mm", "N/25 mm", "N/in", "N/in", "N/2.5 cm", "ozf/in", "lbf/in", "",
    ]  # fmt: skip
    assert wrong(found) == [(9, "blob/in")]


def test_07_a_gauge_that_ran_out_says_at_least_its_capacity() -> None:
    """OL, OVER, dashes and 50.00 are at least 50; they stay in the count."""
    assert asked(sheet("07-gauge-ran-out")) == ["gauge capacity"]
    found = sheet("07-gauge-ran-out", gauge_capacity="50 N")
    assert forces(found) == [">50 N"] * 5 + ["31.4 N"]
    assert found.layout.gauge_capacity == "50 N"
    again = understand(SHEETS / "07-gauge-ran-out.csv", layout=found.layout)
    assert forces(again) == forces(found)
    assert not again.questions


@pytest.mark.parametrize(("answer", "force"), [("50", ">50 N"), ("not reached", "50.00 N")])
def test_07_a_flat_top_is_asked_about(answer: str, force: str) -> None:
    """The largest force three times over at the end of a usual gauge."""
    assert asked(sheet("07-flat-top")) == ["gauge capacity"]
    assert forces(sheet("07-flat-top", gauge_capacity=answer))[:3] == [force] * 3


def test_08_below_detection_is_at_most_the_limit_and_not_zero() -> None:
    """<0.05 is a bound; bdl and n.d. need the limit."""
    assert asked(sheet("08-below-detection")) == ["detection limit"]
    assert forces(sheet("08-below-detection", detection_limit="0.05 N")) == ["<0.05 N", "<0.05 N", "<0.05 N", "0.31 N"]
    found = sheet("08-below-detection", detection_limit="not determined")
    assert cells(found, "removal_force") == ["<0.05", "", "", "0.31"]
    assert cells(found, "note")[1] == "removal_force: not determined"


def test_09_five_ways_of_no_number_have_five_meanings() -> None:
    """Blank, 0, a dash, n/a, not measured, released before test."""
    found = sheet("09-five-meanings")
    assert cells(found, "removal_force") == ["", "0", "", "", "", "", "5.1"]
    notes = cells(found, "note")
    assert notes[0] == ""
    assert len({*notes[2:5]}) == 3
    assert all("removal_force" in note for note in notes[2:5])
    assert cells(found, "failure_pattern") == ["", "", "", "", "", "released by itself", ""]


def test_10_grades_between_two_stay_two_and_dates_are_no_grades() -> None:
    """3-4 in every spelling is [3, 4]; 3 April, 4?, 1-4 and 7 are flagged."""
    found = sheet("10-grades")
    assert cells(found, "residue_grade") == ["3-4", "3-4", "3-4", "3-4", "3-4", "", "", "4", "", ""]
    assert wrong(found) == [(7, "4?"), (8, "03-Apr"), (10, "1-4"), (11, "7")]
    assert [(one.key, one.answers) for one in found.questions] == [
        ("residue_grade 4?", ("3-4", "4-5", "4", "leave blank"))
    ]
    assert said(found, "rows 5 and 6 are kept as both neighbours")


def test_10_a_workbook_that_made_a_date_of_a_grade_is_found_out(book: Callable[..., Path]) -> None:
    """3-4 typed into a workbook became 3 April of some year."""
    path = book([["Coupon", "Date", "Residue (0 = clean)"], ["AB-001", "2025-03-01", datetime.datetime(2025, 4, 3)]])
    found = understand(path)
    assert wrong(found) == [(2, "2025-04-03")]
    assert "spreadsheet" in found.problems[0].what


def test_11_a_grade_waits_for_its_scale_and_the_mapping_is_stored() -> None:
    """5 is the best on one scale and the worst on another."""
    assert asked(sheet("11-scale-unknown")) == ["residue scale"]
    found = sheet("11-scale-unknown", residue_scale="0 to 5, 5 is clean")
    assert cells(found, "residue_grade") == ["0", "1", "5"]
    assert found.layout.residue_table["5"] == "0"
    again = understand(SHEETS / "11-scale-unknown.csv", layout=Layout.model_validate_json(found.layout.text()))
    assert cells(again, "residue_grade") == ["0", "1", "5"]
    assert not again.questions


def test_12_the_column_tells_the_order_of_day_and_month() -> None:
    """13/04 further down settles 03/04."""
    found = sheet("12-day-first")
    assert cells(found, "read_on") == ["2025-04-03", "2025-04-13"]
    assert said(found, "dates are day, month, year, shown by 13/04/2025 in row 3")


@pytest.mark.parametrize(("answer", "day"), [("day month year", "2025-04-03"), ("month day year", "2025-03-04")])
def test_12_an_ambiguous_column_is_asked_about(answer: str, day: str) -> None:
    """Nothing above 12 anywhere."""
    found = sheet("12-all-ambiguous")
    assert asked(found) == ["date order Date"]
    assert cells(found, "read_on") == ["", ""]
    assert cells(sheet("12-all-ambiguous", date_order_Date=answer), "read_on")[0] == day


def test_12_both_orders_in_one_column_are_refused() -> None:
    """13/04 and 04/15 cannot be one order; the row is named and no day of the column is taken."""
    found = sheet("12-both-orders")
    assert wrong(found) == [(4, "04/15/2025")]
    assert cells(found, "read_on") == ["", "", ""]


@pytest.mark.parametrize(("system", "day"), [("1900", "2024-03-01"), ("1904", "2028-03-02")])
def test_13_a_serial_day_needs_its_system(system: str, day: str) -> None:
    """45352 in a text file; the fraction is a time."""
    assert asked(sheet("13-serial-days")) == ["date system"]
    assert cells(sheet("13-serial-days", date_system=system), "read_on") == [day, day]


@pytest.mark.parametrize(("epoch", "day"), [(None, "2024-03-01"), ("1904", "2028-03-02")])
def test_13_a_workbook_says_its_system(book: Callable[..., Path], epoch: str | None, day: str) -> None:
    """The same number in a workbook of either system needs no question."""

    def change(made: Any, _: Any) -> None:
        if epoch:
            from openpyxl.utils.datetime import CALENDAR_MAC_1904

            made.epoch = CALENDAR_MAC_1904

    found = understand(book([["Coupon", "Date", "Force (N)"], ["AB-001", 45352, 5.1]], change))
    assert cells(found, "read_on") == [day]
    assert not found.questions


def test_14_the_century_is_said_and_a_month_is_no_day() -> None:
    """1/2/24 by the column's order; Feb-24 is an interval, both ends kept, and refused until its day is chosen."""
    found = sheet("14-short-years")
    assert cells(found, "read_on") == ["2024-02-01", "2024-02-13", "", "2024-02-14"]
    assert said(found, "two-digit years lie in 1980 to 2079")
    assert asked(found) == ["month only"]
    assert wrong(found) == [(4, "Feb-24")]
    answered = sheet("14-short-years", month_only="last day")
    assert cells(answered, "read_on")[2] == "2024-02-29"
    assert "a month without a day: somewhere in 2024-02-01 to 2024-02-29" in cells(answered, "note")[2]
    assert not answered.problems


@pytest.mark.parametrize(
    ("heading", "day"), [("Placed", "2024-02-29"), ("Pulled", "2024-02-01"), ("Read", "2024-02-29")]
)
def test_14_a_month_is_counted_at_the_shortest_dwell(heading: str, day: str, tmp_path: Path) -> None:
    """Placed late and pulled early: what is not known makes no duration longer."""
    file = tmp_path / "months.csv"
    file.write_text(f"Coupon,{heading},Force (N)\nAB-001,Feb-24,5.1\nAB-002,14 Feb 2024,5.2\n", encoding="utf-8")
    column = {"Placed": "placed_on", "Pulled": "pulled_on", "Read": "read_on"}[heading]
    found = understand(file, answers={"month only": "shortest dwell"}, wide=heading != "Read")
    assert cells(found, column) == [day, "2024-02-14"]
    assert said(found, "for the shortest dwell")
    assert "somewhere in 2024-02-01 to 2024-02-29" in cells(found, "note")[0]


@pytest.mark.parametrize(
    ("headings", "values", "answers"),
    [
        ("Read,Force (N)", "5.1", {"column for pulled_on": "same as the day of reading"}),
        ("Pulled,Force (N)", "5.1", {"column for read_on": "same as the pull day"}),
        ("Read,L*,a*,b*", "82,1,3", {"colour": "in place"}),
    ],
)
def test_14_a_month_of_reading_that_ends_a_dwell_is_early(
    headings: str, values: str, answers: dict[str, str], tmp_path: Path
) -> None:
    """A day of reading that is also that of the pull, or of a look in place, is counted early: no dwell is longer."""
    file = tmp_path / "months.csv"
    file.write_text(
        f"Coupon,Placed,{headings}\nAB-001,Mar-23,Feb-24,{values}\nAB-002,2 Mar 2023,14 Feb 2024,{values}\n"
    )
    found = understand(file, answers={"month only": "shortest dwell", **answers}, wide=True)
    assert cells(found, "placed_on") == ["2023-03-31", "2023-03-02"]
    assert cells(found, "read_on") == ["2024-02-01", "2024-02-14"]
    if "colour" not in answers:
        assert cells(found, "pulled_on") == ["2024-02-01", "2024-02-14"]
    assert said(found, "stand at their first day, for the shortest dwell")


@pytest.mark.parametrize(
    ("zone", "days"),
    [
        ("Europe/Paris", ["2025-03-30", "2025-03-30", "2025-10-26", "2025-10-26"]),
        ("America/New_York", ["2025-03-29", "2025-03-29", "2025-10-25", "2025-10-25"]),
        ("as written", ["2025-03-30", "2025-03-29", "2025-10-26", "2025-10-26"]),
    ],
)
def test_15_days_are_days_in_the_zone_of_the_study(zone: str, days: list[str]) -> None:
    """Times with offsets around both changes of the clocks."""
    assert asked(sheet("15-clocks")) == ["zone"]
    assert cells(sheet("15-clocks", zone=zone), "read_on") == days


@pytest.mark.parametrize("name", ["16-utf8-bom", "16-utf16", "16-utf16-no-mark", "16-windows-1252"])
def test_16_encodings_do_not_matter(name: str) -> None:
    """The same sheet in four encodings."""
    found = sheet(name)
    assert cells(found, "temperature_c") == ["21.5", "22"]
    assert forces(found) == ["5.1 N/25 mm", "5.2 N/25 mm"]
    assert cells(found, "note")[0] == "film of 3 µm"
    assert said(found, "not UTF-8") == (name != "16-utf8-bom")
    assert not found.problems


def test_16_both_micro_signs_are_one() -> None:
    """U+00B5 and U+03BC."""
    assert len({*cells(sheet("16-micro-signs"), "force_unit")[:2]}) == 1
    assert not sheet("16-micro-signs").problems


def test_17_the_table_is_found_between_preamble_and_statistics() -> None:
    """Header in row 14, a row of units, the header again, and Mean, SD, Max, n and a sentence below."""
    found = sheet("17-preamble")
    assert [(row.number, row.cells["coupon"]) for row in found.table.rows] == [
        (16, "AB-001"),
        (17, "AB-002"),
        (19, "AB-003"),
    ]
    assert forces(found) == ["5.1 N", "5.3 N", "4.9 N"]
    assert said(found, "Rows 21, 22, 23 and 24 hold statistics")
    assert said(found, "Row 25 below the table was passed over")
    assert said(found, "Row 18 repeats the header")


@pytest.mark.parametrize(
    "word",
    ["Mittel", "Mittelwert:", "Standardabweichung", "Moyenne", "écart-type", "Ecart type", "Media", "Promedio",
     "Deviazione standard", "Desviación estándar", "Gemiddelde", "Médiane", "Summe", "Stabw."],
)  # fmt: skip
def test_17_statistics_below_may_be_in_another_language(tmp_path: Path, word: str) -> None:
    """A word of statistics alone is no coupon; a mark that begins like one is."""
    path = tmp_path / "foot.csv"
    path.write_text(f"coupon,date,force (N)\nMedia-1,2025-03-01,5.1\nMITTEL2,2025-03-01,5.3\n{word},,5.2\n", "utf-8")
    found = understand(path)
    assert cells(found, "coupon") == ["Media-1", "MITTEL2"]
    assert said(found, "Row 4 holds statistics and no coupon")


def test_17_a_row_of_groups_above_the_header_names_the_looks(tmp_path: Path) -> None:
    """Before and after stand above L*, a*, b*, each once."""
    path = tmp_path / "groups.csv"
    path.write_text(
        ",,Before,,,After,,\nCoupon,Date,L*,a*,b*,L*,a*,b*\nAB-001,2025-03-01,90.1,-0.2,1.5,89.7,-0.1,1.9\n"
    )
    found = understand(path)
    assert (cells(found, "L_before"), cells(found, "b_after")) == (["90.1"], ["1.9"])
    assert not found.questions


def test_17_a_second_table_below_is_not_read_as_coupons(tmp_path: Path) -> None:
    """Another header further down: its rows are refused, not taken under the wrong headings."""
    path = tmp_path / "two.csv"
    path.write_text("Coupon,Date,Force (N)\nAB-001,2025-03-01,5.1\n\nSpecimen,Read on,Residue\nAB-001,2025-03-01,1\n")
    found = understand(path)
    assert [row.number for row in found.table.rows] == [2]
    assert wrong(found) == [(4, "Specimen")]


@pytest.mark.parametrize(("answer", "second"), [("yes", "Gel A"), ("no", "")])
def test_18_blocks_are_filled_down_only_when_confirmed(answer: str, second: str) -> None:
    """The adhesive's name stands on the first row of each block."""
    path = SHEETS / "18-blocks.csv"
    assert asked(understand(path, wide=True)) == ["fill down Adhesive"]
    found = understand(path, wide=True, answers={"fill down Adhesive": answer})
    assert cells(found, "adhesive")[:4] == ["Gel A", second, second, "Wax W"]
    assert found.layout.fill_down == {"Adhesive": answer}


def test_18_merged_cells_hidden_and_filtered_rows_of_a_workbook(book: Callable[..., Path]) -> None:
    """Even a measured column is asked about where its cells are merged; hidden rows are taken and said."""
    rows = [["Coupon", "Date", "Force (N)"], *[[f"AB-00{n}", "2025-03-01", 5 + n / 10] for n in range(1, 6)]]

    def change(made: Any, page: Any) -> None:
        page.merge_cells("C2:C3")
        page.row_dimensions[4].hidden = True
        page.auto_filter.ref = "A1:C6"
        page.auto_filter.add_filter_column(0, ["AB-001"])

    path = book(rows, change)
    found = understand(path)
    assert len(found.table.rows) == 5
    assert said(found, "Row 4 is hidden or filtered out in the workbook and was taken")
    assert asked(found) == ["fill down Force (N)"]
    assert cells(understand(path, answers={"fill down Force (N)": "yes"}), "removal_force")[1] == "5.1"


def test_18_among_several_sheets_the_person_chooses(book: Callable[..., Path]) -> None:
    """Two sheets of readings are asked about, a sheet of remarks is not."""

    def change(made: Any, page: Any) -> None:
        page.title = "March"
        made.create_sheet("About").append(["These are invented readings."])
        for row in (["Coupon", "Date", "Force (N)"], ["AB-009", "2025-04-01", 7]):
            made["April"].append(row) if "April" in made.sheetnames else made.create_sheet("April").append(row)

    path = book([["Coupon", "Date", "Force (N)"], ["AB-001", "2025-03-01", 5]], change)
    found = understand(path)
    assert found.questions[0].answers == ("March", "April")
    assert cells(understand(path, answers={"sheet": "April"}), "coupon") == ["AB-009"]


def test_19_spellings_are_tidied_and_near_marks_only_offered() -> None:
    """Width and dashes are made ordinary; O is not 0, and 17 is not AB-017."""
    assert cells(sheet("19-spellings"), "coupon") == ["AB-012", "ab013", "AB-014", "AB-015", "AB-O16", "17"]
    assert tidy_mark("AB–012") == tidy_mark("ab012 ") == tidy_mark("ＡＢ０１２") == tidy_mark("AB-012")
    assert tidy_mark("AB-O12") != tidy_mark("AB-012") != tidy_mark("12")
    assert near_marks("AB-O12", ["AB-012", "AB-412"]) == ["AB-012"]
    assert near_marks("12", ["AB-012", "AB-013"]) == ["AB-012"]


def test_19_a_mark_that_became_a_date_is_found_out(book: Callable[..., Path]) -> None:
    """3-4 was a coupon; the workbook made 3 April of it."""
    path = book([["Coupon", "Date", "Force (N)"], [datetime.datetime(2025, 4, 3), "2025-03-01", 5.1]])
    assert wrong(understand(path)) == [(2, "2025-04-03")]


def test_19_two_spellings_of_one_mark_are_the_same_coupon() -> None:
    """AB-012 and ab012 come twice; AB-O12 is another until somebody says so."""
    found = sheet("19-two-spellings-of-one")
    assert asked(found) == ["repeats"]
    assert "rows 2 and 3" in found.questions[0].what
    assert " 4" not in found.questions[0].what


@pytest.mark.parametrize(
    ("answer", "rows", "force", "words"),
    [
        ("repeat reading", [2, 3, 4], "5.6", "repeat reading of row 2"),
        ("second dot", [2, 3, 4], "5.6", "second dot of row 2"),
        ("correction", [3, 4], "5.6", "corrects row 2 (Force (N) 5.1 and 5.6)"),
        ("duplicate", [2, 3], "4.0", ""),
    ],
)
def test_20_a_coupon_that_comes_twice_is_asked_about(answer: str, rows: list[int], force: str, words: str) -> None:
    """Both stay until it is said what the second is."""
    found = sheet("20-twice")
    assert asked(found) == ["repeats"]
    assert len(found.table.rows) == 3
    answered = sheet("20-twice", repeats=answer)
    assert [row.number for row in answered.table.rows] == rows
    assert cells(answered, "removal_force")[-1] == force
    assert answered.table.rows[-1].cells.get("note", "") == words
    if answer == "correction":
        assert cells(answered, "residue_grade")[-1] == "1"  # what the correction leaves blank stands


def test_20_an_identical_row_is_a_copy() -> None:
    """Every cell the same: left out, and said."""
    found = sheet("20-copies")
    assert [row.number for row in found.table.rows] == [2, 3]
    assert said(found, "row 4")
    assert not found.questions


def test_20_rows_that_complete_each_other_are_no_repeats() -> None:
    """Force on one day, residue a week later."""
    assert not sheet("20-complete-each-other").questions


def test_21_the_same_bytes_are_known_again(tmp_path: Path) -> None:
    """Another name has the same digest, one more space has not."""
    raw = (SHEETS / "20-twice.csv").read_bytes()
    (tmp_path / "renamed.csv").write_bytes(raw)
    (tmp_path / "changed.csv").write_bytes(raw + b" ")
    first, same, other = (
        understand(path) for path in (SHEETS / "20-twice.csv", tmp_path / "renamed.csv", tmp_path / "changed.csv")
    )
    assert first.sha256 == same.sha256 == first.table.digest != other.sha256


def test_22_spreadsheet_errors_are_missing_and_odd_numbers_are_numbers() -> None:
    """#N/A and #DIV/0! with their reason; 1E+02, 1.2E3, +5.1 and '5.1 as numbers."""
    found = sheet("22-errors")
    assert cells(found, "removal_force") == ["", "", "100", "1200", "5.1", "5.1", ""]
    assert "#DIV/0!" in cells(found, "note")[1]
    assert said(found, "no value in row 2 (spreadsheet error #N/A)")
    assert not found.problems


def test_22_errors_and_dashes_are_no_names(tmp_path: Path) -> None:
    """In columns of words too."""
    path = tmp_path / "words.csv"
    path.write_text(
        "Coupon,Date,Force (N),Operator,Gauge\nAB-001,2025-03-01,5.1,-,#N/A\nAB-002,2025-03-01,5.2,Q. V.,G1\n"
    )
    found = understand(path)
    assert (cells(found, "read_by"), cells(found, "instrument")) == (["", "Q. V."], ["", "G1"])


def test_25_lengths_and_loads_in_other_units_are_converted(tmp_path: Path) -> None:
    """Dots of 0.8 cm under 200 g; whether that is plausible is for the caller."""
    path = tmp_path / "dots.csv"
    path.write_text("Coupon,Date,Dot diameter (cm),Dwell load (gf)\nAB-001,2025-03-01,0.8,200\n")
    found = understand(path, wide=True)
    assert (cells(found, "dot_diameter_mm"), cells(found, "dwell_load_n")) == (["8"], ["1.96133"])
    assert said(found, "cm × 10 = mm")


@pytest.mark.parametrize(("answer", "area"), [("fractions", ["60", "100", "0"]), ("percent", ["0.6", "1", "0"])])
def test_25_percents_that_a_workbook_keeps_as_fractions_are_asked_about(
    book: Callable[..., Path], answer: str, area: list[str]
) -> None:
    """60 % lies in the cell as 0.6."""
    rows = [[f"AB-00{n}", "2025-03-01", share] for n, share in enumerate((0.6, 1, 0))]
    path = book([["Coupon", "Date", "Residue area %"], *rows])
    assert asked(understand(path)) == ["percent scale"]
    assert cells(understand(path, answers={"percent scale": answer}), "residue_area_percent") == area


def test_26_colours_are_taken_by_heading_checked_and_what_is_mixed_is_said() -> None:
    """L, b, a order; L* of 102.3; D50/2° among D65/10°."""
    found = sheet("26-order-l-b-a")
    assert cells(found, "b_after")[0] == "1.5"
    assert said(found, "do not stand in the order L*, a*, b*")
    assert wrong(found) == [(3, "102.3"), (4, "-180")]
    assert said(found, "D65/10° and D50/2°")
    assert cells(found, "observer_deg") == ["10", "2", "10"]


def test_26_bare_letters_and_zeros_are_asked_about() -> None:
    """Which look it is, and whether a* and b* were measured at all."""
    assert asked(sheet("26-bare-and-zero")) == ["colour", "colour zeros"]
    found = sheet("26-bare-and-zero", colour="before placing", colour_zeros="not measured")
    assert not found.questions
    assert cells(found, "L_before") == ["", "", ""]
    assert cells(sheet("26-bare-and-zero", colour="in place", colour_zeros="as measured"), "L_look")[0] == "90.1"


def test_26_several_readings_of_one_spot_stay_several(tmp_path: Path) -> None:
    """Three readings in each cell, with decimal commas; aids and flags in the words of the trade."""
    path = tmp_path / "spots.csv"
    path.write_text(
        "Coupon;Date;L after;a after;b after;Residue (0 = clean);Aids;Flags;Geometry\n"
        "AB-001;2025-03-01;82,1 82,3;1,0 1,1;2,5 2,6;0;hand lens and UV;ghost, stain;d/8\n"
        "AB-002;2025-03-01;82,2;1,0;2,5;1;naked eye;;d/8\n"
    )
    found = understand(path)
    assert cells(found, "L_after") == ["82.1; 82.3", "82.2"]
    assert cells(found, "residue_aids") == ["10x, UV-A", "bare eye"]
    assert cells(found, "residue_flags") == ["stain ghost", ""]
    assert cells(found, "geometry") == ["d/8", "d/8"]
    assert not found.problems


def test_27_failure_words_are_mapped_and_the_rest_is_asked() -> None:
    """Shares that make 90 are refused, AF/CF asks for shares, words of ASTM D5573 are placed by what breaks."""
    found = sheet("27-failure-words")
    assert cells(found, "failure_pattern") == [
        "", "", "AF", "", "DF 40; CSF 60", "SCF", "AF 60 object; CF 40 mount", "released by itself",
        "no release within the limit", "CF",
    ]  # fmt: skip
    assert wrong(found) == [(2, "AF 60 CF 30")]
    assert "add up to 90 %" in found.problems[0].what
    assert asked(found) == ["failure AF/CF", "failure went with a sigh"]
    answers = {"failure AF/CF": "AF 70 CF 30", "failure went with a sigh": "AF"}
    answered = understand(SHEETS / "27-failure-words.csv", answers=answers)
    assert cells(answered, "failure_pattern")[1:4] == ["AF 70; CF 30", "AF", "AF"]
    again = understand(SHEETS / "27-failure-words.csv", layout=answered.layout)
    assert cells(again, "failure_pattern") == cells(answered, "failure_pattern")
    assert not again.questions


def test_30_texts_stay_texts_and_numbers_numbers() -> None:
    """Formula-looking text, quotes and line breaks, 40 000 characters, a picture sign, right-to-left names."""
    found = sheet("30-texts")
    assert cells(found, "removal_force")[0] == "-0.5"
    notes = cells(found, "note")
    assert notes[:2] == ["=1+1 typed by hand", '@home, "quoted"\nand a second line']
    assert len(notes[2]) == 40_000
    assert notes[3:] == ["🧲 stuck", "קראה מרים", "IMG_001.jpg", "+ a note"]


def test_31_numbers_of_a_gauge_are_no_coupons() -> None:
    """1, 2, 3, … is asked about and the sequence never guessed."""
    found = sheet("31-gauge-memory")
    assert asked(found) == ["column No", "coupon numbers"]
    answered = sheet("31-gauge-memory", column_No="coupon", coupon_numbers="numbers of the gauge")
    assert "places in the memory of a gauge" in answered.problems[0].what
    assert not sheet("31-gauge-memory", column_No="coupon", coupon_numbers="marks of coupons").problems


def test_32_initials_are_said_and_shared_ones_asked_about() -> None:
    """Two invented people behind QV."""
    path = SHEETS / "32-initials.csv"
    assert said(understand(path), "initials (QV) that two people may share")
    layout = Layout(people={"QV": "Quill Vane; Quentin Vole"})
    assert asked(understand(path, layout=layout)) == ["initials QV"]
    found = understand(path, layout=layout, answers={"initials QV": "Quentin Vole"})
    assert cells(found, "read_by") == ["Quentin Vole"] * 2


def test_33_a_pull_read_in_two_sessions_is_fine() -> None:
    """24 months, a week apart."""
    found = understand(SHEETS / "33-two-sessions.csv", wide=True)
    assert cells(found, "pull") == ["24 mo"] * 3
    assert not found.questions
    assert not found.problems


def test_35_names_are_handed_on_as_they_are() -> None:
    """A lot nobody registered is neither replaced nor left out; the caller looks for its evidence."""
    found = understand(SHEETS / "35-no-study.csv", wide=True)
    assert (cells(found, "adhesive"), cells(found, "lot")) == (["Gel A"], ["unheard-of"])
    narrow = understand(SHEETS / "35-no-study.csv")
    assert "lot" not in narrow.table.columns
    assert said(narrow, "belong to a whole study")


def test_a_remembered_layout_needs_no_questions() -> None:
    """Every answer of a sheet, kept as text, serves the next one."""
    answers = {"decimal mark": "decimal comma"}
    first = understand(SHEETS / "01-one-ambiguous.csv", answers=answers)
    kept = Layout.model_validate_json(first.layout.text())
    assert kept == first.layout
    assert not understand(SHEETS / "01-one-ambiguous.csv", layout=kept).questions


def test_headings_are_guessed_and_doubtful_ones_offered(tmp_path: Path) -> None:
    """A slip in a heading is asked about before it is believed."""
    guesses = columns_guess(["Coupn", "Date", "Peel force [N/25mm]", "L* after", "Colour of the moon"])
    assert guesses == {
        "Coupn": "coupon", "Date": "read_on", "Peel force [N/25mm]": "removal_force", "L* after": "L_after",
    }  # fmt: skip
    path = tmp_path / "slip.csv"
    path.write_text("Coupn,Date,Removal forse (N)\nAB-001,2025-03-01,5.1\n")
    found = understand(path)
    assert asked(found) == ["column Coupn", "column Removal forse (N)"]
    answers = {"column Coupn": "coupon", "column Removal forse (N)": "leave out"}
    assert understand(path, answers=answers).table.columns == ("coupon", "read_on")


def test_what_is_needed_and_missing_is_asked_for(tmp_path: Path) -> None:
    """Without a day or a coupon the person names the column, or types the day."""
    path = tmp_path / "bare.csv"
    path.write_text("Thing,Force (N)\nAB-001,5.1\nAB-002,5.2\n")
    assert asked(understand(path)) == ["column for coupon", "column for read_on"]
    found = understand(path, answers={"column for coupon": "Thing", "column for read_on": "2025-03-01"})
    assert [tuple(row.cells.values()) for row in found.table.rows] == [
        ("AB-001", "2025-03-01", "5.1", "N"), ("AB-002", "2025-03-01", "5.2", "N"),
    ]  # fmt: skip
    assert not found.questions


@pytest.mark.parametrize(
    "raw", [b"", b"\n\n", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1rest", b"\x00\x01\x02", b"PK\x03\x04junk"]
)
def test_what_is_no_sheet_is_refused(tmp_path: Path, raw: bytes) -> None:
    """Empty, an old or locked workbook, bytes, a broken archive."""
    path = tmp_path / "none.csv"
    path.write_bytes(raw)
    with pytest.raises(FileRefused):
        understand(path)
