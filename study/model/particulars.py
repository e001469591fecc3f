"""Particulars: what else is known of something in the register, beside its name; each part may be absent."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Words = Annotated[str, Field(max_length=300)]


class Particulars(BaseModel):
    """Kept as JSON with absent parts left out, so that a later part does not change what was kept before."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    def text(self) -> str:
        """The particulars as JSON without absent parts; "{}" for none."""
        return self.model_dump_json(exclude_defaults=True)


class AdhesiveParticulars(Particulars):
    """An adhesive material beyond its name and class."""

    form: Words = ""
    tack_class: Words = ""
    supplier: Words = ""
    supplier_statement: Words = ""
    safety_sheet: Words = ""


class LotParticulars(Particulars):
    """A lot: where it came from, how it is kept, and how a mix was made."""

    supplier: Words = ""
    batch_number: Words = ""
    opened_on: date | None = None
    expires_on: date | None = None
    storage: Words = ""
    """Climate and place, such as "15–20 °C, dry"."""
    retained_sample: Words = ""
    mixed_on: date | None = None
    solvent: Words = ""
    solids_percent: Annotated[float | None, Field(ge=0, le=100)] = None


class SubstrateParticulars(Particulars):
    """A substrate lot and how its surface was prepared."""

    source: Words = ""
    age: Words = ""
    thickness_mm: Annotated[float | None, Field(gt=0, le=1000)] = None
    roughness: Words = ""
    porosity: Words = ""
    contamination: Words = ""
    prepared_on: date | None = None
    prepared_with: Words = ""
    """Solvent and wipes, grit, resin of a barrier or consolidant with its percentage and coats."""


class EnvironmentParticulars(Particulars):
    """How a room or chamber was run and logged."""

    logger: Words = ""
    logger_calibrated_on: date | None = None
    lux: Annotated[float | None, Field(ge=0, le=200_000)] = None
    light_hours_per_day: Annotated[float | None, Field(ge=0, le=24)] = None
    uv_uw_per_lm: Annotated[float | None, Field(ge=0, le=1000)] = None
    """Microwatt per lumen."""


class SetParticulars(Particulars):
    """Dots and pressing of a coupon set, as made."""

    maker: Words = ""
    dot_made: Literal["die", "hand-rolled", "dispensed", "cut film", ""] = ""
    dot_position: Words = ""
    dot_height_mm: Annotated[float | None, Field(gt=0, le=100)] = None
    dot_mass_mg: Annotated[float | None, Field(gt=0, le=100_000)] = None
    measured_diameter_mm: Annotated[float | None, Field(gt=0, le=200)] = None
    across_diameter_mm: Annotated[float | None, Field(gt=0, le=200)] = None
    """The same dots measured at right angles."""
    applied_first_to: Literal["object", "mount", ""] = ""
    warmed: Literal["yes", "no", ""] = ""
    pressing_load_n: Annotated[float | None, Field(ge=0, le=10_000)] = None
    pressing_seconds: Annotated[float | None, Field(ge=0, le=1_000_000)] = None
    pressing_climate: Words = ""
    rack_position: Words = ""


PARTICULARS: dict[str, type[Particulars]] = {
    "adhesives": AdhesiveParticulars,
    "lots": LotParticulars,
    "substrates": SubstrateParticulars,
    "environments": EnvironmentParticulars,
    "sets": SetParticulars,
}
"""By what is registered."""
