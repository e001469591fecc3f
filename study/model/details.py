"""How a reading was taken: circumstances, area shares, second looks and flags that stay with it."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from study.model.colour import ColourConditions
from study.model.protocol import PATTERNS, SIDES

RESIDUE_FLAGS = ("stain", "ghost", "loss")
"""Colour in the substrate; gloss or texture mark; substrate gone. Never folded into the grade."""
RESIDUE_AIDS = ("10x", "raking light", "UV-A")
"""What residue was looked for with; a 0 claims no more than these can show."""
SHARE_SUM_TOLERANCE = 1.0
"""Area shares [%] must add up to 100 within this rounding."""

Percent = Annotated[float, Field(ge=0, le=100)]
Spot = tuple[float, float, float]


class _Kept(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class PatternShare(_Kept):
    """One share of the dot's area: its failure pattern (ISO 10365 letters) and the side it happened on."""

    pattern: str
    side: str
    percent: Percent

    @model_validator(mode="after")
    def _known(self) -> Self:
        if self.pattern not in PATTERNS or self.side not in SIDES:
            raise ValueError(f"{self.pattern} {self.side} is not a failure pattern with its side")
        return self


class Details(ColourConditions):
    """What stands beside a reading's value; every part may be absent.

    Kept as JSON with absent parts left out, so that a reading without details takes no room and a later part does
    not change what was kept before.
    """

    shares: tuple[PatternShare, ...] = ()
    """Failure pattern by area; adds up to 100 %."""
    sight_grade: tuple[int, int] | None = None
    """Residue by sight, lower and upper grade, where the area said worse."""
    area_percent: Percent | None = None
    """Residue area over the dot's footprint."""
    halo_percent: Annotated[float, Field(ge=0)] | None = None
    """Residue outside the footprint, over the footprint; may exceed 100."""
    flags: tuple[Literal["stain", "ghost", "loss"], ...] = ()
    aids: tuple[Literal["10x", "raking light", "UV-A"], ...] | None = None
    """None: not said; empty: the bare eye alone."""
    cleaning_step: str = ""
    """The agreed step before a grade "after cleaning"."""
    spots: tuple[Spot, ...] = ()
    """Several L*, a*, b* of the same spot; the reading is their mean."""
    temperature_c: Annotated[float, Field(ge=-50, le=80)] | None = None
    humidity_percent: Percent | None = None
    instrument: str = ""
    read_by: str = ""
    """Who looked, where that is not who entered it."""
    note: str = ""
    marks: tuple[str, ...] = ()
    """Flags that stay: past calibration, outside the protocol's climate band, unusual and confirmed, …"""

    def text(self) -> str:
        """The details as JSON without absent parts; "{}" for none."""
        return self.model_dump_json(exclude_defaults=True)


NO_DETAILS = Details()


def harms(shares: tuple[PatternShare, ...], patterns: tuple[str, ...]) -> tuple[PatternShare, ...]:
    """The shares with one of these patterns that are not on the mount side alone."""
    return tuple(share for share in shares if share.pattern in patterns and share.side != "mount" and share.percent > 0)
