"""Fields of the register: for each kind its columns with label, help, unit and choices; one list for form and grid."""

from __future__ import annotations

from dataclasses import dataclass

from study.commands.shelf import Register
from study.model.coupon import ROLES
from study.model.pairing import ADHESIVE_STATES, COMPOSITION_CLASSES, PREPARATIONS, STANDS_FOR

Choice = tuple[str, str]
DAY = "year-month-day"


@dataclass(frozen=True)
class Field:
    """One column of the register, as a form or a grid asks for it."""

    column: str
    label: str
    help: str = ""
    unit: str = ""
    choices: tuple[str, ...] = ()
    known: str = ""
    """Which part of the register its choices come from."""
    needed: bool = False
    more: bool = False
    """Folded away until wanted."""
    long: bool = False
    value: str = ""
    """What stands in it at first."""


KINDS = ("adhesives", "lots", "substrates", "environments", "sets", "coupons")
TITLES = {
    "adhesives": "Adhesives",
    "lots": "Lots",
    "substrates": "Substrates",
    "environments": "Environments",
    "sets": "Coupon sets",
    "coupons": "Coupons",
}
ONE = {
    "adhesives": "adhesive",
    "lots": "lot",
    "substrates": "substrate",
    "environments": "environment",
    "sets": "coupon set",
    "coupons": "coupons",
}
NEEDS = {"lots": ("adhesives",), "sets": ("lots", "substrates", "environments"), "coupons": ("sets",)}
"""What must be on file before one of a kind can be registered."""
WHAT = {
    "adhesives": "One formulation version of a product or recipe; results belong to it alone.",
    "lots": "One delivery or batch of an adhesive.",
    "substrates": "A surface with its finish and its preparation. Differently prepared it is another substrate.",
    "environments": "Where coupons dwell: a room, a case, a chamber.",
    "sets": "Coupons of one lot on one substrate in one environment, placed together under one protocol.",
    "coupons": "More coupons of a set already registered, such as spares, or coupons that carry codes of their own.",
}
KEY_HELP = "short, without spaces; stands in every list"

