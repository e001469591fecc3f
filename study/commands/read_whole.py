"""Read, whole: a study already under way, kept in one wide sheet, enters in one go or not at all."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from study.commands.bench import bench_of, checked
from study.commands.coupon_sets import named_protocol
from study.commands.moved import turned_back
from study.commands.sheet_instruments import instruments_settled
from study.commands.sheets import NO_ANSWERS, Sheet, cells_beside, chosen_layout, refuse_stray, sheet_of, stray_answers
from study.commands.whole_sheet import LOOK_DAYS, NOT_READ, PLACED_STILL, UNUSUAL_AGES, Taking
from study.commands.whole_sheet_nouns import NO_WORDS, Known, SheetSet, WholeSheet
from study.errors import FileRefused, Problem, Question, Unanswered
from study.intake.pull_file import Placement, parse_pulls
from study.intake.table_file import Row, Table
from study.model.coupon import ALPHABET, Coupon, CouponSet, code_fault, tidy_code
from study.model.layout import Layout
from study.model.own_mark import tidy_mark
from study.model.pairing import KEY_LENGTH
from study.model.person import Signature
from study.model.protocol import Protocol
from study.model.pull import PullEvent
from study.model.reading import Reading
from study.store import register as on_file
from study.store.changes import fetch_act_of_token, refuse_same_file
from study.store.coupons import fetch_codes, fetch_marks, next_codes, save_coupons
from study.store.imports import save_import, save_layout
from study.store.protocols import freeze_protocol
from study.store.pulls import save_pulls
from study.store.readings import save_readings
from study.store.study_file import StudyFile

DEFAULT_PROTOCOL = "display-dots"
_CODE = re.compile(rf"\b[{ALPHABET}]{{4}}-[{ALPHABET}]\b")
FIRST_ROWS = 8
_ASKED = (UNUSUAL_AGES, PLACED_STILL, NOT_READ, LOOK_DAYS, "test")
"""Questions of any whole study; those about one of its nouns carry its name."""
_IN_A_SHEET = {"on": "pulled_on", "as": "pull_kind"}


@dataclass(frozen=True)
class WholePreview:
    """What a wide sheet would make of the study; nothing is written by it."""

    file: str
    layout: Layout | None
    headings: tuple[str, ...]
    columns: tuple[str, ...]
    first: tuple[tuple[int, tuple[str, ...], Mapping[str, str]], ...]
    """Of each first row its number, its cells in the file, and as understood by our column."""
    rows: int
    sets: int
    coupons: int
    pulls: int
    readings: int
    new: Mapping[str, tuple[str, ...]]
    """Names of new adhesives, lots, substrates and environments."""
    notes: tuple[str, ...]
    questions: tuple[Question, ...]
    problems: tuple[Problem, ...]
    left_out: tuple[str, ...] = ()
    """Headings that no column of ours was found for."""
    initials: tuple[str, ...] = ()
    """Of people in the sheet; an answer to “initials XY” gives their name."""

    @property
    def ready(self) -> bool:
        """Whether the import would go through."""
        return not self.questions and not self.problems

    def words(self) -> str:
        """What it would make, in one sentence."""
        return whole_words(self.sets, self.coupons, self.pulls, self.readings if self.ready else None, self.new)


@dataclass(frozen=True)
class Entered:
    """What a wide sheet made of the study."""

    sets: tuple[CouponSet, ...]
    coupons: tuple[Coupon, ...]
    pulls: tuple[PullEvent, ...]
    readings: tuple[Reading, ...]
    new: Mapping[str, tuple[str, ...]]
    notes: tuple[str, ...]

    def words(self) -> str:
        """What it made, in one sentence."""
        return whole_words(len(self.sets), len(self.coupons), len(self.pulls), len(self.readings), self.new)


def whole_words(sets: int, coupons: int, pulls: int, readings: int | None, new: Mapping[str, tuple[str, ...]]) -> str:
    """Counts and what is new, in one sentence; readings are counted once nothing is asked of them."""
    counts = ((sets, "set"), (coupons, "coupon"), (pulls, "pull"), (readings, "reading"))
    told = ", ".join(f"{count} {word}{'' if count == 1 else 's'}" for count, word in counts if count is not None)
    parts = []
    for kind, names in new.items():
        shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
        one = len(names) == 1
        if names:
            parts.append(
                f"{'this' if one else 'these'} {kind[:-1] if one else kind} {'is' if one else 'are'} new: {shown}"
            )
    return f"{told}; {'; '.join(parts)}." if parts else f"{told}; nothing of the register is new."


def preview_whole(
    study: StudyFile, path: Path, *, protocol: str = DEFAULT_PROTOCOL, layout: Layout | str | None = None,
    answers: Mapping[str, str] = NO_ANSWERS, signature: Signature, strict: bool = False,
) -> WholePreview:  # fmt: skip
    """What a wide sheet was understood as and would make; it is tried as a whole and turned back.

    Parameters
    ----------
    strict : bool
        Whether an answer to nothing that is asked is refused.

    Raises
    ------
    FileRefused
        If there is no table in it.
    NotPossible
        If these very bytes were taken before.
    Unknown
        For an answer to nothing that is asked.
    """
    understood = sheet_of(path, layout=chosen_layout(study, layout), answers=answers, wide=True)
    sheet = instruments_settled(study, understood, answers)
    frozen = named_protocol(protocol, path.parent)
    refuse_same_file(study, sheet.table.digest, path)
    entered: Entered | None = None
    problems: tuple[Problem, ...] = sheet.problems
    questions: tuple[Question, ...] = sheet.questions
    # While the sheet itself asks, its cells are provisional: what else is to say would be told too early.
    made = WholeSheet() if questions else _taken(study, sheet, frozen, answers, signature)
    if strict and (stray := stray_answers(answers, {*sheet.asked, *_ASKED})):
        # Questions of the register come after those of the sheet; an answer to one may be given with those.
        asked = {
            *sheet.asked,
            *_ASKED,
            *(made if made.asked else _taken(study, sheet, frozen, answers, signature)).asked,
        }
        refuse_stray(path.name, stray_answers(stray, asked), (*questions, *made.questions.values()), asked)
    problems += sheet.in_their_words(tuple(made.problems))
    questions += tuple(made.questions.values())
    if not problems and not questions:
        try:
            entered = turned_back(
                study, lambda: _enter(study, sheet, frozen, answers, signature, remember="", token="")
            )  # fmt: skip
        except FileRefused as fault:
            problems = fault.problems
        except Unanswered as fault:
            questions = fault.questions
    headings, lines = cells_beside(sheet, most=FIRST_ROWS)
    first = [(r.number, tuple(lines.get(r.number, ())), r.cells) for r in sheet.table.rows[:FIRST_ROWS]]
    return WholePreview(
        path.name, sheet.layout, tuple(headings), sheet.table.columns, tuple(first), len(sheet.table.rows),
        len({coupon.of for coupon in made.coupons}), len(made.coupons), len(made.pulls),
        len(entered.readings) if entered else 0, _new_names(made), (*sheet.notes, *made.notes), questions, problems,
        sheet.left_out, sheet.initials,
    )  # fmt: skip


def begin_from(
    study: StudyFile, path: Path, *, protocol: str = DEFAULT_PROTOCOL, layout: Layout | str | None = None,
    answers: Mapping[str, str] = NO_ANSWERS, remember: str = "", token: str = "", signature: Signature,
) -> Entered:  # fmt: skip
    """Adhesives, lots, surfaces, environments, sets, coupons, pulls and readings of one wide sheet; all or nothing.

    Coupons get codes of their own unless the sheet's marks are such codes; the marks are kept and taken wherever a
    code is typed. Coupons that were not pulled stay placed and become due.

    Parameters
    ----------
    protocol : str
        One that comes with Dwellbook, or a file beside the sheet.
    token : str
        Names this attempt: the same one again, after a lost connection, enters nothing twice.

    Raises
    ------
    FileRefused
        With every problem; nothing was written.
    Unanswered
        With every open question; nothing was written.
    """
    understood = sheet_of(path, layout=chosen_layout(study, layout), answers=answers, wide=True)
    sheet = instruments_settled(study, understood, answers)
    frozen = named_protocol(protocol, path.parent)
    with study.writing():
        if token and fetch_act_of_token(study, token):
            return Entered((), (), (), (), {}, ())
        refuse_same_file(study, sheet.table.digest, path)
        return _enter(study, sheet, frozen, answers, signature, remember=remember.strip(), token=token)


def _taken(
    study: StudyFile, sheet: Sheet, protocol: Protocol, answers: Mapping[str, str], signature: Signature
) -> WholeSheet:
    known = Known(
        on_file.fetch_adhesives(study), on_file.fetch_lots(study), on_file.fetch_substrates(study),
        on_file.fetch_environments(study),
        {*fetch_marks(study), *(tidy_mark(code) for code in fetch_codes(study))},
    )  # fmt: skip
    words = sheet.layout.words if sheet.layout else NO_WORDS
    return Taking(known, protocol, answers, signature.at.date(), words).take(sheet.table.rows)


def _words(sheet: Sheet, made: WholeSheet) -> dict[str, dict[str, str]]:
    """The laboratory's words for how a coupon left, its pull, test and role, with those of its layout."""
    before = sheet.layout.words if sheet.layout else {}
    return {column: {**before.get(column, {}), **words} for column, words in made.words.items()}


