"""Amendments on file: which version of its protocol each set is judged by, as known at any change."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from study.store.known import ALL_CHANGES

if TYPE_CHECKING:
    from study.store.study_file import StudyFile


@dataclass(frozen=True)
class Amendment:
    """One protocol put in another's place for the sets that count together."""

    change: int
    set_keys: tuple[str, ...]
    pairing: str
    """Empty for a blank."""
    before: str
    """Digest of the protocol that held until then."""
    after: str
    from_on: date
    readings_seen: int
    """Readings of these sets that had been entered when it was amended."""
    by: str
    at: str
    why: str


def save_amendments(study: StudyFile, seen: Mapping[str, int], *, digest: str, from_on: date, change: int) -> None:
    """A new version for these sets, each with the number of its readings seen so far; within the caller's change."""
    study.db.table("amendments").insert_all(
        {
            "set_key": key, "protocol_digest": digest, "from_on": from_on.isoformat(), "readings_seen": count,
            "entered_change": change,
        }
        for key, count in seen.items()
    )  # fmt: skip


def fetch_amended(study: StudyFile, *, change: int = ALL_CHANGES) -> dict[tuple[str, str], str]:
    """Digest of the version in force by (pairing, digest as registered); for blanks by (set, digest as registered).

    All lots of a pairing are amended together, whether they count together or not: a protocol speaks of the surface. A
    set that is registered later under the old version is judged by the amended one too.
    """
    rows = study.rows(
        "SELECT s.key, s.pairing, s.protocol_digest AS first, a.protocol_digest AS digest FROM amendments a "
        "JOIN coupon_sets s ON s.key = a.set_key WHERE a.entered_change <= :change ORDER BY a.entered_change, a.id",
        change=change,
    )
    return {(row["pairing"] or row["key"], row["first"]): row["digest"] for row in rows}


def fetch_amendments(study: StudyFile) -> list[Amendment]:
    """Every amendment, oldest first, by change and by what counts together."""
    rows = study.rows(
        "SELECT a.*, s.pairing, s.protocol_digest AS first, c.by, c.at, c.why FROM amendments a "
        "JOIN coupon_sets s ON s.key = a.set_key JOIN changes c ON c.number = a.entered_change "
        "ORDER BY a.entered_change, a.id"
    )
    together: dict[tuple[int, str, str], list[dict[str, object]]] = {}
    for row in rows:
        together.setdefault((row["entered_change"], row["pairing"] or row["set_key"], row["first"]), []).append(row)
    standing: dict[tuple[str, str], str] = {}
    found = []
    for (change, group, first), members in together.items():
        row, after = members[0], str(members[0]["protocol_digest"])
        found.append(
            Amendment(
                change, tuple(str(one["set_key"]) for one in members), str(row["pairing"] or ""),
                standing.get((group, first), first), after, date.fromisoformat(str(row["from_on"])),
                sum(int(str(one["readings_seen"])) for one in members), str(row["by"]), str(row["at"]), str(row["why"]),
            )
        )  # fmt: skip
        standing[(group, first)] = after
    return found


def count_readings_seen(study: StudyFile, set_keys: Iterable[str]) -> dict[str, int]:
    """Readings ever entered on the coupons of these sets, superseded ones too: all of them have been seen."""
    keys = list(set_keys)
    marks = ", ".join(f":k{place}" for place in range(len(keys)))
    rows = study.rows(
        "SELECT c.set_key, count(*) AS n FROM readings r JOIN coupons c ON c.code = r.code "
        f"WHERE c.set_key IN ({marks}) AND r.kind <> 'colour_before' GROUP BY c.set_key",
        **{f"k{place}": key for place, key in enumerate(keys)},
    )
    found = {row["set_key"]: int(row["n"]) for row in rows}
    return {key: found.get(key, 0) for key in keys}
