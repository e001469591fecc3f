"""Register: adhesives, lots, substrates, environments, coupon sets and coupons enter the study."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path
from typing import Any

from study.commands.coupon_sets import (
    PlannedCoupons,
    enter_coupons,
    enter_sets,
    friable_warnings,
    named_protocol,
    planned_coupons,
    repeats,
)
from study.commands.moved import turned_back
from study.errors import FileRefused, NotPossible, Problem, Unknown
from study.intake.cells import CellFault
from study.intake.coupon_file import parse_code
from study.intake.register_file import (
    AdhesiveRow,
    CouponRow,
    EnvironmentRow,
    LotRow,
    RegisterRow,
    SetRow,
    SubstrateRow,
    check_known,
    parse_block,
    parse_fields,
    parse_register_table,
    parse_rows,
)
from study.intake.table_file import Row
from study.model.coupon import Coupon
from study.model.pairing import ADHESIVE_STATES, FRIABLE_WARNING
from study.model.person import Signature
from study.store import register as on_file
from study.store.acts import fetch_withdrawn_lots, save_lot_withdrawn
from study.store.changes import refuse_same_file
from study.store.coupons import fetch_codes
from study.store.decisions import fetch_decisions, supersede_decision
from study.store.particulars import save_particulars
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
STATUS_ACT = "A change of status"
"""What needs a reason, as a refusal says it."""


@dataclass(frozen=True)
class Registered:
    """What a registration did."""

    count: int
    keys: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    coupons: tuple[Coupon, ...] = ()
    """Coupons that were made, with their codes."""


def register_file(study: StudyFile, kind: str, path: Path, *, signature: Signature) -> Registered:
    """Every row of a file of adhesives, lots, substrates, environments, sets or coupons; all or nothing.

    Raises
    ------
    FileRefused
        With every problem of the file.
    """
    table = parse_register_table(path, ROWS[kind])
    digest = table.digest
    parsed = _parsed(study, kind, table.rows, table.file)
    with study.writing():
        if kind == "coupons":
            # Rows without codes are never repeats of what is there: the same file again would double the shelf.
            refuse_same_file(study, digest, path)
        return _register(study, kind, parsed, path, digest, signature)


def register_one(study: StudyFile, kind: str, cells: dict[str, str], *, signature: Signature) -> Registered:
    """One adhesive, lot, substrate, environment, set or group of coupons, typed instead of read from a file."""
    with study.writing():
        return _register(study, kind, [parse_fields(cells, ROWS[kind])], Path("command"), "", signature)


def register_rows(
    study: StudyFile,
    kind: str,
    rows: Sequence[Mapping[str, str]],
    *,
    token: str = "",
    signature: Signature,
    only_check: bool = False,
) -> Registered:
    """Rows of a grid, a form or a pasted block, numbered as a spreadsheet counts them under a header; all or nothing.

    Parameters
    ----------
    rows : sequence of mapping
        Cells by column; a row of blanks is passed over and still counts.
    token : str
        Names this one registration, so that the same button pressed twice registers once.
    only_check : bool
        Everything is tried, even entered, and turned back: what would be registered, or the refusal.

    Raises
    ------
    FileRefused
        With every problem.
    """
    numbered = [
        Row(number, {name: cell for name, cell in row.items() if cell.strip()})
        for number, row in enumerate(rows, start=2)
    ]
    filled = [row for row in numbered if row.cells]
    if not filled:
        raise NotPossible("Nothing is filled in.", "Fill in at least one row.")
    parsed = _parsed(study, kind, filled, "rows")
    digest = hashlib.sha256(token.encode()).hexdigest() if token else ""
    if only_check:
        return turned_back(study, lambda: _register(study, kind, parsed, Path("rows"), digest, signature))
    with study.writing():
        refuse_same_file(study, digest, Path("This registration"))
        return _register(study, kind, parsed, Path("rows"), digest, signature)


def _parsed(study: StudyFile, kind: str, rows: Sequence[Row], file: str) -> list[tuple[Row, Any]]:
    try:
        return parse_rows(rows, ROWS[kind], file=file)
    except FileRefused as refusal:
        raise FileRefused(file, [*refusal.problems, *_unknown(study, kind, rows)]) from None


def _unknown(study: StudyFile, kind: str, rows: Sequence[Row]) -> list[Problem]:
    # Cells that name what is not registered, so that they are told together with cells that cannot be read at all.
    named = {"lots": ("adhesive",), "sets": ("lot", "substrate", "environment"), "coupons": ("set",)}.get(kind, ())
    problems: list[Problem] = []
    for column in named:
        known = list(_known(study, f"{column}s"))
        what = "coupon set" if column == "set" else column
        problems += [found for row in rows for found in check_known(row, column, known=known, what=what)]
    return problems


def read_block(text: str, kind: str) -> list[dict[str, str]]:
    """Cells of a pasted block by column, in order of its rows; blank lines count, so that row numbers stay true."""
    rows = parse_block(text, ROWS[kind])
    by_number = {row.number: row.cells for row in rows}
    return [by_number.get(number, {}) for number in range(2, rows[-1].number + 1)]


def coupon_plan(protocol: str, *, role: str, per_pull: int) -> list[PlannedCoupons]:
    """What a set would be made of, before it is registered."""
    return planned_coupons(named_protocol(protocol, Path()), role=role, per_pull=per_pull)


def _register(
    study: StudyFile, kind: str, parsed: list[tuple[Row, Any]], path: Path, digest: str, signature: Signature
) -> Registered:
    if kind == "sets":
        sets, coupons = enter_sets(study, parsed, path, signature)
        return Registered(len(sets), tuple(s.key for s in sets), friable_warnings(study, sets), tuple(coupons))
    if kind == "coupons":
        coupons = enter_coupons(study, parsed, path.name, digest, signature)
        return Registered(len(coupons), tuple(coupon.code for coupon in coupons), (), tuple(coupons))
    return _register_nouns(study, kind, parsed, path.name, signature)


def _register_nouns(
    study: StudyFile, kind: str, parsed: list[tuple[Row, Any]], file: str, signature: Signature
) -> Registered:
    nouns = [fields.noun() for _, fields in parsed]
    column = kind.removesuffix("s")
    adhesives = on_file.fetch_adhesives(study)
    taken = set(_known(study, kind))
    problems = repeats(parsed, column, [noun.key for noun in nouns], taken)
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
    after = [
        asdict(n) | f.particulars().model_dump(exclude_defaults=True) for n, (_, f) in zip(nouns, parsed, strict=True)
    ]
    with study.change(signature, act=f"register {kind}", subject=file, after=after) as change:
        on_file.save_nouns(study, nouns, change=change)
        save_particulars(study, kind, [(n.key, f.particulars()) for n, (_, f) in zip(nouns, parsed, strict=True)])
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


def change_status(study: StudyFile, key: str, *, status: str, on: date, signature: Signature) -> None:
    """An adhesive becomes active, discontinued, reformulated or withdrawn, with a reason."""
    adhesives = on_file.fetch_adhesives(study)
    if key not in adhesives:
        raise Unknown(f"“{key}” is not a registered adhesive.", f"Known: {', '.join(adhesives) or 'none yet'}.")
    if status not in ADHESIVE_STATES:
        raise NotPossible(f"“{status}” is not a status.", f"Use one of {', '.join(ADHESIVE_STATES)}.")
    signature.need_reason(STATUS_ACT)
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
    signature.need_reason("Withdrawing a lot")
    with study.change(signature, act="withdraw lot", subject=key, after={"withdrawn_on": on}):
        save_lot_withdrawn(study, key, on=on)


def pool_lots(study: StudyFile, key: str, *, signature: Signature) -> None:
    """From now on the lots of a pairing count as one body of evidence: a recorded act with a reason."""
    pairings = on_file.fetch_pairings(study)
    if key not in pairings:
        raise Unknown(f"“{key}” is not a pairing.", f"Known: {', '.join(pairings) or 'none yet'}.")
    if key in on_file.fetch_poolings(study):
        raise NotPossible(f"The lots of {key} are pooled already.", "Nothing is left to do.")
    signature.need_reason("Pooling lots")
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
