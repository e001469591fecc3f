"""How a force trace is to be read: the test it was, the piece of the file, the window; kept with the reading."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

Above = Annotated[float, Field(gt=0)]
PEELS = ("180°", "T", "90°, sliding stage", "90°, fixed stage")
PULL_OFF = "straight pull-off"
GEOMETRIES = (*PEELS, PULL_OFF)


class TraceAsked(BaseModel):
    """Everything that the file of a gauge does not say itself."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    geometry: str
    """One of ``GEOMETRIES``."""
    speed_mm_per_min: Above | None = None
    width_mm: Above | None = None
    capacity_n: Above | None = None
    resolution_n: Above | None = None
    window: str = ""
    """A rule by its name, or two lengths in mm as "20–60 mm"; empty for the usual one."""
    observed: tuple[str, ...] = ()
    """What a person saw: the backing broke, the strip slipped in the grip."""
    sign: Literal["found", "as logged", "flipped"] = "found"
    force_unit: str = ""
    rate_hz: float = Field(default=0.0, ge=0)
    decimal: Literal["", ".", ","] = ""
    instrument: str = ""
    segment: int = Field(default=0, ge=0)
    """Stretch between two restarts of the clock that is taken; 0 for the whole file."""
    split_at_s: float | None = None
    part: Literal["", "before", "after"] = ""
    """Which side of a split is taken."""
    pause_s: Annotated[float, Field(ge=0)] | None = None
    """Time between two files that are joined; None where they are not."""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if self.geometry not in GEOMETRIES:
            raise ValueError(f"“{self.geometry}” is no geometry; use one of {'; '.join(GEOMETRIES)}")
        if (self.split_at_s is None) != (not self.part):
            raise ValueError("a split needs the second it is made at, and which part is taken: before or after")
        return self

    @property
    def is_piece(self) -> bool:
        """Whether only a part of the file is meant."""
        return bool(self.segment or self.part)

    def kept(self) -> dict[str, object]:
        """As plain JSON, without what was left at its usual."""
        return self.model_dump(mode="json", exclude_defaults=True)


class ShownTrace(BaseModel):
    """A reduced trace as it is drawn: its points thinned so that no peak is lost."""

    model_config = ConfigDict(frozen=True)

    title: str
    axis: str
    """What the horizontal axis is, with its unit."""
    at: tuple[float, ...]
    force_n: tuple[float, ...]
    """Turned to positive tension where needed and zeroed."""
    window: tuple[float, float] | None = None
    mean_n: float | None = None
    peak_n: float
    peaks: tuple[tuple[float, float], ...] = ()
    at_least: bool = False
    """The gauge was at its end."""
    flags: tuple[str, ...] = ()
    words: str = ""
