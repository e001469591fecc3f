"""Keep: what was tampered with is named by the command, and files leave the house without their places."""

from __future__ import annotations

import csv
import io
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from PIL import Image
from typer.testing import CliRunner

from study.cli.main import app
from study.commands.opening import open_study
from study.commands.read_attachments import NewFile, attach_files
from study.commands.register import change_status, withdraw_lot
from study.commands.register_instruments import record_calibration, register_instrument
from study.model.person import Signature
from study.model.reading import Reading
from study.store.coupons import fetch_codes
from study.store.readings import save_readings

runner = CliRunner()


def dwellbook(*arguments: str, study: Path, status: int = 0) -> str:
    """Output of one command on a study."""
    done = runner.invoke(app, [*arguments, "--study", str(study)], env={"DWELLBOOK_BY": "R. Vale"})
    if done.exception and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == status, done.output
    return " ".join(done.output.split())


def photo(shade: int, *, place: bool = True) -> bytes:
    """An invented grey picture, with a place in it unless it has none."""
    exif = Image.Exif()
    exif[0x0132] = "2025:04:15 10:00:00"
    if place:
        exif.get_ifd(0x8825)[1] = "N"
    out = io.BytesIO()
    Image.new("RGB", (64, 48), (shade, shade, shade)).save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture
def kept(study_path: Path, signature: Signature) -> Path:
    """The small study with a reading, files, a gauge, a discontinued adhesive and a withdrawn lot."""
    day = signature.at.date()
    with open_study(study_path) as study:
        code = fetch_codes(study)[0]
        reading = Reading(code, "residue_grade", day, "1", "grade", 1, 1)
        with study.change(signature, act="enter reading", subject=code) as change:
            save_readings(study, [reading], change=change)
        files = [NewFile("IMG 1.jpg", photo(90)), NewFile("IMG 1.JPEG", photo(80)), NewFile("img_1.txt", b"seen")]
        attach_files(study, code, files, kind="residue_grade", signature=signature)
        cells = {"instrument": "gauge-1", "name": "hand gauge", "measures": "force"}
        register_instrument(study, cells, signature=signature)
        days = {"instrument": "gauge-1", "calibrated_on": "2025-02-01", "valid_until": "2026-01-31"}
        record_calibration(study, days, signature=signature)
        change_status(study, "gel-a", status="discontinued", on=day, signature=signature)
        withdraw_lot(study, "A-1", on=day, signature=signature)
    return study_path


