"""Acts on the register: a new status, a lot withdrawn, lots pooled, a note; each with a name, most with a reason."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, State, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.days import typed_day
from dashboard.components.fields import choice_field, foot, name_field, row, text_field
from dashboard.components.messages import refused, saved
from dashboard.register.fields import ONE
from dashboard.register.lists import on_file
from dashboard.register.placing import placing_form
from study.commands.opening import open_study
from study.commands.register import add_note, change_status, pool_lots, withdraw_lot
from study.commands.shelf import Register, register_book
from study.errors import DwellbookError, NotPossible
from study.model.pairing import ADHESIVE_STATES

DAY = "year-month-day"
NOTED = {
    "adhesives": "adhesive",
    "lots": "lot",
    "substrates": "substrate",
    "environments": "environment",
    "sets": "set",
}
ACTS = {
    "status": (
        "Change its status",
        "Objects standing on a withdrawn adhesive lose their evidence; they stay on record.",
    ),
    "withdraw": ("Withdraw a lot", "It may no longer be relied on: objects standing on it lose their evidence."),
    "pool": (
        "Pool the lots of a pairing",
        "From then on they count as one body of evidence; decisions on one lot alone are withdrawn.",
    ),
    "note": ("Note what happened", "A lamp that failed, a room that moved, a rack that fell."),
}


def acts(kind: str, book: Register, *, today: str) -> list[Any]:
    """The acts a kind allows now, folded until they are wanted."""
    if kind == "coupons" or not book.count(kind):
        return []
    found = [note_form(kind, book, today=today)]
    if kind == "adhesives":
        found.insert(0, status_form(book, today=today))
    if kind == "lots":
        if len(book.lots) > len(book.withdrawn):
            found.insert(0, withdraw_form(book, today=today))
        found.insert(0, pool_form(book))
    if kind == "sets":
        found.insert(0, placing_form(book))
    return [html.H2("Acts"), *found]


def status_form(book: Register, *, today: str) -> html.Details:
    """Discontinued, reformulated, withdrawn, or active again."""
    names = [(a.key, f"{a.key}, {a.name}, now {a.status}") for a in book.adhesives]
    return _act(
        "status",
        row(
            choice_field("status-key", "Adhesive", names),
            choice_field("status-to", "Is now", [(state, state) for state in ADHESIVE_STATES]),
            text_field("status-on", "Since", DAY, value=today),
        ),
        _signed("status"),
        foot("status-save", "Change the status", primary=False),
    )


def withdraw_form(book: Register, *, today: str) -> html.Details:
    """A lot that may no longer be relied on."""
    names = [(lot.key, f"{lot.key}, of {lot.adhesive}") for lot in book.lots if lot.key not in book.withdrawn]
    return _act(
        "withdraw",
        row(choice_field("withdraw-key", "Lot", names), text_field("withdraw-on", "On", DAY, value=today)),
        _signed("withdraw"),
        foot("withdraw-save", "Withdraw the lot", primary=False),
    )


def pool_form(book: Register) -> html.Details:
    """Lots of one pairing that count together."""
    several = [p for p in book.pairings if len(book.lots_of.get(p.key, ())) > 1 and p.key not in book.pooled]
    if not several:
        pooled = f" Pooled already: {', '.join(sorted(book.pooled))}." if book.pooled else ""
        words = f"No pairing has sets of more than one lot that count apart.{pooled}"
        return html.Details(
            [html.Summary(ACTS["pool"][0]), html.P(words, className="quiet")], className="card form act"
        )
    names = [(p.key, f"{p.key} {p.title}: {', '.join(book.lots_of[p.key])}") for p in several]
    return _act(
        "pool",
        row(choice_field("pool-key", "Pairing", names, className="long")),
        _signed("pool"),
        foot("pool-save", "Pool the lots", primary=False),
    )


def note_form(kind: str, book: Register, *, today: str) -> html.Details:
    """A dated note on one of the kind."""
    keys = [s.coupon_set.key for s in book.sets] if kind == "sets" else [one.key for one in getattr(book, kind)]
    return _act(
        "note",
        row(
            choice_field("note-key", f"About the {ONE[kind]}", [(key, key) for key in keys]),
            text_field("note-on", "On", DAY, value=today),
            text_field("note-text", "What happened", className="long"),
        ),
        row(name_field("note-by", "Noted by")),
        foot("note-save", "Keep the note", primary=False),
        dcc.Store(id="note-kind", data=kind),
    )


def _signed(act: str) -> html.Div:
    return row(name_field(f"{act}-by", "Done by"), text_field(f"{act}-why", "Reason", "one sentence", className="long"))


def _act(act: str, *parts: Any) -> html.Details:
    words, told = ACTS[act]
    return html.Details([html.Summary(words), html.P(told, className="quiet"), *parts], className="card form act")


def done(book: Book, act: str, asked: dict[str, str | None], kind: str) -> tuple[Any, Any]:
    """What is shown after an act, and the list as it stands then (nothing if refused)."""
    key = asked.get("key") or ""
    try:
        if not key:
            raise NotPossible("Nothing is chosen.", "Choose which one it is about.")
        signature = book.sign(asked.get("by"), asked.get("why"))
        with open_study(book.study_file) as study:
            if act == "status":
                to = asked.get("to") or ""
                change_status(study, key, status=to, on=typed_day(asked.get("on")), signature=signature)
                words = f"{key} is now {to}."
            elif act == "withdraw":
                withdraw_lot(study, key, on=typed_day(asked.get("on")), signature=signature)
                words = f"Lot {key} is withdrawn. Today shows the objects that stand on it."
            elif act == "pool":
                pool_lots(study, key, signature=signature)
                words = f"The lots of {key} now count together."
            else:
                text, on = asked.get("text") or "", typed_day(asked.get("on"))
                add_note(study, about=NOTED[kind], subject=key, text=text, on=on, signature=signature)
                words = f"Noted for {key}."
            now = register_book(study)
    except DwellbookError as error:
        return refused(error), None
    return saved(words), on_file(kind, now)


def register(app: Dash, book: Book) -> None:
    """Each act with its button."""
    fields = {
        "status": ("key", "to", "on", "by", "why"),
        "withdraw": ("key", "on", "by", "why"),
        "pool": ("key", "by", "why"),
        "note": ("key", "on", "text", "by"),
    }
    for act, names in fields.items():
        _listen(app, book, act, names)


def _listen(app: Dash, book: Book, act: str, names: tuple[str, ...]) -> None:
    @app.callback(
        Output("act-said", "children", allow_duplicate=True),
        Output("on-file", "children", allow_duplicate=True),
        Input(f"{act}-save", "n_clicks"),
        State("register-kind", "data"),
        *(State(f"{act}-{name}", "value") for name in names),
        prevent_initial_call=True,
    )
    def act_done(clicks: int | None, kind: str, *values: str | None) -> Any:
        if not clicks:
            return no_update, no_update
        shown, listed = done(book, act, dict(zip(names, values, strict=True)), kind)
        return shown, listed if listed is not None else no_update
