"""What could it support: the question, its progress, and the answer with other designs beside it."""

from __future__ import annotations

from time import monotonic
from typing import Any

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update

from dashboard.book import Book
from dashboard.components.fields import choice_field, row, text_field
from dashboard.components.graph import graph
from dashboard.components.messages import refused
from dashboard.components.tables import Column, table
from dashboard.plan.figures import CAPTION, draw_chances
from dashboard.plan.trials import SEARCH, SHOW, Trial, Trials, processes
from study.commands.plan import Question, chance_at
from study.errors import DwellbookError, NotPossible
from study.model.support import Option, Support, chance_words
from study.outputs.palette import Scheme
from study.outputs.plan_tables import (
    SHOWN_CAUTION,
    median_words,
    nothing_words,
    tabulate_options,
    tabulate_parts,
)

EVERY_MS = 600
HIDDEN, SEEN = {"display": "none"}, {"display": "inline-block"}


def asking(wanted: str) -> list[Any]:
    """What is asked: which cell, how long, how sure, how many studies."""
    return [
        row(
            choice_field("trial-cell", "Pairing planned", [], "the first, where left blank", className="long"),
            text_field("trial-wanted", "Wanted duration", "such as 24 months", value=wanted),
            text_field("trial-chance", "Wanted chance", "for the search", unit="%", value="80"),
            text_field("trial-studies", "Invented studies", "more take longer", value="1000"),
            text_field("trial-seed", "Seed", "the same gives the same", value="1"),
        ),
        html.Div(
            [
                html.Button("Try it out", id="trial-show", className="second"),
                html.Button("Find the fewest coupons", id="trial-search", className="second"),
                html.Button("Stop", id="trial-stop", className="second", style=HIDDEN),
                html.Span(id="trial-line", className="quiet", role="status"),
            ],
            className="foot",
        ),
        html.P(id="trial-stale", className="quiet stale", role="status"),
        html.Div(id="trial-answer", className="said"),
        html.Div(id="trial-figures", className="figures alone"),
        html.Div(id="trial-tables"),
        dcc.Interval(id="trial-clock", interval=EVERY_MS, disabled=True),
        dcc.Store(id="trial-now"),
        dcc.Store(id="trial-version"),
        dcc.Store(id="trial-scheme"),
        dcc.Store(id="trial-options"),
    ]


def question(
    text: dict[str, Any] | None, *, what: str, decline: str, cell: str | None, wanted: str, chance: str, studies: str,
    seed: str, jobs: int,
) -> Trial:  # fmt: skip
    """The question as typed.

    Raises
    ------
    NotPossible
        If there is no plan to ask, or a number is none.
    """
    if not text or not text.get("text"):
        raise NotPossible("There is nothing to try out yet.", "Fill in the plan above until its coupons are counted.")
    numbers = {"invented studies": studies, "seed": seed, "wanted chance": chance}
    for name, typed in numbers.items():
        if not typed.strip().replace(".", "", name == "wanted chance").isdecimal():
            raise NotPossible(f"“{typed}” is no number of {name}.".replace("number of seed", "seed"), "Write a number.")
    if not 0 < float(chance) < 100:
        raise NotPossible(f"A chance of {chance} % cannot be asked for.", "Write one between 1 and 99.")
    parts = cell.split("|") if cell else []
    place = (parts[0], parts[1], parts[2]) if len(parts) == 3 else None
    asked = Question(decline, place, "", int(studies), int(seed), jobs)
    return Trial(str(text["text"]), asked, wanted.strip(), float(chance) / 100, what)


def answered(trial: Trial) -> list[Any]:
    """The answer in sentences."""
    if trial.refusal is not None:
        return [refused(trial.refusal)]
    if trial.suggestion is not None:
        return [
            html.P(trial.suggestion.answer, className="statement"),
            html.P(trial.suggestion.looked_at, className="quiet"),
        ]
    if trial.support is None:
        return []
    one = chance_at(trial.support, trial.wanted)
    return [
        html.P(
            [f"Chance to show {trial.wanted}: ", html.Strong(chance_words(one.shown, one.shown_from, one.shown_to)),
             f". Median duration: {median_words(trial.support.median_days)}.{nothing_words(trial.support)}"],
            className="statement",
        ),
        assumed(trial.support),
    ]  # fmt: skip


