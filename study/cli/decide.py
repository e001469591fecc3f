"""Decide: maximum display durations shown, issued and checked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from study.cli.options import ByOption, StudyOption, WhyOption, say, sign, the_day
from study.cli.tables import print_table

if TYPE_CHECKING:
    from study.commands.estimates import Standing

app = typer.Typer(no_args_is_help=True)
PairingArgument = Annotated[str, typer.Argument(help="Key of the pairing, such as P01.", show_default=False)]


@app.command("show")
def show(
    study: StudyOption,
    pairing: Annotated[str, typer.Argument(help="One pairing, to see every step.", show_default=False)] = "",
) -> None:
    """Show the maximum display duration of every pairing, or every step of one."""
    from study.commands.decide import stand_of, standing
    from study.commands.opening import open_study
    from study.commands.shelf import remarks

    with open_study(study) as opened:
        if pairing:
            found = stand_of(opened, pairing)
            _print_steps(found, remarks(opened, found.analysed.evidence.pairing.key))
        else:
            print_durations(standing(opened))


@app.command("issue")
def issue(pairing: PairingArgument, study: StudyOption, why: WhyOption = "", by: ByOption = "") -> None:
    """Issue what the evidence supports now, under your name and with a reason."""
    from study.commands.decide import issue_decision
    from study.commands.opening import open_study
    from study.commands.shelf import remarks
    from study.model.decision import duration_text

    with open_study(study) as opened:
        issued = issue_decision(opened, pairing, signature=sign(by, why), on=the_day(None))
        told = remarks(opened, issued.pairing.partition("/")[0])
    interim = " Interim: the protocol plans no decision at this pull." if issued.interim else ""
    say(f"Decision {issued.number} for {issued.pairing}: {duration_text(issued.outcome, issued.days)}.{interim}")
    for remark in told:
        say(f"On record: {remark}")


@app.command("withdraw")
def withdraw(pairing: PairingArgument, study: StudyOption, why: WhyOption = "", by: ByOption = "") -> None:
    """Withdraw the decision in force, with a reason; its objects lose their evidence."""
    from study.commands.decide import withdraw_decision
    from study.commands.opening import open_study

    with open_study(study) as opened:
        decision = withdraw_decision(opened, pairing, signature=sign(by, why))
    say(f"Decision {decision.number} for {decision.pairing} is withdrawn. See: dwellbook display list")


@app.command("lift")
def lift(
    pairing: PairingArgument,
    study: StudyOption,
    second: Annotated[str, typer.Option(help="The second person who agrees.")] = "",
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Lift a stop: an act of two people with a reason; harm that comes later stops again."""
    from study.commands.decide import lift_stop
    from study.commands.opening import open_study

    with open_study(study) as opened:
        lifted = lift_stop(opened, pairing, second_person=second, signature=sign(by, why))
    say(f"The stop of {pairing} is lifted for {', '.join(lifted)}.")


@app.command("carry")
def carry(
    pairing: PairingArgument,
    adhesive: Annotated[str, typer.Argument(help="Adhesive of the other formulation.", show_default=False)],
    study: StudyOption,
    why: WhyOption = "",
    by: ByOption = "",
) -> None:
    """Let a pairing's results count for another formulation too: a recorded act with a reason."""
    from study.commands.decide import carry_result
    from study.commands.opening import open_study

    with open_study(study) as opened:
        bridge = carry_result(opened, pairing, adhesive=adhesive, signature=sign(by, why))
    say(f"Results of {pairing} now count for {adhesive} too.")
    say(f"Bridge cited: {bridge}" if bridge else "No bridging set stands beside it.")


@app.command("check")
def check(study: StudyOption, pairing: Annotated[str, typer.Argument(show_default=False)] = "") -> None:
    """Recompute decisions from what was known when they were issued, and say what newer readings change."""
    from study.commands.decide import check_decisions
    from study.commands.opening import open_study

    with open_study(study) as opened:
        checks = check_decisions(opened, key=pairing)
    for found in checks:
        say(f"Decision {found.decision.number} for {found.decision.pairing}: {found.words}. {found.overtaken}".rstrip())
    if not checks:
        say("No decision has been issued yet. Issue one with: dwellbook decide issue P01 --why …")
    if not all(found.same for found in checks):
        raise typer.Exit(1)


def print_durations(found: list[Standing]) -> None:
    """The table of maximum display durations, and the cautions under it."""
    from study.outputs.cautions import CAUTIONS, NOT_SHOWN
    from study.outputs.tables import DURATION_HEADS, DurationRow, tabulate_durations

    if not found:
        say("No coupon set is registered yet. Begin with: dwellbook register adhesives FILE")
        return
    analysed = [standing.analysed for standing in found]
    rows = [
        DurationRow(a.evidence.key, a.evidence.pairing.title, a.evidence.pairing.detail, a.estimate) for a in analysed
    ]
    print_table(tabulate_durations(rows), DURATION_HEADS, right=("days",))
    for line in (NOT_SHOWN, *CAUTIONS):
        say(line)


def _print_steps(found: Standing, told: list[str]) -> None:
    from study.outputs.cautions import CAUTIONS

    evidence, duration = found.analysed.evidence, found.analysed.estimate.duration
    say(f"{evidence.key}  {evidence.pairing.title}\n{evidence.pairing.detail}\n")
    for number, step in enumerate(duration.steps, start=1):
        say(f"{number:>2}. {step}")
    say(f"\n{duration.why}\nWhat would extend it: {duration.extend}")
    if found.decision:
        issued = found.decision
        say(f"Decision {issued.number} by {issued.issued_by}, {issued.issued_at:%Y-%m-%d}: {issued.reason}")
        say(found.overtaken or "No reading since has changed its evidence.")
    for remark in told:
        say(f"On record: {remark}")
    for caution in CAUTIONS:
        say(caution)
