"""Read imports: a sheet shown as understood, taken whole; layouts; a study already under way; export and templates."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from study.cli.options import ByOption, StudyOption, WhyOption, counted, say, sign
from study.cli.read import AnswerOption, app
from study.errors import DwellbookError, FileRefused, Problem, Question, Unanswered, left_to_mend

SheetArgument = Annotated[Path, typer.Argument(help="A CSV, text or .xlsx file.", show_default=False)]
LayoutOption = Annotated[str, typer.Option("--layout", help="A layout remembered by this name.")]
RememberOption = Annotated[str, typer.Option("--remember", help="Remember how the sheet is laid out by this name.")]
SHOWN = 30
_CELLS = 40


@app.command("import")
def import_(
    file: SheetArgument, study: StudyOption, layout: LayoutOption = "", remember: RememberOption = "",
    answer: AnswerOption = None, why: WhyOption = "", by: ByOption = "",
) -> None:  # fmt: skip
    """Enter the readings of a sheet, a row a coupon; any problem or open question and nothing is written."""
    from study.commands.opening import open_study
    from study.commands.read import verdict_counts
    from study.commands.read_import import import_file

    with open_study(study) as opened:
        try:
            done = import_file(
                opened, file, layout=layout, answers=_answers(answer), remember=remember, signature=sign(by, why),
                progress=_progress(file), strict=True,
            )  # fmt: skip
        except Unanswered as open_still:
            _end(open_still.questions, (), "")
            raise
        except FileRefused as refused:
            _end(refused.questions, refused.problems, "")
            raise
        told = verdict_counts(opened, done.coupons) if done.coupons else []
    for note in (*done.notes, *done.passed):
        say(f"  {note}")
    say(f"Entered {counted(len(done.readings), 'reading')} of {counted(len(done.coupons), 'coupon')} from {file.name}.")
    for old, new in done.corrected:
        say(f"  {new.code} {new.kind}: “{old.typed}” is superseded by “{new.typed}”.")
    if done.remembered:
        say(f"  The layout is remembered as “{done.remembered}”: use it with --layout “{done.remembered}”.")
    for line in told:
        say(f"  {line}")


@app.command("preview")
def preview_(
    file: SheetArgument, study: StudyOption, layout: LayoutOption = "", answer: AnswerOption = None, by: ByOption = ""
) -> None:
    """Show how a sheet of readings is understood and what its import would do; writes nothing."""
    from study.commands.opening import open_study
    from study.commands.read_import import SHEET_COLUMNS, preview

    with open_study(study) as opened:
        signature = sign(by or "preview")
        found = preview(opened, file, layout=layout, answers=_answers(answer), signature=signature, strict=True)
    _show_rows(found.headings, [(one.row, one.in_file, one.understood) for one in found.first], found.columns)
    _show_notes(found.notes)
    _show_left_out(found.left_out, [column for column in SHEET_COLUMNS if column not in found.columns])
    for line in found.will:
        say(line)
    if found.difference:
        for cell in found.difference.cells[:SHOWN]:
            say(f"  {cell.words()}")
    say(
        f"{counted(found.rows, 'row')} of {counted(found.coupons, 'coupon')}: "
        f"{counted(found.readings, 'reading')} would be entered."
    )
    _end(found.questions, found.problems, "dwellbook read import")


@app.command("layouts")
def layouts_(
    study: StudyOption, name: Annotated[str, typer.Argument(help="Show this one whole.", show_default=False)] = ""
) -> None:
    """List the layouts remembered, or show one."""
    from study.commands.opening import open_study
    from study.commands.read_import import layouts

    with open_study(study) as opened:
        known = layouts(opened)
    if name and name not in known:
        raise DwellbookError(f"There is no layout “{name}”.", f"Remembered are: {', '.join(known) or 'none yet'}.")
    for key, (one, by, at) in known.items():
        if name in ("", key):
            columns = "; ".join(f"{theirs} → {ours or 'left out'}" for theirs, ours in one.columns.items())
            say(f"{key}  (remembered by {by} on {at[:10]})" + ("" if name else f"  {columns}"))
        if name == key:
            for part, value in one.model_dump(exclude_defaults=True).items():
                for theirs, ours in _pairs(value):
                    say(f"  {part.replace('_', ' '):<16} {theirs}{' → ' if theirs else ''}{ours or 'left out'}")
    if not known:
        say("No layout is remembered yet: dwellbook read import FILE --remember NAME keeps one.")


def _pairs(value: Any) -> list[tuple[str, Any]]:
    """Parts of a layout's part, each with what it means; words stand behind their column."""
    if not isinstance(value, dict):
        return [("", value)]
    pairs = []
    for theirs, ours in value.items():
        inner = ours.items() if isinstance(ours, dict) else [("", ours)]
        pairs += [(f"{theirs}: {word}" if word else theirs, meant) for word, meant in inner]
    return pairs


