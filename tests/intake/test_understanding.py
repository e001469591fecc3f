"""Understanding: whatever lies in a file, a person gets a table with questions or a sentence, in little memory."""

from __future__ import annotations

import csv
import io
import tracemalloc
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.errors import FileRefused, Unanswered
from study.intake import sheet_source, workbook_file
from study.intake.table_file import parse_table
from study.intake.understanding import Understood, understand
from study.model.layout import READING_COLUMNS, STUDY_COLUMNS, Layout

ANY_FILE = settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
HEADINGS = [
    "coupon", "Coupon", "Date", "Force (N)", "Peel [N/25mm]", "Residue", "Failure mode", "Side", "L*", "a*", "b*",
    "L after",    "Flags", "Aids", "Temp", "RH", "Operator", "Comment", "Unit", "Adhesive", "Date placed", "Stain", "",
    "Residue area %",    "Illuminant", "Observer", "SCI/SCE", "Hold angle", "No", *READING_COLUMNS, *STUDY_COLUMNS,
]  # fmt: skip
CELLS = [
    "", "-", "n/a", "0", "5.1", "3,47", "1,234", "1.234,5", "1 234,5", ">50", "OL", "-----", "bdl", "n.d.", "3-4",
    "3.5", "4?", "AF", "AF/CF", "AF 60 CF 40", "AF 60 CF 30", "released before test", "#N/A", "1E+02", "1e999",
    "-0", "'5.1", "45352",
    "03/04/2025", "13/04/2025", "04/15/2025", "2025-02-30", "0000-00-00", "99999999", "Feb-24", "31 Feb 2024", "1/2/24",
    "2025-03-30T00:30:00+01:00", "2025-03-30T99:99Z", "0001-01-01T00:00:00+23:59", "object", "AB-012", "D65/10°", "12°",
    "5.1 N", "0.52kgf", "5 blob", "½", "²", "١٢٣", "１２３", "\u202e5.1", "Mean", "SD", "stain ghost", "=1+1", "yes",
    "x" * 200,
]  # fmt: skip
PIECES = [b"", b"<", b"&lol;", b'r="ZZZ99999999"', b"\xff", b'"1"', b"</row>", b"0", b"e9"]
ANSWERS = st.dictionaries(
    st.sampled_from(["decimal mark", "residue scale", "gauge capacity", "repeats", "colour", "month only", "zone",
                     "date system", "column for coupon", "column for read_on",
                     "force unit", "failure AF/CF", "detection limit"]),
    st.sampled_from(["decimal comma", "0 to 5, 5 is clean", "50 N", "correction", "in place", "last day", "UTC", "1904",
                     "Comment", "2025-01-01", "kgf", "AF 50 CF 50", "nonsense", "-1", "Europe/Paris", ""]),
    max_size=6,
)  # fmt: skip


def outcome(path: Path, **asked: object) -> Understood | FileRefused | Unanswered:
    """What a person gets; any other exception is an error of ours."""
    try:
        found = understand(path, **asked)  # type: ignore[arg-type]
    except (FileRefused, Unanswered) as refusal:
        return refusal
    for row in found.table.rows:
        assert tuple(row.cells) == found.table.columns
    assert Layout.model_validate_json(found.layout.text()) == found.layout
    assert len({question.key for question in found.questions}) == len(found.questions)
    assert all(question.answers for question in found.questions)
    assert all(problem.do and problem.what for problem in found.problems)
    return found


@ANY_FILE
@given(
    st.binary(max_size=400), st.sampled_from([b"", b"\xef\xbb\xbf", b"\xff\xfe", b"PK\x03\x04", b"coupon,read_on\n"])
)
def test_any_bytes_are_understood_or_refused(tmp_path: Path, content: bytes, start: bytes) -> None:
    """As a text file and as a workbook."""
    for name in ("sheet.csv", "sheet.xlsx"):
        path = tmp_path / name
        path.write_bytes(start + content)
        assert outcome(path)