def assumed(support: Support) -> html.P:
    """What was assumed, in one sentence, and the seed."""
    told = "; ".join(words.rstrip(".") for words in support.assumed)
    return html.P(f"Assumed: {told}. From {support.studies} invented studies, seed {support.seed}.", className="quiet")


def tables_shown(trial: Trial) -> list[Any]:
    """By which criterion, and the other designs, each to be taken over."""
    shown: list[Any] = []
    options = options_of(trial)
    if trial.support is not None:
        shown.append(html.P(SHOWN_CAUTION, className="quiet"))
        columns = (
            Column("part", "Criterion"),
            Column("median", "Median by it alone"),
            Column("limiting", "Allows the least in"),
        )
        shown += [html.H3("By criterion"), table(columns, tabulate_parts(trial.support), caption="By criterion")]
    if options:
        head = f"Other designs, chance to show {trial.wanted}" if trial.what == SHOW else "Designs looked at"
        shown += [html.H3(head), _designs(options, trial)]
    return shown


def options_of(trial: Trial) -> list[Option]:
    """Designs beside the answer, in the order they are listed."""
    if trial.suggestion is not None:
        best = [trial.suggestion.best] if trial.suggestion.best is not None else []
        return [*best, *sorted((o for o in trial.suggestion.options if o not in best), key=lambda o: o.coupons)]
    return list(trial.options)


def _designs(options: list[Option], trial: Trial) -> Any:
    columns = (
        Column("per_pull", "Coupons", unit="a pull", number=True), Column("pulls", "Pulls"),
        Column("coupons", "Coupons", unit="a pairing", number=True), Column("median", "Median duration"),
        Column("chance", "Chance"), Column("use", "Take over", tight=True),
    )  # fmt: skip
    rows: list[dict[str, Any]] = []
    best = trial.suggestion is not None and trial.suggestion.best is not None
    for place, row_ in enumerate(tabulate_options(options)):
        words: list[Any] = [
            "Use this design" if best and not place else "Use",
            html.Span(f" {row_['per_pull']} at {row_['pulls']}", className="unseen"),
        ]
        use: Any = html.Button(words, id={"use": place}, className="second small")
        own = trial.what == SHOW and not place
        rows.append({**row_, "use": html.Span("this plan", className="quiet") if own else use})
    return table(columns, rows, caption="Designs with their chance")


def progress(trial: Trial) -> str:
    """What is being done and for how long, or how it ended."""
    if trial.ended:
        return {"done": "", "stopped": "Stopped.", "refused": ""}[trial.ended]
    return f"Working: {trial.line}, {monotonic() - trial.began:.0f}\u202fs"