def tamper(path: Path, *statements: str) -> None:
    """What somebody with an SQLite tool can do: every guard taken away first."""
    with closing(sqlite3.connect(path)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        connection.commit()


def test_an_untouched_study_verifies(kept: Path) -> None:
    """Status 0, what was looked at, and the head."""
    said = dwellbook("keep", "verify", study=kept)
    assert "1 readings, 3 files: all as it was written" in said
    assert "Head: change" in said


@pytest.mark.parametrize(("statement", "words"), [
    ("UPDATE readings SET typed = '0'", "enter reading: "),
    ("UPDATE readings SET details = '{\"note\": \"x\"}'", "enter reading: "),
    ("DELETE FROM readings", "enter reading: "),
    ("UPDATE changes SET by = 'M. Quill' WHERE act = 'enter reading'", "by M. Quill"),
    ("UPDATE changes SET why = 'Other.' WHERE act = 'withdraw lot'", "withdraw lot: A-1"),
    ("UPDATE files SET content = x'41' WHERE media_type = 'text/plain'", "bytes are not those"),
    ("UPDATE files SET bytes = 5 WHERE media_type = 'text/plain'", "has 4 bytes and is said to have 5"),
    ("UPDATE files SET thumbnail = x'41' WHERE thumbnail IS NOT NULL", "attach files: "),
    ("UPDATE files SET media_type = 'text/html' WHERE media_type = 'text/plain'", "attach files: "),
    ("UPDATE attachments SET note = 'fine'", "attach files: "),
    ("UPDATE attachments SET superseded_change = 3 WHERE id = 1", "Change 3 (register lots: "),
    ("UPDATE calibrations SET valid_until = '2027-01-31'", "record calibration: gauge-1"),
    ("UPDATE instruments SET capacity = '500 N'", "register instrument: gauge-1"),
    ("UPDATE adhesives SET status = 'active'", "gel-a stands as “active” from 2026-03-02, but the log says “discontin"),
    ("UPDATE adhesives SET status_on = '2025-01-01'", "change adhesive status: gel-a, by R. Vale on 2026-03-02"),
    ("UPDATE lots SET withdrawn_on = NULL", "lot A-1 stands as not withdrawn, but the log says withdrawn on 2026"),
    ("UPDATE lots SET withdrawn_on = '2024-01-01'", "withdraw lot: A-1, by R. Vale on 2026-03-02"),
    ("INSERT INTO instruments VALUES ('g', 'g', 'force', '', 2)", "Change 2 (register adhesives: "),
    ("UPDATE chain SET hash = 'a' WHERE number = 4", "Change 4 (register substrates: "),
    ("DELETE FROM coupon_sets WHERE key = 'tile'", "points to something that is not in coupon_sets"),
])  # fmt: skip
def test_tampering_is_named(kept: Path, statement: str, words: str) -> None:
    """Each altered, added or removed thing: status 1, and which change, act, who and when."""
    tamper(kept, statement)
    said = dwellbook("keep", "verify", study=kept, status=1)
    assert words in said
    assert "not as written" in said
    assert "Head: change" in said


def test_one_altered_row_is_one_fault(kept: Path) -> None:
    """Changes after it are not blamed."""
    tamper(kept, "UPDATE instruments SET capacity = '500 N'")
    said = dwellbook("keep", "verify", study=kept, status=1)
    assert "1 thing is not as written" in said


def test_a_value_that_no_table_allows_is_found(kept: Path) -> None:
    """SQLite's own check finds what its constraints would have refused."""
    tamper(kept, "PRAGMA ignore_check_constraints = ON", "UPDATE adhesives SET status = 'splendid'")
    said = dwellbook("keep", "verify", study=kept, status=1)
    assert "SQLite's integrity check: CHECK constraint failed in adhesives" in said


def test_a_damaged_page_is_said_in_words(kept: Path) -> None:
    """Whatever page is overwritten by noise, the command ends with status 1 or a refusal, never as if all were well."""
    with closing(sqlite3.connect(kept)) as connection:
        connection.execute("VACUUM")  # no page is left that nothing uses
    assert "all as it was written" in dwellbook("keep", "verify", study=kept)
    sound = kept.read_bytes()
    size = int.from_bytes(sound[16:18], "big")
    pages = len(sound) // size
    for page in range(1, pages, max(1, pages // 12)):
        noisy = bytearray(sound)
        noisy[page * size : page * size + 200] = b"\xa5" * 200
        kept.write_bytes(noisy)
        done = runner.invoke(app, ["keep", "verify", "--study", str(kept)])
        assert done.exit_code in (1, 2), (page, done.output)
        assert type(done.exception).__name__ in ("SystemExit", "NotAStudy"), (page, done.exception)


def head_of(path: Path) -> str:
    """The head that verify prints."""
    return dwellbook("keep", "verify", study=path).split("Head: change ")[1].split(", ")[1].split()[0]


def cut_off(path: Path, *, known: bool) -> None:
    """The newest change is taken away with everything it did; SQLite's own count too where that is known."""
    with closing(sqlite3.connect(path)) as connection:
        (number,) = connection.execute("SELECT max(number) FROM changes").fetchone()
    statements = [f"DELETE FROM chain WHERE number = {number}", f"DELETE FROM changes WHERE number = {number}",
                  "UPDATE lots SET withdrawn_on = NULL"]  # fmt: skip
    tamper(path, *statements, *(["UPDATE sqlite_sequence SET seq = seq - 1 WHERE name = 'changes'"] if known else []))


def test_a_head_noted_earlier_shows_that_the_end_was_cut_off(kept: Path) -> None:
    """The log that is left is whole in itself; only the head tells."""
    head = head_of(kept)
    for noted in (head, f" Head: change 12, {head}\n"):
        assert "nothing was entered since" in dwellbook("keep", "verify", "--head", noted, study=kept)
    cut_off(kept, known=True)
    dwellbook("keep", "verify", study=kept)
    said = dwellbook("keep", "verify", "--head", head[:16].upper(), study=kept, status=1)
    assert "is not part of this chain: the end of the log was cut off, or the file is another" in said


def test_a_careless_cut_shows_by_itself(kept: Path) -> None:
    """SQLite remembers the largest number it ever gave."""
    cut_off(kept, known=False)
    assert "the log ends here, but it once went on to change" in dwellbook("keep", "verify", study=kept, status=1)


def test_a_study_continues_from_its_head(kept: Path, tmp_path: Path) -> None:
    """The head that a copy printed stands in the chain of the study that went on."""
    copied = dwellbook("keep", "copy", str(tmp_path / "copy.sqlite"), study=kept)
    head = copied.split("Head: change ")[1].split(", ")[1].split()[0]
    dwellbook("register", "note", "lot", "A-1", "Tube leaked.", "--on", "2026-03-02", study=kept)
    assert "the study continues from it" in dwellbook("keep", "verify", "--head", head, study=kept)
    assert "nothing was entered since" in dwellbook("keep", "verify", "--head", head, study=tmp_path / "copy.sqlite")


def test_a_head_that_is_none_is_refused(kept: Path) -> None:
    """Too short to tell anything, or other characters."""
    for head in ("abc", "g" * 64):
        done = runner.invoke(app, ["keep", "verify", "--head", head, "--study", str(kept)])
        assert "is not a head" in str(done.exception)


def test_files_leave_without_their_places(kept: Path, tmp_path: Path, signature: Signature) -> None:
    """Each under a name of its own, listed with its original's hash; no place, the same pixels, day kept."""
    with open_study(kept) as study:
        code = fetch_codes(study)[0]
        attach_files(study, code, [NewFile("../a:b?.jpg", photo(70, place=False))], note="top", signature=signature)
        (detached,) = attach_files(study, code, [NewFile("wrong.txt", b"x")], signature=signature)
        attach_files(study, code, [NewFile("=1+1.txt", b"y")], note="@sum", signature=signature)
    dwellbook("read", "detach", str(detached.number), "--why", "Another coupon's.", study=kept)
    said = dwellbook("keep", "files", str(tmp_path / "out"), study=kept)
    assert "Wrote 5 files" in said
    assert "cut out of 2" in said
    assert "PDF and text files were not looked into" in said
    names = {f"{code}_residue_grade_IMG-1.jpg", f"{code}_residue_grade_IMG-1-2.jpeg",
             f"{code}_residue_grade_img_1.txt", f"{code}_coupon_a-b.jpg", f"{code}_coupon_1-1.txt"}  # fmt: skip
    assert {path.name for path in (tmp_path / "out").iterdir()} == names | {"contents.csv"}
    with (tmp_path / "out" / "contents.csv").open(encoding="utf-8", newline="") as handle:
        rows = {row["original_name"]: row for row in csv.DictReader(handle)}
    assert {row["file"] for row in rows.values()} == names
    assert (rows["IMG 1.jpg"]["location"], rows["img_1.txt"]["location"]) == ("removed", "not looked for")
    assert (rows["a:b?.jpg"]["location"], rows["a:b?.jpg"]["note"]) == ("none found", "top")
    assert rows["IMG 1.jpg"]["set"] == "sheet"
    assert rows["'=1+1.txt"]["note"] == "'@sum", "a spreadsheet runs nothing in it"
    original = photo(90)
    written = (tmp_path / "out" / rows["IMG 1.jpg"]["file"]).read_bytes()
    with Image.open(io.BytesIO(written)) as clean, Image.open(io.BytesIO(original)) as first:
        assert clean.tobytes() == first.tobytes()
        assert dict(clean.getexif().get_ifd(0x8825)) == {}
        assert clean.getexif()[0x0132] == "2025:04:15 10:00:00"
        assert dict(first.getexif().get_ifd(0x8825)) != {}
    for place in (tmp_path / "out", tmp_path / "none" / "out"):
        done = runner.invoke(app, ["keep", "files", str(place), "--study", str(kept)])
        assert done.exit_code == 1
        assert "already there" in str(done.exception) or "could not be written" in str(done.exception)
    assert not list(tmp_path.glob("*.part"))


def test_attaching_by_command(study_path: Path, tmp_path: Path) -> None:
    """Attached, listed with its number, taken off with a reason, and still in the list."""
    (tmp_path / "top.jpg").write_bytes(photo(90))
    with open_study(study_path) as study:
        code = fetch_codes(study)[0]
    attached = dwellbook(
        "read", "attach", code, str(tmp_path / "top.jpg"), "--kind", "residue_grade", "--note", "top", study=study_path
    )
    assert f"Attachment 1: top.jpg ({len(photo(90))} B) to {code}, residue grade" in attached
    assert "“top” attached by R. Vale" in dwellbook("read", "attachments", code, study=study_path)
    dwellbook("read", "detach", "1", "--why", "Blurred.", study=study_path)
    listed = dwellbook("read", "attachments", code, "--kind", "residue_grade", study=study_path)
    assert "taken off by R. Vale" in listed
    assert "Blurred." in listed
    assert "Nothing is attached" in dwellbook("read", "attachments", code, "--kind", "hold_angle", study=study_path)


def test_instruments_by_command(study_path: Path) -> None:
    """Registered, calibrated, superseded, and where it stands on a day."""
    dwellbook("register", "instrument", "instrument=g1", "name=hand gauge", "measures=force", "capacity=50 N",
              study=study_path)  # fmt: skip
    cells = ("instrument=g1", "calibrated_on=2025-02-01", "valid_until=2026-01-31", "certificate=C-1")
    assert "covered from 2025-02-01" in dwellbook("register", "calibration", *cells, study=study_path)
    listed = dwellbook("register", "instruments", "--on", "2026-01-15", study=study_path)
    assert "due: in calibration until 2026-01-31" in listed
    wrong = ("--supersede", "1", "valid_until=2025-12-31", "--why", "Misread.")
    assert "superseded by 2" in dwellbook("register", "calibration", *wrong, study=study_path)
    trail = dwellbook("register", "instruments", "--on", "2026-01-15", "--trail", study=study_path)
    assert "past calibration: valid until 2025-12-31" in trail
    assert "superseded by R. Vale on " in trail
