"""Read traces: gauge files reduced, looked at, and entered as removal forces with the trace attached by its hash."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from study.commands.bench import bench_of, checked, code_of
from study.commands.traces import GaugeFile, Reduced, reduced, result_lines, shown
from study.errors import DwellbookError, FileRefused, NotPossible, Problem, Question, Unanswered, Unknown
from study.intake.cells import CellFault, parse_force
from study.intake.plausibility import AS_TYPED
from study.intake.reading_file import Bench
from study.intake.table_file import Row, Table
from study.model.attachment import Attachment, checked_type, content_digest, tidy_name
from study.model.coupon import ALPHABET, Coupon, CouponSet, tidy_code
from study.model.own_mark import tidy_mark
from study.model.person import Signature
from study.model.reading import Reading
from study.model.trace_asked import PULL_OFF, ShownTrace, TraceAsked
from study.store.attachments import fetch_attachments, save_attachment, save_file, supersede_attachment
from study.store.coupons import fetch_coupons, fetch_marks
from study.store.instruments import known_instrument
from study.store.protocols import fetch_protocols
from study.store.readings import save_readings
from study.store.register import fetch_pairings, fetch_sets
from study.store.study_file import StudyFile
from study.store.traces import ACT, fetch_trace_owners, fetch_traces

NO_ANSWERS: Mapping[str, str] = {}
TEST_NUMBERS = "test numbers"
"""Names the question about width, speed, diameter and force that look like a slip."""
KIND = "removal_force"
_CODE = re.compile(rf"(?<![A-Z0-9])([{ALPHABET}]{{4}})[-_ ]?([{ALPHABET}])(?![A-Z0-9])")


@dataclass(frozen=True)
class TraceLooked:
    """One removal of one coupon as its trace says it, before it is entered."""

    code: str
    reduced: Reduced
    typed: str
    """The cell of a reading file; empty where the trace gives no force."""
    questions: tuple[str, ...]
    """What looks like a slip."""

    @property
    def lines(self) -> list[str]:
        """What the trace says, in sentences."""
        return result_lines(self.reduced)


@dataclass(frozen=True)
class TraceKept:
    """A trace that was entered for a coupon, reduced again as it was then."""

    by: str
    at: str
    reduced: Reduced
    shown: ShownTrace | None


def look_at_traces(
    study: StudyFile, files: Sequence[GaugeFile], asked: TraceAsked, *, coupon: str = ""
) -> list[TraceLooked]:
    """What gauge files say of a removal each, or together of one where they are joined; nothing is written.

    Parameters
    ----------
    asked : TraceAsked
        The test it was; ``pause_s`` joins the files in the order they are given.
    coupon : str
        Code or own mark; empty to find it in each file's name.

    Raises
    ------
    FileRefused
        With every file whose coupon or content is not understood.
    """
    if not files:
        raise NotPossible("No file was given.", "Choose at least one.")
    groups = [tuple(files)] if asked.pause_s is not None else [(file,) for file in files]
    if coupon and len(groups) > 1:
        raise NotPossible(
            f"{len(files)} files for one coupon.", "Join them with the pause between them, or give one file."
        )
    asked = _with_instrument(study, asked)
    found: list[TraceLooked] = []
    problems: list[Problem] = []
    with study.snapshot():
        coupons, marks = fetch_coupons(study), fetch_marks(study)
        sets = fetch_sets(study)
        for group in groups:
            try:
                code = code_of(study, coupon) if coupon else code_in_name(group[0].name, coupons, marks)
                found.append(_looked(study, coupons[code], sets[coupons[code].set_key], reduced(group, asked)))
            except FileRefused as fault:
                problems += [replace(one, column=f"{group[0].name} {one.column}".strip()) for one in fault.problems]
            except DwellbookError as fault:
                problems.append(Problem(0, group[0].name, "", fault.what, fault.do))
    if problems:
        raise FileRefused("traces" if len(groups) > 1 else groups[0][0].name, problems)
    return found


def enter_traces(
    study: StudyFile, files: Sequence[GaugeFile], asked: TraceAsked, *, coupon: str = "", read_on: date,
    signature: Signature, answers: Mapping[str, str] = NO_ANSWERS,
) -> list[Reading]:  # fmt: skip
    """Enter what the traces say as removal forces, with their flags, and attach each file; all or nothing.

    Raises
    ------
    FileRefused
        If a trace gives no force, or the coupon may not take one.
    NotPossible
        If a file was taken for another coupon already and no piece of it is named.
    Unanswered
        If a number of the test or the force itself is unusual.
    """
    looked = look_at_traces(study, files, asked, coupon=coupon)
    asked = _with_instrument(study, asked)
    without = [one for one in looked if not one.typed]
    if without:
        raise FileRefused(
            "traces", [Problem(0, one.reduced.name, "", one.reduced.result.refused, _WHAT_NOW) for one in without]
        )
    types = {file.name: _media_type(file) for file in files}
    with study.writing():
        for one in looked:
            _refuse_taken(study, one)
        bench = bench_of(study, signature, {one.code for one in looked})
        cells = {"read_on": read_on.isoformat(), "instrument": asked.instrument}
        rows = tuple(
            Row(place if len(looked) > 1 else 0, {"coupon": one.code, KIND: one.typed, **cells})
            for place, one in enumerate(looked, start=1)
        )
        columns = ("coupon", "read_on", KIND, "instrument")
        table = Table("traces", "", columns, rows)
        readings = _answered(study, table, looked, answers, bench=bench)
        subject = looked[0].code if len(looked) == 1 else f"{len(looked)} coupons"
        after = {"readings": {r.code: r.typed for r in readings}, "traces": {one.code: _kept(one) for one in looked}}
        with study.change(signature, act=ACT, subject=subject, after=after) as change:
            save_readings(study, readings, change=change)
            for one in looked:
                _replace_attached(study, one, change)
                for file in one.reduced.files:
                    digest = save_file(study, file.content, media_type=types[file.name], change=change)
                    note = f"{asked.geometry}: {one.typed}"
                    save_attachment(
                        study,
                        Attachment(
                            one.code,
                            KIND,
                            tidy_name(file.name),
                            digest,
                            types[file.name],
                            len(file.content),
                            False,
                            note,
                        ),
                        change=change,
                    )
    return readings


def coupon_traces(study: StudyFile, typed_code: str) -> list[TraceKept]:
    """The traces entered for a coupon, each reduced again as it was then, in the order they were entered."""
    kept = []
    for entry in fetch_traces(study, code_of(study, typed_code)):
        files = [GaugeFile(name, content) for name, content in entry["files"]]
        asked = TraceAsked(**entry["asked"])
        try:
            found = reduced(files, asked)
        except DwellbookError:  # one of two joined files was taken off since: the trace is no longer whole
            continue
        kept.append(TraceKept(entry["by"], entry["at"], found, shown(found, words=" ".join(result_lines(found)))))
    return kept


def code_in_name(name: str, coupons: Mapping[str, Coupon], marks: Mapping[str, str]) -> str:
    """The one coupon that a file's name names, by its code or the laboratory's own mark.

    Raises
    ------
    Unknown
        If it names none, or several.
    """
    stem = name.rpartition(".")[0] or name
    found = {tidy_code(f"{match[1]}{match[2]}") for match in _CODE.finditer(stem.upper())} & set(coupons)
    parts = [stem, *re.split(r"[\s_]+", stem)]
    found |= {marks[mark] for mark in map(tidy_mark, parts) if mark in marks}
    if len(found) == 1:
        return found.pop()
    if not found:
        raise Unknown("names no coupon of this study.", "Name the coupon, or put its code into the file's name.")
    raise Unknown(f"names several coupons: {', '.join(sorted(found))}.", "Give this file by itself, with its coupon.")


_WHAT_NOW = "Nothing was entered."


def _looked(study: StudyFile, coupon: Coupon, coupon_set: CouponSet, found: Reduced) -> TraceLooked:
    from study.analysis.removal_questions import plausibility_questions

    protocol = fetch_protocols(study)[coupon_set.protocol_digest]
    force_per = protocol.method(coupon.test).force_per or ""
    if not force_per or coupon_set.role == "blank":
        raise NotPossible(f"No removal force is read on {coupon.code}, whose test is {coupon.test}.", "Check the code.")
    pull_off = found.asked.geometry == PULL_OFF
    if pull_off != (force_per == "dot"):
        what = f"{coupon.code} reads a force per {force_per}, and “{found.asked.geometry}” gives one per "
        do = f"Use {PULL_OFF}." if force_per == "dot" else "Use a peel, with the width of the strip."
        raise NotPossible(f"{what}{'dot' if pull_off else 'width'}.", do)
    if force_per == "width" and found.asked.width_mm is None:
        raise NotPossible("A peel force needs the width of the strip.", "Give its actual mean width in mm.")
    pairing = fetch_pairings(study).get(coupon_set.pairing)
    result = found.result
    force_n = result.peak_n if pull_off else None
    questions = plausibility_questions(
        width_mm=found.asked.width_mm,
        dot_diameter_mm=pairing.dot_diameter_mm if pull_off and pairing else None,
        speed_mm_per_min=found.asked.speed_mm_per_min,
        force_n_per_dot=None if result.refused else force_n,
        capacity_n=found.asked.capacity_n,
    )
    typed = "" if result.refused or (not pull_off and result.mean_n is None) else found.typed(force_per)
    return TraceLooked(coupon.code, found, typed, questions)


def _with_instrument(study: StudyFile, asked: TraceAsked) -> TraceAsked:
    """The same with the capacity of its registered gauge, where none is said."""
    if not asked.instrument or asked.capacity_n is not None:
        return asked
    gauge = known_instrument(study, asked.instrument)
    try:
        capacity = parse_force(gauge.capacity, unit="", force_per="dot")[0]
    except CellFault:
        return asked
    return asked.model_copy(update={"capacity_n": capacity})


def _answered(
    study: StudyFile, table: Table, looked: Sequence[TraceLooked], answers: Mapping[str, str], *, bench: Bench
) -> list[Reading]:
    """The readings with their flags; everything unusual is asked about at once."""
    asked = [question for one in looked for question in one.questions]
    waiting = []
    if asked and answers.get(TEST_NUMBERS) != AS_TYPED:
        waiting.append(Question(TEST_NUMBERS, " ".join(dict.fromkeys(asked)), (AS_TYPED,)))
    try:
        readings = checked(study, table, bench, answers=answers)
    except Unanswered as more:
        raise Unanswered([*waiting, *more.questions]) from None
    if waiting:
        raise Unanswered(waiting)
    by_code = {one.code: one for one in looked}
    return [_marked(reading, by_code[reading.code]) for reading in readings]


def _marked(reading: Reading, one: TraceLooked) -> Reading:
    result = one.reduced.result
    turned = ("tension was logged as negative, every force multiplied by −1",) if result.flipped else ()
    flags = tuple(f"trace: {words}" for words in (*turned, *result.flags))
    acts = tuple(f"trace {act}" for act in one.reduced.acts)
    kept = tuple(f"asked about, kept as typed: {question}" for question in one.questions)
    if not (flags or acts or kept):
        return reading
    marks = (*reading.details.marks, *flags, *acts, *kept)
    return replace(reading, details=reading.details.model_copy(update={"marks": marks}))


def _kept(one: TraceLooked) -> dict[str, object]:
    """What the change log keeps of a trace: its files, how it was read, what was cut or joined, its flags."""
    return {
        "files": [{"name": f.name, "sha256_begins": content_digest(f.content)[:16]} for f in one.reduced.files],
        "asked": one.reduced.asked.kept(), "acts": list(one.reduced.acts), "flags": list(one.reduced.result.flags),
        "said": one.typed,
    }  # fmt: skip


def _refuse_taken(study: StudyFile, one: TraceLooked) -> None:
    if one.reduced.asked.is_piece:
        return
    for file in one.reduced.files:
        for code, by in fetch_trace_owners(study, content_digest(file.content)):
            if code != one.code:
                raise NotPossible(
                    f"{file.name} was taken for {code} already by {by}, byte for byte; nothing was entered.",
                    "If it holds two removals, split it and say which part is meant; else check the coupon.",
                )


def _replace_attached(study: StudyFile, one: TraceLooked, change: int) -> None:
    """The very file, hung on this reading before (its value was taken back since), hangs there once and not twice."""
    fresh = {content_digest(file.content) for file in one.reduced.files}
    for hung, who in fetch_attachments(study, one.code):
        if who["superseded_by"] is None and hung.kind == KIND and hung.sha256 in fresh:
            supersede_attachment(study, hung.number, change=change)


def _media_type(file: GaugeFile) -> str:
    """Kind of a gauge's file; a workbook or text in an older encoding is kept as bytes."""
    try:
        return checked_type(file.content, file.name)
    except DwellbookError:
        return "application/octet-stream"
