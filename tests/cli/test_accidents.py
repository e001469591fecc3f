"""Accidents by command: replanned, moved, interrupted, amended, handed over, bridged; each says what follows."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest
from typer import Exit

from study.cli.options import ask_first
from study.commands.opening import open_study
from study.commands.pull import due_pulls
from study.commands.register_placing import correct_placing
from study.intake.protocol_file import known_protocols
from study.model.person import Signature


@pytest.fixture
def waiting(study_path: Path) -> list[str]:
    """Codes of the sheet set due on 15 April 2025."""
    with open_study(study_path) as study:
        return list(due_pulls(study, on=date(2025, 4, 15))[0].codes)


def test_replanning_by_command(dwellbook: Callable[..., str], study_path: Path, tmp_path: Path) -> None:
    """A set placed lately loses one; its spare is listed, takes the place, and goes back."""
    placed = date.today().isoformat()
    dwellbook(
        study_path, "register", "sets", "set=N1", "lot=A-1", "substrate=tile", "environment=store",
        "protocol=display-dots", f"placed_on={placed}", "dot_diameter_mm=8", "dots=3", "dwell_load_n=2",
    )  # fmt: skip
    dwellbook(study_path, "register", "coupons", "set=N1", "test=hold-angle", "pull=12 months", "count=3")
    dwellbook(study_path, "register", "coupons", "set=N1", "test=hold-angle")
    codes = [line.split(",")[0] for line in dwellbook(study_path, "register", "show", "--set", "N1").splitlines()[1:]]
    assert "still waits" in dwellbook(study_path, "pull", "replan", codes[0], status=2)
    dwellbook(study_path, "pull", "record", codes[0], "--as", "lost")
    said = dwellbook(study_path, "pull", "replan", codes[0])
    assert len(said.splitlines()) == len(set(said.splitlines())), "coupons that are alike are told once"
    assert f"{codes[3]}  spare" in said
    assert "then has 3 hold-angle coupons instead of 2" in said
    done = dwellbook(study_path, "pull", "replan", codes[0], "--with", codes[3], "--why", "It fell behind the rack.")
    assert f"{codes[3]} is destined to hold-angle, 12 months" in done
    taken = dwellbook(study_path, "pull", "replan", codes[0])
    assert taken.splitlines()[1:] == [
        f"{codes[3]} has taken its place already; take that back with: pull replan {codes[3]} --undo"
    ], "nothing more is offered"
    assert f"{codes[0]} is missing again" in dwellbook(
        study_path, "pull", "replan", codes[3], "--undo", "--why", "Found."
    )


def test_moving_by_command(dwellbook: Callable[..., str], study_path: Path, waiting: list[str], tmp_path: Path) -> None:
    """By a file, then a whole shelf; a shelf nobody stands on is refused with those that are known."""
    path = tmp_path / "rack.csv"
    path.write_text("coupon,shelf,place\n" + "".join(f"{c},A,{n}\n" for n, c in enumerate(waiting, 1)), "utf-8")
    assert "6 coupons stand on shelf A now." in dwellbook(study_path, "pull", "move", str(path))
    assert "6 coupons stand on shelf B now." in dwellbook(study_path, "pull", "move", "A", "B", "--note", "Flood.")
    assert "Shelves with coupons: B" in dwellbook(study_path, "pull", "move", "A", "B", status=2)


def test_interrupting_by_command(dwellbook: Callable[..., str], study_path: Path) -> None:
    """Entered with its days, listed with its number, taken back."""
    said = dwellbook(
        study_path, "pull", "interrupt", "store", "light out", "--from", "2025-03-01", "--to", "2025-03-09",
        "--note", "Ballast.",
    )  # fmt: skip
    assert "light out in store, 2025-03-01 to 2025-03-09 (9 days)" in said
    assert "The clock runs on in sheet, tile" in said
    assert "Ballast." in dwellbook(study_path, "pull", "interruptions")
    assert "On record: Light out" in dwellbook(study_path, "decide", "show", "P01")
    assert "On record: Light out" in dwellbook(study_path, "analyse", "show", "P01")
    assert "is taken back" in dwellbook(study_path, "pull", "interruptions", "--undo", "1", "--why", "Another room.")
    assert "No interruption" in dwellbook(study_path, "pull", "interruptions")


def test_taking_an_interruption_back_says_what_moves(
    dwellbook: Callable[..., str], study_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the clock of a set had stopped, its durations are worked out before anybody is asked."""
    seen = SimpleNamespace(stopped=("sheet",), sentences=lambda *, back: ["Dwell counts these days again."])
    monkeypatch.setattr("study.commands.pull_interrupt.foresee_end", lambda *_, **__: seen)
    monkeypatch.setattr("study.commands.pull_interrupt.end_moves", _never)
    with pytest.raises(AssertionError, match="worked out"):
        dwellbook(study_path, "pull", "interruptions", "--undo", "1", "--why", "Another room.")


