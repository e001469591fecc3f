"""Register: files and single entries of adhesives, lots, substrates, environments, sets and coupons."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from study.cli.options import (
    ByOption,
    OnOption,
    StudyOption,
    WhyOption,
    YesOption,
    ask_first,
    cells_of,
    day_of,
    say,
    sign,
    the_day,
)

app = typer.Typer(no_args_is_help=True)

KINDS = {
    "adhesives": "adhesive, name, composition_class, formulation_version, status, status_on, successor_of; form, "
    "tack_class, supplier, supplier_statement, safety_sheet",
    "lots": "lot, adhesive, supplied_on, mix_parts_by_mass, cure_hours; supplier, batch_number, opened_on, expires_on, "
    "storage, retained_sample, mixed_on, solvent, solids_percent",
    "substrates": "substrate, name, preparation, stands_for, finish, friable; source, age, thickness_mm, roughness, "
    "porosity, contamination, prepared_on, prepared_with",
    "environments": "environment, name, temperature_c, humidity_percent, light; logger, logger_calibrated_on, lux, "
    "light_hours_per_day, uv_uw_per_lm",
    "sets": "set, substrate, environment, protocol, placed_on, role, lot, dot_diameter_mm, dots, dwell_load_n, "
    "coupons_per_pull, unusual; maker, dot_made, dot_position, dot_height_mm, dot_mass_mg, measured_diameter_mm, "
    "across_diameter_mm, applied_first_to, warmed, pressing_load_n, pressing_seconds, pressing_climate, rack_position",
    "coupons": "set, test, pull, code, own_mark, count",
}
"""Columns by what is registered; after the semicolon what else is known, each of it free to be left out."""


NEXT = {
    "adhesives": "dwellbook register lots FILE",
    "lots": "dwellbook register substrates FILE",
    "substrates": "dwellbook register environments FILE",
    "environments": "dwellbook register sets FILE",
    "sets": "dwellbook register coupons FILE",
    "coupons": "dwellbook register labels, to label the tiles; then dwellbook pull due",
}


def _register(kind: str, file: Path | None, entry: list[str], study: Path, by: str) -> None:
    from study.commands import register as commands
    from study.commands.opening import open_study

    with open_study(study) as opened:
        if file is not None:
            done = commands.register_file(opened, kind, file, signature=sign(by))
        else:
            done = commands.register_one(opened, kind, cells_of(entry), signature=sign(by))
    for warning in done.warnings:
        say(f"Caution: {warning}")
    listed = ", ".join(done.keys) if done.count <= 20 else f"{done.keys[0]} to {done.keys[-1]}"
    say(f"Registered {done.count} {kind if done.count != 1 else kind.removesuffix('s')}: {listed}")
    if kind == "sets" and done.coupons:
        say(f"With {len(done.coupons)} coupons, {done.coupons[0].code} to {done.coupons[-1].code}.")
    say(f"Next: {NEXT[kind]}")


def _add(kind: str, columns: str) -> None:
    def command(
        what: Annotated[list[str], typer.Argument(metavar="FILE | COLUMN=VALUE…", show_default=False)],
        study: StudyOption,
        by: ByOption = "",
    ) -> None:
        single = len(what) == 1 and "=" not in what[0]
        _register(kind, Path(what[0]) if single else None, what, study, by)

    command.__doc__ = f"Register {kind} from a CSV file or one as column=value. Columns: {columns}."
    app.command(kind)(command)


for _kind, _columns in KINDS.items():
    _add(_kind, _columns)


@app.command("show")
def show(study: StudyOption, set_key: Annotated[str, typer.Option("--set", help="One set alone.")] = "") -> None:
    """Print every coupon as CSV: code, set, pairing, test, pull, state; what tiles are labelled from."""
    from dataclasses import astuple

    from study.commands.opening import open_study
    from study.commands.shelf import shelf_list
    from study.outputs.safe_csv import csv_text

    with open_study(study) as opened:
        lines = shelf_list(opened, set_key=set_key)
    columns = ("code", "set", "pairing", "test", "pull", "state")
    print(csv_text(columns, map(astuple, lines)).replace("\r\n", "\n"), end="")


@app.command("status")
def status(
    adhesive: Annotated[str, typer.Argument(show_default=False)],
    state: Annotated[str, typer.Argument(help="active, discontinued, reformulated or withdrawn", show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Change an adhesive's status, with a reason; what it means for objects and evidence is said first."""
    from study.commands.opening import open_study
    from study.commands.register import STATUS_ACT, change_status
    from study.commands.register_status import status_effect

    signature = sign(by, why)
    signature.need_reason(STATUS_ACT)  # before the effect is worked out and asked about
    with open_study(study) as opened:
        ask_first(status_effect(opened, adhesive, state, on=the_day(on)), yes)
        change_status(opened, adhesive, status=state, on=the_day(on), signature=signature)
    say(f"{adhesive} is now {state}.")


