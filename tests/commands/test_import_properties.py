"""Any file that is handed to an import, on its whole way into a study: shown, asked about or refused, never a crash."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from study.commands.pull import record_pulls
from study.commands.read_import import import_file, preview
from study.commands.read_whole import preview_whole
from study.errors import DwellbookError
from study.model.person import Signature
from study.store.coupons import fetch_coupons
from study.store.readings import fetch_in_force
from study.store.study_file import StudyFile

ANY_FILE = settings(max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
HEADINGS = (
    "coupon", "read_on", "removal_force", "Specimen", "Date", "Force (N)", "Residue", "Failure mode", "Side", "Unit",
    "Flags", "Gauge", "Operator", "L*", "a*", "b*", "Residue area (%)", "Adhesive", "Tile", "Stored in", "Stuck down",
    "Taken off", "How it came off", "Planned (weeks)", "Rückstand", "Seite", "Tilt", "", "Note",
    "Force 3 mo (N)", "Force 12 mo (N)", "L* 3 mo", "L* 2025-04-16", "Date 3 mo",
)  # fmt: skip
CELLS = (
    "", "2025-04-16", "16/04/2025", "45763", "May-25", "5.1", "5,1", "1,234", "1.234,5", ">50", "OL", "n.d.", "-",
    "leicht", "kaputt", "4?", "3-4", "AF", "AF Objekt", "AF 60 Sockelbrett; CF 40", "A 60 / K 40", "AF/CF", "object",
    "Objektteil", "Fleck", "kp", "Klafter", "0.52 Klafter", "blue gauge", "QV", "D65/10", "12 %", "fell off", "0",
    "13", "9 months", "'=1", "x" * 300, "\r", "\u200f", "#N/A",
)  # fmt: skip


@pytest.fixture
def dots(study: StudyFile, signature: Signature) -> list[str]:
    """Coupons of the dot test, all pulled."""
    codes = [coupon.code for coupon in fetch_coupons(study).values() if coupon.test == "pull-off-dot"]
    record_pulls(study, codes, kind="pulled", on=date(2025, 4, 15), signature=signature)
    return codes


FITTING = {
    "Force (N)": ("5.1", "5,2", "4 N", "0.5 kgf", "0.52 Klafter", ">50", "OL", "bdl", "kaputt", "", "-", "1,234"),
    "Residue": ("0", "1", "3-4", "4?", "leicht", "", "n/a"),
    "Failure mode": ("AF object", "AF", "AF Objektteil", "A 60 / K 40", "AF/CF", "glue on top", ""),
    "Side": ("object", "Sockelbrett", ""),
    "Flags": ("stain", "Fleck", ""),
    "Residue area (%)": ("10", "0.5", ""),
    "Gauge": ("blue gauge", ""),
    "Operator": ("QV", "Q. Vole", ""),
    "Note": ("=1", "x", ""),
}
"""Cells that a person may have typed under a heading, so that some tables are taken in the end."""


@st.composite
def likely_tables(draw: st.DrawFn) -> tuple[list[str], list[list[str]]]:
    """A day and some columns of readings, with what may stand in them."""
    names = draw(st.lists(st.sampled_from(sorted(FITTING)), min_size=1, max_size=5, unique=True))
    day = draw(st.sampled_from(("2025-04-16", "16/04/2025", "17.04.2025", "45763")))
    rows = draw(st.lists(st.tuples(*(st.sampled_from(FITTING[name]) for name in names)), min_size=1, max_size=6))
    return ["Date", *names], [[day, *row] for row in rows]


any_tables = st.tuples(
    st.lists(st.sampled_from(HEADINGS), min_size=1, max_size=9),
    st.lists(st.lists(st.sampled_from(CELLS), max_size=9), min_size=1, max_size=6),
)


def shown(study: StudyFile, path: Path, signature: Signature, answers: dict[str, str]) -> bool:
    """Whether both previews end in a picture or in a sentence, and nothing is written by them."""
    before = study.last_change()
    sound = True
    for look in (preview, preview_whole):
        try:
            found = look(study, path, answers=answers, signature=signature)
            sound &= all(question.answers for question in found.questions)
        except DwellbookError as refused:
            sound &= bool(refused.what)
    return sound and study.last_change() == before


@ANY_FILE
@given(
    st.lists(st.sampled_from([b"\r", b"\n", b"\x00", b'"', b",", b";", b"coupon", b"\xff"]) | st.binary(max_size=30)),
    st.sampled_from([b"", b"\xef\xbb\xbf", b"PK\x03\x04", b"coupon,read_on", b"coupon;read_on\r"]),
    st.sampled_from(["sheet.csv", "sheet.xlsx"]),
)
def test_any_bytes(
    study: StudyFile, tmp_path: Path, signature: Signature, parts: list[bytes], start: bytes, name: str
) -> None:
    """Line ends of every make, bytes of no text, a header in our own columns or none."""
    path = tmp_path / name
    path.write_bytes(start + b"".join(parts))
    assert shown(study, path, signature, {})


@ANY_FILE
@given(any_tables | likely_tables(), st.sampled_from(",;\t"), st.booleans(), st.integers(0, 5))
def test_any_table_and_every_question_answered(
    study: StudyFile, dots: list[str], tmp_path: Path, signature: Signature, made: tuple[list[str], list[list[str]]],
    separator: str, own: bool, which: int,
) -> None:  # fmt: skip
    """Whatever is asked, one of its own answers never leads to a crash, and in the end it is taken whole or refused."""
    (headings, rows), codes = made, dots
    out = io.StringIO(newline="")
    table = [[codes[place % 6] if own else "", *row] for place, row in enumerate(rows)]
    csv.writer(out, delimiter=separator).writerows([["Specimen" if own else "", *headings], *table])
    path = tmp_path / "sheet.csv"
    path.write_bytes(out.getvalue().encode())
    answers: dict[str, str] = {}
    assert shown(study, path, signature, answers)
    for _ in range(6):
        try:
            asked = preview(study, path, answers=answers, signature=signature).questions
        except DwellbookError:
            return
        if not asked:
            break
        said = {question.key: question.answers[which % len(question.answers)] for question in asked}
        answers |= {key: "50 N" if answer == "a number" else answer for key, answer in said.items()}
    before = study.last_change()
    try:
        with study.writing():
            done = import_file(study, path, answers=answers, signature=signature)
            assert study.last_change() == before + 1
            assert sum(len(fetch_in_force(study, code)) for code in codes) == len(done.readings)
            raise _TurnedBack
    except (DwellbookError, _TurnedBack):
        assert study.last_change() == before


class _TurnedBack(Exception):
    pass
