"""Coupons on file, and their histories as the analysis takes them, as known at any change."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import asdict, replace
from datetime import date
from statistics import fmean
from typing import Any

from study.errors import NotPossible
from study.model.coupon import ALL_CODES, EVIDENCE_ROLES, Coupon, CouponSet, coupon_code
from study.model.interruption import NO_STOPS, Stops, dwell_on, merged_stops
from study.model.own_mark import tidy_mark
from study.model.protocol import Protocol
from study.model.pull import IN_PLACE, pull_group
from study.model.reading import REPEATED, CouponHistory, Reading
from study.store.acts import fetch_lifted_coupons
from study.store.interruptions import fetch_interruptions, fetch_stops
from study.store.known import ALL_CHANGES, as_known
from study.store.readings import reading_of
from study.store.register import fetch_sets
from study.store.study_file import StudyFile, among

_COUPONS = (
    "SELECT c.code, c.set_key, coalesce(n.test, c.test) AS test, coalesce(n.pull_label, c.pull_label) AS pull_label, "
    "c.own_mark FROM coupons c LEFT JOIN replannings n ON n.code = c.code AND n.superseded_change IS NULL"
)
"""Coupons with what they are destined to now: a spare may have been given another's pull."""


def save_coupons(study: StudyFile, coupons: Iterable[Coupon], *, change: int) -> None:
    """New coupons, within the caller's change."""
    study.db.table("coupons").insert_all({**asdict(coupon), "entered_change": change} for coupon in coupons)


def next_codes(study: StudyFile, count: int) -> list[str]:
    """Codes neither in the study nor ever kept for a plan, in the study's own order.

    Raises
    ------
    NotPossible
        If there are not so many left.
    """
    # Each study begins elsewhere in the sequence, so that two studies of one house do not share their tiles' codes.
    taken, number = {*fetch_codes(study), *_kept_codes(study)}, int(study.fact("first_code") or 0)
    if count > ALL_CODES - len(taken):
        raise NotPossible(
            f"{count} codes are asked for, and {ALL_CODES - len(taken)} are left.", "Make the study smaller."
        )
    codes: list[str] = []
    while len(codes) < count:
        code = coupon_code(number % ALL_CODES)
        if code not in taken:
            codes.append(code)
        number += 1
    return codes


def _kept_codes(study: StudyFile) -> list[str]:
    """Codes ever kept for a plan: labels of a superseded one may stick on pieces, so that none is given again."""
    rows = study.rows("SELECT DISTINCT j.value AS code FROM plans p, json_each(p.text, '$.codes') j")
    return [row["code"] for row in rows]


def fetch_codes(study: StudyFile) -> list[str]:
    """Every coupon code."""
    return [row["code"] for row in study.rows("SELECT code FROM coupons ORDER BY rowid")]


def fetch_coupon(study: StudyFile, code: str) -> Coupon | None:
    """One coupon, or None."""
    rows = study.rows(f"{_COUPONS} WHERE c.code = :code", code=code)
    return Coupon(**rows[0]) if rows else None


def fetch_coupons(study: StudyFile, codes: Iterable[str] | None = None) -> dict[str, Coupon]:
    """Every coupon by code, or those of these codes, in order of registration."""
    only, values = among(codes, "c.code")
    rows = study.rows(f"{_COUPONS}{only} ORDER BY c.rowid", **values)
    return {row["code"]: Coupon(**row) for row in rows}


def fetch_marks(study: StudyFile) -> dict[str, str]:
    """Code by the laboratory's own mark, tidied; a mark on two pieces names neither."""
    found: dict[str, str] = {}
    twice: set[str] = set()
    for row in study.rows("SELECT code, own_mark FROM coupons WHERE own_mark <> ''"):
        mark = tidy_mark(row["own_mark"])
        if mark in found:
            twice.add(mark)
        found[mark] = row["code"]
    return {mark: code for mark, code in found.items() if mark not in twice}


_CODES_OF_PAIRING = "SELECT c.code FROM coupons c JOIN coupon_sets s ON s.key = c.set_key WHERE s.pairing = :pairing"


