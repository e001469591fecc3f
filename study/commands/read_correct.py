"""Read, corrections: what a correction would move is said before it is made; the first version is never lost."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace

from study.commands.bench import bench_of, checked, code_of, entry_words
from study.commands.moved import Moved, as_if, durations_moved
from study.commands.read_form import beside_cells, cells_of, typed_cells
from study.errors import NotPossible
from study.intake.table_file import Row, Table
from study.model.person import Signature
from study.model.reading import Reading
from study.store.changes import fetch_act_of_token
from study.store.readings import fetch_corrected, fetch_in_force, save_readings, supersede_reading
from study.store.study_file import StudyFile

NO_ANSWERS: Mapping[str, str] = {}
EXCLUDED = ""
"""A value that excludes the reading instead of correcting it."""


def correct_reading(
    study: StudyFile, typed_code: str, kind: str, value: str, *, beside: Mapping[str, str] = NO_ANSWERS,
    signature: Signature, seen: int = 0, answers: Mapping[str, str] = NO_ANSWERS, token: str = "",
) -> tuple[Reading, Reading]:  # fmt: skip
    """Supersede a mistyped reading; the old one stays. Returns the old and the new.

    Parameters
    ----------
    value : str
        Typed as in the reading file: "5.10 N", "CF object", "3-4", "82.1 -0.4 3.3", ">90"; empty where only what
        stands beside it is wrong.
    beside : mapping of str to str
        What stands beside it and was wrong, by column: flags, area, instrument, room, day, note; blank takes it off.
    seen : int
        Number of the reading that the person looked at; if another is in force by now, nothing is written.
    token : str
        Names this attempt: the same one again, after a lost connection, corrects nothing twice.

    Raises
    ------
    NotPossible
        Without a reason, without such a reading, if somebody else corrected it meanwhile, or if nothing would change.
    """
    signature.need_reason("A correction")
    with study.writing():
        code = code_of(study, typed_code)
        if token and (earlier := fetch_act_of_token(study, token)):
            return fetch_corrected(study, earlier)
        old = _in_force(study, code, kind, seen)
        new = _corrected(study, old, value, beside, signature, answers)
        with study.change(
            signature, act="correct reading", subject=f"{code} {kind}",
            before={"typed": old.typed, "unit": old.unit} | {name: beside_cells(old)[name] for name in beside},
            after={"typed": new.typed, "unit": new.unit} | dict(beside) | ({"token": token} if token else {}),
        ) as change:  # fmt: skip
            supersede_reading(study, old.number, change=change)
            save_readings(study, [new], change=change)
    return old, new


def withdraw_reading(
    study: StudyFile, typed_code: str, kind: str, *, signature: Signature, seen: int = 0, token: str = ""
) -> Reading:
    """Take a reading back that belongs to another coupon or was never made, with a reason; it stays in the trail."""
    signature.need_reason("Taking a reading back")
    with study.writing():
        code = code_of(study, typed_code)
        if token and (earlier := fetch_act_of_token(study, token)):
            return fetch_corrected(study, earlier)[0]
        old = _in_force(study, code, kind, seen)
        before = {"typed": old.typed, "unit": old.unit}
        after = {"token": token} if token else None
        with study.change(
            signature, act="take reading back", subject=f"{code} {kind}", before=before, after=after
        ) as change:
            supersede_reading(study, old.number, change=change)
    return old


def correction_effect(
    study: StudyFile, typed_code: str, kind: str, value: str, *, beside: Mapping[str, str] = NO_ANSWERS,
    signature: Signature, answers: Mapping[str, str] = NO_ANSWERS,
) -> list[Moved]:  # fmt: skip
    """Which durations move if a reading is corrected, or taken back where nothing is given; nothing is written.

    Raises
    ------
    FileRefused, Unanswered, NotPossible
        As the correction itself would.
    """
    code = code_of(study, typed_code)
    old = _in_force(study, code, kind, 0)
    taken_back = value == EXCLUDED and not beside
    new = None if taken_back else _corrected(study, old, value, beside, signature, answers)

    def correct() -> None:
        with study.change(signature, act="correct reading", subject=old.code) as change:
            supersede_reading(study, old.number, change=change)
            save_readings(study, [new] if new else [], change=change)

    # A blank is no evidence itself, and yet moves what is judged net of it.
    return durations_moved(
        study,
        [
            (now, then)
            for now, then in as_if(study, correct)
            if then.digest != now.digest or any(history.code == code for history in now.histories)
        ],
    )


def value_text(reading: Reading) -> str:
    """A reading's value in one text, as a correction begins with it: 5.1 N, AF object, 3-4."""
    if reading.kind == "removal_force":
        return f"{reading.typed} {reading.unit}" if not reading.typed.endswith(reading.unit) else reading.typed
    if reading.kind == "failure_pattern":
        return " ".join(typed_cells(reading).values())
    return reading.typed


