"""Register: adhesives, lots, substrates, environments, coupon sets and coupons enter the study."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from study.errors import FileRefused, NotPossible, Problem, Unknown
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.protocol_file import known_protocols, parse_protocol
from study.intake.register_file import (
    AdhesiveRow,
    CouponRow,
    EnvironmentRow,
    LotRow,
    RegisterRow,
    SetRow,
    SubstrateRow,
    check_known,
    parse_fields,
    parse_register,
)
from study.intake.table_file import Row
from study.model.coupon import Coupon, CouponSet, code_fault, tidy_code
from study.model.pairing import ADHESIVE_STATES, FRIABLE_WARNING
from study.model.person import Signature
from study.model.protocol import Protocol
from study.store import register as on_file
from study.store.acts import fetch_withdrawn_lots, save_lot_withdrawn
from study.store.changes import refuse_same_file
from study.store.coupons import fetch_codes, next_codes, save_coupons
from study.store.decisions import fetch_decisions, supersede_decision
from study.store.protocols import fetch_protocol, freeze_protocol
from study.store.study_file import StudyFile

ROWS: dict[str, type[RegisterRow]] = {
    "adhesives": AdhesiveRow,
    "lots": LotRow,
    "substrates": SubstrateRow,
    "environments": EnvironmentRow,
    "sets": SetRow,
    "coupons": CouponRow,
}
"""What can be registered, from a file of its own or typed."""


@dataclass(frozen=True)
class Registered:
    """What a registration did."""

    count: int
    keys: tuple[str, ...]
    warnings: tuple[str, ...] = ()


def register_file(study: StudyFile, kind: str, path: Path, *, signature: Signature) -> Registered:
    """Every row of a file of adhesives, lots, substrates, environments, sets or coupons; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file.
    """
    parsed = parse_register(path, ROWS[kind])
    digest = hashlib.sha256(path.read_bytes()).hexdigest()
    with study.writing():
        if kind == "coupons":
            # Rows without codes are never repeats of what is there: the same file again would double the shelf.
            refuse_same_file(study, digest, path)
        return _register(study, kind, parsed, path, digest, signature)


def register_one(study: StudyFile, kind: str, cells: dict[str, str], *, signature: Signature) -> Registered:
    """One adhesive, lot, substrate, environment, set or group of coupons, typed instead of read from a file."""
    with study.writing():
        return _register(study, kind, [parse_fields(cells, ROWS[kind])], Path("command"), "", signature)


def _register(
    study: StudyFile, kind: str, parsed: list[tuple[Row, Any]], path: Path, digest: str, signature: Signature
) -> Registered:
    if kind == "sets":
        return _register_sets(study, parsed, path, signature)
    if kind == "coupons":
        return _register_coupons(study, parsed, path.name, digest, signature)
    return _register_nouns(study, kind, parsed, path.name, signature)


def _register_nouns(
    study: StudyFile, kind: str, parsed: list[tuple[Row, Any]], file: str, signature: Signature
) -> Registered:
    nouns = [fields.noun() for _, fields in parsed]
    column = kind.removesuffix("s")
    adhesives = on_file.fetch_adhesives(study)
    taken = set(_known(study, kind))
    problems = _repeats(parsed, column, [noun.key for noun in nouns], taken)
    if kind == "lots":
        for row, _ in parsed:
            problems += check_known(row, "adhesive", known=adhesives, what="adhesive")
    if kind == "adhesives":
        earlier = set(adhesives)
        for (row, _), noun in zip(parsed, nouns, strict=True):
            problems += check_known(row, "successor_of", known=earlier, what="adhesive")
            earlier.add(noun.key)
    if problems:
        raise FileRefused(file, problems)
    after = [asdict(noun) for noun in nouns]
    with study.change(signature, act=f"register {kind}", subject=file, after=after) as change:
        on_file.save_nouns(study, nouns, change=change)
    friable = [f"{noun.name}: {FRIABLE_WARNING}" for noun in nouns if getattr(noun, "friable", False)]
    return Registered(len(nouns), tuple(noun.key for noun in nouns), tuple(friable))


def _known(study: StudyFile, kind: str) -> Iterable[str]:
    fetch: dict[str, Callable[[StudyFile], dict[str, Any]]] = {
        "adhesives": on_file.fetch_adhesives,
        "lots": on_file.fetch_lots,
        "substrates": on_file.fetch_substrates,
        "environments": on_file.fetch_environments,
        "sets": on_file.fetch_sets,
    }
    return fetch[kind](study)


def _repeats(parsed: list[tuple[Row, Any]], column: str, keys: list[str], taken: set[str]) -> list[Problem]:
    times = Counter(keys)
    problems = []
    for (row, _), key in zip(parsed, keys, strict=True):
        if key in taken:
            problems.append(row.problem(column, "is registered already.", "Give the new one another key."))
        elif times[key] > 1:
            problems.append(row.problem(column, "stands more than once in the file.", "Keep one of them."))
    return problems


def _register_sets(study: StudyFile, parsed: list[tuple[Row, SetRow]], path: Path, signature: Signature) -> Registered:
    lots, substrates = on_file.fetch_lots(study), on_file.fetch_substrates(study)
    environments = on_file.fetch_environments(study)
    problems = _repeats(parsed, "set", [fields.set for _, fields in parsed], set(on_file.fetch_sets(study)))
    protocols: dict[str, Protocol] = {}
    for row, fields in parsed:
        problems += check_known(row, "lot", known=lots, what="lot")
        problems += check_known(row, "substrate", known=substrates, what="substrate")
        problems += check_known(row, "environment", known=environments, what="environment")
        problems += _set_problems(row, fields, signature.at.date())
        if fields.protocol not in protocols:
            try:
                protocols[fields.protocol] = _protocol(fields.protocol, path.parent)
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
    warnings = {f"{s.substrate}: {FRIABLE_WARNING}" for s in sets if substrates[s.substrate].friable}
    return Registered(len(sets), tuple(s.key for s in sets), tuple(sorted(warnings)))


def _set_problems(row: Row, fields: SetRow, today: date) -> list[Problem]:
    problems = []
    if fields.placed_on > today:
        problems.append(row.problem("placed_on", f"lies after {today}.", "Register a set once it is placed."))
    if fields.role == "blank":
        if fields.lot or fields.dots:
            problems.append(
                row.problem("lot", "stands on a blank.", "A blank carries no adhesive: leave lot and dots blank.")
            )
        return problems
    for column in ("lot", "dot_diameter_mm", "dots"):
        if not row.cells.get(column):
            problems.append(row.problem(column, "is blank.", "Fill it in, or give the set the role blank."))
    return problems


def _protocol(name: str, beside: Path) -> Protocol:
    known = known_protocols()
    return parse_protocol(known[name] if name in known else beside / name)


def _register_coupons(
    study: StudyFile, parsed: list[tuple[Row, CouponRow]], file: str, digest: str, signature: Signature
) -> Registered:
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
            if fields.count != 1:
                problems.append(row.problem("count", "stands beside a code.", "A code names one coupon."))
            taken.add(code)
    if problems:
        raise FileRefused(file, problems)
    with study.change(
        signature, act="register coupons", subject=file, after={"file_sha256": digest, "rows": len(parsed)}
    ) as change:
        coupons: list[Coupon] = []
        for _, fields in parsed:
            codes = [tidy_code(fields.code)] if fields.code else next_codes(study, int(fields.count))
            group = [Coupon(code, fields.set, fields.test, fields.pull) for code in codes]
            save_coupons(study, group, change=change)
            coupons += group
    return Registered(len(coupons), tuple(coupon.code for coupon in coupons))


def _coupon_problems(row: Row, fields: CouponRow, protocol: Protocol) -> list[Problem]:
    problems = []
    tests = [test.method for test in protocol.tests]
    labels = [pull.label for pull in protocol.schedule.pulls]
    if fields.test not in tests:
        problems.append(row.problem("test", f"is not a test of protocol {protocol.key}.", f"Use {' or '.join(tests)}."))
    if fields.pull and fields.pull not in labels:
        problems.append(row.problem("pull", "is not in the schedule.", f"Use one of: {', '.join(labels)}."))
    return problems


def change_status(study: StudyFile, key: str, *, status: str, on: date, signature: Signature) -> None:
    """An adhesive becomes active, discontinued, reformulated or withdrawn, with a reason."""
    adhesives = on_file.fetch_adhesives(study)
    if key not in adhesives:
        raise Unknown(f"“{key}” is not a registered adhesive.", f"Known: {', '.join(adhesives) or 'none yet'}.")
    if status not in ADHESIVE_STATES:
        raise NotPossible(f"“{status}” is not a status.", f"Use one of {', '.join(ADHESIVE_STATES)}.")
    _need_reason(signature, "A change of status")
    before = asdict(adhesives[key])
    after = before | {"status": status, "status_on": on}
    with study.change(signature, act="change adhesive status", subject=key, before=before, after=after):
        on_file.save_adhesive_status(study, key, status=status, on=on)


def withdraw_lot(study: StudyFile, key: str, *, on: date, signature: Signature) -> None:
    """A lot may no longer be relied on, with a reason: objects standing on it lose their evidence."""
    lots = on_file.fetch_lots(study)
    if key not in lots:
        raise Unknown(f"“{key}” is not a registered lot.", f"Known: {', '.join(lots) or 'none yet'}.")
    if key in fetch_withdrawn_lots(study):
        raise NotPossible(f"Lot {key} is withdrawn already.", "Nothing is left to do.")
    _need_reason(signature, "Withdrawing a lot")
    with study.change(signature, act="withdraw lot", subject=key, after={"withdrawn_on": on}):
        save_lot_withdrawn(study, key, on=on)


def pool_lots(study: StudyFile, key: str, *, signature: Signature) -> None:
    """From now on the lots of a pairing count as one body of evidence: a recorded act with a reason."""
    pairings = on_file.fetch_pairings(study)
    if key not in pairings:
        raise Unknown(f"“{key}” is not a pairing.", f"Known: {', '.join(pairings) or 'none yet'}.")
    if key in on_file.fetch_poolings(study):
        raise NotPossible(f"The lots of {key} are pooled already.", "Nothing is left to do.")
    _need_reason(signature, "Pooling lots")
    with study.change(signature, act="pool lots", subject=key) as change:
        on_file.save_pooling(study, key, change=change)
        # A decision on one lot alone no longer has evidence of its own to stand on.
        for decision in fetch_decisions(study).values():
            if decision.pairing.startswith(f"{key}/"):
                supersede_decision(study, decision.number, change=change)


def add_note(study: StudyFile, *, about: str, subject: str, text: str, on: date, signature: Signature) -> None:
    """A dated note on an adhesive, lot, substrate, environment, set or coupon, such as a lamp that failed."""
    if about == "coupon":
        try:
            subject = parse_code(subject, known=fetch_codes(study))
        except CellFault as fault:
            raise Unknown(f"“{subject}” {fault.what}", fault.do) from None
    elif about + "s" in [kind for kind in ROWS if kind != "coupons"]:
        known = list(_known(study, about + "s"))
        if subject not in known:
            raise Unknown(f"“{subject}” is not a known {about}.", f"Known: {', '.join(known) or 'none yet'}.")
    else:
        raise NotPossible(
            f"A note cannot be about “{about}”.", "Use adhesive, lot, substrate, environment, set or coupon."
        )
    if not text.strip():
        raise NotPossible("The note is empty.", "Write what happened.")
    with study.change(signature, act="note", subject=f"{about} {subject}", after={"on": on, "text": text}) as change:
        on_file.save_note(study, on=on, about=about, subject=subject, text=text, change=change)


def _need_reason(signature: Signature, act: str) -> None:
    if not signature.why.strip():
        raise NotPossible(f"{act} needs a reason.", "Write why, in one sentence.")
