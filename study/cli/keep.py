"""Keep: verified copies, the change log, whether the study is sound, and its files written out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import StudyOption, say

app = typer.Typer(no_args_is_help=True)


@app.command("copy")
def copy(
    to: Annotated[Path, typer.Argument(help="Where the copy goes.", show_default=False)], study: StudyOption
) -> None:
    """Write a verified copy of the study file."""
    from study.commands.keep import keep_copy
    from study.commands.opening import open_study

    with open_study(study) as opened:
        done = keep_copy(opened, to)
    kept = ", ".join(f"{done.counts[name]} {name}" for name in ("coupons", "pulls", "readings", "decisions", "changes"))
    say(f"Copied to {to} and verified: {kept}.")
    _say_head(done.number, done.head)


@app.command("verify")
def verify(
    study: StudyOption,
    head: Annotated[
        str, typer.Option("--head", help="The head noted earlier, or at least its first 12 characters.")
    ] = "",
) -> None:
    """Check that everything is as it was written (status 1 where not), and print the head to be noted elsewhere."""
    from study.commands.keep import verify_study
    from study.commands.opening import open_study

    with open_study(study) as opened:
        found = verify_study(opened, head=head)
    for fault in found.faults:
        if fault.act:
            say(
                f"Change {fault.number} ({fault.act}: {fault.subject}, by {fault.by} on {fault.at[:16]}): {fault.what}."
            )
        else:
            say(f"{f'Change {fault.number}' if fault.number else 'The file'}: {fault.what}.")
    looked = ", ".join(f"{count} {name}" for name, count in found.counts.items())
    things = "1 thing is" if len(found.faults) == 1 else f"{len(found.faults)} things are"
    say(f"Looked at {looked}: {f'{things} not as written' if found.faults else 'all as it was written'}.")
    if found.compared:
        say(f"The head noted earlier: {found.compared}")
    _say_head(found.number, found.head)
    if not found.sound:
        say("Keep this file as it is, and compare it with your newest copy before anything more is entered.")
        raise typer.Exit(1)


@app.command("files")
def files(
    folder: Annotated[Path, typer.Argument(help="A new folder.", show_default=False)], study: StudyOption
) -> None:
    """Write every attached file into a folder, with a table of contents; places are cut out of pictures."""
    from study.commands.keep import CONTENTS, keep_files
    from study.commands.opening import open_study

    with open_study(study) as opened:
        kept = keep_files(opened, folder)
    left = [one for one in kept if one.location == "not written"]
    removed = sum(one.location == "removed" for one in kept)
    say(f"Wrote {len(kept) - len(left)} files to {folder}, listed in {CONTENTS}.")
    say(f"Where a picture was taken was cut out of {removed}; the originals stay in the study.")
    if any(one.location == "not looked for" for one in kept):
        say("Caution: PDF and text files were not looked into; read them before you give them away.")
    for one in left:
        say(f"Not written, since its place could not be cut out: {one.attachment.name} of {one.attachment.code}")


@app.command("log")
def log(study: StudyOption, newest: Annotated[int, typer.Option(min=1, help="How many lines.")] = 20) -> None:
    """Show the newest lines of the change log."""
    from study.commands.keep import read_log
    from study.commands.opening import open_study

    with open_study(study) as opened:
        lines = read_log(opened, newest=newest)
    for line in lines:
        why = f"  because {line['why']}" if line["why"] else ""
        if line["act"] == "note":
            why = f": {json.loads(line['after'])['text']}"
        say(f"{line['number']:>5}  {line['at'][:16]}  {line['by']:<16}  {line['act']}: {line['subject']}{why}")


def _say_head(number: int, head: str) -> None:
    say(f"Head: change {number}, {head}")
    say("Note the head where this file's keeper cannot change it; later: dwellbook keep verify --head …")


from study.cli import keep_duties  # noqa: E402, F401  its commands stand on this group too