def _in_force(study: StudyFile, code: str, kind: str, seen: int) -> Reading:
    in_force = fetch_in_force(study, code)
    if kind not in in_force:
        known = ", ".join(in_force) or "none"
        raise NotPossible(
            f"{code} has no {kind} to correct or take back.", f"In force are: {known}. Enter a new one with read enter."
        )
    old = in_force[kind]
    if seen and old.number != seen:
        raise NotPossible(
            f"Somebody else changed {kind} of {code} meanwhile: it is now {entry_words(study, code, kind)}. "
            "Nothing was written.",
            "Look at it again, then correct it if it is still wrong.",
        )
    return old


def _corrected(
    study: StudyFile, old: Reading, value: str, beside: Mapping[str, str], signature: Signature,
    answers: Mapping[str, str],
) -> Reading:  # fmt: skip
    """The reading as it is corrected: what is not said anew stays as it was typed."""
    known = beside_cells(old)
    wrong = [column for column in beside if column not in known]
    if wrong:
        do = f"Beside it stand {', '.join(known)}."
        raise NotPossible(f"“{wrong[0]}” is nothing that stands beside {old.kind}.", do)
    kept = not value.strip() or value.strip() == value_text(old)
    if kept and all(text.strip() == known[column] for column, text in beside.items()):
        raise NotPossible(
            f"Nothing is corrected: {old.kind} stands like that already.",
            "Give the right value, or say anew what stands beside it and is wrong.",
        )
    cells = {"coupon": old.code, **known, **{column: text.strip() for column, text in beside.items()}}
    cells |= typed_cells(old) if kept else cells_of(old.kind, value)
    cells.setdefault("read_on", old.read_on.isoformat())
    place = f"{old.kind} {old.read_on}" if old.kind == "colour_look" else old.kind
    table = Table(old.code, "", tuple(cells), (Row(0, cells),))
    (new,) = checked(study, table, bench_of(study, signature, [old.code], correcting=place), answers=answers)
    marks = _marks(old, new, {column for column in known if cells[column] != known[column]})
    typed = (old.typed, old.unit) if kept else (new.typed, new.unit)
    return replace(new, typed=typed[0], unit=typed[1], details=new.details.model_copy(update={"marks": marks}))


def _marks(old: Reading, new: Reading, changed: Collection[str]) -> tuple[str, ...]:
    """Flags as they stood when it was entered, and anew only of what is corrected: the gauge, the room."""
    gauge, room = f"{old.details.instrument} was ", "read at "
    gone = ["unusual"]
    come = ["unusual"]
    if not {"instrument", "read_on"}.isdisjoint(changed):
        gone.append(gauge)
        come.append(f"{new.details.instrument} was ")
    if not {"temperature_c", "humidity_percent"}.isdisjoint(changed):
        gone.append(room)
        come.append(room)
    kept = [mark for mark in old.details.marks if not mark.startswith(tuple(gone))]
    return tuple(dict.fromkeys([*kept, *(mark for mark in new.details.marks if mark.startswith(tuple(come)))]))