@ANY_FILE
@given(st.text(max_size=300), st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]))
def test_any_text_is_understood_or_refused(tmp_path: Path, content: str, encoding: str) -> None:
    """Letters of every script and signs of every kind."""
    path = tmp_path / "sheet.csv"
    path.write_bytes(content.encode(encoding, errors="ignore"))
    assert outcome(path)


@settings(ANY_FILE, max_examples=300)
@given(
    st.lists(st.sampled_from(HEADINGS) | st.text(max_size=12), min_size=1, max_size=9),
    st.lists(st.lists(st.sampled_from(CELLS) | st.text(max_size=12), max_size=9), max_size=12),
    st.sampled_from(",;\t|"),
    ANSWERS,
    st.booleans(),
)
def test_any_table_is_understood_or_refused(
    tmp_path: Path, headings: list[str], rows: list[list[str]], separator: str, answers: dict[str, str], wide: bool
) -> None:
    """Tables of everything that laboratories write, with answers that fit and answers that do not."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator).writerows([headings, *rows])
    path = tmp_path / "sheet.csv"
    path.write_bytes(out.getvalue().encode("utf-8", errors="ignore"))
    first = outcome(path, answers=answers, wide=wide)
    if isinstance(first, Understood):
        again = outcome(path, answers=answers, wide=wide, layout=first.layout)
        assert isinstance(again, Understood)
        # What was remembered is never asked again; it may open what comes after it.
        assert len(again.questions) <= len(first.questions) + 3


@pytest.fixture(scope="module")
def sound_book() -> bytes:
    """A workbook as laboratories have it: dates, merged cells, a hidden row, a filter."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Coupon", "Date", "Force (N)"], ["AB-001", "2025-03-01", 5.1], ["AB-002", "2025-03-01", None]):
        sheet.append(row)
    sheet.merge_cells("C2:C3")
    sheet.row_dimensions[3].hidden = True
    sheet.auto_filter.ref = "A1:C3"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@settings(ANY_FILE, max_examples=100)
@given(st.lists(st.tuples(st.integers(0, 20_000), st.integers(0, 255)), min_size=1, max_size=8))
def test_a_damaged_workbook_is_understood_or_refused(
    tmp_path: Path, sound_book: bytes, damage: list[tuple[int, int]]
) -> None:
    """Bytes changed anywhere in the archive."""
    raw = bytearray(sound_book)
    for place, value in damage:
        raw[place % len(raw)] = value
    path = tmp_path / "book.xlsx"
    path.write_bytes(bytes(raw))
    assert outcome(path)


@settings(ANY_FILE, max_examples=100)
@given(st.data())
def test_a_workbook_with_a_damaged_part_is_understood_or_refused(
    tmp_path: Path, sound_book: bytes, data: st.DataObject
) -> None:
    """Text changed inside the parts, so that the archive is sound and its content is not."""
    path = tmp_path / "book.xlsx"
    with zipfile.ZipFile(io.BytesIO(sound_book)) as old, zipfile.ZipFile(path, "w") as new:
        hurt = data.draw(st.sampled_from(old.namelist()))
        for name in old.namelist():
            part = old.read(name)
            if name == hurt:
                at = data.draw(st.integers(0, len(part)))
                piece = data.draw(
                    st.sampled_from([b"", b"<", b"&lol;", b'r="ZZZ99999999"', b"\xff", b'"1"', b"</row>", b"0", b"e9"])
                )
                part = part[:at] + piece + part[at + data.draw(st.integers(0, 12)) :]
            new.writestr(name, part)
    assert outcome(path)


def test_our_own_template_is_understood_as_it_is() -> None:
    """Every sheet of readings of the demonstration gives the same cells as the strict reader, with nothing to ask."""
    for path in sorted((Path(__file__).parents[2] / "demo_data").glob("readings-*.csv")):
        strict = parse_table(path, required=("coupon", "read_on"), others=True)
        found = outcome(path)
        assert isinstance(found, Understood)
        assert (found.questions, found.problems) == ((), ()), path.name
        kept = [{column: cell for column, cell in row.cells.items() if cell} for row in found.table.rows]
        assert kept == [{c: cell for c, cell in row.cells.items() if cell} for row in strict.rows], path.name


