"""Adhesives, lots, surfaces and environments out of the rows of a whole study's sheet; a room of the imports."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from difflib import get_close_matches

from study.errors import Problem, Question
from study.intake.table_file import Row
from study.intake.understanding import FREE_ANSWERS
from study.model.pairing import (
    COMPOSITION_CLASSES,
    PREPARATIONS,
    STANDS_FOR,
    Adhesive,
    Environment,
    Lot,
    Substrate,
)
from study.model.units import plain

NO_WORDS: Mapping[str, Mapping[str, str]] = {}
NOT_STATED = "not stated"
A_NEW_ONE = "a new one"
A_NUMBER = FREE_ANSWERS[0]


@dataclass(frozen=True)
class SheetSet:
    """Rows that are one coupon set."""

    lot: str
    """Key; empty for a blank."""
    adhesive: str
    substrate: str
    environment: str
    dot_diameter_mm: float
    dots: int
    dwell_load_n: float
    placed_on: date
    role: str


@dataclass(frozen=True)
class SheetCoupon:
    """One coupon of the sheet, before it has a code."""

    mark: str
    """As written in the sheet."""
    row: Row
    of: SheetSet
    test: str
    pull: str


@dataclass
class WholeSheet:
    """What a sheet makes of a study: new nouns, coupons by set, and what has to be asked or put right."""

    adhesives: dict[str, Adhesive] = field(default_factory=dict)
    """New ones alone, as in all four."""
    lots: dict[str, Lot] = field(default_factory=dict)
    substrates: dict[str, Substrate] = field(default_factory=dict)
    environments: dict[str, Environment] = field(default_factory=dict)
    coupons: list[SheetCoupon] = field(default_factory=list)
    pulls: list[Row] = field(default_factory=list)
    """As a pull file has them: coupon, on, as, last_seen_on."""
    readings: list[Row] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    questions: dict[str, Question] = field(default_factory=dict)
    asked: set[str] = field(default_factory=set)
    """Keys of everything that was asked, answered or not."""
    problems: list[Problem] = field(default_factory=list)
    words: dict[str, dict[str, str]] = field(default_factory=dict)
    """Column -> word of the laboratory's own -> ours, as answered or remembered."""

    def note(self, sentence: str) -> None:
        """Say something once."""
        if sentence not in self.notes:
            self.notes.append(sentence)


@dataclass(frozen=True)
class Known:
    """What the study holds already."""

    adhesives: Mapping[str, Adhesive]
    lots: Mapping[str, Lot]
    substrates: Mapping[str, Substrate]
    environments: Mapping[str, Environment]
    marks: Collection[str]


