"""Read files: photographs and documents attached to a coupon or one of its readings, listed, taken off."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import ByOption, StudyOption, WhyOption, say, sign
from study.cli.read import CodeArgument, app

KindOption = Annotated[
    str, typer.Option("--kind", help="The kind of reading it shows, such as residue_grade; else the coupon.")
]


@app.command("attach")
def attach(
    code: CodeArgument,
    files: Annotated[list[Path], typer.Argument(metavar="FILE…", help="Each at most 25 MB.", show_default=False)],
    study: StudyOption,
    kind: KindOption = "",
    note: Annotated[str, typer.Option("--note", help="What it shows, in a few words.")] = "",
    by: ByOption = "",
) -> None:
    """Attach photographs (JPEG, PNG, TIFF, WebP), PDF, CSV or text files to a coupon or one kind of its readings."""
    from study.commands.opening import open_study
    from study.commands.read_attachments import attach_paths
    from study.model.attachment import size_words

    with open_study(study) as opened:
        saved = attach_paths(opened, code, files, kind=kind, note=note, signature=sign(by))
    for one in saved:
        say(f"Attachment {one.number}: {one.name} ({size_words(one.bytes)}) to {one.code}, {one.about}")


@app.command("attachments")
def attachments(
    code: CodeArgument,
    study: StudyOption,
    kind: Annotated[str | None, typer.Option("--kind", help="Of one kind of reading alone.")] = None,
) -> None:
    """List what is attached to a coupon, what was taken off too, each with its number."""
    from study.commands.opening import open_study
    from study.commands.read_attachments import coupon_attachments
    from study.model.attachment import size_words

    with open_study(study) as opened:
        found = coupon_attachments(opened, code, kind=kind, superseded=True)
    for hung in found:
        one = hung.attachment
        entered = f"attached by {hung.entered_by} on {hung.entered_at[:10]}"
        end = f", taken off by {hung.superseded_by} on {(hung.superseded_at or '')[:10]}: {hung.why}"
        note = f"  “{one.note}”" if one.note else ""
        say(
            f"{one.number:>4}  {one.about:<15}  {one.name}  {size_words(one.bytes)}{note}  "
            f"{entered}{end if hung.superseded_by else ''}"
        )
    if not found:
        say("Nothing is attached. Attach a photograph with: dwellbook read attach CODE FILE")


@app.command("detach")
def detach(
    number: Annotated[int, typer.Argument(help="Its number, as listed by read attachments.", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Take an attachment off, with a reason; the file stays in the study and in the trail."""
    from study.commands.opening import open_study
    from study.commands.read_attachments import detach_file

    with open_study(study) as opened:
        one = detach_file(opened, number, signature=sign(by, why))
    say(f"Attachment {number} ({one.name}) is taken off {one.code}; it stays in the trail.")