@app.command("begin-from")
def begin_from_(
    file: SheetArgument, study: StudyOption,
    protocol: Annotated[str, typer.Option("--protocol", help="Its key, or a file beside the sheet.")] = "display-dots",
    layout: LayoutOption = "", remember: RememberOption = "", answer: AnswerOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Enter it without being asked again.")] = False,
    by: ByOption = "",
) -> None:  # fmt: skip
    """Enter a study already under way from one wide sheet: coupons, placements, pulls and readings in one go."""
    from study.commands.opening import open_study
    from study.commands.read_import import WIDE_COLUMNS
    from study.commands.read_whole import begin_from, preview_whole

    answers = _answers(answer)
    with open_study(study) as opened:
        signature = sign(by)
        found = preview_whole(
            opened, file, protocol=protocol, layout=layout, answers=answers, signature=signature, strict=True
        )
        _show_notes(found.notes)
        _show_left_out(found.left_out, [column for column in WIDE_COLUMNS if column not in found.columns])
        if found.ready:
            say(found.words())
        _end(found.questions, found.problems, "")
        if not yes and sys.stdin.isatty() and not typer.confirm("Enter all of it?"):
            say("Nothing was written.")
            return
        if not yes and not sys.stdin.isatty():
            say("Nothing was written yet: repeat it with --yes to enter all of it.")
            return
        done = begin_from(
            opened, file, protocol=protocol, layout=layout, answers=answers, remember=remember, signature=signature
        )
    say(f"Entered {done.words()}")
    say("Marks of the sheet are taken wherever a code is typed.")
    say("Labels: dwellbook register labels FILE.pdf. Next: dwellbook pull due")


@app.command("export")
def export_(
    file: Annotated[Path, typer.Argument(help="Where the CSV is written; it must not be there yet.")],
    study: StudyOption,
    pairing: Annotated[str, typer.Option("--pairing", help="Of this pairing alone, such as P01.")] = "",
) -> None:
    """Write the readings in force to a CSV in Dwellbook's own columns, as typed; imported again they are the same."""
    from study.commands.opening import open_study
    from study.commands.read_export import exported_readings

    with open_study(study) as opened:
        text, count = exported_readings(opened, pairing=pairing)
    try:
        with file.open("x", encoding="utf-8", newline="") as out:
            out.write(text)
    except FileExistsError:
        raise DwellbookError(f"{file} is already there; it was left alone.", "Choose another name.") from None
    except OSError as fault:
        raise DwellbookError(f"{file} cannot be written: {fault.strerror}.", "Choose another place.") from None
    say(f"Wrote {count} readings to {file.name}.")


