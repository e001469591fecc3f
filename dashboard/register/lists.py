"""On file: everything in the register by kind, in calm tables."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import quote

from dash import dcc, html

from dashboard.components.days import short_day
from dashboard.components.messages import empty
from dashboard.components.tables import Column, table
from dashboard.register.fields import FIELDS, ONE, TITLES
from study.commands.shelf import Register


def on_file(kind: str, book: Register) -> list[Any]:
    """Everything of a kind, in order of registration."""
    rows = _ROWS[kind](book)
    head = html.H2(f"On file: {book.count(kind)}")
    if not rows:
        return [head, empty(f"{TITLES[kind]} will be listed here.", f"Register the first {ONE[kind]} above.")]
    return [head, table(_COLUMNS[kind], rows, caption=f"{TITLES[kind]} on file")]


def _key(key: str, known: str) -> html.Span:
    return html.Span([html.Span(key), *([html.Span(known, className="quiet key")] if known else [])])


def _known(book: Register, kind: str, key: str) -> str:
    """Particulars of one, in one line."""
    found = book.particulars[kind].get(key)
    if found is None:
        return ""
    fields = {field.column: field for field in FIELDS[kind]}
    parts = []
    for name, value in found.model_dump(mode="json", exclude_defaults=True).items():
        field = fields[name]
        shown = f"{value:g}" if isinstance(value, float) else str(value)
        parts.append(f"{field.label.lower()} {shown}" + (f"\u202f{field.unit}" if field.unit else ""))
    return "; ".join(parts)


def _adhesives(book: Register) -> list[dict[str, Any]]:
    return [
        {
            "key": a.key,
            "name": _key(a.name, _known(book, "adhesives", a.key)),
            "class": a.composition_class,
            "version": a.formulation_version,
            "status": a.status + (f" since {short_day(a.status_on)}" if a.status_on else ""),
            "after": a.successor_of or "–",
        }
        for a in book.adhesives
    ]


def _lots(book: Register) -> list[dict[str, Any]]:
    names = {a.key: a.name for a in book.adhesives}
    return [
        {
            "key": lot.key,
            "adhesive": _key(names[lot.adhesive], _known(book, "lots", lot.key)),
            "on": short_day(lot.supplied_on) if lot.supplied_on else "–",
            "mix": lot.mix_parts_by_mass or "–",
            "cure": f"{lot.cure_hours:g}" if lot.cure_hours is not None else "–",
            "state": html.Span("withdrawn", className="harm") if lot.key in book.withdrawn else "in use",
        }
        for lot in book.lots
    ]


def _substrates(book: Register) -> list[dict[str, Any]]:
    return [
        {
            "key": s.key,
            "name": _key(s.name, _known(book, "substrates", s.key)),
            "finish": s.finish or "–",
            "preparation": s.preparation,
            "for": s.stands_for,
            "friable": html.Span("friable", className="harm") if s.friable else "no",
        }
        for s in book.substrates
    ]


def _environments(book: Register) -> list[dict[str, Any]]:
    return [
        {
            "key": e.key,
            "name": _key(e.name, _known(book, "environments", e.key)),
            "t": e.temperature_c or "–",
            "rh": e.humidity_percent or "–",
            "light": e.light or "–",
        }
        for e in book.environments
    ]


def _sets(book: Register) -> list[dict[str, Any]]:
    return [
        {
            "key": one.coupon_set.key,
            "title": _key(one.title, _known(book, "sets", one.coupon_set.key)),
            "role": one.coupon_set.role,
            "pairing": _pairing(one.coupon_set.pairing),
            "lot": one.coupon_set.lot or "–",
            "environment": one.coupon_set.environment,
            "placed": short_day(one.coupon_set.placed_on),
            "coupons": str(one.coupons),
            "left": str(one.placed),
        }
        for one in book.sets
    ]


def _pairing(key: str) -> Any:
    return dcc.Link(key, href=f"/analyse?pairing={quote(key, safe='')}") if key else "–"


def _coupons(book: Register) -> list[dict[str, Any]]:
    return [
        {
            "set": one.coupon_set.key,
            "title": one.title,
            "coupons": str(one.coupons),
            "left": str(one.placed),
            "off": str(one.coupons - one.placed),
        }
        for one in book.sets
        if one.coupons
    ]


_TIGHT_KEY = Column("key", "Key", tight=True)
_COLUMNS: dict[str, Sequence[Column]] = {
    "adhesives": (
        _TIGHT_KEY, Column("name", "Name"), Column("class", "Composition"), Column("version", "Formulation"),
        Column("status", "Status"), Column("after", "Successor of", tight=True, spare=True),
    ),
    "lots": (
        _TIGHT_KEY, Column("adhesive", "Adhesive"), Column("on", "Received", tight=True),
        Column("mix", "Mix, by mass"), Column("cure", "Cure", unit="h", number=True),
        Column("state", "State", tight=True),
    ),
    "substrates": (
        _TIGHT_KEY, Column("name", "Name"), Column("finish", "Finish"), Column("preparation", "Preparation"),
        Column("for", "Stands for"), Column("friable", "Friable", tight=True),
    ),
    "environments": (
        _TIGHT_KEY, Column("name", "Name"), Column("t", "Temperature", unit="°C", tight=True),
        Column("rh", "Humidity", unit="%", tight=True), Column("light", "Light"),
    ),
    "sets": (
        Column("key", "Set"), Column("title", "Stands on"), Column("role", "Role", tight=True, spare=True),
        Column("pairing", "Pairing", tight=True), Column("lot", "Lot", tight=True),
        Column("environment", "Environment", spare=True), Column("placed", "Placed", tight=True),
        Column("coupons", "Coupons", number=True), Column("left", "In place", number=True),
    ),
    "coupons": (
        Column("set", "Set"), Column("title", "Stands on"), Column("coupons", "Coupons", number=True),
        Column("left", "In place", number=True), Column("off", "Off the shelf", number=True),
    ),
}  # fmt: skip
_ROWS = {
    "adhesives": _adhesives,
    "lots": _lots,
    "substrates": _substrates,
    "environments": _environments,
    "sets": _sets,
    "coupons": _coupons,
}
