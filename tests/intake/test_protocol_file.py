"""Protocol files: what is wrong is said with its key."""

from __future__ import annotations

from pathlib import Path

import pytest

from study.errors import FileRefused
from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.protocol import Protocol

OWN = known_protocols()["display-dots"]


def broken(tmp_path: Path, old: str, new: str) -> FileRefused:
    """The refusal of the own protocol with one passage changed."""
    text = OWN.read_text("utf-8")
    assert old in text
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(FileRefused) as refusal:
        parse_protocol(path)
    return refusal.value


@pytest.mark.parametrize(
    ("old", "new", "place", "words"),
    [
        (
            'unacceptable = "above"\nlimit = 20.0',
            'unacceptable = "over"\nlimit = 20.0',
            "criteria[1].unacceptable",
            "above",
        ),
        ("limit = 20.0", "limit = -1.0", "criteria[1]", "log scale"),
        ("limit = 60.0", "limit = 60.0\nstop = 70.0", "criteria[5]", "stop must lie at or beyond limit"),
        ("window_days = 3", "window_days = -3", "schedule.pulls[2].window_days", "greater than or equal to 0"),
        ('"12 months", "24', '"13 months", "24', "schedule", "13 months"),
        ("confidence = 0.95", "confidence = 95", "rule.confidence", "less than 1"),
        ('clock_start = "placement"', 'clock_start = "making"', "clock_start", "placement"),
        ('version = "2"', 'version = "2"\ncolour = "red"', "colour", "not permitted"),
        ('patterns = ["SF"', 'patterns = ["XF"', "criteria[4]", "XF"),
        ('method = "hold-angle"', 'method = "hold-angel"', "", "hold-angel"),
        ('sources = ["iso-10365", "common-practice"]', 'sources = ["iso-99999"]', "sources", "sources.toml"),
        ('key = "residue"', 'key = "removal-force"', "", "same key"),
    ],
)
def test_a_fault_is_said_with_its_key(tmp_path: Path, old: str, new: str, place: str, words: str) -> None:
    """Each fault names the file, the key, what is wrong and what to do."""
    refusal = broken(tmp_path, old, new)
    assert refusal.file == "mine.toml"
    (problem,) = refusal.problems
    assert problem.column == place
    assert words in problem.sentence()
    assert problem.do


def test_two_faults_are_told_at_once(tmp_path: Path) -> None:
    """A protocol with two faults is refused once, with both."""
    text = OWN.read_text("utf-8").replace("confidence = 0.95", "confidence = 2")
    text = text.replace("window_days = 14", "window_days = -14")
    path = tmp_path / "mine.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(FileRefused) as refusal:
        parse_protocol(path)
    assert {problem.column for problem in refusal.value.problems} == {
        "rule.confidence",
        "schedule.pulls[4].window_days",
    }


def test_text_that_is_no_toml_is_refused(tmp_path: Path) -> None:
    """A word processor's file is refused by name, with the line."""
    path = tmp_path / "mine.toml"
    path.write_text("key = display dots", "utf-8")
    with pytest.raises(FileRefused, match="not readable as TOML"):
        parse_protocol(path)


def test_a_missing_protocol_names_the_known_ones(tmp_path: Path) -> None:
    """A protocol that is not there is answered with those that are."""
    with pytest.raises(FileRefused, match="display-dots"):
        parse_protocol(tmp_path / "none.toml")


def test_the_digest_is_the_protocols_identity() -> None:
    """The frozen text gives the same protocol and digest back; another limit gives another digest."""
    protocol = parse_protocol(OWN)
    again = Protocol.model_validate_json(protocol.text())
    assert again.digest() == protocol.digest()
    rule = protocol.rule.model_copy(update={"confidence": 0.9})
    assert protocol.model_copy(update={"rule": rule}).digest() != protocol.digest()