@app.command("placed")
def placed(
    day: Annotated[
        date, typer.Argument(parser=day_of, metavar="DAY", help="When they were really placed.", show_default=False)
    ],
    sets: Annotated[list[str], typer.Argument(metavar="SET…", show_default=False)],
    study: StudyOption,
    yes: YesOption = False,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Correct the day on which sets were placed, with a reason; what it moves is said first."""
    from study.commands.opening import open_study
    from study.commands.register_placing import PLACING_ACT, correct_placing, foresee_placing, placing_moves

    signature = sign(by, why)
    signature.need_reason(PLACING_ACT)  # before the effect is worked out and asked about
    with open_study(study) as opened:
        seen = foresee_placing(opened, sets, day, signature=signature)
        for sentence in (sentence for one in seen for sentence in one.sentences()):
            say(sentence)  # at once: durations take some seconds
        rests = any(one.readings_seen for one in seen)
        moved = placing_moves(opened, sets, day, signature=signature) if rests else []
        ask_first((one.words() for one in moved), yes)
        shown = {one.set_key: one.before for one in seen}
        done = correct_placing(opened, sets, day, seen=shown, signature=signature)
    say(f"Placed on {day}: {', '.join(one.set_key for one in done)}. See: dwellbook pull due")


@app.command("withdraw")
def withdraw(
    lot: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    on: OnOption = None,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Withdraw a lot, with a reason: objects standing on it lose their evidence."""
    from study.commands.opening import open_study
    from study.commands.register import withdraw_lot

    with open_study(study) as opened:
        withdraw_lot(opened, lot, on=the_day(on), signature=sign(by, why))
    say(f"Lot {lot} is withdrawn. See what it touches with: dwellbook display list")


@app.command("pool")
def pool(
    pairing: Annotated[str, typer.Argument(show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Let the lots of a pairing count as one body of evidence, with a reason."""
    from study.commands.opening import open_study
    from study.commands.register import pool_lots

    with open_study(study) as opened:
        pool_lots(opened, pairing, signature=sign(by, why))
    say(f"The lots of {pairing} now count together.")


@app.command("note")
def note(
    about: Annotated[str, typer.Argument(help="adhesive, lot, substrate, environment, set or coupon")],
    subject: Annotated[str, typer.Argument(help="its key or code")],
    text: Annotated[str, typer.Argument(help="what happened")],
    study: StudyOption,
    on: OnOption = None,
    by: ByOption = "",
) -> None:
    """Note what happened to something in the study, such as a lamp that failed."""
    from study.commands.opening import open_study
    from study.commands.register import add_note

    with open_study(study) as opened:
        add_note(opened, about=about, subject=subject, text=text, on=the_day(on), signature=sign(by))
    say(f"Noted for {about} {subject}.")


from study.cli import register_amend, register_instruments  # noqa: E402, F401  its commands stand on this group too
