"""Read, the history of a coupon: made, placed, pulled, read, corrected, attached, lifted, noted, in order."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from study.commands.bench import code_of
from study.model.details import Details
from study.model.reading import kind_words
from study.store.bench import fetch_coupon_changes
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Happening:
    """One thing that happened to a coupon."""

    day: str
    """The day it is about, year-month-day; empty where it has none but its moment."""
    at: str
    """The moment it was entered, ISO 8601."""
    by: str
    what: str
    """made, placed, placing corrected, pulled, read, corrected, taken back, pull taken back, attached, taken off, stop
    lifted, note, …"""
    about: str
    """Which reading, pull or file."""
    old: str
    new: str
    why: str
    change: int
    beside: str = ""
    """What stays with a reading: how it was read, its instrument, flags, note, and the file it came from."""


def coupon_history(study: StudyFile, typed_code: str) -> list[Happening]:
    """Everything that happened to a coupon, from the change log and the tables, in the order it was entered.

    Raises
    ------
    Unknown
        If the study has no such coupon.
    """
    code = code_of(study, typed_code)
    with study.snapshot():
        rows = fetch_coupon_changes(study, code)
    found: list[Happening] = []
    done: set[tuple[str, int]] = set()
    for row in rows:
        if (row["what"], row["part"]) in done:
            continue
        other = _other_half(row, rows)
        if other is not None:
            done.add((other["what"], other["part"]))
        found.append(_told(row, other))
    return found


def _other_half(row: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """Of a change that ends one thing and puts another in its place: the second of the two."""
    pairs = {"reading": "reading ended", "reading ended": "reading", "pull": "pull ended", "pull ended": "pull"}
    for other in rows:
        same = other["change"] == row["change"] and other["what"] == pairs.get(row["what"])
        if same and (row["what"].startswith("pull") or other["kind"] == row["kind"]):
            return other
    return None


def _told(row: Mapping[str, Any], other: Mapping[str, Any] | None) -> Happening:
    what = row["what"]
    both = {one["what"]: one for one in (row, other) if one is not None}
    old = new = about = day = ""
    if what == "made":
        test, pull, set_key = row["value"].split(" | ")
        word, about = "made", f"{test}, {pull or 'no scheduled pull'}, set {set_key}"
    elif what == "placed":
        word, about, day = "placed", f"set {row['value']} ({row['more']})", row["day"]
    elif what == "placed anew":
        word, about, day, new = "placing corrected", f"set {row['value']}", row["day"], f"placed on {row['day']}"
        old = f"placed on {json.loads(row['before'])['placed_on']}"
    elif what.startswith("pull"):
        word, old, new = _pull_words(both)
        day = both.get("pull", row)["day"]
        about = both["pull"]["more"] if "pull" in both else ""
    elif what.startswith("reading"):
        word = "corrected" if len(both) == 2 else "read" if "reading" in both else "taken back"
        about, day = kind_words(row["kind"]), both.get("reading", row)["day"]
        old = _value(both["reading ended"]) if "reading ended" in both else ""
        new = _value(both["reading"]) if "reading" in both else ""
        if len(both) == 2 and (gone := _gone(both["reading ended"], both["reading"])):
            old = f"{old} ({gone})"
    elif what.startswith("attached"):
        word = "attached" if what == "attached" else "taken off"
        about = kind_words(row["kind"]) or "the coupon"
        named = row["value"] + (f", “{row['more']}”" if row["more"] else "")
        old, new = ("", named) if what == "attached" else (named, "")
    elif what == "lifted":
        word, about = "stop lifted", f"{row['kind']}, with {row['more']}"
    else:
        word, about, day, new = "note", f"{row['kind']} {row['more']}", row["day"], row["value"]
    beside = "; ".join(_beside(both["reading"])) if "reading" in both else ""
    return Happening(day, row["at"], row["by"], word, about, old, new, row["why"], row["change"], beside)


def _gone(old: Mapping[str, Any], new: Mapping[str, Any]) -> str:
    """What stood beside the first version and stands no longer beside the next."""
    day = [f"on {old['day']}"] if old["day"] != new["day"] else []
    stands = _beside(new)
    return "; ".join([*day, *(part for part in _beside(old) if part not in stands)])


def _beside(row: Mapping[str, Any]) -> list[str]:
    details = Details.model_validate_json(row["details"] or "{}")
    parts = [f"area {details.area_percent:g} %" if details.area_percent is not None else "",
             f"halo {details.halo_percent:g} %" if details.halo_percent is not None else "", *details.flags,
             f"looked with {', '.join(details.aids)}" if details.aids else "",
             f"mean of {len(details.spots)} readings" if details.spots else "", details.words(), details.cleaning_step,
             f"{details.temperature_c:g} °C" if details.temperature_c is not None else "",
             f"{details.humidity_percent:g} % RH" if details.humidity_percent is not None else "",
             f"on {details.instrument}" if details.instrument else "",
             f"read by {details.read_by}" if details.read_by else "", *details.marks,
             f"note: {details.note}" if details.note else "",
             f"from {row['subject']}" if row["act"] == "import readings" else ""]  # fmt: skip
    return [part for part in parts if part]


def _pull_words(both: Mapping[str, Mapping[str, Any]]) -> tuple[str, str, str]:
    old = _pull_value(both["pull ended"]) if "pull ended" in both else ""
    new = _pull_value(both["pull"]) if "pull" in both else ""
    if both.get("pull", both.get("pull ended", {})).get("act") == "find coupon":
        return "found", old, new
    if old and new:
        return "pull corrected", old, new
    if old:
        return "pull taken back", old, ""
    return str(both["pull"]["kind"]), "", new


def _pull_value(row: Mapping[str, Any]) -> str:
    seen = f", last seen holding on {row['value']}" if row["value"] else ""
    return f"{row['kind']} on {row['day']}{seen}"


def _value(row: Mapping[str, Any]) -> str:
    unit = row["more"]
    if unit == "grade" or not unit or row["value"].endswith(unit):
        return str(row["value"])
    return f"{row['value']}{unit}" if unit == "°" else f"{row['value']} {unit}"