def register(app: Dash, book: Book) -> None:
    """Asking, waiting, stopping, showing, and taking a design over."""
    del book
    trials = Trials()
    app.clientside_callback(
        ClientsideFunction("dwellbook", "scheme"), Output("trial-scheme", "data"), Input("trial-version", "data")
    )

    @app.callback(
        Output("trial-now", "data"),
        Output("trial-clock", "disabled"),
        Output("trial-answer", "children", allow_duplicate=True),
        Input("trial-show", "n_clicks"),
        Input("trial-search", "n_clicks"),
        State("plan-text", "data"),
        State("plan-pictures", "data"),
        *(State(f"trial-{name}", "value") for name in ("cell", "wanted", "chance", "studies", "seed")),
        State("trial-now", "data"),
        prevent_initial_call=True,
    )
    def ask(
        show: int | None, search: int | None, text: dict[str, Any] | None, pictures: dict[str, Any], cell: str | None,
        wanted: str | None, chance: str | None, studies: str | None, seed: str | None, before: str | None,
    ) -> Any:  # fmt: skip
        if not (show or search):
            return no_update, no_update, no_update
        what = SEARCH if ctx.triggered_id == "trial-search" else SHOW
        try:
            trial = question(
                text, what=what, decline=pictures["all"][pictures["shown"]]["key"], cell=cell, wanted=wanted or "",
                chance=chance or "", studies=studies or "", seed=seed or "", jobs=processes(),
            )  # fmt: skip
        except DwellbookError as error:
            return no_update, no_update, refused(error)
        return trials.begin(trial, instead_of=before or "").number, False, no_update

    @app.callback(
        Output("trial-line", "children"),
        Output("trial-version", "data"),
        Output("trial-clock", "disabled", allow_duplicate=True),
        Output("trial-stop", "style"),
        Input("trial-clock", "n_intervals"),
        Input("trial-now", "data"),
        State("trial-version", "data"),
        prevent_initial_call=True,
    )
    def wait(_: int | None, number: str | None, version: str | None) -> Any:
        trial = trials.get(number or "")
        if trial is None:
            return "", no_update, True, HIDDEN
        over = bool(trial.ended)
        fresh = trial.version if trial.version != version else no_update
        return progress(trial), fresh, over, HIDDEN if over else SEEN

    @app.callback(
        Output("trial-line", "children", allow_duplicate=True), Input("trial-stop", "n_clicks"),
        State("trial-now", "data"), prevent_initial_call=True,
    )  # fmt: skip
    def stop(clicks: int | None, number: str | None) -> Any:
        trial = trials.get(number or "")
        if not clicks or trial is None:
            return no_update
        trial.stop.set()
        return "Stopping …"

    @app.callback(
        Output("trial-answer", "children"),
        Output("trial-figures", "children"),
        Output("trial-tables", "children"),
        Output("trial-options", "data"),
        Input("trial-scheme", "data"),
        Input("trial-version", "data"),
        State("trial-now", "data"),
        prevent_initial_call=True,
    )
    def show(scheme: str | None, _: str | None, number: str | None) -> Any:
        trial = trials.get(number or "")
        if trial is None or scheme not in ("light", "dark"):
            return (no_update,) * 4
        kept = [{"per_pull": option.per_pull, "pulls": option.pulls} for option in options_of(trial)]
        return answered(trial), figure_shown(trial, "dark" if scheme == "dark" else "light"), tables_shown(trial), kept

    @app.callback(
        Output("trial-stale", "children"),
        Output("trial-cell", "data"),
        Input("plan-text", "data"),
        Input("trial-version", "data"),
        State("trial-now", "data"),
    )
    def stale(text: dict[str, Any] | None, _: str | None, number: str | None) -> Any:
        trial, now = trials.get(number or ""), (text or {}).get("text")
        words = "The plan has changed since this was tried out." if trial and now and now != trial.text else ""
        cells = (text or {}).get("cells")
        return words, no_update if cells is None else [{"value": c, "label": c.replace("|", ", ")} for c in cells]

    @app.callback(
        Output({"plan": "pulls"}, "value", allow_duplicate=True),
        Output({"plan-test": ALL}, "value", allow_duplicate=True),
        Output({"plan-at": ALL}, "value", allow_duplicate=True),
        Output({"plan-cell": ALL}, "value", allow_duplicate=True),
        Output("trial-line", "children", allow_duplicate=True),
        Input({"use": ALL}, "n_clicks"),
        State("trial-options", "data"),
        State({"plan-test": ALL}, "value"),
        State({"plan-at": ALL}, "value"),
        State({"plan-cell": ALL}, "value"),
        prevent_initial_call=True,
    )
    def use(
        clicks: list[int | None], options: list[dict[str, Any]], tests: list[str], at: list[str], cells: list[str]
    ) -> Any:
        if not any(clicks) or not isinstance(ctx.triggered_id, dict):
            return no_update, [no_update] * len(tests), [no_update] * len(at), [no_update] * len(cells), no_update
        chosen = options[ctx.triggered_id["use"]]
        # Cells left out stay left out; every other number gives way to the design's.
        left = [cell if (cell or "").strip() == "0" else "" for cell in cells]
        said = f"The form holds {chosen['per_pull']} coupons a pull at {chosen['pulls']}; nothing is saved yet."
        return chosen["pulls"], [str(chosen["per_pull"])] * len(tests), [""] * len(at), left, said


def figure_shown(trial: Trial, scheme: Scheme) -> list[Any]:
    """The chance of each duration, once the studies are judged."""
    if trial.support is None or trial.refusal is not None:
        return []
    title = "Chance to show each duration"
    return [
        graph(
            draw_chances(trial.support, wanted=trial.wanted, scheme=scheme), key="chances", title=title, words=CAPTION
        )
    ]