def test_a_status_says_what_it_means_first(dwellbook: Callable[..., str], demo_path: Path) -> None:
    """Objects that stand on it lose their evidence where it is withdrawn, and keep their dates where it is not."""
    dwellbook(
        demo_path, "display", "add", "object=2019.44", "location=Case 3", "lot=A-1", "object_pairing=P03",
        "support_pairing=P01", "environment=gallery-lit", "dots=3", "dot_diameter_mm=8", "load_n=2",
        "placed_on=2026-01-05", "placed_by=M. Quill",
    )  # fmt: skip
    said = dwellbook(demo_path, "register", "status", "gel-s", "reformulated", "--why", "The maker's letter.")
    assert "No object on show stands on Silicone gel S." in said
    assert "No successor is registered" in said
    kept = dwellbook(demo_path, "register", "status", "gel-a", "reformulated", "--why", "The maker's letter.")
    assert "1 object on show stands on Acrylic gel A: 2019.44." in kept
    assert "They keep their dates" in kept
    gone = dwellbook(demo_path, "register", "status", "gel-a", "withdrawn", "--why", "It stains.")
    assert "They lose their evidence" in gone
    assert "gel-b follows it" in gone
    assert "not a status" in dwellbook(demo_path, "register", "status", "gel-a", "stale", "--why", "x", status=2)


def test_amending_by_command(dwellbook: Callable[..., str], study_path: Path, tmp_path: Path) -> None:
    """The new version is said with what it judges differently, and stands under every estimate."""
    text = known_protocols()["display-dots"].read_text("utf-8").replace('version = "2"', 'version = "3"')
    path = tmp_path / "third.toml"
    path.write_text(text.replace("limit = 20.0", "limit = 25.0"), "utf-8")
    seen = dwellbook(study_path, "register", "amend", "P01", str(path), "--preview")
    assert "Judged differently: removal force: limit 20 → 25." in seen
    assert "Nothing was written" in seen
    said = dwellbook(study_path, "register", "amend", "P01", str(path), "--why", "Stronger hands.")
    assert "display-dots 2 → display-dots 3 for 1 set: sheet." in said
    assert "Judged differently: removal force: limit 20 → 25." in said
    assert "Amended: display-dots 3 holds from" in said
    for words in ("decide", "analyse"):
        assert "removal force: limit 20 → 25" in dwellbook(study_path, words, "show", "P01")
    assert "needs a reason" in dwellbook(study_path, "register", "amend", "P02", str(path), status=2)


@pytest.mark.parametrize("act", ["amend", "status"])
def test_a_reason_is_asked_for_before_anything_is_worked_out(
    dwellbook: Callable[..., str], study_path: Path, monkeypatch: pytest.MonkeyPatch, act: str
) -> None:
    """Refused before the effect is said; --preview of an amendment needs neither a name nor a reason."""
    monkeypatch.setattr("study.commands.register_amend.foresee_amendment", _never)
    monkeypatch.setattr("study.commands.register_status.status_effect", _never)
    arguments = {"amend": ["P01", "third.toml"], "status": ["gel-a", "withdrawn"]}[act]
    assert "needs a reason" in dwellbook(study_path, "register", act, *arguments, status=2)
    with pytest.raises(AssertionError, match="worked out"):
        dwellbook(study_path, "register", act, *arguments, "--why", "It stains.")
    if act == "amend":
        with pytest.raises(AssertionError, match="worked out"):
            dwellbook(study_path, "register", act, *arguments, "--by", "", "--preview")


def _never(*_: object, **__: object) -> None:
    raise AssertionError("the effect was worked out")