def fetch_histories(
    study: StudyFile, protocols: dict[str, Protocol], *, change: int = ALL_CHANGES, pairing: str = "",
    codes: Collection[str] | None = None,
) -> dict[tuple[str, str, str], list[CouponHistory]]:  # fmt: skip
    """Coupons pulled or looked at in place, with readings in force, by (pairing, lot, digest of the protocol in force).

    Parameters
    ----------
    protocols : dict
        Frozen protocols by digest; their schedules say which pull a coupon really belonged to.
    change : int
        Only what was entered up to this change, and not superseded by then.
    pairing : str
        One pairing alone; empty for all.
    codes : collection of str, optional
        Of that pairing these coupons alone, and those of time zero, which limits may come from.
    """
    roles = ", ".join(f"'{role}'" for role in EVIDENCE_ROLES)
    readings: dict[str, dict[str, Reading]] = {}
    looks: dict[str, list[Reading]] = {}
    some = "" if codes is None else " AND (s.role = 'time-zero' OR c.code IN (SELECT value FROM json_each(:codes)))"
    only = "" if not pairing else f" AND r.code IN ({_CODES_OF_PAIRING}{some})"
    values = {"pairing": pairing} if pairing else {}
    if codes is not None:
        values["codes"] = json.dumps(sorted(codes))
    sql = f"SELECT r.* FROM readings r WHERE {as_known('r')}{only} ORDER BY read_on"
    for row in study.rows(sql, change=change, **values):
        if row["kind"] in REPEATED:
            looks.setdefault(row["code"], []).append(reading_of(row))
        else:
            readings.setdefault(row["code"], {})[row["kind"]] = reading_of(row)
    rows = study.rows(
        "SELECT c.code, c.set_key, coalesce(n.test, c.test) AS test, "
        "coalesce(n.pull_label, c.pull_label) AS pull_label, s.pairing, s.lot, s.protocol_digest AS first, "
        "s.role, s.substrate, s.environment, "
        "p.kind, p.on_date, p.last_seen_on FROM coupons c JOIN coupon_sets s ON s.key = c.set_key "
        f"LEFT JOIN pulls p ON p.code = c.code AND {as_known('p')} "
        f"LEFT JOIN replannings n ON n.code = c.code AND {as_known('n')} "
        f"WHERE s.role IN ({roles}){' AND s.pairing = :pairing' if pairing else ''}{some} ORDER BY c.rowid",
        change=change,
        **values,
    )
    sets, stops = fetch_sets(study, change=change), fetch_stops(study, protocols, change=change)
    drifts = _blank_drifts(study, protocols, sets, change, pairing)
    lifted = fetch_lifted_coupons(study, change=change)
    found: dict[tuple[str, str, str], list[CouponHistory]] = {}
    for row in rows:
        seen = looks.get(row["code"], [])
        if row["kind"] is None and not seen:
            continue  # still in its placement, and never looked at there
        of, left_out = sets[row["set_key"]], stops.get(row["set_key"], NO_STOPS)
        digest = of.protocol_digest
        key = (row["pairing"], row["lot"], digest)
        history = _history(row, of.placed_on, protocols[digest], readings.get(row["code"], {}), seen, left_out)
        drift = drifts.get((row["first"], digest, row["substrate"], row["environment"], history.pull_group))
        if history.code in lifted or drift is not None:
            history = replace(history, stop_lifted=history.code in lifted, blank_drift=drift)
        found.setdefault(key, []).append(history)
    return found


def _blank_drifts(
    study: StudyFile, protocols: dict[str, Protocol], sets: dict[str, CouponSet], change: int, pairing: str
) -> dict[tuple[str, str, str, str, str], tuple[float, float, float]]:  # fmt: skip
    """Mean drift of L*, a*, b* of the blanks, by protocol as registered and in force, substrate, environment and pull.

    Only where it is judged. Blanks stand beside whatever was registered under the same protocol as they were; an
    amended schedule groups them as it groups the coupons they are compared with.
    """
    first = fetch_sets(study, as_registered=True)
    judged = sorted(
        {
            (first[key].protocol_digest, one.protocol_digest)
            for key, one in sets.items()
            if any(criterion.net_of_blank for criterion in protocols[one.protocol_digest].criteria)
        }
    )
    interruptions = fetch_interruptions(study, change=change) if judged else []
    drifts: dict[tuple[str, str, str, str, str], list[tuple[float, ...]]] = {}
    beside = "(SELECT substrate, environment FROM pairings WHERE key = :pairing)"
    only = f"WHERE (s.substrate, s.environment) IN {beside} " if pairing else ""
    rows = study.rows(
        "SELECT c.set_key, s.protocol_digest AS first, s.substrate, s.environment, p.on_date, "
        "b.l_star AS l0, b.a_star AS a0, "
        "b.b_star AS b0, a.l_star AS l1, a.a_star AS a1, a.b_star AS b1 FROM coupons c "
        "JOIN coupon_sets s ON s.key = c.set_key AND s.role = 'blank' "
        f"JOIN pulls p ON p.code = c.code AND {as_known('p')} "
        f"JOIN readings b ON b.code = c.code AND b.kind = 'colour_before' AND {as_known('b')} "
        f"JOIN readings a ON a.code = c.code AND a.kind = 'colour_after' AND {as_known('a')} {only}"
        "ORDER BY c.rowid",
        change=change,
        **({"pairing": pairing} if pairing else {}),
    ) if judged else []  # fmt: skip
    for row in rows:
        for registered, digest in judged:
            if row["first"] != registered:
                continue
            placed, left = sets[row["set_key"]].placed_on, date.fromisoformat(row["on_date"])
            here = [one for one in interruptions if one.environment == row["environment"]]
            stops = merged_stops(here, kinds=protocols[digest].clock_stops_for)
            group = pull_group(protocols[digest].schedule, placed, left, stops)
            key = (registered, digest, row["substrate"], row["environment"], group)
            drifts.setdefault(key, []).append(tuple(row[f"{axis}1"] - row[f"{axis}0"] for axis in "lab"))
    return {
        key: (fmean(d[0] for d in found), fmean(d[1] for d in found), fmean(d[2] for d in found))
        for key, found in drifts.items()
    }


def _history(
    row: dict[str, Any], placed: date, protocol: Protocol, readings: dict[str, Reading], looks: list[Reading],
    stops: Stops,
) -> CouponHistory:  # fmt: skip
    left = date.fromisoformat(row["on_date"]) if row["kind"] else looks[-1].read_on
    dwell = dwell_on(placed, left, stops)
    seen = row["last_seen_on"]
    last_seen = dwell_on(placed, date.fromisoformat(seen), stops) if seen else 0
    looked = [(float(dwell_on(placed, look.read_on, stops)), look) for look in looks]
    if stops:
        # While the clock stood, later moments are one moment to it: the last look tells, and a release came before.
        looked = list(dict(looked).items())
        last_seen = max(0, min(last_seen, dwell - 1))
    return CouponHistory(
        code=row["code"], set_key=row["set_key"], role=row["role"], test=row["test"], lot=row["lot"],
        pull_kind=row["kind"] or IN_PLACE, pull_group=pull_group(protocol.schedule, placed, left, stops),
        looks=tuple(looked), planned_group=row["pull_label"], dwell_days=float(dwell), last_seen_days=float(last_seen),
        readings=readings,
    )  # fmt: skip
