"""The assumed decline: small pictures to choose from, each with its numbers open to be changed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

import dash_mantine_components as dmc
from dash import ALL, Dash, Input, Output, State, ctx, dcc, html, no_update
from pydantic import ValidationError

from dashboard.book import Book
from dashboard.components.fields import choice_field, row, text_field
from dashboard.components.messages import refused
from dashboard.plan.writing import PICTURE_PERCENT, usual
from study.commands.opening import open_study
from study.commands.plan import picture_for
from study.errors import DwellbookError
from study.model.pairing import Pairing
from study.model.plan import Picture
from study.outputs.palette import Scheme, palette_of

PAIRING = "pairing"
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
CHANGED = ", with numbers of your own"
WIDE, HIGH, BASE, LEFT = 200, 92, 76, 4
ONE_IN_TEN = 1.2816
"""Normal quantile of nine coupons in ten [computed]."""
FIELDS = (
    ("readings_months", "Readings pass the limit", "one coupon in ten by then", "mo"),
    ("verdict_months", "Unacceptable by grade", "one in ten by then; blank for never", "mo"),
    ("start_share", "Reading at time zero", "of the limit", "%"),
    ("scatter", "Scatter of coupons", "of one reading", "%"),
    ("day_scatter", "Shared by a pull", "part of the scatter", "%"),
)


def usual_pictures() -> dict[str, dict[str, Any]]:
    """Pictures that come with Dwellbook, by key, as a store holds them."""
    return {picture.key: picture.model_dump(mode="json") for picture in usual().plan.pictures}


def decline(
    pictures: Mapping[str, dict[str, Any]], pairings: Sequence[Pairing], *, chosen: str, months: int
) -> list[Any]:
    """Cards to choose from, a finished pairing, and the numbers of what is chosen."""
    cards = [_card(key, Picture.model_validate(one), months) for key, one in pictures.items() if key != PAIRING]
    if pairings:
        names = [(pairing.key, f"{pairing.key} {pairing.title}") for pairing in pairings]
        choice = choice_field("decline-pairing", "Pairing", names, "its readings so far")
        cards.append(html.Div([dmc.Radio(label="As a pairing declined", value=PAIRING), choice,
                               html.Div(id={"decline-svg": PAIRING})], className="decline-card"))  # fmt: skip
    else:
        cards.append(html.Div(dcc.Store(id="decline-pairing"), className="unseen"))
    begun = Picture.model_validate(pictures[chosen])
    return [
        dmc.RadioGroup(html.Div(cards, className="decline-cards"), id="decline-chosen", value=chosen,
                       label="How a pairing is assumed to decline", description="to plan with; no finding"),
        row(*(text_field({"decline": key}, label, say, unit=unit, value=written(begun, key), debounce=250)
              for key, label, say, unit in FIELDS)),
        html.Div(id="decline-said", className="said"),
        dcc.Store(id="plan-pictures", data={"shown": chosen, "all": dict(pictures)}),
    ]  # fmt: skip


def _card(key: str, picture: Picture, months: int) -> html.Div:
    svg = html.Div(drawn(picture, months), id={"decline-svg": key})
    return html.Div([dmc.Radio(label=picture.title, value=key), svg], className="decline-card")


def written(picture: Picture, key: str) -> str:
    """A number of a picture as it stands in its field."""
    value = getattr(picture, key)
    return "" if value is None else f"{100 * value if key in PICTURE_PERCENT else value:.4g}"


def drawn(picture: Picture, months: int) -> list[Any]:
    """The picture in both schemes; the style sheet shows one."""
    words = picture_words(picture)
    images = [
        html.Img(src=f"data:image/svg+xml,{quote(_svg(picture, months, scheme))}", alt=words,
                 className=f"only-{scheme}")
        for scheme in SCHEMES
    ]  # fmt: skip
    return [*images, html.P(words, className="quiet")]


def picture_words(picture: Picture) -> str:
    """What the picture says, in one line."""
    readings = f"at {picture.readings_months:.0f} months" if picture.readings_months else "never"
    grades = f"at {picture.verdict_months:.0f}" if picture.verdict_months else "never"
    return f"One in ten past the limit {readings}; by grade {grades}."


def _svg(picture: Picture, months: int, scheme: Scheme) -> str:
    """Readings against months: the middle, where four coupons in five lie, the limit, where one in ten passes it."""
    colours = palette_of(scheme)
    span = WIDE - 2 * LEFT

    def at(month: float, share: float) -> str:
        return f"{LEFT + span * month / months:.1f},{BASE - (BASE - 6) * min(share / 1.25, 1):.1f}"

    reach = ONE_IN_TEN * picture.scatter
    rise = -reach - math.log(picture.start_share)
    end = picture.readings_months
    steps = [months * step / 40 for step in range(41)]

    def middle(month: float) -> float:
        if end is None:
            return picture.start_share
        gone = math.sqrt(month / end) if picture.time_scale == "sqrt" else month / end
        return picture.start_share * math.exp(rise * gone)

    upper = [at(month, middle(month) * math.exp(reach)) for month in steps]
    lower = [at(month, middle(month) * math.exp(-reach)) for month in steps]
    line = " ".join(at(month, middle(month)) for month in steps)
    limit = at(0, 1).split(",")[1]
    marks = "".join(
        f'<text x="{LEFT + span * month / months:.1f}" y="{HIGH - 2}" font-size="9" fill="{colours.quiet}" '
        f'text-anchor="{"start" if not month else "end" if month == months else "middle"}">{month}</text>'
        for month in range(0, months + 1, 12 if months <= 60 else 24)
    )
    drop = ""
    if end is not None and end <= months:
        x = LEFT + span * end / months
        drop = f'<path d="M{x:.1f} {limit}V{BASE}" stroke="{colours.harm}" stroke-dasharray="2 2"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {HIGH}" font-family="sans-serif" fill="none">'
        f'<polygon points="{" ".join([*upper, *reversed(lower)])}" fill="{colours.accent}" fill-opacity="0.14"/>'
        f'<polyline points="{line}" stroke="{colours.accent}" stroke-width="1.6"/>'
        f'<path d="M{LEFT} {limit}H{WIDE - LEFT}" stroke="{colours.harm}"/>'
        f'<path d="M{LEFT} {BASE}H{WIDE - LEFT}" stroke="{colours.quiet}"/>{drop}{marks}</svg>'
    )


def edited(pictures: Mapping[str, dict[str, Any]]) -> list[dict[str, Any]]:
    """Pictures that a plan must carry itself, since they differ from those that come with Dwellbook."""
    common = usual_pictures()
    return [one for key, one in pictures.items() if one != common.get(key)]


def typed_picture(before: Mapping[str, Any], typed: Mapping[str, str]) -> Picture:
    """The picture with the numbers that stand in its fields.

    Raises
    ------
    DwellbookError
        With what is wrong.
    """
    numbers: dict[str, float | None] = {}
    for key, label, _, _ in FIELDS:
        text = typed.get(key, "").strip()
        try:
            value = float(text) if text else None
        except ValueError:
            raise DwellbookError(f"{label}: “{text}” is not a number.", "Write it such as 24 or 7.5.") from None
        numbers[key] = value / 100 if value is not None and key in PICTURE_PERCENT else value
    changed = {key: value for key, value in numbers.items() if written_number(before.get(key)) != written_number(value)}
    if not changed:
        return Picture.model_validate(before)
    title = str(before["title"]).removesuffix(CHANGED) + CHANGED
    try:
        return Picture.model_validate({**before, **changed, "title": title})
    except ValidationError as fault:
        first = fault.errors()[0]
        label = next((label for key, label, _, _ in FIELDS if first["loc"][-1:] == (key,)), "")
        said = first["msg"].removeprefix("Value error, ")
        raise DwellbookError(f"{label + ': ' if label else ''}{said}.", "Correct the number.") from None


def written_number(value: Any) -> str:
    """A number as it compares: what a field shows of it."""
    return "" if value is None else f"{value:.4g}"


def register(app: Dash, book: Book) -> None:
    """Choosing a picture, taking one from a pairing, changing its numbers."""

    @app.callback(
        Output({"decline": ALL}, "value"),
        Output("plan-pictures", "data"),
        Output("decline-chosen", "value"),
        Output("decline-said", "children"),
        Input("decline-chosen", "value"),
        Input("decline-pairing", "value"),
        State("plan-pictures", "data"),
        State({"decline": ALL}, "id"),
        State("plan-text", "data"),
        prevent_initial_call=True,
    )
    def choose(
        chosen: str,
        pairing: str | None,
        held: dict[str, Any],
        fields: list[dict[str, str]],
        plan: dict[str, Any] | None,
    ) -> Any:
        still = [no_update] * len(fields)
        pictures, said = dict(held["all"]), None
        if ctx.triggered_id == "decline-pairing" and pairing:
            try:
                with open_study(book.study_file) as study:
                    pictures[PAIRING] = picture_for(usual(), pairing, study).model_dump(mode="json")
            except (DwellbookError, ValidationError) as error:
                words = (
                    error
                    if isinstance(error, DwellbookError)
                    else DwellbookError(f"The decline of {pairing} is no picture to plan with.", "Choose another.")
                )
                return still, no_update, no_update, refused(words)
            chosen = PAIRING
        if chosen not in pictures:
            return still, no_update, no_update, html.P("Choose the pairing.", className="quiet")
        picture = Picture.model_validate(pictures[chosen])
        values = [written(picture, ident["decline"]) for ident in fields]
        return values, {"shown": chosen, "all": pictures}, chosen, said

    @app.callback(
        Output("plan-pictures", "data", allow_duplicate=True),
        Output({"decline-svg": ALL}, "children"),
        Output("decline-said", "children", allow_duplicate=True),
        Input({"decline": ALL}, "value"),
        State("plan-pictures", "data"),
        State({"decline-svg": ALL}, "id"),
        State("plan-last", "data"),
        prevent_initial_call=True,
    )
    def change(_: list[str], held: dict[str, Any], places: list[dict[str, str]], months: int | None) -> Any:
        typed = {entry["id"]["decline"]: str(entry.get("value") or "") for entry in ctx.inputs_list[0]}
        still = [no_update] * len(places)
        pictures, shown = dict(held["all"]), held["shown"]
        try:
            picture = typed_picture(pictures[shown], typed)
        except DwellbookError as error:
            return no_update, still, refused(error)
        pictures[shown] = picture.model_dump(mode="json")
        keys = [place["decline-svg"] for place in places]
        images = [drawn(Picture.model_validate(pictures[key]), months or 60) if key in pictures else no_update
                  for key in keys]  # fmt: skip
        return {"shown": shown, "all": pictures}, images, None