def _new_names(made: WholeSheet) -> dict[str, tuple[str, ...]]:
    return {
        "adhesives": tuple(noun.name for noun in made.adhesives.values()),
        "lots": tuple(made.lots),
        "substrates": tuple(noun.name for noun in made.substrates.values()),
        "environments": tuple(noun.name for noun in made.environments.values()),
    }


def _enter(
    study: StudyFile, sheet: Sheet, protocol: Protocol, answers: Mapping[str, str], signature: Signature, *,
    remember: str, token: str,
) -> Entered:  # fmt: skip
    table = sheet.table
    made = _taken(study, sheet, protocol, answers, signature)
    problems = [*sheet.problems, *sheet.in_their_words(tuple(made.problems))]
    questions = [*sheet.questions, *made.questions.values()]
    if problems:
        raise FileRefused(table.file, problems, questions=questions)
    if questions:
        raise Unanswered(questions)
    keys = _set_keys(study, made)
    coupons = _coded(study, made, keys)
    after: dict[str, Any] = {"file_sha256": table.digest, "rows": len(table.rows)}
    after |= {"sets": len(keys), "coupons": len(coupons), "pulls": len(made.pulls), "new": _new_names(made)}
    after |= {"token": token} if token else {}
    with study.change(signature, act="import readings", subject=table.file, after=after) as change:
        for nouns in (made.adhesives, made.lots, made.substrates, made.environments):
            on_file.save_nouns(study, nouns.values(), change=change)
        digest = freeze_protocol(study, protocol, change=change)
        sets = [_coupon_set(study, of, key, digest, change) for of, key in keys.items()]
        on_file.save_sets(study, sets, change=change)
        save_coupons(study, coupons, change=change)
        events = _pulled(made, coupons, signature, sheet)
        save_pulls(study, events, change=change)
        readings: list[Reading] = []
        if made.readings:
            wanted = replace(table, rows=tuple(_by_code(made.readings, coupons)))
            try:
                readings = checked(study, wanted, bench_of(study, signature), answers=answers)
            except FileRefused as fault:
                raise FileRefused(table.file, sheet.in_their_words(fault.problems)) from None
            except Unanswered as fault:
                raise Unanswered(_by_mark(fault.questions, coupons)) from None
        save_readings(study, readings, change=change)
        layout = sheet.layout and sheet.layout.model_copy(
            update={"words": {**sheet.layout.words, **_words(sheet, made)}}
        )
        save_import(study, table.file, sheet.content, layout=layout, change=change)
        if remember and layout is not None:
            save_layout(study, remember, layout, change=change)
    return Entered(
        tuple(sets), tuple(coupons), tuple(events), tuple(readings), _new_names(made), (*sheet.notes, *made.notes)
    )


