"""One sheet while it is being understood: its columns, and what was noted, asked and found wrong so far."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from study.errors import Problem, Question
from study.model.layout import Layout
from study.model.units import plain

MOST_PROBLEMS = 500
MOST_QUESTIONS = 60
MOST_WORDS = 20
"""Different words of one column that a person is asked about; more of them are a column that is something else."""
LONGEST_WORD = 60
LEAVE_BLANK = "leave blank"
_SHOWN = 8

A_NUMBER = "a number"
A_DATE = "a date"
SHARES = "shares such as AF 60 CF 40"
A_UNIT = "another unit"
A_ZONE = "a zone such as Europe/Paris"
FREE_ANSWERS = (A_NUMBER, A_DATE, SHARES, A_UNIT, A_ZONE)
"""Answers that stand for something to be typed; all others are to be chosen as they are."""
GENERAL_KEYS = (
    "sheet", "column for coupon", "column for read_on", "column for pulled_on", "coupon numbers",
    "decimal mark", "date system", "month only",
    "zone", "force unit", "gauge capacity", "detection limit", "unit jump", "residue scale", "percent scale", "colour",
    "colour zeros", "repeats", "side", "area alone",
)  # fmt: skip
"""Questions that any sheet may raise: answered beforehand, they do no harm where a sheet does not raise them."""


class Work:
    """Columns of cells under our names, with the rows' numbers, and everything there is to say about them."""

    def __init__(self, file: str, layout: Layout, answers: Mapping[str, str], *, wide: bool) -> None:
        self.file = file
        self.layout = layout
        self.answers = answers
        self.wide = wide
        self.numbers: list[int] = []
        self.columns: dict[str, list[str]] = {}
        self.headings: dict[str, str] = {}
        """Our column -> their heading."""
        self.heading_units: dict[str, str] = {}
        """Our column -> unit in its heading or in the row below."""
        self.known: dict[str, Any] = {}
        """Parts of the layout found or answered."""
        self.notes: list[str] = []
        self.questions: list[Question] = []
        self.asked: set[str] = set()
        """Keys of everything that was asked, answered or not, and of every heading's column."""
        self.left_out: list[str] = []
        """Headings that no column of ours was found for."""
        self.problems: list[Problem] = []
        self.left_out_problems = 0
        self._told: set[tuple[int, str]] = set()
        self.beside: dict[int, list[str]] = {}
        """Place in the columns -> what goes into the row's note, such as why a value is missing."""
        self.text_numbers: dict[str, set[int]] | None = None
        """By column of a workbook, the places of numbers that are typed as text; only these have a decimal sign."""
        self.parted = False
        """Whether its columns held readings of several times, so that a coupon has several rows."""
        self.pulled_when_read = False
        """Whether the day of a reading is that of the pull."""
        self.date_system = ""
        self.separator = ""
        """Empty for a workbook."""

    def ask(
        self, key: str, what: str, answers: Sequence[str], *, free: Callable[[str], bool] | None = None, told: str = ""
    ) -> str:
        """The answer to a question, from what was answered or is told by the layout; empty while it is open.

        ``free`` says whether something typed is an answer too.
        """
        self.asked.add(key)
        given = plain(self.answers.get(key, "")) or told
        if given:
            for answer in answers:
                if answer.casefold() == given.casefold() and answer not in FREE_ANSWERS:
                    return answer
            if free and free(given):
                return given
            what = f"{what} “{shown(given)}” does not answer it."
        if len(self.questions) < MOST_QUESTIONS and key not in {question.key for question in self.questions}:
            self.questions.append(Question(key, what, tuple(answers)))
        return ""

    def word(
        self, column: str, cell: str, where: Iterable[int], what: str, answers: Sequence[str], *, key: str = ""
    ) -> str | None:
        """What a word of the laboratory's own means in a column, by the layout or an answer, and remembered with it.

        Parameters
        ----------
        what : str
            What the word is not, to end the question's sentence: "is not a side that is known."
        key : str
            Of the question; column and word where it is left out.

        Returns
        -------
        answer : str or None
            One of the answers, or LEAVE_BLANK; empty while it is open; None where it cannot be asked, since the cell
            is no word or the column holds too many of them.
        """
        word = plain(cell)
        if not word or len(word) > LONGEST_WORD:
            return None
        key = key or f"{column} {word}"
        told = self.words(column).get(word.casefold(), "")
        open_already = [question.key for question in self.questions if question.key.startswith(f"{column} ")]
        if not told and key not in self.answers and key not in open_already and len(open_already) >= MOST_WORDS:
            return None
        answer = self.ask(key, f"“{shown(word)}” in {self.rows(where)} {what}", (*answers, LEAVE_BLANK), told=told)
        if answer:
            self.remember("words", {column: {**self.words(column), word.casefold(): answer}})
            how = "as answered" if key in self.answers else "from the layout"
            self.note(f"{self.headings.get(column, column)}: “{shown(word)}” is {answer}, {how}.")
        return answer

    def words(self, column: str) -> dict[str, str]:
        """Words of the laboratory's own for a column, folded, and what they mean."""
        return {**self.layout.words.get(column, {}), **self.known.get("words", {}).get(column, {})}

    def note(self, sentence: str) -> None:
        """Say something that was understood."""
        if sentence not in self.notes:
            self.notes.append(sentence)

    def problem(self, place: int, column: str, value: str, what: str, do: str, *, question: str = "") -> None:
        """Something wrong in the row at a place of the columns; -1 for the whole file. One problem a cell is enough.

        ``question`` is the key of the one whose answer would settle it.
        """
        if place >= 0 and (place, column) in self._told:
            return
        if len(self.problems) >= MOST_PROBLEMS:
            self.left_out_problems += 1
            return
        self._told.add((place, column))
        row = self.numbers[place] if place >= 0 else 0
        self.problems.append(Problem(row, self.headings.get(column, column), shown(value), what, do, question))

    def remark(self, place: int, words: str) -> None:
        """Words for the note of the row at a place of the columns."""
        self.beside.setdefault(place, []).append(words)

    def rows(self, places: Iterable[int]) -> str:
        """Rows in words: row 4; rows 4, 7 and 9; rows 2, 3, … (120 rows)."""
        numbers = sorted({self.numbers[place] for place in places})
        return row_words(numbers)

    def remember(self, part: str, value: Any) -> None:
        """Keep a part of the layout; a mapping is added to what is there."""
        if isinstance(value, dict):
            value = {**getattr(self.layout, part), **self.known.get(part, {}), **value}
        self.known[part] = value


def row_words(numbers: Sequence[int]) -> str:
    """Row numbers in words."""
    if len(numbers) == 1:
        return f"row {numbers[0]}"
    if len(numbers) > _SHOWN:
        return f"rows {', '.join(map(str, numbers[:_SHOWN]))}, … ({len(numbers)} rows)"
    return f"rows {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def shown(value: str, most: int = 80) -> str:
    """A cell for people: one line, not longer than a sentence can carry."""
    line = " ".join(value[: 4 * most].split())
    return line if len(line) <= most else f"{line[: most - 1]}…"
