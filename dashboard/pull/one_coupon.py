"""One coupon: where it belongs, what is on record, and each act on it with its effect on the analysis said first."""

from __future__ import annotations

from datetime import date
from typing import Any
from urllib.parse import urlencode

from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.aria import heard_as
from dashboard.components.days import days_said, short_day, typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field, typed_by
from dashboard.components.messages import refused, saved
from dashboard.pull.due import read_link
from study.commands.at_shelf import CouponPull, coupon_pull, outside_windows
from study.commands.opening import open_study
from study.commands.pull import correct_pull, find_coupon, pull_effect, record_pulls, undo_pull
from study.commands.pull_effects import Effect
from study.errors import DwellbookError, FileRefused, NotPossible
from study.model.pull import BACK, KEPT, PULL_KINDS, PullEvent

CORRECTED = "corrected"
TAKEN_BACK = "taken back"
FOUND_BACK = "found in place"
WORDS = {
    "lost": "Lost",
    "damaged": "Damaged",
    "released by itself": "Released by itself",
    "pulled in error": "Pulled in error",
    "pulled": "Pulled",
    FOUND_BACK: "Found again, in its placement",
    KEPT: "Found again, out of its placement",
    CORRECTED: "Correct this record",
    TAKEN_BACK: "Take this record back",
}
RECORDS = ("lost", "damaged", "released by itself", "pulled in error", "pulled")
BUTTONS = {
    FOUND_BACK: "Take the loss back",
    KEPT: "Keep it at its real age",
    CORRECTED: "Correct the record",
    TAKEN_BACK: "Take the record back",
}
DAYS = {
    "lost": "Found missing on", "damaged": "Damaged on", "released by itself": "Found released on",
    "pulled in error": "Pulled on", "pulled": "Pulled on", KEPT: "Left its placement on", CORRECTED: "Really on",
}  # fmt: skip
HIDDEN, SHOWN = {"display": "none"}, {"display": "block"}


def acts_for(one: CouponPull) -> tuple[str, ...]:
    """What can happen to it now."""
    if one.event is None:
        return RECORDS
    found = (FOUND_BACK, KEPT) if one.event.kind == "lost" else ()
    return (*found, CORRECTED, *(() if one.read or found else (TAKEN_BACK,)))


def status_line(one: CouponPull) -> str:
    """Where it stands, in one sentence."""
    where = f"{one.title}, set {one.coupon_set.key}"
    if one.event is None:
        return f"{where}: in its placement since {short_day(one.coupon_set.placed_on)}."
    age = (one.event.on - one.coupon_set.placed_on).days
    return f"{where}: {one.event.kind} on {short_day(one.event.on)} after {age}\u202fd."


def coupon_shown(one: CouponPull, chosen: str, *, book: Book) -> list[Any]:
    """Its facts, what may have happened to it, and the act that is chosen."""
    acts = acts_for(one)
    act = chosen if chosen in acts else ""
    shown: list[Any] = [facts(one), _choices(one.coupon.code, acts, act, bool(one.event))]
    if act:
        shown.append(act_form(one, act, book=book))
    return shown


def facts(one: CouponPull) -> html.Dl:
    """What is planned and what is on record."""
    window = "a spare: no day"
    if one.due_on and one.window_from and one.window_to:
        window = f"{short_day(one.due_on)}, window {short_day(one.window_from)} to {short_day(one.window_to)}"
    lines: list[tuple[str, Any]] = [
        ("Test", one.coupon.test),
        ("Destined to", f"{one.pull or 'no pull'} ({window})"),
        ("Placed", short_day(one.coupon_set.placed_on)),
        *([("Stands at", one.place)] if one.place else []),
    ]
    if one.event:
        seen = f", last seen holding {short_day(one.event.last_seen_on)}" if one.event.last_seen_on else ""
        note = f" {one.event.note}" if one.event.note else ""
        said = f"{one.event.kind} on {short_day(one.event.on)}{seen}, entered by {one.entered_by}.{note}"
        lines.append(("On record", said))
        kinds = ", ".join(kind.replace("_", " ") for kind in one.read) or "nothing yet"
        lines.append(("Read", html.Span([f"{kinds}; ", read_link(one.coupon.code)])))
    parts = [part for name, what in lines for part in (html.Dt(name), html.Dd(what))]
    return html.Dl(parts, className="facts")