def _set_keys(study: StudyFile, made: WholeSheet) -> dict[SheetSet, str]:
    """A key for each set, from its adhesive and surface."""
    taken = set(on_file.fetch_sets(study))
    keys: dict[SheetSet, str] = {}
    for coupon in made.coupons:
        if coupon.of in keys:
            continue
        role = "" if coupon.of.role in ("test", "blank") else f"-{coupon.of.role}"
        base, end, number = f"{(coupon.of.adhesive or 'blank')[:14]}-{coupon.of.substrate[:14]}", role, 2
        while (key := f"{base[: KEY_LENGTH - len(end)]}{end}") in taken:
            end, number = f"{role}-{number}", number + 1
        taken.add(key)
        keys[coupon.of] = key
    return keys


def _coded(study: StudyFile, made: WholeSheet, keys: Mapping[SheetSet, str]) -> list[Coupon]:
    """Coupons with their codes: the mark itself where it is such a code, else one that is assigned."""
    own = [tidy_code(coupon.mark) for coupon in made.coupons]
    coded = [code_fault(code) is None for code in own]
    given = {code for code, fits in zip(own, coded, strict=True) if fits}
    fresh = iter(code for code in next_codes(study, len(made.coupons) + len(given)) if code not in given)
    return [
        Coupon(code if fits else next(fresh), keys[c.of], c.test, c.pull, "" if fits else c.mark)
        for c, code, fits in zip(made.coupons, own, coded, strict=True)
    ]


