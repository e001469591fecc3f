"""Trying and saving one coupon: the verdict while it is typed, refusals in place, a question answered, saved once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, html, no_update
from dash.exceptions import PreventUpdate

from dashboard.book import Book
from dashboard.components.days import days_said, typed_day
from dashboard.components.messages import refused, saved, told
from dashboard.read.commas import commas_in, commas_shown
from dashboard.read.words import verdict_lines, verdict_shown
from study.commands.opening import open_study
from study.commands.read import record_reading
from study.commands.read_form import READING_OF, CouponForm, coupon_form
from study.commands.read_try import Tried, try_reading
from study.errors import DwellbookError, FileRefused, Problem, Unanswered

READING = {"kind": "reading", "column": ALL}
SITTING = {"kind": "sitting", "column": ALL}
TELL = {"kind": "tell", "column": ALL}
ANSWER = {"kind": "answer", "question": ALL}


def tried(book: Book, asked: Mapping[str, Any]) -> Tried | None:
    """What saving would say to what is typed now; None while nothing can be judged."""
    try:
        with open_study(book.study_file) as study:
            return try_reading(
                study, asked["code"], {**asked["sitting"], **asked["typed"]}, read_on=typed_day(asked["read_on"]),
                signature=book.sign(asked["read_by"].strip() or "nobody yet"),
            )  # fmt: skip
    except DwellbookError:
        return None  # said when it is saved


def tells(found: Tried | None, column: str) -> tuple[str, str]:
    """What stands under one field while it is typed, and its look."""
    if found is None:
        return "", "tell"
    wrong = [told(problem) for problem in found.problems if problem.column == column]
    if wrong:
        return wrong[0], "tell wrong-so-far"
    return found.said.get(column, ""), "tell"


def still_wrong(found: Tried | None, states: Sequence[Mapping[str, Any]]) -> list[str]:
    """Of fields that a refusal marked, what is wrong with them now that somebody typed on; empty where it is mended."""
    wrong = places_of(found.problems) if found else {}
    return [wrong.get(entry["id"]["column"], "") if entry.get("value") else "" for entry in states]


def marks_shown(found: Tried | None) -> list[Any]:
    """Flags that would stay on the readings, and what would be asked."""
    if found is None:
        return []
    lines = [html.Li(f"Will be flagged: {days_said(mark)}.") for mark in found.marks]
    lines += [html.Li(f"Will be asked: {words}.") for words in found.unusual]
    return [html.Ul(lines, className="flags")] if lines else []


def commas_asked(found: Tried | None, typed: Mapping[str, str]) -> list[html.Div]:
    """One question for all fields whose numbers have a comma."""
    wrong = [problem.column for problem in found.problems] if found else []
    return commas_shown(commas_in(typed, wrong), thing="field")


def provisional_shown(found: Tried | None) -> list[Any]:
    """The verdict so far, clearly not saved."""
    judged = [word for word in found.words if word.unacceptable is not None or word.stop] if found else []
    if not judged:
        return []
    return [html.H3("So far, not saved"), verdict_lines(judged)]


def asked_shown(error: Unanswered, *, kind: str = "answer") -> html.Div:
    """A question in place, with the button that answers it; nothing typed is lost. ``kind`` names the button."""
    parts: list[Any] = []
    for question in error.questions:
        parts.append(html.P([html.Strong("Please look once more. "), days_said(question.what)]))
        words = {"as typed": "It is as typed: save it"}
        for answer in question.answers:
            ident = {"kind": kind, "question": f"{question.key}={answer}"}
            parts.append(html.Button(words.get(answer, answer), id=ident, className="second"))
    quiet = html.P("Nothing was saved yet.", className="quiet")
    return html.Div([*parts, quiet], className="message", role="alert", tabIndex="-1")


def owed(book: Book, read_on: str, read_by: str) -> dict[str, str]:
    """What is missing of a sitting, by field: a day that is one, and a name."""
    found = {}
    for column, attempt in (("read_on", lambda: typed_day(read_on)), ("read_by", lambda: book.sign(read_by))):
        try:
            attempt()
        except DwellbookError as error:
            found[column] = f"{error.what} {error.do}"
    return found


def places_of(problems: Sequence[Problem]) -> dict[str, str]:
    """What is wrong, by column, each in its sentences."""
    places: dict[str, str] = {}
    for problem in problems:
        places[problem.column] = " ".join(filter(None, (places.get(problem.column, ""), told(problem))))
    return places


def see_the_fields() -> html.Div:
    """That nothing was saved, where each fault stands at its own field."""
    words = html.P("Nothing was saved: see the marked fields.")
    return html.Div(words, className="message harm", role="alert")


def saved_reading(
    book: Book, code: str, typed: Mapping[str, str], *, read_on: str, read_by: str,
    answers: Mapping[str, str] | None = None, token: str = "",
) -> tuple[list[Any], dict[str, str], bool]:  # fmt: skip
    """What is shown after saving was asked for, the errors by field, and whether it is in the study now."""
    if missing := owed(book, read_on, read_by):
        asked = {"code": code, "sitting": {}, "typed": typed, "read_on": read_on, "read_by": ""}
        found = tried(book, asked)
        return [see_the_fields()], {**places_of(found.problems if found else ()), **missing}, False
    try:
        day: date = typed_day(read_on)
        with open_study(book.study_file) as study:
            fresh = not_yet_saved(coupon_form(study, code), typed)
            if not any(READING_OF.get(column) for column, text in fresh.items() if text) and any(typed.values()):
                return [saved(f"Everything typed for {code} was saved already.")], {}, True
            verdicts = record_reading(
                study, code, fresh, read_on=day, signature=book.sign(read_by), answers=answers or {}, token=token
            )
    except FileRefused as error:
        places = places_of(error.problems)
        if set(places) <= {*typed, "read_on"}:
            return [see_the_fields()], places, False
        return [refused(error)], places, False
    except Unanswered as error:
        return [asked_shown(error)], {}, False
    except DwellbookError as error:
        return [refused(error)], {}, False
    said = saved(f"Readings of {code} are saved.")
    return [said, html.Div(verdict_shown(verdicts), className="card")], {}, True


def not_yet_saved(form: CouponForm, typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed without the readings that are in force with just this text: saving twice saves once."""
    kept = {kind: reading.typed.split() for kind, reading in form.in_force.items()}
    cells: dict[str, list[str]] = {}
    for column, text in typed.items():
        if text.strip() and column in READING_OF and column != "force_unit":
            cells.setdefault(READING_OF[column], []).extend(text.split())
    same = {kind for kind, parts in cells.items() if kept.get(kind) == parts}
    unit, force = typed.get("force_unit", "").strip(), form.in_force.get("removal_force")
    if force is not None and unit and unit != force.unit:
        same.discard("removal_force")  # 5.1 lbf is not the 5.1 N that stands there
    return {column: text for column, text in typed.items() if READING_OF.get(column) not in same}