def _choices(code: str, acts: tuple[str, ...], here: str, recorded: bool) -> html.Section:
    links: list[Any] = []
    for act in acts:
        inside: Any = [WORDS[act], html.Span(" (chosen)", className="unseen")] if act == here else WORDS[act]
        look = "word here" if act == here else "word"
        links.append(dcc.Link(inside, href=f"/pull?{urlencode({'code': code, 'as': act})}", className=look))
    head = "What about this record?" if recorded else "What happened to it?"
    return html.Section([html.H2(head), html.Nav(links, className="choices", **heard_as(head))], className="what")


def act_form(one: CouponPull, act: str, *, book: Book) -> html.Div:
    """The effect first, then what the act asks, then the button."""
    today = book.today()
    event = one.event
    day = event.on if act == CORRECTED and event else today
    fields: list[Any] = []
    if act == CORRECTED and event:
        fields.append(choice_field(_at("to"), "Really", [(kind, kind) for kind in PULL_KINDS], value=event.kind,
                                   clearable=False))  # fmt: skip
    if act in DAYS:
        fields.append(text_field(_at("on"), DAYS[act], "year-month-day", value=day.isoformat(), debounce=True))
    if act in ("released by itself", CORRECTED):
        seen = event.last_seen_on.isoformat() if event and event.last_seen_on else ""
        words = "the last day anybody saw it holding" + ("" if act != CORRECTED else "; for a release alone")
        fields.append(text_field(_at("seen"), "Last seen holding", words, value=seen))
    if act in RECORDS:
        fields.append(text_field(_at("note"), "Note (optional)", "what is worth knowing", className="long"))
    else:
        fields.append(text_field(_at("why"), "Reason", "one sentence; it stays in the trail", className="long"))
    note = text_field(_at("deviation"), "Deviation note", "outside the window: what happened and why", className="long")
    late = html.Div(row(note) if act == "pulled" else None, id="act-late", style=HIDDEN)
    begun = {"on": day.isoformat(), "to": event.kind if event else ""}
    words = BUTTONS.get(act, f"Record it as {act}")
    return html.Div(
        [
            html.H2(WORDS[act]),
            html.Div(effect_said(book, one.coupon.code, act, begun),
                     id="effect-said", className="effect", role="status"),
            row(*fields),
            late,
            row(name_field(_at("by"), "Entered by")),
            foot("act-save", words),
            dcc.Store(id="act-now", data=[one.coupon.code, act]),
            dcc.Store(id="act-seen", data=kept_record(event)),
        ],
        className="card form",
    )  # fmt: skip


def kept_record(event: PullEvent | None) -> dict[str, str]:
    """The record as it is shown, so that a change by somebody else meanwhile is noticed."""
    if event is None:
        return {}
    seen = event.last_seen_on.isoformat() if event.last_seen_on else ""
    return {"kind": event.kind, "on": event.on.isoformat(), "seen": seen, "note": event.note}


def _seen(code: str, record: dict[str, str] | None) -> PullEvent | None:
    if not record:
        return None
    held = date.fromisoformat(record["seen"]) if record["seen"] else None
    return PullEvent(code, record["kind"], date.fromisoformat(record["on"]), held, record["note"])


def _at(name: str) -> dict[str, str]:
    return {"act": name}


def effect_said(book: Book, code: str, act: str, typed: dict[str, str]) -> list[Any]:
    """What follows for the analysis, before anything is done."""
    kind = {FOUND_BACK: BACK, TAKEN_BACK: BACK, CORRECTED: typed.get("to", "")}.get(act, act)
    try:
        day = typed_day(typed.get("on")) if act in DAYS else book.today()
        with open_study(book.study_file) as study:
            effect = pull_effect(study, code, kind, on=day)
    except DwellbookError as error:
        return [html.P(f"{error.what} {error.do}")]
    return effect_shown(effect)


