"""Register files: adhesives, lots, substrates, environments, coupon sets and coupons from tables or typed fields."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, ValidationInfo, field_validator

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault, parse_day, parse_number
from study.intake.table_file import Row, Table, parse_table
from study.model.pairing import KEY_LENGTH, REGISTER_KEY, Adhesive, Environment, Lot, Substrate
from study.model.particulars import (
    AdhesiveParticulars,
    EnvironmentParticulars,
    LotParticulars,
    Particulars,
    SetParticulars,
    SubstrateParticulars,
)


def _typed_day(value: Any) -> Any:
    return parse_day(value) if isinstance(value, str) else value


def _typed_number(value: Any) -> Any:
    return parse_number(value) if isinstance(value, str) else value


def _typed_yes(value: Any) -> Any:
    words = {"yes": True, "no": False, "": False}
    return words.get(value.lower(), value) if isinstance(value, str) else value


Day = Annotated[date | None, BeforeValidator(_typed_day)]
NeededDay = Annotated[date, BeforeValidator(_typed_day)]
Number = Annotated[float | None, BeforeValidator(_typed_number)]
NeededNumber = Annotated[float, BeforeValidator(_typed_number)]
Yes = Annotated[bool, BeforeValidator(_typed_yes)]
Key = Annotated[str, Field(pattern=REGISTER_KEY, max_length=KEY_LENGTH)]
Name = Annotated[str, Field(min_length=1, max_length=200)]
CompositionClass = Literal[
    "acrylic dispersion", "acrylic film", "acrylic gel", "silicone gel", "styrenic gel", "microcrystalline wax",
    "wax with polymer", "rubber putty", "ethylene vinyl acetate", "other",
]  # fmt: skip


class RegisterRow(BaseModel):
    """One row of a register file; columns are its fields."""

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)
    known_as: ClassVar[type[Particulars]] = Particulars
    """The particulars that rows of this kind may carry."""

    @field_validator("*", mode="before")
    @classmethod
    def _as_typed(cls, value: Any, info: ValidationInfo) -> Any:
        # Particulars are declared as numbers and days; cells are text, and a comma or another order is not guessed.
        wanted = cls.model_fields[info.field_name or ""].annotation
        if wanted == (float | None):
            return _typed_number(value)
        return _typed_day(value) if wanted == (date | None) else value

    def particulars(self) -> Particulars:
        """What else is known, beside the noun."""
        return self.known_as(**{name: getattr(self, name) for name in self.known_as.model_fields})

    def fields(self) -> dict[str, Any]:
        """What the noun itself is made of."""
        return self.model_dump(exclude=set(self.known_as.model_fields))


class AdhesiveRow(RegisterRow, AdhesiveParticulars):
    """One formulation version of an adhesive."""

    known_as = AdhesiveParticulars
    adhesive: Key
    name: Name
    composition_class: CompositionClass
    formulation_version: Name
    status: Literal["active", "discontinued", "reformulated", "withdrawn"] = "active"
    status_on: Day = None
    successor_of: Key | Literal[""] = ""

    def noun(self) -> Adhesive:
        """The adhesive."""
        fields = self.fields()
        return Adhesive(key=fields.pop("adhesive"), **fields)


class LotRow(RegisterRow, LotParticulars):
    """One lot of an adhesive."""

    known_as = LotParticulars
    lot: Key
    adhesive: Key
    supplied_on: Day = None
    mix_parts_by_mass: str = ""
    cure_hours: Annotated[Number, Field(ge=0, le=10_000)] = None

    def noun(self) -> Lot:
        """The lot."""
        fields = self.fields()
        return Lot(key=fields.pop("lot"), **fields)


class SubstrateRow(RegisterRow, SubstrateParticulars):
    """One substrate with its finish and preparation."""

    known_as = SubstrateParticulars
    substrate: Key
    name: Name
    finish: str = ""
    preparation: Literal["as found", "cleaned", "barrier", "consolidated"]
    stands_for: Literal["object", "display surface"]
    friable: Yes = False

    def noun(self) -> Substrate:
        """The substrate."""
        fields = self.fields()
        return Substrate(key=fields.pop("substrate"), **fields)


class EnvironmentRow(RegisterRow, EnvironmentParticulars):
    """One environment in which coupons dwell."""

    known_as = EnvironmentParticulars
    environment: Key
    name: Name
    temperature_c: str = ""
    humidity_percent: str = ""
    light: str = ""

    def noun(self) -> Environment:
        """The environment."""
        fields = self.fields()
        return Environment(key=fields.pop("environment"), **fields)


class SetRow(RegisterRow, SetParticulars):
    """One coupon set; a blank has neither lot nor dots."""

    known_as = SetParticulars
    set: Key
    role: Literal["test", "blank", "time-zero", "control", "spare"] = "test"
    lot: Key | Literal[""] = ""
    substrate: Key
    environment: Key
    protocol: Name
    placed_on: NeededDay
    dot_diameter_mm: Annotated[Number, Field(gt=0, le=200)] = None
    dots: Annotated[Number, Field(ge=1, le=100, multiple_of=1)] = None
    dwell_load_n: Annotated[NeededNumber, Field(ge=0, le=1000)] = 0.0
    coupons_per_pull: Annotated[Number, Field(ge=1, le=100, multiple_of=1)] = None
    """Coupons of each test at each pull, registered with the set; without it coupons are registered by themselves."""
    unusual: Literal["as typed", ""] = ""
    """Says that a size outside the usual is right."""


class CouponRow(RegisterRow):
    """Coupons of one set for one test and one pull: one with its code, or a count whose codes are assigned."""

    set: Key
    test: Key
    pull: str = ""
    code: str = ""
    own_mark: Annotated[str, Field(max_length=40)] = ""
    count: Annotated[NeededNumber, Field(ge=1, le=1000, multiple_of=1)] = 1.0


RowType = TypeVar("RowType", bound=RegisterRow)
BLOCK = "pasted rows"


def parse_register_table(path: Path, kind: type[RegisterRow]) -> Table:
    """A register file as rows under its header, before anything is believed about them.

    Raises
    ------
    FileRefused
        With every fault of the file's shape.
    """
    needed = [name for name, field in kind.model_fields.items() if field.is_required()]
    return parse_table(path, required=needed, optional=[n for n in kind.model_fields if n not in needed])


def columns_of(kind: type[RegisterRow]) -> tuple[str, ...]:
    """Columns a row may have, the needed ones first."""
    needed = [name for name, field in kind.model_fields.items() if field.is_required()]
    own = [name for name in kind.model_fields if name not in needed and name not in kind.known_as.model_fields]
    return (*needed, *own, *kind.known_as.model_fields)


def parse_block(text: str, kind: type[RegisterRow]) -> list[Row]:
    """Rows of a block pasted from a spreadsheet, separated by tab (else semicolon or comma), its header as row 1.

    Raises
    ------
    FileRefused
        If it is empty, or its header names a column that is not known, lacks one that is needed, or has one twice.
    """
    lines = [(number, line) for number, line in enumerate(text.replace("\r", "").split("\n"), start=1) if line.strip()]
    if not lines:
        raise FileRefused(BLOCK, [Problem(0, "", "", "is empty.", "Copy rows with their header line.")])
    separator = max("\t;,", key=lambda mark: ("\t" in lines[0][1] and mark == "\t", lines[0][1].count(mark)))
    cut = list(csv.reader(io.StringIO("\n".join(line for _, line in lines)), delimiter=separator))
    heads = [head.strip().lower().replace(" ", "_") for head in cut[0]]
    known, first = columns_of(kind), lines[0][0]
    problems = [
        Problem(first, head, "", "column is not known.", f"Known columns: {', '.join(known)}.")
        for head in dict.fromkeys(heads)
        if head not in known
    ]
    problems += [Problem(first, h, "", "column stands twice.", "Keep one.") for h in known if heads.count(h) > 1]
    problems += [
        Problem(first, name, "", "column is missing.", "Add it to the header line.")
        for name in known
        if kind.model_fields[name].is_required() and name not in heads
    ]
    if len(cut) == 1 and not problems:
        problems.append(Problem(0, "", "", "has a header and no rows.", "Copy the rows below it too."))
    rows = []
    for (number, _), line in zip(lines[1:], cut[1:], strict=False):
        cells = [cell.strip() for cell in line]
        if any(cells[len(heads) :]):
            what = f"has {len(cells)} cells where the header has {len(heads)}."
            problems.append(Problem(number, "", "", what, "Look for a stray separator."))
        rows.append(Row(number, dict(zip(heads, [*cells, *[""] * len(heads)], strict=False))))
    if problems:
        raise FileRefused(BLOCK, problems)
    return rows


def parse_rows(rows: Iterable[Row], kind: type[RowType], *, file: str) -> list[tuple[Row, RowType]]:
    """The same from rows already at hand."""
    parsed, problems = [], []
    for row in rows:
        try:
            # A blank cell is "not given", so that the field's own default stands.
            parsed.append((row, kind.model_validate({name: cell for name, cell in row.cells.items() if cell})))
        except ValidationError as fault:
            problems += [_problem(row, error) for error in fault.errors()]
    if problems:
        raise FileRefused(file, problems)
    return parsed


def parse_fields(cells: Mapping[str, str], kind: type[RowType]) -> tuple[Row, RowType]:
    """One row typed at the command line."""
    return parse_rows([Row(0, dict(cells))], kind, file="command")[0]


def check_known(row: Row, column: str, *, known: Collection[str], what: str) -> list[Problem]:
    """A problem if the cell names something the study does not hold."""
    value = row.cells.get(column, "")
    if not value or value in known:
        return []
    names = ", ".join(list(known)[:12]) or "none yet"
    return [row.problem(column, f"is not a known {what}.", f"Register it first, or use one of: {names}.")]


def _problem(row: Row, error: Any) -> Problem:
    column = str(error["loc"][0]) if error["loc"] else ""
    fault = error.get("ctx", {}).get("error")
    if isinstance(fault, CellFault):
        return row.problem(column, fault.what, fault.do)
    if error["type"] == "missing":
        return Problem(row.number, column, "", "is blank.", "Fill it in.")
    if error["type"] in ("literal_error", "union_tag_invalid"):
        offered = error.get("ctx", {}).get("expected", "").replace("'", "")
        return row.problem(column, "is not one of the words known here.", f"Write {offered}.")
    if error["type"].startswith("bool"):
        return row.problem(column, "is neither yes nor no.", "Write yes or no.")
    if error["type"] == "string_pattern_mismatch":
        return row.problem(column, "is not a key.", "Use letters, digits, dot, dash and underscore, no spaces.")
    return row.problem(column, f"cannot be taken: {error['msg'].lower()}.", "Correct it.")
