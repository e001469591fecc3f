"""A logger's file on a page: its form, what it says before it is kept, kept or refused, a record taken back."""

from __future__ import annotations

from typing import Any

from dash import dcc, html

from dashboard.book import Book
from dashboard.components.days import days_said, short_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.messages import refused, saved
from dashboard.components.uploads import sent_bytes
from study.commands.opening import open_study
from study.commands.read_climate import (
    ClimatePreview,
    LoggerFile,
    preview_climate,
    record_climate,
    withdraw_climate,
)
from study.errors import DwellbookError, NotPossible
from study.outputs.climate_report import measure_lines, preview_lines

ORDERS = (("day", "day before month"), ("month", "month before day"))
_POLITE: dict[str, Any] = {"aria-live": "polite"}


def keep_form(keys: list[str], here: str) -> html.Details:
    """A logger's file, what it cannot say itself, and who keeps it."""
    places = [(key, key) for key in keys]
    chooser = dcc.Upload(
        [html.Span("Choose a file", className="chooser"), html.Span(" or drop it here")],
        id="logger-file", multiple=False, className="upload", className_active="upload over", style={},
        style_active={},
    )  # fmt: skip
    return html.Details(
        [
            html.Summary("Keep a logger's file"),
            html.Div(
                [
                    html.Div("Logger's file", id="logger-file-label", className="mantine-InputWrapper-label"),
                    chooser,
                    html.P(
                        "CSV, text or .xlsx with a time and temperature, humidity, lux or UV.",
                        id="logger-file-help",
                        className="mantine-InputWrapper-description",
                    ),
                    html.P("No file is chosen.", id="logger-chosen", className="quiet", role="status"),
                ]
            ),
            row(
                choice_field("logger-environment", "Environment", places, "where it stood", value=here or None),
                text_field("logger-zone", "Zone of its clock", "Europe/Vienna, +01:00 or UTC"),
                choice_field("logger-order", "Order in dates", ORDERS, "where 03/04/2025 may be either"),
            ),
            row(
                text_field("logger-instrument", "Logger", "its key, if it is registered"),
                text_field("logger-temperature", "Temperature band", "18 to 22; blank: as declared"),
                text_field("logger-humidity", "Humidity band", "45 to 55; blank: as declared"),
            ),
            row(
                text_field("logger-supersedes", "Supersedes record", "its number, if it replaces one"),
                text_field("logger-why", "Reason", "needed where it replaces one", className="long"),
                name_field("logger-by", "Kept by"),
            ),
            foot(
                "logger-look", "Look at it first", primary=False,
                beside=html.Button("Keep it", id="logger-keep", className="primary"),
            ),
            html.Div(id="logger-said", className="said", **_POLITE),
        ],
        className="card form act",
        open=not keys,
    )  # fmt: skip


def off_form() -> html.Details:
    """A record kept by mistake is taken back, with a reason."""
    return html.Details(
        [
            html.Summary("Take a record back"),
            html.P("Its file stays in the study and in the trail; it no longer counts.", className="quiet"),
            row(
                text_field("climate-off-number", "Record", "its number"),
                text_field("climate-off-why", "Reason", "what is wrong with it", className="long"),
                name_field("climate-off-by", "Taken back by"),
            ),
            foot("climate-off", "Take it back", primary=False),
            html.Div(id="climate-off-said", className="said", **_POLITE),
        ],
        className="card form act",
    )


def looked_at(found: ClimatePreview) -> html.Div:
    """What a file says, before it is kept."""
    summary = found.summary
    more = preview_lines(summary.kinetic, summary.light, summary.ultraviolet_uw_per_lm)
    lines = [*measure_lines(summary.measures), *more]
    doubts = [*found.filed.doubts, *found.overlaps]
    same = [html.P(html.Strong(f"This file {found.same}."))] if found.same else []
    doubted = [html.P("In doubt:"), html.Ul([html.Li(days_said(one)) for one in doubts])] if doubts else []
    return html.Div(
        [
            html.P([html.Strong(found.filed.name), " says this; nothing is kept yet."]),
            *same,
            html.Ul([html.Li(days_said(line)) for line in [*lines, found.bands.words()]]),
            *doubted,
            html.P(f"Understood: {'; '.join(found.filed.notes)}.", className="quiet"),
        ],
        className="message",
        role="status",
    )


def logger_file(content: str | None, name: str | None, zone: str, order: str, instrument: str) -> LoggerFile:
    """The chosen file with what was said of it.

    Raises
    ------
    NotPossible
        If no file is chosen, or it did not come through.
    """
    if not content or not name:
        raise NotPossible("No file is chosen.", "Choose the logger's file first.")
    read = sent_bytes(content, name)
    day_first = {"day": True, "month": False}.get(order)
    return LoggerFile(name, read, zone.strip(), day_first, "", instrument.strip())


def _number(typed: str) -> int:
    text = typed.strip()
    if not text:
        return 0
    if not text.isdecimal():
        raise NotPossible(f"“{text}” is not the number of a record.", "Take it from the table of records.")
    return int(text)


def looked(
    book: Book, content: str, name: str, environment: str, zone: str, order: str, instrument: str, temperature: str,
    humidity: str,
) -> html.Div:  # fmt: skip
    """What a chosen file says; nothing is written."""
    try:
        file = logger_file(content, name, zone, order, instrument)
        bands = {"temperature": temperature, "humidity": humidity}
        with open_study(book.study_file) as study:
            return looked_at(preview_climate(study, file, environment=environment, bands=bands))
    except DwellbookError as error:
        return refused(error)


def kept(
    book: Book, content: str, name: str, environment: str, zone: str, order: str, instrument: str, temperature: str,
    humidity: str, supersedes: str, why: str, by: str,
) -> tuple[html.Div, bool]:  # fmt: skip
    """What is said once a file was kept or refused, and whether it was kept."""
    try:
        file = logger_file(content, name, zone, order, instrument)
        bands = {"temperature": temperature, "humidity": humidity}
        with open_study(book.study_file) as study:
            found = record_climate(
                study, file, environment=environment, signature=book.sign(by, why), supersedes=_number(supersedes),
                bands=bands,
            )  # fmt: skip
    except DwellbookError as error:
        return refused(error), False
    filed = found.filed
    return saved(
        " ".join(
            [
                f"{filed.name} is climate record {filed.number} of {filed.environment}, "
                f"{short_day(found.record.moment(0).date())} to {short_day(found.record.moment(-1).date())}.",
                *(days_said(words) for words in found.overlaps),
            ]
        )
    ), True


def taken_back(book: Book, number: str, why: str, by: str) -> tuple[html.Div, bool]:
    """What is said once a record was taken back or not, and whether it was."""
    try:
        with open_study(book.study_file) as study:
            old = withdraw_climate(study, _number(number), signature=book.sign(by, why))
    except DwellbookError as error:
        return refused(error), False
    return saved(f"Climate record {old.number} ({old.name}) is taken back; it stays in the trail."), True