def _book_of(path: Path, sheet_data: str, sound: bytes) -> Path:
    with zipfile.ZipFile(io.BytesIO(sound)) as old, zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                part = (
                    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
                    f"{sheet_data}</sheetData></worksheet>"
                ).encode()
            new.writestr(name, part)
    return path


@pytest.mark.parametrize(
    "sheet_data",
    [
        '<row r="1"><c r="XFD1" t="str"><v>coupon</v></c></row>' * 2,
        '<row r="999999999"><c r="A999999999"><v>1</v></c></row>',
        '<row r="1"><c r="A1" t="str"><v>coupon</v></c></row><row r="4000000000"><c r="B4000000000"><v>1</v></c></row>',
    ],
    ids=["far right", "far down", "farther down"],
)
def test_cells_far_away_do_not_fill_the_memory(
    tmp_path: Path, sound_book: bytes, monkeypatch: pytest.MonkeyPatch, sheet_data: str
) -> None:
    """A small workbook that claims a huge extent is refused, not unrolled."""
    monkeypatch.setattr(workbook_file, "MOST_ROWS", 100_000)  # a tenth of the real limit, for the sake of time
    path = _book_of(tmp_path / "far.xlsx", sheet_data, sound_book)
    tracemalloc.start()
    try:
        assert isinstance(outcome(path), FileRefused)
        assert tracemalloc.get_traced_memory()[1] < 20_000_000
    finally:
        tracemalloc.stop()


def test_a_table_of_too_many_cells_is_refused(
    tmp_path: Path, sound_book: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In text and in workbooks, before they are held."""
    monkeypatch.setattr(sheet_source, "_MOST_CELLS", 100)
    monkeypatch.setattr(workbook_file, "MOST_CELLS", 5)
    text = tmp_path / "many.csv"
    text.write_text("coupon,read_on\n" + "AB-001,2025-03-01\n" * 60)
    book = tmp_path / "book.xlsx"
    book.write_bytes(sound_book)
    for path in (text, book):
        with pytest.raises(FileRefused, match="cells"):
            understand(path)


@pytest.mark.parametrize(
    "cell",
    [
        "a" + " " * 60_000 + "b",
        "1" * 60_000,
        "-" * 60_000,
        "1," * 30_000,
        "AF 60 " * 10_000,
        "<" * 60_000,
        "T1:00 " * 9_000,
    ],
    ids=["blanks", "digits", "dashes", "commas", "shares", "signs", "times"],
)
def test_long_cells_do_not_hold_anybody_up(tmp_path: Path, cell: str) -> None:
    """Sixty thousand characters in every kind of column are a problem each; a search that runs wild would hang here."""
    path = tmp_path / "long.csv"
    out = io.StringIO(newline="")
    columns = [*READING_COLUMNS, *STUDY_COLUMNS]
    csv.writer(out).writerows([columns, *[[cell] * len(columns)] * 3])
    path.write_text(out.getvalue(), encoding="utf-8", newline="")
    found = outcome(path, wide=True)
    assert isinstance(found, Understood)
    assert found.problems


def test_ten_thousand_rows_take_no_more_than_their_share_of_memory(tmp_path: Path) -> None:
    """A tenth of the largest usual sheet stays below a tenth of 500 MB; times are measured by hand."""
    path = tmp_path / "long.csv"
    rows = "".join(
        f"AB-{n:06},{n % 28 + 1:02}/05/2025,{n % 97 / 7:.3f},AF,object,{n % 4},{60 + n % 30}.5,ok\n"
        for n in range(10_000)
    )
    path.write_text("Coupon,Date,Force (N),Failure mode,Side,Residue (0 = clean),Temp,Comment\n" + rows)
    tracemalloc.start()
    try:
        found = understand(path)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(found.table.rows) == 10_000
    assert not found.questions
    assert peak < 50_000_000
