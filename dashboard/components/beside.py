"""Beside a bound: the figures that never decide, why each coupon counts as it does, and what is on record."""

from __future__ import annotations

from collections.abc import Sequence

from dash import html

from dashboard.components.days import days_said
from study.model.estimate import Estimate, GroupDifference
from study.model.units import duration_words
from study.outputs.pictured import difference_words, pictured_words


def never_deciding(chosen: Estimate, *, elsewhere: GroupDifference | None = None) -> html.Section | None:
    """Figures shown for comparison, each with what it leaves out; ``elsewhere`` compares environments."""
    lines: list[html.Li] = []
    if chosen.decline is not None:
        fit = chosen.decline
        lines += [
            _line("if all pulls were alike", fit.lower_alike_days, "leaves out that a day of pulling has its own luck"),
            _line("mean reaches the limit", fit.mean_limit_days, "says nothing about the worst coupons"),
        ]
    if chosen.decline_other is not None:
        words = f"on the {chosen.decline_other.time_scale} scale of time"
        lines.append(_line(words, chosen.decline_other.lower_days, "a picture; the protocol declared the other scale"))
    if chosen.pass_fail is not None and chosen.pass_fail.lower_alike_days is not None:
        bound = chosen.pass_fail
        lines += [
            _line("verdicts, if all pulls were alike", bound.lower_alike_days, "leaves out the day of pulling"),
            _line("verdicts, if no ageing were assumed", bound.lower_shape_free_days, "lets the risk fall with dwell"),
        ]
    lines += [html.Li(words) for words in pictured_words(chosen)]
    if elsewhere is not None:
        lines.append(html.Li(difference_words(elsewhere, of="environments")))
    if not lines:
        return None
    return html.Section([html.H2("Beside it, never deciding"), html.Ul(lines, className="quiet")])


def _line(name: str, days: float | None, leaves_out: str) -> html.Li:
    # None: the limit is not reached by the last dwell looked at; a bound of verdicts always is a number here.
    reached = "not reached by the last pull"
    if days is not None:
        reached = f"{int(days)}\u202fd ({duration_words(days)})" if days >= 1 else "none shown"
    return html.Li(f"{name[0].upper()}{name[1:]}: {reached}; {leaves_out}.")


def coupons_why(chosen: Estimate) -> html.Details | None:
    """Each coupon's verdict with the readings it came from, folded away until somebody asks."""
    if not chosen.observations:
        return None
    lines = [html.Li([html.Span(seen.code, className="code"), f" {seen.why}"]) for seen in chosen.observations]
    summary = f"Why each of the {len(lines)} coupons counts as it does"
    return html.Details([html.Summary(summary), html.Ul(lines, className="quiet")], className="why")


def on_record(remarks: Sequence[str]) -> html.Section | None:
    """An adhesive's status, a friable surface, notes on the room or the lot, criteria that were changed under way."""
    if not remarks:
        return None
    return html.Section([html.H2("On record"), html.Ul([html.Li(days_said(remark)) for remark in remarks])])