class Nouns:
    """Nouns of the register out of rows; nothing is merged that is merely alike, and nothing missing is made up."""

    def __init__(
        self, known: Known, answers: Mapping[str, str], words: Mapping[str, Mapping[str, str]] = NO_WORDS
    ) -> None:
        self.known, self.answers, self.words = known, answers, words
        self.made = WholeSheet()

    def adhesive(self, row: Row) -> str:
        """Key of a row's adhesive; its formulation version is part of what it is."""
        name = row.cells.get("adhesive", "")
        if not name:
            self.wrong(row, "adhesive", "is blank.", "Fill it in, or give the coupon the role blank.")
            return ""
        version = row.cells.get("formulation_version", "") or NOT_STATED
        key = self._same(name, "adhesive", self.known.adhesives)
        if key and version in (NOT_STATED, self.known.adhesives[key].formulation_version):
            return key
        wanted = _key(name if version == NOT_STATED else f"{name} {version}" if key else name)
        for made in self.made.adhesives.values():
            if made.name.casefold() == name.casefold() and made.formulation_version == version:
                return made.key
        if version == NOT_STATED:
            self.made.note(f"No formulation version of {name} stands in the sheet; it is kept as “{NOT_STATED}”.")
        group = self._word(
            row, "composition_class", COMPOSITION_CLASSES, f"composition class {name}", f"What is {name}?"
        )
        wanted = _free(wanted, {*self.known.adhesives, *self.made.adhesives})
        self.made.adhesives[wanted] = Adhesive(wanted, name, group or "other", version)
        return wanted

    def lot(self, row: Row, adhesive: str) -> str:
        """Key of a row's lot."""
        name = row.cells.get("lot", "")
        if not name and adhesive:
            self.made.note(f"No lot of {adhesive} stands in the sheet; it is kept as one lot, “{adhesive}-lot”.")
        wanted = _key(name or f"{adhesive}-lot")
        for lots in (self.known.lots, self.made.lots):
            for lot in lots.values():
                if lot.adhesive == adhesive and lot.key.casefold() in (
                    wanted.casefold(),
                    f"{adhesive}-{wanted}".casefold(),
                ):
                    return lot.key
        taken = {key.casefold() for key in (*self.known.lots, *self.made.lots)}
        key = f"{adhesive}-{wanted}" if wanted.casefold() in taken else wanted
        if adhesive:
            self.made.lots[key] = Lot(key, adhesive, None)
        return key

    def substrate(self, row: Row) -> str:
        """Key of a row's substrate with its finish and preparation."""
        name, finish = row.cells.get("substrate", ""), row.cells.get("finish", "")
        if not name:
            self.wrong(row, "substrate", "is blank.", "Fill in what the coupon was stuck to.")
            return ""
        key = self._same(name, "substrate", self.known.substrates)
        typed = among(row.cells.get("preparation", ""), PREPARATIONS)
        if key and self._fits(self.known.substrates[key], finish, typed, row):
            return key
        for made in self.made.substrates.values():
            if made.name.casefold() == name.casefold() and self._fits(made, finish, typed, row):
                return made.key
        done = self._word(row, "preparation", PREPARATIONS, f"preparation {name}", f"How was {name} prepared?")
        stands = self._word(row, "stands_for", STANDS_FOR, f"stands for {name}", f"What does {name} stand for?")
        key = _free(_key(name), {*self.known.substrates, *self.made.substrates})
        if done and stands:
            self.made.substrates[key] = Substrate(key, name, finish, done, stands)
        return key

    def _fits(self, one: Substrate, finish: str, preparation: str, row: Row) -> bool:
        stands = among(row.cells.get("stands_for", ""), STANDS_FOR)
        return all(
            not typed or typed.casefold() == had.casefold()
            for typed, had in ((finish, one.finish), (preparation, one.preparation), (stands, one.stands_for))
        )

    def environment(self, row: Row) -> str:
        """Key of where a row's coupon dwelt."""
        name = row.cells.get("environment", "")
        if not name:
            self.wrong(row, "environment", "is blank.", "Fill in where the coupon dwelt.")
            return ""
        key = self._same(name, "environment", self.known.environments)
        if key:
            return key
        for made in self.made.environments.values():
            if made.name.casefold() == name.casefold():
                return made.key
        key = _free(_key(name), {*self.known.environments, *self.made.environments})
        self.made.environments[key] = Environment(key, name)
        return key

    def _same(self, name: str, what: str, known: Mapping[str, Adhesive | Substrate | Environment]) -> str:
        """Key of a noun on file with just this key or name; one that is merely near is asked about, never taken."""
        for key, noun in known.items():
            if name.casefold() in (key.casefold(), noun.name.casefold()):
                return key
        names = {noun.name.casefold(): key for key, noun in known.items()} | {key.casefold(): key for key in known}
        near = list(dict.fromkeys(names[n] for n in get_close_matches(name.casefold(), names, n=3, cutoff=0.75)))
        if not near:
            return ""
        shown = " or ".join(f"{key} ({known[key].name})" for key in near)
        answer = self.ask(f"{what} {name}", f"“{name}” is not registered, yet near {shown}.", (*near, A_NEW_ONE))
        return answer if answer in known else ""

    def day(self, row: Row, column: str, *, needed: bool = False) -> date | None:
        """A day of the row, already written year-month-day."""
        cell = row.cells.get(column, "")
        try:
            return date.fromisoformat(cell)
        except ValueError:
            if needed and not cell:
                self.wrong(row, column, "is blank.", "Give the day the coupon was placed.")
            return None

    def number(self, row: Row, column: str, what: str) -> float:
        """A number above 0, from the row or as answered once for all."""
        cell = row.cells.get(column, "")
        if not cell:
            cell = self.ask(column.replace("_", " "), f"{what} does not stand in the sheet for some rows.", (A_NUMBER,))
        if not cell:
            return 1.0
        if not is_number(cell) or float(cell) <= 0:
            self.wrong(row, column, "is not a number above 0.", "Correct it.")
            return 1.0
        return float(cell)

    def _word(self, row: Row, column: str, words: Sequence[str], key: str, what: str) -> str:
        typed = row.cells.get(column, "")
        found = among(typed, words)
        if found:
            return found
        if typed:
            what = f"“{typed}” is not one of the words known here. {what}"
        return self.ask(key, what, tuple(words))

    def ask(self, key: str, what: str, answers: tuple[str, ...], *, told: str = "") -> str:
        """The answer to a question, or what is told of it; empty while it is open."""
        self.made.asked.add(key)
        given = plain(self.answers.get(key, "")) or told
        found = among(given, answers)
        if found and found != A_NUMBER:
            return found
        if given and A_NUMBER in answers and is_number(given):
            return given
        self.made.questions.setdefault(key, Question(key, what, answers))
        return ""

    def told_before(self, row: Row, column: str) -> str:
        """What a word in a column means, by an answer or by the layout; empty where nobody has said."""
        word = plain(row.cells.get(column, ""))
        return plain(self.answers.get(f"{column} {word}", "")) or self.words.get(column, {}).get(word.casefold(), "")

    def told(self, row: Row, column: str, what: str, answers: Sequence[str]) -> str:
        """What a word of the laboratory's own means in a column; while it is open it is wrong where it stands first."""
        word = plain(row.cells.get(column, ""))
        first = f"{column} {word}" not in self.made.questions
        answer = self.ask(f"{column} {word}", f"“{word}” {what}", tuple(answers), told=self.told_before(row, column))
        if answer:
            self.made.words.setdefault(column, {})[word.casefold()] = answer
        elif first:
            problem = row.problem(column, what, "Correct it, or say what it means.")
            self.made.problems.append(replace(problem, question=f"{column} {word}"))
        return answer

    def wrong(self, row: Row, column: str, what: str, do: str) -> None:
        """Something to put right in the row."""
        self.made.problems.append(row.problem(column, what, do))


def among(typed: str, words: Sequence[str]) -> str:
    """The word that was typed, in whatever case; nothing if it is none of them."""
    text = plain(typed).casefold().replace("_", " ")
    return next((word for word in words if word.casefold().replace("_", " ") == text), "") if text else ""


def is_number(text: str) -> bool:
    """Whether a cell is a plain number, not below 0."""
    return bool(re.fullmatch(r"\d+(\.\d+)?|\.\d+", text))


def _key(name: str) -> str:
    """A key out of a name: letters, digits, dots and dashes, at most 40."""
    if re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9._-]{0,33}", name):
        return name
    text = re.sub(r"[^a-z0-9._-]+", "-", plain(name).casefold()).strip("-._")
    return text[:34] or "unnamed"


def _free(key: str, taken: Collection[str]) -> str:
    if key not in taken:
        return key
    return next(name for number in range(2, 10_000) if (name := f"{key}-{number}") not in taken)
