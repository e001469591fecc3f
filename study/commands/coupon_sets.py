"""Coupon sets and their coupons: checked against register and protocol, then entered; for registration alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from study.analysis.removal_questions import plausibility_questions
from study.errors import FileRefused, Problem
from study.intake.protocol_file import known_protocols, parse_protocol
from study.intake.register_file import CouponRow, SetRow, check_known
from study.intake.table_file import Row
from study.model.coupon import Coupon, CouponSet, code_fault, tidy_code
from study.model.pairing import FRIABLE_WARNING
from study.model.person import Signature
from study.model.protocol import Protocol
from study.store import register as on_file
from study.store.coupons import fetch_codes, next_codes, save_coupons
from study.store.particulars import save_particulars
from study.store.protocols import fetch_protocol, freeze_protocol
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class PlannedCoupons:
    """Coupons of one test at one pull that a set makes; an empty pull is time zero or a spare."""

    test: str
    pull: str
    count: int


def planned_coupons(protocol: Protocol, *, role: str, per_pull: int) -> list[PlannedCoupons]:
    """What a set with so many coupons of each test at each pull is made of.

    Time-zero and spare coupons belong to no pull of the schedule. A blank is read for colour alone, so the first test
    serves for all of it.
    """
    tests = [test.method for test in protocol.tests][: 1 if role == "blank" else None]
    pulls = [""] if role in ("time-zero", "spare") else [pull.label for pull in protocol.schedule.pulls]
    return [PlannedCoupons(test, pull, per_pull) for test in tests for pull in pulls]


def repeats(parsed: list[tuple[Row, Any]], column: str, keys: list[str], taken: set[str]) -> list[Problem]:
    """Keys that are registered already or stand twice among the rows."""
    times = Counter(keys)
    problems = []
    for (row, _), key in zip(parsed, keys, strict=True):
        if key in taken:
            problems.append(row.problem(column, "is registered already.", "Give the new one another key."))
        elif times[key] > 1:
            problems.append(row.problem(column, "stands more than once in the file.", "Keep one of them."))
    return problems


def enter_sets(
    study: StudyFile, parsed: list[tuple[Row, SetRow]], path: Path, signature: Signature
) -> tuple[list[CouponSet], list[Coupon]]:
    """New sets, each with its coupons where the row says how many."""
    lots, substrates = on_file.fetch_lots(study), on_file.fetch_substrates(study)
    environments = on_file.fetch_environments(study)
    problems = repeats(parsed, "set", [fields.set for _, fields in parsed], set(on_file.fetch_sets(study)))
    protocols: dict[str, Protocol] = {}
    for row, fields in parsed:
        problems += check_known(row, "lot", known=lots, what="lot")
        problems += check_known(row, "substrate", known=substrates, what="substrate")
        problems += check_known(row, "environment", known=environments, what="environment")
        problems += _set_problems(row, fields, signature.at.date())
        if fields.protocol not in protocols:
            try:
                protocols[fields.protocol] = named_protocol(fields.protocol, path.parent)
            except FileRefused as fault:
                problems += [row.problem("protocol", problem.sentence(), "") for problem in fault.problems]
    if problems:
        raise FileRefused(path.name, problems)
    with study.change(
        signature, act="register sets", subject=path.name, after=[fields.model_dump() for _, fields in parsed]
    ) as change:
        sets = []
        for _, fields in parsed:
            digest = freeze_protocol(study, protocols[fields.protocol], change=change)
            pairing = ""
            if fields.role != "blank":
                parts = {
                    "adhesive": lots[fields.lot].adhesive, "substrate": fields.substrate,
                    "environment": fields.environment, "dot_diameter_mm": fields.dot_diameter_mm,
                    "dots": int(fields.dots or 0), "dwell_load_n": fields.dwell_load_n,
                }  # fmt: skip
                pairing = on_file.pairing_key(study, parts, change=change)
            sets.append(
                CouponSet(
                    key=fields.set, pairing=pairing, lot=fields.lot, substrate=fields.substrate,
                    environment=fields.environment, protocol_digest=digest, placed_on=fields.placed_on,
                    role=fields.role,
                )
            )  # fmt: skip
        on_file.save_sets(study, sets, change=change)
        save_particulars(study, "sets", [(fields.set, fields.particulars()) for _, fields in parsed])
        coupons: list[Coupon] = []
        for _, fields in parsed:
            per_pull = int(fields.coupons_per_pull or 0)
            plan = planned_coupons(protocols[fields.protocol], role=fields.role, per_pull=per_pull) if per_pull else []
            codes = iter(next_codes(study, sum(part.count for part in plan)))
            made = [Coupon(next(codes), fields.set, part.test, part.pull) for part in plan for _ in range(part.count)]
            save_coupons(study, made, change=change)
            coupons += made
    return sets, coupons


def friable_warnings(study: StudyFile, sets: Sequence[CouponSet]) -> tuple[str, ...]:
    """What may happen to the surfaces of these sets."""
    substrates = on_file.fetch_substrates(study)
    return tuple(sorted({f"{s.substrate}: {FRIABLE_WARNING}" for s in sets if substrates[s.substrate].friable}))


def _set_problems(row: Row, fields: SetRow, today: date) -> list[Problem]:
    problems = []
    if fields.placed_on > today:
        problems.append(row.problem("placed_on", f"lies after {today}.", "Register a set once it is placed."))
    if fields.role == "blank":
        do = "A blank carries no adhesive: leave lot and dots blank."
        problems += [
            row.problem(column, "stands on a blank.", do) for column in ("lot", "dots") if row.cells.get(column)
        ]
        return problems
    for column in ("lot", "dot_diameter_mm", "dots"):
        if not row.cells.get(column):
            problems.append(row.problem(column, "is blank.", "Fill it in, or give the set the role blank."))
    if not fields.unusual:
        do = "If it is, write “as typed” beside it, in the column unusual."
        found = plausibility_questions(dot_diameter_mm=fields.dot_diameter_mm)
        problems += [row.problem("dot_diameter_mm", f"may be a slip. {said}", do) for said in found]
    return problems


def named_protocol(name: str, beside: Path) -> Protocol:
    """A protocol that comes with Dwellbook, by key, or a file beside the sets file."""
    known = known_protocols()
    return parse_protocol(known[name] if name in known else beside / name)


def enter_coupons(
    study: StudyFile, parsed: list[tuple[Row, CouponRow]], file: str, digest: str, signature: Signature
) -> list[Coupon]:
    """New coupons of sets already registered."""
    sets = on_file.fetch_sets(study)
    taken = set(fetch_codes(study))
    problems: list[Problem] = []
    for row, fields in parsed:
        problems += check_known(row, "set", known=sets, what="coupon set")
        if fields.set in sets:
            problems += _coupon_problems(row, fields, fetch_protocol(study, sets[fields.set].protocol_digest))
        if fields.code:
            code = tidy_code(fields.code)
            fault = code_fault(code)
            if fault:
                problems.append(row.problem("code", f"{fault}.", "Leave it blank to have a code assigned."))
            elif code in taken:
                problems.append(row.problem("code", "is taken already.", "Each coupon has a code of its own."))
        if (fields.code or fields.own_mark) and fields.count != 1:
            problems.append(row.problem("count", "stands beside a code or mark.", "A code or mark names one coupon."))
        if fields.code:
            taken.add(code)
    if problems:
        raise FileRefused(file, problems)
    with study.change(
        signature, act="register coupons", subject=file, after={"file_sha256": digest, "rows": len(parsed)}
    ) as change:
        coupons: list[Coupon] = []
        for _, fields in parsed:
            codes = [tidy_code(fields.code)] if fields.code else next_codes(study, int(fields.count))
            group = [Coupon(code, fields.set, fields.test, fields.pull, fields.own_mark) for code in codes]
            save_coupons(study, group, change=change)
            coupons += group
    return coupons


def _coupon_problems(row: Row, fields: CouponRow, protocol: Protocol) -> list[Problem]:
    problems = []
    tests = [test.method for test in protocol.tests]
    labels = [pull.label for pull in protocol.schedule.pulls]
    if fields.test not in tests:
        problems.append(row.problem("test", f"is not a test of protocol {protocol.key}.", f"Use {' or '.join(tests)}."))
    if fields.pull and fields.pull not in labels:
        problems.append(row.problem("pull", "is not in the schedule.", f"Use one of: {', '.join(labels)}."))
    return problems