def effect_shown(effect: Effect) -> list[Any]:
    """An effect in sentences; a criterion that falls away in the one colour for harm."""
    lines = [
        html.P(days_said(words), className="harm" if effect.falling and "no longer carries" in words else "")
        for words in effect.sentences
    ]
    return [html.P("What follows for the analysis", className="quiet head"), *lines]


def done(
    book: Book, code: str, act: str, typed: dict[str, str], record: dict[str, str] | None = None
) -> tuple[Any, bool]:
    """What is shown after an act on a coupon with the record as it was shown, and whether it was done."""
    shown = _seen(code, record)
    try:
        signature = book.sign(typed.get("by"), typed.get("why"))
        day = typed_day(typed.get("on")) if act in DAYS else book.today()
        with open_study(book.study_file) as study:
            if act in RECORDS:
                record_pulls(
                    study, [code], kind=act, on=day, last_seen=typed.get("seen", ""), note=typed.get("note", ""),
                    deviation=typed.get("deviation", ""), signature=signature,
                )  # fmt: skip
                words = f"{code} is recorded as {act} on {short_day(day)} by {signature.by}."
            elif act == CORRECTED:
                kind, seen = typed.get("to", ""), typed.get("seen", "")
                _, new = correct_pull(study, code, on=day, kind=kind, last_seen=seen, seen=shown, signature=signature)
                words = (
                    f"{code} is corrected: {new.kind} on {short_day(new.on)}. The earlier record stays in the trail."
                )
            elif act == TAKEN_BACK:
                undo_pull(study, code, seen=shown, signature=signature)
                words = f"{code} is in its placement again; the record stays in the trail."
            else:
                _, kept = find_coupon(study, code, in_place=act == FOUND_BACK, on=day, seen=shown, signature=signature)
                now = f"{kept.kind} on {short_day(kept.on)}" if kept else "in its placement again"
                words = f"{code} is {now}; the loss stays in the trail."
    except FileRefused as error:
        return refused(
            NotPossible(" ".join(f"{p.value} {p.what}" for p in error.problems), error.problems[0].do)
        ), False
    except DwellbookError as error:
        return refused(error), False
    return saved(words), True


def late_for(book: Book, code: str, act: str, on: str | None) -> bool:
    """Whether a pull on that day lies outside the coupon's window."""
    if act != "pulled":
        return False
    try:
        day: date = typed_day(on)
        with open_study(book.study_file) as study:
            return bool(outside_windows(study, [code], on=day))
    except DwellbookError:
        return False


def register(app: Dash, book: Book) -> None:
    """The effect as day and kind are typed; doing it."""

    @app.callback(
        Output("effect-said", "children"),
        Input({"act": ALL}, "value"),
        State("act-now", "data"),
        prevent_initial_call=True,
    )
    def said(_: list[str | None], now: list[str]) -> Any:
        if not ctx.triggered_id or ctx.triggered_id["act"] not in ("on", "to"):
            return no_update
        return effect_said(book, now[0], now[1], typed_by(ctx.inputs_list[0], "act"))

    @app.callback(
        Output("act-late", "style"),
        Input({"act": "on"}, "value"),
        State("act-now", "data"),
    )
    def late(on: str | None, now: list[str]) -> Any:
        return SHOWN if late_for(book, now[0], now[1], on) else HIDDEN

    @app.callback(
        Output("act-said", "children", allow_duplicate=True),
        Output("coupon-now", "children"),
        Output("status", "children", allow_duplicate=True),
        Input("act-save", "n_clicks"),
        State({"act": ALL}, "value"),
        State("act-now", "data"),
        State("act-seen", "data"),
        prevent_initial_call=True,
    )
    def save(clicks: int | None, _: list[str | None], now: list[str], record: dict[str, str]) -> Any:
        if not clicks:
            return no_update, no_update, no_update
        code, act = now
        shown, kept = done(book, code, act, typed_by(ctx.states_list[0], "act"), record)
        if not kept:
            return shown, no_update, no_update
        with open_study(book.study_file) as study:
            one = coupon_pull(study, code)
        return shown, coupon_shown(one, "", book=book), status_line(one)
