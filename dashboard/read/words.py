"""Words about readings: verdicts, what is in force, how it was read, a change of colour beside chance."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any
from urllib.parse import urlencode

from dash import dcc, html

from dashboard.components.days import days_said, short_day
from dashboard.components.tables import Column, table
from study.commands.bench import CriterionWord
from study.commands.read_colour import ColourWords
from study.commands.read_form import CouponForm, typed_cells
from study.model.reading import Reading, kind_words
from study.outputs.cautions import CAUTIONS

STATES = {True: "unacceptable", False: "acceptable", None: "undecided"}


def verdict_lines(verdicts: Sequence[CriterionWord]) -> html.Ul:
    """What each criterion says, one a line, in words and one mark."""
    return html.Ul(
        [
            html.Li(
                [
                    html.Strong(
                        f"{verdict.criterion}: {STATES[verdict.unacceptable]}",
                        className="harm" if verdict.unacceptable else "",
                    ),
                    html.Span(" This stops the pairing." if verdict.stop else "", className="harm"),
                    html.Span(f" {verdict.words}", className="quiet"),
                ]
            )
            for verdict in verdicts
        ],
        className="verdicts",
    )


def verdict_shown(verdicts: Sequence[CriterionWord]) -> list[Any]:
    """The verdict under its heading, with the caution that belongs to a hold angle."""
    if not verdicts:
        return [html.H2("Verdict"), html.P("No criterion judges this coupon: it is kept beside the others.")]
    caution = [html.P(CAUTIONS[0], className="quiet")] if any(v.criterion == "Hold" for v in verdicts) else []
    return [html.H2("Verdict"), verdict_lines(verdicts), *caution]


def place_words(key: str) -> str:
    """A reading by its kind, with its day where there are several: residue grade, colour in place of 3 Mar 2026."""
    kind, _, day = key.partition(" ")
    words = kind_words(kind)
    return f"{words} of {days_said(day)}" if day else words


def value_words(reading: Reading) -> str:
    """What was typed, with its unit where that is not in it; repeated colours axis by axis."""
    if reading.details.spots:
        return "; ".join(
            f"{axis}* {text.replace(';', '')}" for axis, text in zip("Lab", typed_cells(reading).values(), strict=True)
        )
    if reading.unit in ("", "grade") or reading.typed.endswith(reading.unit):
        return reading.typed
    return reading.typed + (reading.unit if reading.unit == "°" else f"\u202f{reading.unit}")


def details_words(reading: Reading) -> str:
    """How it was read and what stays with it, in one line."""
    details = reading.details
    parts: list[str] = []
    if details.sight_grade:
        low, high = details.sight_grade
        sight = f"{low}" if low == high else f"{low}-{high}"
        parts.append(f"counts as grade {reading.lower:g} by area, {sight} by sight")
    if details.area_percent is not None:
        parts.append(f"area {details.area_percent:g}\u202f%")
    if details.halo_percent is not None:
        parts.append(f"halo {details.halo_percent:g}\u202f%")
    parts += details.flags
    if details.aids is not None:
        parts.append(f"looked with {', '.join(details.aids) or 'the bare eye'}")
    if details.spots:
        parts.append(f"mean of {len(details.spots)} readings")
    parts += [words for words in (details.words(), details.cleaning_step) if words]
    if details.temperature_c is not None:
        parts.append(f"{details.temperature_c:g}\u202f°C")
    if details.humidity_percent is not None:
        parts.append(f"{details.humidity_percent:g}\u202f% RH")
    parts += [words for words in (details.instrument, details.read_by and f"read by {details.read_by}") if words]
    return "; ".join([*parts, *([f"“{details.note}”"] if details.note else [])])


def in_force_shown(form: CouponForm) -> html.Section | None:
    """What is in force for this coupon, each with who entered it, its flags, and the way to correct it."""
    if not form.in_force:
        return None
    columns = (
        Column("kind", "Reading", tight=True),
        Column("value", "As typed"),
        Column("how", "How, and what stays with it", quiet=True),
        Column("entered", "Entered", quiet=True, spare=True),
        Column("acts", "If it is wrong", tight=True),
    )
    rows = [
        {
            "kind": place_words(key),
            "value": value_words(reading),
            "how": [details_words(reading), *(html.Span(days_said(mark), className="mark") for mark in marks(reading))],
            "entered": entered_words(*form.entered.get(key, ("", ""))),
            "acts": [
                dcc.Link("Correct", href=correct_address(form.coupon.code, key)),
                " · ",
                dcc.Link("Take back", href=correct_address(form.coupon.code, key, back=True)),
            ],
        }
        for key, reading in form.in_force.items()
    ]
    return html.Section([html.H2("In force"), table(columns, rows, caption="Readings in force for this coupon")])


def marks(reading: Reading) -> tuple[str, ...]:
    """The flags that stay on a reading."""
    return reading.details.marks


def entered_words(by: str, at: str) -> str:
    """Who entered it and on which day."""
    return f"{by or 'nobody named'}, {short_day(date.fromisoformat(at[:10]))}" if at else ""


def correct_address(code: str, key: str, *, back: bool = False) -> str:
    """The page on which one reading is corrected or taken back."""
    asked = {"view": "correct", "code": code, "kind": key, **({"act": "back"} if back else {})}
    return f"/read?{urlencode(asked)}"


def colour_shown(colour: ColourWords | None) -> html.Section | None:
    """A change of colour beside what two readings of an unchanged spot show by chance."""
    if colour is None:
        return None
    if colour.difference is None:
        return html.Section([html.H2("Colour"), html.P(f"No difference is worked out: {days_said(colour.why_not)}")])
    facts = [("ΔE*00", f"{colour.difference:.2f}")]
    if colour.net_judged:
        whole = "no blank was read at this pull to take off, so the whole change is judged"
        net = f"{colour.net:.2f}; this is judged" if colour.net is not None else whole
        facts.append(("Net of the blanks", net))
    facts.append(("Grey-scale grade", f"{colour.grey_grade}, of 5 for no change to 1"))
    if colour.noise_upper95 is not None and colour.repeat_sd is not None:
        beyond = "beyond" if colour.difference > colour.noise_upper95 else "not beyond"
        facts.append(
            (
                "By chance alone",
                f"up to {colour.noise_upper95:.2f} in 19 of 20 unchanged spots: this change is {beyond} it. "
                f"Repeat sd {colour.repeat_sd:.2f} per axis, from {colour.degrees} readings beyond the first.",
            )
        )
    else:
        facts.append(("By chance alone", "not known: no spot of this set was read more than once"))
    facts.append(("Read under", colour.conditions or "conditions that nobody wrote down"))
    pairs = [part for name, words in facts for part in (html.Dt(name), html.Dd(words))]
    return html.Section([html.H2("Colour"), html.Dl(pairs, className="facts")])