@app.command("template")
def template_(
    wide: Annotated[bool, typer.Option("--wide", help="For a study already under way, a row a coupon.")] = False,
    set_key: Annotated[str, typer.Option("--set", help="With the coupons of this set.")] = "",
    pull: Annotated[str, typer.Option("--pull", help="With the coupons of this pull, such as “3 months”.")] = "",
    study: Annotated[
        Path | None, typer.Option("--study", envvar="DWELLBOOK_STUDY", help="Needed with --set or --pull.")
    ] = None,
) -> None:
    """Print an empty sheet of readings as CSV, or one for a study already under way: … > sheet.csv."""
    from study.commands.opening import open_study
    from study.commands.read_export import EMPTY_SHEET, reading_template, study_template

    if wide:
        text = study_template()
    elif not (set_key or pull):
        text = EMPTY_SHEET
    elif study is None:
        raise DwellbookError("Coupons of which study?", "Name its file with --study.")
    else:
        with open_study(study) as opened:
            text = reading_template(opened, set_key=set_key, pull=pull)
    say(text.replace("\r\n", "\n").rstrip("\n"))


def _answers(given: list[str] | None) -> dict[str, str]:
    """Answers typed as question=answer; a question may hold an = of its own, as a heading does, an answer none."""
    pairs = [part.rpartition("=") for part in given or ()]
    if not all(name.strip() for name, _, _ in pairs):
        raise typer.BadParameter("Give each answer as question=answer, such as unusual=“as typed”.")
    return {name.strip(): value.strip() for name, _, value in pairs}


def _progress(file: Path) -> Callable[[str], None]:
    """Words on standard error while a long import runs: a line that changes on a terminal, lines elsewhere."""
    if file.is_file() and file.stat().st_size < 500_000:
        return lambda words: None
    if not sys.stderr.isatty():
        return lambda words: typer.echo(f"  {words} …", err=True)
    return lambda words: typer.echo(f"\r\x1b[K  {words} …", nl=words.startswith("closing"), err=True)


def _show_rows(
    headings: Sequence[str], first: Sequence[tuple[int, Sequence[str], Mapping[str, Any]]], columns: Sequence[str]
) -> None:
    """Each first row as it stands in the file, and under it as understood."""
    for number, cells, understood in first[:5]:
        pairs = [(h, c.strip()) for h, c in zip(headings, cells, strict=False) if h and c.strip()]
        theirs = ", ".join(f"{_short(h)} “{_short(c)}”" for h, c in pairs[:_CELLS])
        theirs += f" and {len(pairs) - _CELLS} cells more" if len(pairs) > _CELLS else ""
        ours = ", ".join(f"{name} {_short(understood[name])}" for name in columns if understood.get(name))
        say(f"row {number}: {theirs}")
        say(f"   is {ours or 'nothing yet: the questions below come first'}")


def _short(text: str, most: int = 60) -> str:
    """A cell in one line that a terminal can carry."""
    line = " ".join(text[: 4 * most].split())
    return line if len(line) <= most else f"{line[: most - 1]}…"


def _show_notes(notes: Sequence[str]) -> None:
    for note in notes:
        say(f"- {note}")


def _show_left_out(headings: Sequence[str], free: Sequence[str]) -> None:
    """How a column that was left out is taken: the option as typed, and the columns that it can be."""
    if headings:
        say(f'  To take one: --answer "column {_short(headings[0])}=COLUMN", where COLUMN is one of {", ".join(free)}.')


def _end(questions: Sequence[Question], problems: Sequence[Problem], then: str) -> None:
    """Say what stands against the import and end with status 2, or say how to go on."""
    problems = left_to_mend(problems, questions)
    for problem in problems[:SHOWN]:
        typer.echo(f"  {problem.sentence()}", err=True)
    if len(problems) > SHOWN:
        typer.echo(f"  … and {len(problems) - SHOWN} problems more.", err=True)
    for question in questions:
        typer.echo(f"? {question.what}", err=True)
        for line in question.lines:
            typer.echo(f"    {line}", err=True)
        for words in question.answers[:SHOWN]:
            typer.echo(f'    --answer "{question.key}={words}"', err=True)
    if problems or questions:
        waits = [counted(len(kind), word) for kind, word in ((problems, "problem"), (questions, "question")) if kind]
        typer.echo(f"Nothing was written: {' and '.join(waits)} first.", err=True)
        raise typer.Exit(2)
    if then:
        say(f"Nothing stands against it: {then}")
