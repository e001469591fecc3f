"""Coupons on file, and their histories as the analysis takes them, as known at any change."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from typing import Any

from study.model.coupon import ALL_CODES, EVIDENCE_ROLES, Coupon, coupon_code
from study.model.protocol import Protocol
from study.model.pull import IN_PLACE, pull_group
from study.model.reading import REPEATED, CouponHistory, Reading
from study.store.acts import fetch_lifted_coupons
from study.store.readings import reading_of
from study.store.study_file import StudyFile

ALL_CHANGES = 2**62
"""As known now: past every change number."""


def save_coupons(study: StudyFile, coupons: Iterable[Coupon], *, change: int) -> None:
    """New coupons, within the caller's change."""
    study.db.table("coupons").insert_all(
        {"code": c.code, "set_key": c.set_key, "test": c.test, "pull_label": c.pull_label, "entered_change": change}
        for c in coupons
    )


def next_codes(study: StudyFile, count: int) -> list[str]:
    """Codes not yet in the study, in the study's own order."""
    # Each study begins elsewhere in the sequence, so that two studies of one house do not share their tiles' codes.
    taken, number = set(fetch_codes(study)), int(study.fact("first_code") or 0)
    codes: list[str] = []
    while len(codes) < count:
        code = coupon_code(number % ALL_CODES)
        if code not in taken:
            codes.append(code)
        number += 1
    return codes


def fetch_codes(study: StudyFile) -> list[str]:
    """Every coupon code."""
    return [row["code"] for row in study.rows("SELECT code FROM coupons ORDER BY rowid")]


def fetch_coupon(study: StudyFile, code: str) -> Coupon | None:
    """One coupon, or None."""
    rows = study.rows("SELECT code, set_key, test, pull_label FROM coupons WHERE code = :code", code=code)
    return Coupon(**rows[0]) if rows else None


def fetch_coupons(study: StudyFile) -> dict[str, Coupon]:
    """Every coupon by code, in order of registration."""
    rows = study.rows("SELECT code, set_key, test, pull_label FROM coupons ORDER BY rowid")
    return {row["code"]: Coupon(**row) for row in rows}


_AS_KNOWN = "{0}.entered_change <= :change AND ({0}.superseded_change IS NULL OR {0}.superseded_change > :change)"


def fetch_histories(
    study: StudyFile, protocols: dict[str, Protocol], *, change: int = ALL_CHANGES
) -> dict[tuple[str, str, str], list[CouponHistory]]:
    """Coupons pulled or looked at in place, with readings in force, by (pairing, lot, protocol digest).

    Parameters
    ----------
    protocols : dict
        Frozen protocols by digest; their schedules say which pull a coupon really belonged to.
    change : int
        Only what was entered up to this change, and not superseded by then.
    """
    roles = ", ".join(f"'{role}'" for role in EVIDENCE_ROLES)
    readings: dict[str, dict[str, Reading]] = {}
    looks: dict[str, list[Reading]] = {}
    for row in study.rows(f"SELECT * FROM readings r WHERE {_AS_KNOWN.format('r')} ORDER BY read_on", change=change):
        if row["kind"] in REPEATED:
            looks.setdefault(row["code"], []).append(reading_of(row))
        else:
            readings.setdefault(row["code"], {})[row["kind"]] = reading_of(row)
    rows = study.rows(
        "SELECT c.code, c.set_key, c.test, c.pull_label, s.pairing, s.lot, s.protocol_digest, s.placed_on, s.role, "
        "p.kind, p.on_date, p.last_seen_on FROM coupons c JOIN coupon_sets s ON s.key = c.set_key "
        f"LEFT JOIN pulls p ON p.code = c.code AND {_AS_KNOWN.format('p')} "
        f"WHERE s.role IN ({roles}) ORDER BY c.rowid",
        change=change,
    )
    lifted = fetch_lifted_coupons(study, change=change)
    found: dict[tuple[str, str, str], list[CouponHistory]] = {}
    for row in rows:
        seen = looks.get(row["code"], [])
        if row["kind"] is None and not seen:
            continue  # still in its placement, and never looked at there
        key = (row["pairing"], row["lot"], row["protocol_digest"])
        history = _history(row, protocols[row["protocol_digest"]], readings.get(row["code"], {}), seen)
        history = replace(history, stop_lifted=True) if history.code in lifted else history
        found.setdefault(key, []).append(history)
    return found


def _history(
    row: dict[str, Any], protocol: Protocol, readings: dict[str, Reading], looks: list[Reading]
) -> CouponHistory:
    placed = date.fromisoformat(row["placed_on"])
    left = date.fromisoformat(row["on_date"]) if row["kind"] else looks[-1].read_on
    seen = row["last_seen_on"]
    return CouponHistory(
        code=row["code"], set_key=row["set_key"], role=row["role"], test=row["test"], lot=row["lot"],
        pull_kind=row["kind"] or IN_PLACE, pull_group=pull_group(protocol.schedule, placed, left),
        looks=tuple((float((look.read_on - placed).days), look) for look in looks),
        planned_group=row["pull_label"], dwell_days=float((left - placed).days),
        last_seen_days=float((date.fromisoformat(seen) - placed).days) if seen else 0.0, readings=readings,
    )  # fmt: skip
