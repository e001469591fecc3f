"""Pairings: a formulation on a substrate in an environment at one dot geometry, and the nouns they are made of."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

COMPOSITION_CLASSES = (
    "acrylic dispersion",
    "acrylic film",
    "acrylic gel",
    "silicone gel",
    "styrenic gel",
    "microcrystalline wax",
    "wax with polymer",
    "rubber putty",
    "ethylene vinyl acetate",
    "other",
)
ADHESIVE_STATES = ("active", "discontinued", "reformulated", "withdrawn")
PREPARATIONS = ("as found", "cleaned", "barrier", "consolidated")
STANDS_FOR = ("object", "display surface")
REGISTER_KEY = r"^[A-Za-z0-9][A-Za-z0-9._-]*$"
"""What the key of a thing in the register looks like."""
KEY_LENGTH = 40
"""Its characters at most."""

FRIABLE_WARNING = (
    "Friable surface: the adhesive may take the surface with it. Consolidate first or do not use a removable "
    "adhesive here; do not test on bare dust."
)


@dataclass(frozen=True)
class Adhesive:
    """One formulation version of a product or recipe; results belong to it alone."""

    key: str
    name: str
    composition_class: str
    formulation_version: str
    status: str = "active"
    status_on: date | None = None
    successor_of: str = ""


@dataclass(frozen=True)
class Lot:
    """One delivery or batch of an adhesive."""

    key: str
    adhesive: str
    supplied_on: date | None
    mix_parts_by_mass: str = ""
    cure_hours: float | None = None


@dataclass(frozen=True)
class Substrate:
    """A display surface or object surface with its finish and preparation."""

    key: str
    name: str
    finish: str
    preparation: str
    stands_for: str
    friable: bool = False

    @property
    def faces_object(self) -> bool:
        """Whether harm to this surface would be harm to an object."""
        return self.stands_for == "object"


@dataclass(frozen=True)
class Environment:
    """Where coupons dwell: climate and light."""

    key: str
    name: str
    temperature_c: str = ""
    humidity_percent: str = ""
    light: str = ""


@dataclass(frozen=True)
class Pairing:
    """The unit of evidence; ``key`` is short (P01) and fixed in the study file at the first registration."""

    key: str
    adhesive: Adhesive
    substrate: Substrate
    environment: Environment
    dot_diameter_mm: float
    dots: int
    dwell_load_n: float

    @property
    def title(self) -> str:
        """Adhesive on substrate, as people say it."""
        return f"{self.adhesive.name} on {self.substrate.name}"

    @property
    def detail(self) -> str:
        """What else must be the same for the result to hold."""
        dots = "1 dot" if self.dots == 1 else f"{self.dots} dots"
        load = f", {self.dwell_load_n:g} N dwell load" if self.dwell_load_n else ", no dwell load"
        return (
            f"formulation {self.adhesive.formulation_version}, {self.substrate.preparation}, "
            f"{self.environment.name}, {dots} of {self.dot_diameter_mm:g} mm{load}"
        )