def register(app: Dash, book: Book, parts: Callable[..., list[Any]]) -> None:
    """Drafts and focus in the browser; trying and saving here. ``parts`` shows a coupon anew once it is saved."""
    app.clientside_callback(
        ClientsideFunction("reading", "opened"),
        Output(READING, "value"),
        Output("draft-said", "children"),
        Input("open-code", "data"),
        State(READING, "id"),
    )
    app.clientside_callback(
        ClientsideFunction("reading", "typing"),
        Output("keeping", "children"),
        Input(READING, "value"),
        Input(SITTING, "value"),
        Input("read-on", "value"),
        State(READING, "id"),
        State(SITTING, "id"),
        State("read-by", "value"),
        State("open-code", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("reading", "lead"),
        Output("verdict", "title"),
        Input("verdict", "children"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        ClientsideFunction("reading", "send"),
        Output("send", "data"),
        Input("save", "n_clicks"),
        Input(ANSWER, "n_clicks"),
        State(READING, "value"),
        State(READING, "id"),
        State(SITTING, "value"),
        State(SITTING, "id"),
        State("read-on", "value"),
        State("read-by", "value"),
        State("open-code", "data"),
        prevent_initial_call=True,
    )

    @app.callback(
        Output(TELL, "children"),
        Output(TELL, "className"),
        Output("marks", "children"),
        Output("provisional", "children"),
        Output(READING, "error", allow_duplicate=True),
        Output(SITTING, "error", allow_duplicate=True),
        Input("try-this", "data"),
        State(READING, "error"),
        State(SITTING, "error"),
        prevent_initial_call=True,
    )
    def look(asked: dict[str, Any] | None, *_: Any) -> Any:
        found = tried(book, asked) if asked else None
        columns = [entry["id"]["column"] for entry in ctx.outputs_list[0]]
        told_each = [tells(found, column) for column in columns]
        return (
            [words for words, _ in told_each],
            [look for _, look in told_each],
            [*(commas_asked(found, asked["typed"]) if asked else []), *marks_shown(found)],
            provisional_shown(found),
            *(still_wrong(found, states) for states in ctx.states_list),
        )

    @app.callback(
        Output("verdict", "children"),
        Output("coupon", "children"),
        Output(READING, "error"),
        Output(SITTING, "error"),
        Output("read-on", "error"),
        Output("read-by", "error"),
        Input("send", "data"),
        prevent_initial_call=True,
    )
    def save(sent: dict[str, Any] | None) -> Any:
        columns, beside = ([entry["id"]["column"] for entry in ctx.outputs_list[place]] for place in (2, 3))
        if not sent:
            raise PreventUpdate
        shown, errors, done = saved_reading(
            book, sent["code"], {**sent["sitting"], **sent["typed"]}, read_on=sent["read_on"],
            read_by=sent["read_by"], answers=sent["answers"], token=sent["token"],
        )  # fmt: skip
        anew: Any = no_update
        if done:
            with open_study(book.study_file) as study:
                anew = parts(book, study, coupon_form(study, sent["code"]), saved=sent["token"])
        return (
            shown,
            anew,
            [errors.get(column, "") for column in columns],
            [errors.get(column, "") for column in beside],
            errors.get("read_on", ""),
            errors.get("read_by", ""),
        )