def test_whoever_sits_at_a_terminal_is_asked(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the question of the act, after what follows was said; no answer but yes goes on, and --yes is not asked."""
    asked: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("typer.confirm", lambda question: asked.append(question) or question == "Amend it?")
    with pytest.raises(Exit):
        ask_first(["One coupon less."], False)
    ask_first(["Judged differently."], False, "Amend it?")
    ask_first(["Not asked."], True)
    assert asked == ["Record it?", "Amend it?"]
    assert capsys.readouterr().out.splitlines() == ["One coupon less.", "Judged differently.", "Not asked."]


def test_handing_over_by_command(dwellbook: Callable[..., str], study_path: Path) -> None:
    """Named, listed, on the due list, and handed over with what is open."""
    assert "Nobody is named" in dwellbook(study_path, "keep", "duty")
    dwellbook(study_path, "keep", "duty", "pulls", "M. Quill", "--on", "2025-01-01")
    assert "M. Quill, since 2025-01-01" in dwellbook(study_path, "keep", "duty")
    assert "(M. Quill pulls)" in dwellbook(study_path, "pull", "due", "--on", "2025-04-15")
    said = dwellbook(study_path, "keep", "handover", "M. Quill", "A. Reed", "--on", "2025-04-15", "--why", "Leaves.")
    assert "A. Reed is in charge of pulls." in said
    assert "  With A. Reed:\n    Due: 3 months of sheet, 6 coupons" in said


def test_bridging_by_command(dwellbook: Callable[..., str], demo_path: Path) -> None:
    """Gel B against Gel A in the demo, with what it does not say; another surface is refused."""
    said = dwellbook(demo_path, "analyse", "bridge", "P12", "P01")
    assert "P12 beside P01 at equal dwell" in said
    assert "carries no duration by itself" in said
    assert "differ in surface" in dwellbook(demo_path, "analyse", "bridge", "P01", "P02", status=2)


@pytest.mark.parametrize(
    ("act", "worked"),
    [("found", "pull.pull_effect"), ("undo", "pull.pull_effect"), ("correct", "pull.pull_effect"),
     ("replan", "pull_accidents.foresee_replan"), ("interruptions", "pull_interrupt.foresee_end")],
)  # fmt: skip
def test_a_reason_is_asked_for_before_an_effect_is_said(
    dwellbook: Callable[..., str],
    study_path: Path,
    waiting: list[str],
    monkeypatch: pytest.MonkeyPatch,
    act: str,
    worked: str,
) -> None:
    """Nobody answers “Record it?” only to be refused."""
    monkeypatch.setattr(f"study.commands.{worked}", _never)
    first, second = waiting[:2]
    arguments = {"found": [first], "undo": [first], "correct": [first, "--as", "lost"],
                 "replan": [first, "--with", second], "interruptions": ["--undo", "1"]}[act]  # fmt: skip
    assert "needs a reason" in dwellbook(study_path, "pull", act, *arguments, status=2)
    with pytest.raises(AssertionError, match="worked out"):
        dwellbook(study_path, "pull", act, *arguments, "--why", "It was found.")


def test_a_day_of_placing_by_command(dwellbook: Callable[..., str], study_path: Path) -> None:
    """What it does is said, then done for both sets; without a reason, or for a wrong day, nothing is."""
    assert "needs a reason" in dwellbook(study_path, "register", "placed", "2025-01-10", "sheet", status=2)
    said = dwellbook(
        study_path, "register", "placed", "2025-01-10", "sheet", "tile", "--why", "Read in the bench book."
    )
    assert "sheet: placed on 2025-01-10 instead of 2025-01-15, every dwell is 5 days longer." in said
    assert "tile, 3 months: due 2025-04-10 instead of 2025-04-15." in said
    assert "Placed on 2025-01-10: sheet, tile." in said
    assert "lies ahead" in dwellbook(study_path, "register", "placed", "2199-01-10", "sheet", "--why", "x", status=2)
    with open_study(study_path) as study:
        assert [pull.due_on for pull in due_pulls(study, on=date(2025, 4, 10))] == [date(2025, 4, 10)] * 2


def test_a_day_corrected_by_another_while_a_person_is_asked(
    dwellbook: Callable[..., str], study_path: Path, monkeypatch: pytest.MonkeyPatch, signature: Signature
) -> None:
    """What was said first is no longer so: refused with the name of whoever came first."""

    def meanwhile(*_: object) -> None:
        with open_study(study_path) as study:
            correct_placing(study, ["sheet"], date(2025, 1, 12), signature=signature)

    monkeypatch.setattr("study.cli.register.ask_first", meanwhile)
    said = dwellbook(study_path, "register", "placed", "2025-01-10", "sheet", "--why", "Bench book.", status=2)
    assert "R. Vale corrected this day meanwhile: sheet is on record as placed on 2025-01-12 now." in said
