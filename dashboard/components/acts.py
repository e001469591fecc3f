"""Acts on a pairing: issue, withdraw, lift a stop, carry to another formulation; each with a name and a reason."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import html

from dashboard.components.days import days_said
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from study.commands.estimates import Standing
from study.model.pairing import Adhesive


def issue_form() -> html.Div:
    """The form that puts a name under the duration."""
    return html.Div(
        [
            html.H2("Issue"),
            html.P(
                "It supersedes the decision in force. At a pull the protocol did not name for a decision it says "
                "“interim”.",
                className="quiet",
            ),
            row(
                name_field("issue-by", "Issued by", "your name stands under the decision"),
                text_field("issue-why", "Reason", "why now, or what it replaces", className="long"),
            ),
            foot("issue", "Issue this decision"),
        ],
        className="card form",
    )


def other_acts(one: Standing, *, stopped: str, adhesives: Sequence[Adhesive]) -> list[Any]:
    """The acts that this pairing allows now, folded until they are wanted."""
    acts = [carry_form([a for a in adhesives if a.key != one.analysed.evidence.pairing.adhesive.key])]
    if stopped:
        acts.insert(0, lift_form(stopped))
    if one.decision is not None:
        acts.insert(0, withdraw_form(one.decision.number))
    return acts


def withdraw_form(number: int) -> html.Details:
    """Withdrawing puts nothing in place of the decision."""
    return _act(
        f"Withdraw decision {number}",
        "Nothing is put in its place: objects standing on it are without evidence until another is issued.",
        row(
            name_field("withdraw-by", "Withdrawn by"),
            text_field("withdraw-why", "Reason", "what speaks against it", className="long"),
        ),
        foot("withdraw", "Withdraw the decision", primary=False),
    )


def lift_form(stopped: str) -> html.Details:
    """A stop is lifted by two people."""
    return _act(
        "Lift the stop",
        f"{days_said(stopped)}. What stopped it stays unacceptable in the evidence; harm that comes later stops "
        "again. Two people answer for it.",
        row(
            name_field("lift-by", "Lifted by"),
            text_field("lift-second", "Second person", "somebody else, who agrees"),
            text_field("lift-why", "Reason", "why it cannot happen to an object", className="long"),
        ),
        foot("lift", "Lift the stop", primary=False),
    )


def carry_form(adhesives: Sequence[Adhesive]) -> html.Details:
    """Results belong to one formulation until somebody carries them on."""
    options = [(a.key, f"{a.name}, formulation {a.formulation_version}") for a in adhesives]
    return _act(
        "Carry the result to another formulation",
        "Results belong to the formulation that was tested. Carried on, they count for the lots of another one too, "
        "under your name.",
        row(
            choice_field("carry-to", "Counts also for", options),
            name_field("carry-by", "Carried by"),
            text_field("carry-why", "Reason", "what shows that it is the same", className="long"),
        ),
        foot("carry", "Carry the result", primary=False),
    )


def _act(words: str, told: str, *parts: Any) -> html.Details:
    return html.Details([html.Summary(words), html.P(told, className="quiet"), *parts], className="card form act")