FIELDS: dict[str, tuple[Field, ...]] = {
    "adhesives": (
        Field("adhesive", "Key", KEY_HELP, needed=True),
        Field("name", "Name", "as your house says it", needed=True),
        Field("composition_class", "Composition", choices=COMPOSITION_CLASSES, needed=True),
        Field("formulation_version", "Formulation", "version as claimed", needed=True),
        Field("status", "Status", "active if left blank", choices=ADHESIVE_STATES),
        Field("status_on", "Status since", DAY),
        Field("successor_of", "Successor of", "the formulation it replaces", known="adhesives"),
        Field("form", "Form", "gel sheet, stick, paste, film", more=True),
        Field("tack_class", "Tack class", more=True),
        Field("supplier", "Supplier", more=True),
        Field("supplier_statement", "Supplier's statement", "what is claimed of it", more=True, long=True),
        Field("safety_sheet", "Safety sheet", "reference", more=True),
    ),
    "lots": (
        Field("lot", "Key", KEY_HELP, needed=True),
        Field("adhesive", "Adhesive", known="adhesives", needed=True),
        Field("supplied_on", "Received on", DAY),
        Field("mix_parts_by_mass", "Mix", "parts by mass, such as 10 : 1"),
        Field("cure_hours", "Cure before load", unit="h"),
        Field("supplier", "Supplier", more=True),
        Field("batch_number", "Batch number", "as on the container", more=True),
        Field("opened_on", "Opened on", DAY, more=True),
        Field("expires_on", "Expires on", DAY, more=True),
        Field("storage", "Storage", "climate and place", more=True),
        Field("retained_sample", "Retained sample", "where it is kept", more=True),
        Field("mixed_on", "Mixed on", DAY, more=True),
        Field("solvent", "Solvent", more=True),
        Field("solids_percent", "Solids", unit="%", more=True),
    ),
    "substrates": (
        Field("substrate", "Key", KEY_HELP, needed=True),
        Field("name", "Name", needed=True),
        Field("preparation", "Preparation", "of the surface", choices=PREPARATIONS, needed=True),
        Field("stands_for", "Stands for", "harm to an object stops", choices=STANDS_FOR, needed=True),
        Field("finish", "Finish", "gloss, varnish, glaze"),
        Field("friable", "Friable", "dusty, flaking, powdery", choices=("no", "yes")),
        Field("source", "Source", more=True),
        Field("age", "Age", more=True),
        Field("thickness_mm", "Thickness", unit="mm", more=True),
        Field("roughness", "Roughness", "such as Ra 0.4 µm", more=True),
        Field("porosity", "Porosity", more=True),
        Field("contamination", "Contamination", "what it was exposed to", more=True),
        Field("prepared_on", "Prepared on", DAY, more=True),
        Field("prepared_with", "Prepared with", "solvent, grit, resin with its share and coats", more=True, long=True),
    ),
    "environments": (
        Field("environment", "Key", KEY_HELP, needed=True),
        Field("name", "Name", needed=True),
        Field("temperature_c", "Temperature", "set point or range", unit="°C"),
        Field("humidity_percent", "Humidity", "set point or range", unit="%"),
        Field("light", "Light", "dark, or lit how"),
        Field("logger", "Logger", "which one watches it", more=True),
        Field("logger_calibrated_on", "Logger calibrated on", DAY, more=True),
        Field("lux", "Illuminance", unit="lx", more=True),
        Field("light_hours_per_day", "Lit each day", unit="h", more=True),
        Field("uv_uw_per_lm", "UV", unit="µW/lm", more=True),
    ),
    "sets": (
        Field("set", "Key", KEY_HELP, needed=True),
        Field("role", "Role", "test if left blank", choices=ROLES),
        Field("lot", "Lot", "none on a blank", known="lots"),
        Field("substrate", "Substrate", known="substrates", needed=True),
        Field("environment", "Environment", known="environments", needed=True),
        Field("protocol", "Protocol", "frozen with the set", known="protocols", needed=True),
        Field("placed_on", "Placed on", f"{DAY}; dwell begins", needed=True),
        Field("dots", "Dots", "on each coupon"),
        Field("dot_diameter_mm", "Diameter of a dot", "as pressed", unit="mm"),
        Field("dwell_load_n", "Dwell load", "none if left blank", unit="N"),
        Field("coupons_per_pull", "Coupons per pull", "of each test", value="5"),
        Field("unusual", "Unusual size", "a dot outside 3 to 20 mm that is right", choices=("as typed",), more=True),
        Field("maker", "Made by", more=True),
        Field("dot_made", "Dots made", choices=("die", "hand-rolled", "dispensed", "cut film"), more=True),
        Field("dot_position", "Position of dots", more=True),
        Field("dot_height_mm", "Height of a dot", unit="mm", more=True),
        Field("dot_mass_mg", "Mass of a dot", unit="mg", more=True),
        Field("measured_diameter_mm", "Measured diameter", unit="mm", more=True),
        Field("across_diameter_mm", "Measured across", "at right angles", unit="mm", more=True),
        Field("applied_first_to", "Applied first to", choices=("object", "mount"), more=True),
        Field("warmed", "Warmed", choices=("no", "yes"), more=True),
        Field("pressing_load_n", "Pressing load", unit="N", more=True),
        Field("pressing_seconds", "Pressing time", unit="s", more=True),
        Field("pressing_climate", "Pressing climate", "such as 21 °C, 48 %", more=True),
        Field("rack_position", "Place in the rack", more=True),
    ),
    "coupons": (
        Field("set", "Set", known="sets", needed=True),
        Field("test", "Test", "of the set's protocol", known="tests", needed=True),
        Field("pull", "Pull", "none for a spare", known="pulls"),
        Field("count", "How many", "codes are assigned", value="1"),
        Field("code", "Code", "if the piece carries one already", more=True),
        Field("own_mark", "Your own mark", "if the piece carries one", more=True),
    ),
}


def options(field: Field, book: Register) -> list[Choice]:
    """What may be chosen in a field, each a value and its words; empty for free text."""
    if field.choices:
        return [(choice, choice) for choice in field.choices]
    if field.known == "lots":
        names = {adhesive.key: adhesive.name for adhesive in book.adhesives}
        return [(lot.key, f"{lot.key}, {names[lot.adhesive]}") for lot in book.lots if lot.key not in book.withdrawn]
    if field.known == "protocols":
        return [(key, key) for key in book.protocols]
    if field.known == "sets":
        return [(s.coupon_set.key, f"{s.coupon_set.key}, {s.title}") for s in book.sets]
    if field.known in ("tests", "pulls"):
        per_set = book.tests if field.known == "tests" else book.pulls
        return [(word, word) for word in dict.fromkeys(word for words in per_set.values() for word in words)]
    if field.known:
        return [(one.key, f"{one.key}, {one.name}") for one in getattr(book, field.known)]
    return []
