"""Workbooks: an archive that unpacks to far more than it weighs is refused before anything unpacks it."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from study.errors import FileRefused
from study.intake import workbook_file
from study.intake.workbook_file import workbook_lines


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    """A sound workbook of two rows."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["dwell", "ok"])
    sheet.append([91, "yes"])
    path = tmp_path / "table.xlsx"
    book.save(path)
    return path


@pytest.fixture
def unopened(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing may unpack the archive."""

    def refuse(*_: Any, **__: Any) -> Any:
        raise AssertionError("the workbook was unpacked")

    monkeypatch.setattr(openpyxl, "load_workbook", refuse)


def swell(path: Path, *, entries: int = 1, each_bytes: int = 0) -> None:
    """Add entries of nothing but blanks, which weigh next to nothing packed."""
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        for number in range(entries):
            archive.writestr(f"xl/more{number}.xml", b" " * each_bytes)


def test_a_sound_workbook_is_read(workbook: Path) -> None:
    """The same file before it is swollen gives its rows."""
    assert workbook_lines(workbook, workbook.read_bytes()) == [["dwell", "ok"], ["91", "yes"]]


@pytest.mark.usefixtures("unopened")
@pytest.mark.parametrize("asked", [{"each_bytes": 40_000_000}, {"entries": 2001}])
def test_a_swollen_workbook_is_refused_unopened(workbook: Path, asked: dict[str, int]) -> None:
    """Forty megabytes of blanks in a file of forty kilobytes, or thousands of parts, are no table."""
    swell(workbook, **asked)
    assert workbook.stat().st_size < 400_000
    with pytest.raises(FileRefused, match="unpacks to far more than a table needs"):
        workbook_lines(workbook, workbook.read_bytes())


@pytest.mark.usefixtures("unopened")
def test_size_alone_is_enough(workbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that weighs enough for its ratio is still refused where it unpacks to more than the largest table."""
    monkeypatch.setattr(workbook_file, "LARGEST_UNPACKED_BYTES", 10_000)
    swell(workbook, each_bytes=9_000)
    with pytest.raises(FileRefused, match="unpacks"):
        workbook_lines(workbook, workbook.read_bytes())


@pytest.mark.usefixtures("unopened")
@pytest.mark.parametrize(
    "part", [b"<a><!--%s--></a>", b"<a>%s</a>", b"<a><![CDATA[%s]]></a>", b"<!DOCTYPE a [%s]><a/>"]
)
def test_a_part_that_would_keep_the_parser_busy_is_refused_unopened(
    workbook: Path, monkeypatch: pytest.MonkeyPatch, part: bytes
) -> None:
    """A comment or text of megabytes takes the parser time that grows with its square; sheets of cells have none."""
    monkeypatch.setattr(workbook_file, "LONGEST_MARK_BYTES", 20_000)
    with zipfile.ZipFile(workbook, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet2.xml", part % (bytes(range(97, 123)) * 1000))
    with pytest.raises(FileRefused, match="holds a part that no spreadsheet writes"):
        workbook_lines(workbook, workbook.read_bytes())


def test_a_large_part_of_many_cells_is_no_such_part(workbook: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Size alone is nothing: a sheet is full of marks."""
    monkeypatch.setattr(workbook_file, "LONGEST_MARK_BYTES", 2_000)
    with zipfile.ZipFile(workbook, "a", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/extra.xml", b"<a>" + b"<c>12</c>" * 1000 + b"</a>")
    assert workbook_lines(workbook, workbook.read_bytes())[0] == ["dwell", "ok"]


def test_the_command_line_refuses_it(workbook: Path) -> None:
    """`analyse table` ends with status 2, one sentence, and nothing on standard output."""
    swell(workbook, each_bytes=40_000_000)
    asked = ["analyse", "table", str(workbook), "--dwell", "dwell", "--acceptable", "ok", "--json"]
    command = [sys.executable, "-c", "from study.cli.main import run; run()", *asked]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stdout) == (2, "")
    assert "unpacks to far more than a table needs" in done.stderr
