"""Pictured: what stands beside a bound in sentences and never decides; the same at the command line and on the page."""

from __future__ import annotations

from collections.abc import Sequence

from study.model.estimate import Estimate, GradeShares, GroupDifference, LotPooling
from study.model.units import percent, with_unit

LEVEL = "0.25"


def pictured_words(estimate: Estimate) -> list[str]:
    """Sentences on the pictures that an estimate carries, none where it carries none."""
    words = []
    if estimate.decline is not None and estimate.decline.lots is not None:
        words.append(pooling_words(estimate.decline.lots))
    if estimate.picture is not None:
        words.append(censored_words(estimate))
    if estimate.grades is not None:
        words.append(grade_words(estimate.grades))
    if estimate.watched is not None:
        words.append(watched_words(estimate))
    if estimate.lots_alike is not None:
        words.append(difference_words(estimate.lots_alike, of="lots"))
    return words


def listed(names: Sequence[str]) -> str:
    """ "A", "A and B", "A, B and C"."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def p_words(p: float) -> str:
    """p to two digits, never 0."""
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}" if p < 0.1 else f"p = {p:.2f}"


def pooling_words(lots: LotPooling) -> str:
    """Whether the mean lines of the lots were taken as one, by which test, and what for."""
    names = listed(lots.lots)
    if lots.p_intercepts is None:
        told = f"slopes of lots {names} not pooled at {LEVEL}, {p_words(lots.p_slopes)}: each lot has its own mean line"
    else:
        told = f"slopes of lots {names} pooled at {LEVEL}, {p_words(lots.p_slopes)}; intercepts "
        told += "pooled too" if lots.pooled == "one line" else "not pooled"
        told += f", {p_words(lots.p_intercepts)}: "
        told += "one mean line" if lots.pooled == "one line" else "one slope, a mean line for each lot"
    return f"{told[0].upper()}{told[1:]}. For where the mean reaches the limit alone."


def censored_words(estimate: Estimate) -> str:
    """The line through readings of which some are bounds, or why there is none."""
    picture = estimate.picture
    assert picture is not None
    of = f"{picture.n} readings, {picture.censored} of them only a bound"
    if picture.refused or not picture.draw_days:
        return f"No mean line through {of}: {picture.refused or 'it cannot be computed'}."
    kind = "median" if picture.value_scale == "log" else "mean"
    end = f"{picture.draw_mean[-1]:.3g}"
    return (
        f"Tobit line through {of}, each used as it is: {kind} {with_unit(float(end), estimate.unit)} at "
        f"{picture.draw_days[-1]:.0f}\u202fd. A picture; it never decides."
    )


def class_name(grade: tuple[int, int]) -> str:
    """ "grade 2", or "grade 3–4" where nobody could tell them apart."""
    return f"grade {grade[0]}" if grade[0] == grade[1] else f"grade {grade[0]}–{grade[1]}"


def grade_words(grades: GradeShares) -> str:
    """Shares in each grade at the last dwell, or the name of the hard case."""
    if grades.refused or not grades.draw_days:
        return f"Shares in each grade are not drawn as areas: {grades.refused or 'they cannot be computed'}."
    scale = "the square root of dwell" if grades.time_scale == "sqrt" else "dwell"
    shares = [
        f"{percent(round(share[-1], 2)) if share[-1] >= 0.005 else 'under ' + percent(0.01)} {class_name(grade)}"
        for grade, share in zip(grades.grades, grades.draw_shares, strict=True)
    ]
    spans = f", {grades.spans} typed as two grades" if grades.spans else ""
    return (
        f"Shares in each grade at {grades.draw_days[-1]:.0f}\u202fd, by a cumulative probit on {scale} through "
        f"{grades.n} coupons{spans}: {listed(shares)}. A picture; it never decides."
    )


def watched_words(estimate: Estimate) -> str:
    """The share after the last end seen on its day, with approximate limits."""
    curve = estimate.watched
    assert curve is not None
    return (
        f"{curve.ended} of {curve.n} coupons became unacceptable, each seen on its day: after the last, at "
        f"{curve.days[-1]:.0f}\u202fd, {percent(round(curve.acceptable[-1], 2))} are acceptable (Kaplan-Meier; "
        f"approximate limits {percent(round(curve.lower[-1], 2))} and {percent(round(curve.upper[-1], 2))}, "
        "each by itself). A picture; it never decides."
    )


def difference_words(found: GroupDifference, *, of: str) -> str:
    """Whether groups end alike; ``of`` says what they are: lots, environments."""
    freedom = "1 degree" if found.freedom == 1 else f"{found.freedom} degrees"
    verdict = "differ" if found.p < 0.05 else "are not shown to differ, which does not mean that they are alike"
    names = listed([f"“{name}”" for name in found.groups])
    return (
        f"Ends in the {of} {names} {verdict}: {found.method} {found.statistic:.2f} with {freedom} of freedom, "
        f"{p_words(found.p)}. It never decides."
    )
