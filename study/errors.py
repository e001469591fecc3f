"""Errors a person meets: each says what happened, with the value, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LONGEST_SHOWN = 200
"""Characters of a value in a sentence; a cell may hold forty thousand."""


class DwellbookError(Exception):
    """A refusal that a person can act on: *what* happened and what to *do*."""

    def __init__(self, what: str, do: str) -> None:
        self.what = what
        self.do = do
        super().__init__(f"{what} {do}".strip())


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a file, with its place.

    ``row`` counts as a person counts in a spreadsheet (the header is row 1); 0 means the whole file.
    """

    row: int
    column: str
    value: str
    what: str
    do: str
    question: str = ""
    """Key of a question whose answer settles it; empty for what has to be put right in the file."""

    def sentence(self) -> str:
        """The problem in one line, place first."""
        place = ", ".join(part for part in (f"row {self.row}" if self.row else "", self.column) if part) or "whole file"
        value = self.value if len(self.value) <= LONGEST_SHOWN else f"{self.value[: LONGEST_SHOWN - 1]}…"
        shown = f" “{value}”" if value else ""
        return f"{place}:{shown} {self.what} {self.do}".strip()


def left_to_mend(problems: Iterable[Problem], questions: Iterable[Question]) -> tuple[Problem, ...]:
    """Problems that no answer to an open question would settle."""
    keys = {question.key for question in questions}
    return tuple(problem for problem in problems if problem.question not in keys)


class FileRefused(DwellbookError):
    """A file that was not taken, with all of its problems and what it asks besides; nothing was written."""

    def __init__(self, file: str, problems: Sequence[Problem], *, questions: Sequence[Question] = ()) -> None:
        self.file = file
        self.questions = tuple(questions)
        self.problems = tuple(sorted(problems, key=lambda problem: problem.row))
        lines = "\n".join(f"  {problem.sentence()}" for problem in self.problems)
        count = len(self.problems)
        things = "1 problem" if count == 1 else f"{count} problems"
        super().__init__(f"{file}: {things}; nothing was written.\n{lines}", "")


class NotAStudy(DwellbookError):
    """A file that is not a study, is newer than this program, or cannot be opened for the work."""


class Unknown(DwellbookError):
    """A name or code that the study does not hold."""


class NotPossible(DwellbookError):
    """An act that the state of the study does not allow."""


@dataclass(frozen=True)
class Question:
    """Something in what was typed that only a person can decide; nothing is guessed."""

    key: str
    """Names the question when it is answered, such as ``decimal mark`` or ``unusual``."""
    what: str
    """What was found, with places and values."""
    answers: tuple[str, ...]
    """The words that answer it."""
    lines: tuple[str, ...] = ()
    """Each thing that it is about, where there are several."""


class Unanswered(DwellbookError):
    """Work that waits for answers; nothing was written, and the same call with the answers goes on."""

    def __init__(self, questions: Sequence[Question]) -> None:
        self.questions = tuple(questions)
        lines = [
            "\n  ".join([q.what, *q.lines])
            + f" Answer “{q.key}” with {' or '.join(f'“{answer}”' for answer in q.answers)}."
            for q in questions
        ]
        super().__init__("\n".join(lines), "Nothing was written yet.")