def _coupon_set(study: StudyFile, of: SheetSet, key: str, digest: str, change: int) -> CouponSet:
    pairing = ""
    if of.role != "blank":
        parts = {name: value for name, value in asdict(of).items() if name not in ("lot", "placed_on", "role")}
        pairing = on_file.pairing_key(study, parts, change=change)
    return CouponSet(key, pairing, of.lot, of.substrate, of.environment, digest, of.placed_on, of.role)


def _by_code(rows: list[Row], coupons: list[Coupon]) -> list[Row]:
    """Rows with codes in place of the sheet's marks."""
    codes = {tidy_mark(coupon.own_mark or coupon.code): coupon.code for coupon in coupons}
    return [Row(row.number, {**row.cells, "coupon": codes[tidy_mark(row.cells["coupon"])]}) for row in rows]


def _by_mark(questions: Sequence[Question], coupons: Sequence[Coupon]) -> list[Question]:
    """Questions with the sheet's marks in place of codes that nobody has seen yet."""
    marks = {coupon.code: coupon.own_mark or coupon.code for coupon in coupons}
    return [replace(one, what=_CODE.sub(lambda code: marks.get(code[0], code[0]), one.what)) for one in questions]


def _pulled(made: WholeSheet, coupons: list[Coupon], signature: Signature, sheet: Sheet) -> list[PullEvent]:
    if not made.pulls:
        return []
    placed = {coupon.code: made_of.of.placed_on for coupon, made_of in zip(coupons, made.coupons, strict=True)}
    table = Table(sheet.table.file, "", ("coupon", "on", "as"), tuple(_by_code(made.pulls, coupons)))
    known = {code: Placement(day, None) for code, day in placed.items()}
    try:
        return parse_pulls(table, known=known, today=signature.at.date())
    except FileRefused as fault:
        ours = tuple(replace(p, column=_IN_A_SHEET.get(p.column, p.column)) for p in fault.problems)
        raise FileRefused(table.file, sheet.in_their_words(ours)) from None
