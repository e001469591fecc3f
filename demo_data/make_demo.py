"""The invented demo study: a seeded generator of files in the users' own formats. Nothing in it is measured.

Run it from a checkout to write the files beside it again: python demo_data/make_demo.py
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from study.intake.protocol_file import known_protocols, parse_protocol
from study.model.coupon import coupon_code
from study.model.protocol import Protocol
from study.model.pull import due_on

HERE = Path(__file__).parent
SEED = 20230306
TODAY = date(2026, 11, 24)
NOTE = "Demonstration: a fictional small museum of glass and ceramics on a tidal estuary. Every number is invented."
CONSERVATOR, TECHNICIAN = "R. Vale", "M. Quill"

ADHESIVES = [
    ("gel-a", "Acrylic gel A", "acrylic gel", "1", "active", "", ""),
    ("gel-b", "Acrylic gel B", "acrylic gel", "2", "active", "", "gel-a"),
    ("gel-s", "Silicone gel S", "silicone gel", "1", "active", "", ""),
    ("wax-w", "Wax W", "microcrystalline wax", "1", "active", "", ""),
    ("putty-p", "Putty P", "rubber putty", "1", "active", "", ""),
]
LOTS = [
    ("A-1", "gel-a", "2022-11-14", "", "24"),
    ("B-1", "gel-b", "2025-03-31", "", "24"),
    ("S-1", "gel-s", "2022-10-03", "10 : 1 base and hardener", "48"),
    ("W-1", "wax-w", "2022-09-19", "7 : 3 wax and tackifier", "24"),
    ("P-1", "putty-p", "2022-12-05", "", "24"),
]
SUBSTRATES = [
    ("acrylic-sheet", "acrylic sheet", "cast, clear", "cleaned", "display surface", "no"),
    ("painted-mdf", "painted MDF", "acrylic emulsion, matt", "as found", "display surface", "no"),
    ("polished-oak", "shellac-polished oak", "shellac polish", "cleaned", "object", "no"),
    ("linen-board", "linen-covered board", "unbleached linen", "as found", "display surface", "no"),
    ("glazed-earthenware", "glazed earthenware", "lead-free glaze, sound", "cleaned", "object", "no"),
]
ENVIRONMENTS = [
    ("gallery-dark", "gallery store, dark", "18 to 22", "45 to 55", "dark"),
    ("gallery-lit", "gallery, lit", "18 to 24", "40 to 55", "50 lx, 8 h a day"),
]
BASE_LAB = {
    "acrylic-sheet": (91.0, -0.3, 1.2),
    "painted-mdf": (88.5, 0.1, 3.4),
    "polished-oak": (42.0, 14.5, 27.0),
    "linen-board": (76.0, 3.2, 14.8),
    "glazed-earthenware": (69.5, 4.1, 17.3),
}
FIRST_DAY = {"early": date(2023, 3, 6), "late": date(2023, 3, 13), "b1": date(2025, 5, 19), "b2": date(2025, 10, 20)}
LATE_DAYS = {"1 week": 0, "1 month": 1, "3 months": -2, "6 months": 5, "12 months": 4, "18 months": -6, "24 months": 9,
             "36 months": 3}  # fmt: skip
"""How many days after the due day a visit really happened."""


@dataclass(frozen=True)
class Truth:
    """How an invented pairing behaves; rates are per square root of a day for force, per year for the rest."""

    set_key: str
    lot: str
    substrate: str
    environment: str
    batch: str
    force_n: float
    force_rate: float
    residue: float
    residue_rate: float
    stain_from_d: float = 1e9
    stain_rate: float = 0.0
    hold_deg: float = 140.0
    hold_rate: float = 0.0
    residue_sd: float = 0.45
    harm_from_d: float = 1e9


TRUTHS = [
    Truth("GA-ACR", "A-1", "acrylic-sheet", "gallery-lit", "early", 4.2, 0.012, 0.1, 0.95),
    Truth("GA-MDF", "A-1", "painted-mdf", "gallery-dark", "early", 6.0, 0.0545, 0.2, 0.15),
    Truth("GA-GLZ", "A-1", "glazed-earthenware", "gallery-lit", "early", 4.8, 0.0455, 0.1, 0.20),
    Truth("GA-LIN", "A-1", "linen-board", "gallery-dark", "early", 9.0, 0.044, 1.2, 0.9),
    Truth("GS-ACR", "S-1", "acrylic-sheet", "gallery-lit", "early", 2.4, 0.010, 0.0, 0.05),
    Truth(
        "GS-OAK", "S-1", "polished-oak", "gallery-dark", "late", 2.8, 0.014, 0.2, 0.15, stain_from_d=300, stain_rate=1.6
    ),
    Truth("GS-GLZ", "S-1", "glazed-earthenware", "gallery-lit", "late", 2.2, 0.006, 0.0, 0.10),
    Truth("WX-GLZ", "W-1", "glazed-earthenware", "gallery-lit", "late", 3.1, 0.008, 0.3, 0.12),
    Truth("WX-LIN", "W-1", "linen-board", "gallery-dark", "late", 5.5, 0.010, 3.1, 0.3),
    Truth("PU-OAK", "P-1", "polished-oak", "gallery-dark", "late", 7.5, 0.035, 1.0, 0.3, harm_from_d=85),
    Truth("PU-MDF", "P-1", "painted-mdf", "gallery-dark", "late", 6.8, 0.012, 0.8, 0.1, hold_deg=105, hold_rate=-13),
    Truth("GB-ACR", "B-1", "acrylic-sheet", "gallery-lit", "b1", 4.0, 0.016, 0.1, 0.2),
    Truth("GB-LIN", "B-1", "linen-board", "gallery-dark", "b2", 8.2, 0.05, 1.0, 1.1),
]
TESTS = ("pull-off-dot", "hold-angle")
EACH = 5
Line = dict[str, str]


class Study:
    """The files as they grow, in the order in which things happened."""

    def __init__(self, protocol: Protocol) -> None:
        self.protocol = protocol
        self.random = np.random.default_rng(SEED)
        self.codes = 0
        self.coupons: list[Line] = []
        self.by_pull: dict[tuple[str, str, str], list[str]] = {}
        self.acts: list[dict[str, str]] = []
        self.mistyped = ("", "")

    def coupon(self, set_key: str, test: str, label: str) -> str:
        """One more coupon, with the next code."""
        code = coupon_code(self.codes)
        self.codes += 1
        self.coupons.append({"set": set_key, "test": test, "pull": label, "code": code})
        self.by_pull.setdefault((set_key, test, label), []).append(code)
        return code

    def act(self, do: str, on: date, by: str, **more: str) -> None:
        """One act of the story."""
        self.acts.append({"do": do, "at": f"{on}T10:00:00+00:00", "by": by, **more})

    def normal(self, sd: float) -> float:
        """One normal deviate."""
        return float(self.random.normal(0.0, sd))


def write_csv(name: str, rows: list[Line]) -> None:
    """A CSV file with the columns that any of its rows uses."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    with (HERE / name).open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, columns, restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


HEADS = {
    "adhesives": (
        "adhesive",
        "name",
        "composition_class",
        "formulation_version",
        "status",
        "status_on",
        "successor_of",
    ),
    "lots": ("lot", "adhesive", "supplied_on", "mix_parts_by_mass", "cure_hours"),
    "substrates": ("substrate", "name", "finish", "preparation", "stands_for", "friable"),
    "environments": ("environment", "name", "temperature_c", "humidity_percent", "light"),
}


def register_2023(study: Study) -> None:
    """The first study: nine pairings' worth of tiles, time-zero sets, spares and blanks."""
    on, truths = date(2023, 3, 14), [t for t in TRUTHS if t.batch in ("early", "late")]
    tables = {
        "adhesives": [row for row in ADHESIVES if row[0] != "gel-b"],
        "lots": [row for row in LOTS if row[1] != "gel-b"],
        "substrates": SUBSTRATES,
        "environments": ENVIRONMENTS,
    }
    for kind, rows in tables.items():
        name = f"{kind}-2023.csv" if kind in ("adhesives", "lots") else f"{kind}.csv"
        write_csv(name, [dict(zip(HEADS[kind], row, strict=True)) for row in rows])
        study.act("register", on, CONSERVATOR, kind=kind, file=name)
    sets = [_set_row(t, t.set_key, "test") for t in truths]
    sets += [_set_row(t, f"{t.set_key}-T0", "time-zero") for t in truths]
    sets.append(_set_row(TRUTHS[0], "GA-ACR-SP", "spare"))
    sets += [_blank_row(name) for name in BASE_LAB]
    _place(study, truths)
    for t in truths:
        for _ in range(EACH):
            study.coupon(f"{t.set_key}-T0", TESTS[0], "")
    for _ in range(4):
        study.coupon("GA-ACR-SP", TESTS[0], "")
    for name in BASE_LAB:
        for pull in study.protocol.schedule.pulls:
            study.coupon(f"BL-{name}", TESTS[0], pull.label)
    _write_sets(study, "2023", sets, on)


def register_2025(study: Study) -> None:
    """The successor of the reformulated gel joins with sets of its own."""
    on, truths = date(2025, 10, 21), [t for t in TRUTHS if t.batch[0] == "b"]
    for kind, rows in (("adhesives", ADHESIVES), ("lots", LOTS)):
        new = [row for row in rows if "gel-b" in row[:2]]
        write_csv(f"{kind}-2025.csv", [dict(zip(HEADS[kind], row, strict=True)) for row in new])
        study.act("register", date(2025, 5, 20), CONSERVATOR, kind=kind, file=f"{kind}-2025.csv")
    for t in truths:
        on = FIRST_DAY[t.batch] + timedelta(days=1)
        _place(study, [t])
        _write_sets(study, t.set_key, [_set_row(t, t.set_key, "test")], on)


def _place(study: Study, truths: list[Truth]) -> None:
    for t in truths:
        for pull in study.protocol.schedule.pulls:
            for test in TESTS:
                for _ in range(EACH):
                    study.coupon(t.set_key, test, pull.label)


def _write_sets(study: Study, name: str, sets: list[Line], on: date) -> None:
    write_csv(f"sets-{name}.csv", sets)
    write_csv(f"coupons-{name}.csv", study.coupons)
    study.coupons = []
    study.act("register", on, CONSERVATOR, kind="sets", file=f"sets-{name}.csv")
    study.act("register", on, CONSERVATOR, kind="coupons", file=f"coupons-{name}.csv")


def _set_row(t: Truth, key: str, role: str) -> Line:
    return {
        "set": key, "role": role, "lot": t.lot, "substrate": t.substrate, "environment": t.environment,
        "protocol": "display-dots", "placed_on": str(FIRST_DAY[t.batch]), "dot_diameter_mm": "8", "dots": "3",
        "dwell_load_n": "2",
    }  # fmt: skip


def _blank_row(substrate: str) -> Line:
    return {
        "set": f"BL-{substrate}", "role": "blank", "substrate": substrate, "environment": "gallery-dark",
        "protocol": "display-dots", "placed_on": str(FIRST_DAY["early"]),
    }  # fmt: skip


def read_dot(study: Study, t: Truth, code: str, on: date, dwell: int, day: float) -> Line:
    """Force, pattern, residue and colour of one pulled dot coupon."""
    force = t.force_n * math.exp(t.force_rate * math.sqrt(dwell) + day + study.normal(0.11))
    latent = t.residue + t.residue_rate * dwell / 365 + study.normal(t.residue_sd)
    grade = min(5, max(0, round(latent)))
    doubt = 0.42 < latent % 1 < 0.58 and 0 < latent < 4.4 and study.random.random() < 0.25
    harmed = dwell >= t.harm_from_d and study.random.random() < 0.3
    pattern = "DF" if harmed else "CF" if grade >= 4 else "SCF" if grade >= 2 else "AF"
    stain = max(0.0, (dwell - t.stain_from_d) / 365) * t.stain_rate * math.exp(study.normal(0.25))
    before = tuple(base + study.normal(0.12) for base in BASE_LAB[t.substrate])
    drift = (-0.35 * stain, 0.15 * stain, 1.1 * stain)
    after = tuple(first + moved + study.normal(0.12) for first, moved in zip(before, drift, strict=True))
    line = {
        "coupon": code, "read_on": str(on),
        "removal_force": ">50" if force > 50 else f"{force:.2f}", "force_unit": "N",
        "failure_pattern": pattern, "side": "object",
        "residue_grade": f"{math.floor(latent)}-{math.floor(latent) + 1}" if doubt else str(grade),
    }  # fmt: skip
    return line | _colours(before, after)


def _colours(before: tuple[float, ...], after: tuple[float, ...]) -> Line:
    names = ("L_before", "a_before", "b_before", "L_after", "a_after", "b_after")
    return {name: f"{value:.2f}" for name, value in zip(names, (*before, *after), strict=True)}


def read_hold(study: Study, t: Truth, code: str, on: date, dwell: int, day: float) -> Line:
    """Hold angle of one tilted coupon, in the protocol's steps of 5°."""
    angle = t.hold_deg + t.hold_rate * dwell / 365 + 40 * day + study.normal(9.0)
    return {
        "coupon": code,
        "read_on": str(on),
        "hold_angle_deg": ">90" if angle > 90 else f"{5 * math.floor(angle / 5)}",
    }


def visit(study: Study, label: str, truths: list[Truth], name: str, *, blanks: bool = False) -> None:
    """One pull of several sets: what came out, and what was read on the next day."""
    pulls: list[Line] = []
    readings: list[Line] = []
    schedule = {pull.label: pull for pull in study.protocol.schedule.pulls}
    last = date.min
    for t in truths:
        on = due_on(FIRST_DAY[t.batch], schedule[label]) + timedelta(days=LATE_DAYS[label])
        dwell, day = (on - FIRST_DAY[t.batch]).days, study.normal(0.04)
        last = max(last, on)
        for test, read in ((TESTS[0], read_dot), (TESTS[1], read_hold)):
            for place, code in enumerate(study.by_pull[t.set_key, test, label]):
                accident = ACCIDENTS.get((t.set_key, test, label), {}) if place == 2 else {}
                pulls.append({"coupon": code, "on": str(on), **accident})
                line = read(study, t, code, on + timedelta(days=1), dwell, day)
                if not accident:
                    readings.append(line)
    if blanks:
        on = due_on(FIRST_DAY["early"], schedule[label]) + timedelta(days=LATE_DAYS[label])
        for substrate, base in BASE_LAB.items():
            (code,) = study.by_pull[f"BL-{substrate}", TESTS[0], label]
            pulls.append({"coupon": code, "on": str(on)})
            before = tuple(value + study.normal(0.12) for value in base)
            colours = _colours(before, tuple(value + study.normal(0.12) for value in before))
            readings.append({"coupon": code, "read_on": str(on + timedelta(days=1)), **colours})
    _mistype(study, label, readings)
    _write_visit(study, name, pulls, readings, last)


def _write_visit(study: Study, name: str, pulls: list[Line], readings: list[Line], on: date) -> None:
    write_csv(f"pulls-{name}.csv", pulls)
    study.act("pull", on, TECHNICIAN, file=f"pulls-{name}.csv")
    if readings:
        write_csv(f"readings-{name}.csv", readings)
        study.act("read", on + timedelta(days=1), CONSERVATOR, file=f"readings-{name}.csv")


ACCIDENTS = {
    ("GS-GLZ", TESTS[0], "12 months"): {"as": "lost", "note": "fell behind the rack"},
    ("PU-MDF", TESTS[1], "24 months"): {
        "as": "released by itself", "last_seen_on": "2024-12-02", "note": "found on the shelf at the pull",
    },
    ("WX-GLZ", TESTS[0], "18 months"): {"as": "damaged", "note": "tile cracked in the clamp before the pull"},
}  # fmt: skip
MISTYPED = ("GS-ACR", "18 months")
"""Set and pull in which one force lost its decimal point; found and corrected a year later."""


def _mistype(study: Study, label: str, readings: list[Line]) -> None:
    code = study.by_pull[MISTYPED[0], TESTS[0], MISTYPED[1]][1]
    for line in readings:
        if label == MISTYPED[1] and line["coupon"] == code:
            study.mistyped = (code, line["removal_force"])
            line["removal_force"] = f"{float(line['removal_force']) * 10:.1f}"


def time_zero(study: Study, truths: list[Truth]) -> None:
    """The time-zero sets, read on the day of placement."""
    pulls: list[Line] = []
    readings: list[Line] = []
    for t in truths:
        on, day = FIRST_DAY[t.batch], study.normal(0.04)
        for code in study.by_pull[f"{t.set_key}-T0", TESTS[0], ""]:
            pulls.append({"coupon": code, "on": str(on)})
            readings.append(read_dot(study, t, code, on, 0, day))
    _write_visit(study, "2023-time-zero", pulls, readings, date(2023, 3, 14))


def decide(study: Study, on: date, pairings: str, why: str) -> None:
    """Decisions issued on one day."""
    for pairing in pairings.split():
        study.act("decide", on, CONSERVATOR, pairing=pairing, why=why)


DISPLAYS = [
    # object, location, lot, pairing at the object, at the support, environment, load, placed on
    ("EW-014", "Case 1", "A-1", "P03", "P01", "gallery-lit", "2", "2026-04-20"),
    ("EW-022", "Case 1", "A-1", "P03", "P01", "gallery-lit", "1.5", "2026-05-25"),
    ("EW-023", "Case 1", "A-1", "P03", "P01", "gallery-lit", "1.5", "2026-05-25"),
    ("EW-031", "Case 2", "A-1", "P03", "P01", "gallery-lit", "2", "2026-09-01"),
    ("EW-032", "Case 2", "A-1", "P03", "P01", "gallery-lit", "5", "2026-09-01"),
    ("EW-040", "Case 2", "B-1", "P03", "P01", "gallery-lit", "2", "2026-09-01"),
    ("GL-003", "Case 3", "S-1", "P07", "P05", "gallery-lit", "1", "2025-09-05"),
    ("GL-007", "Case 3", "S-1", "P07", "P05", "gallery-lit", "1", "2025-11-10"),
    ("GL-008", "Case 3", "S-1", "P07", "P05", "gallery-lit", "1", "2026-02-16"),
    ("GL-011", "Case 4", "S-1", "P07", "P05", "gallery-lit", "2", "2026-06-08"),
    ("EW-050", "Case 4", "A-1", "P03", "P02", "gallery-lit", "2", "2026-06-08"),
]


def put_on_display(study: Study) -> None:
    """Objects standing on what the study found, one of them taken down again, clean."""
    heads = ("object", "location", "lot", "object_pairing", "support_pairing", "environment", "load_n", "placed_on")
    rows = [dict(zip(heads, row, strict=True)) for row in DISPLAYS]
    fixed = {"dots": "3", "dot_diameter_mm": "8", "placed_by": TECHNICIAN}
    write_csv("displays.csv", [row | fixed for row in rows])
    study.act("display", date(2026, 9, 2), TECHNICIAN, file="displays.csv")
    study.act(
        "remove", date(2026, 10, 12), TECHNICIAN, object="GL-011", residue="1", pattern="AF", side="object",
        force="felt easy", tool="thread", note="Lent to a school; nothing seen with the bare eye.",
    )  # fmt: skip


def write_story(study: Study) -> None:
    """The acts in order of time, as the demo plays them."""
    lines = [
        "# The invented story that the demo plays, written by make_demo.py. Nothing in it is measured.",
        f'note = "{NOTE}"',
        'institution = "An invented museum of glass and ceramics"',
        f"today = {TODAY}",
        f'begun = {{ at = "2023-02-20T09:00:00+00:00", by = "{CONSERVATOR}" }}',
    ]
    for act in sorted(study.acts, key=lambda act: act["at"]):
        lines += ["", "[[acts]]", *(f'{name} = "{value}"' for name, value in act.items())]
    (HERE / "story.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def bench_records(study: Study) -> None:
    """Instruments with their calibrations, the last of the gauge run out; and who is in charge of what."""
    begun = date(2023, 3, 1)
    for key, name, measures, capacity in (
        ("gauge-1", "Force gauge with coaxial rig", "force", "50 N"),
        ("colour-1", "Colour instrument, sphere, 8 mm", "colour", ""),
    ):
        study.act("instrument", begun, CONSERVATOR, instrument=key, name=name, measures=measures, capacity=capacity)
    for key, first, last in (("gauge-1", 2023, 2025), ("colour-1", 2023, 2026)):
        for year in range(first, last + 1):
            study.act(
                "calibration", date(year, 3, 2), CONSERVATOR, instrument=key, calibrated_on=f"{year}-03-02",
                valid_until=f"{year + 1}-03-01", certificate=f"invented {key} {year}",
            )  # fmt: skip
    for duty, person in (("pulls", TECHNICIAN), ("readings", CONSERVATOR), ("decisions", CONSERVATOR)):
        study.act("duty", begun, CONSERVATOR, duty=duty, person=person)


def main() -> None:
    """Write every file and the story that loads them in order."""
    study = Study(parse_protocol(known_protocols()["display-dots"]))
    first = [t for t in TRUTHS if t.batch in ("early", "late")]
    register_2023(study)
    time_zero(study, first)
    for pull in study.protocol.schedule.pulls:
        visit(study, pull.label, first, f"2023-{pull.label.replace(' ', '-')}", blanks=True)
    register_2025(study)
    for key, labels in (
        ("GB-ACR", ("1 week", "1 month", "3 months", "6 months", "12 months")),
        ("GB-LIN", ("1 week", "1 month", "3 months", "6 months")),
    ):
        for label in labels:
            visit(study, label, [t for t in TRUTHS if t.set_key == key], f"{key}-{label.replace(' ', '-')}")
    fresh = study.by_pull["GB-ACR", TESTS[0], "18 months"][:3]
    _write_visit(
        study, "GB-ACR-18-months", [{"coupon": code, "on": "2026-11-23"} for code in fresh], [], date(2026, 11, 23)
    )
    study.act(
        "interrupt", date(2024, 5, 16), TECHNICIAN, environment="gallery-lit", kind="light out",
        from_on="2024-05-07", to_on="2024-05-16",
        note="Lamp out, found at the weekly round; dose lower by about 3 600 lx h.",
    )  # fmt: skip
    bench_records(study)
    study.act(
        "status", date(2025, 3, 28), CONSERVATOR, adhesive="gel-a", status="discontinued",
        why="The supplier's letter ends lot A-1 and its recipe; gel B succeeds it. Results stay with formulation 1.",
    )  # fmt: skip
    code, force = study.mistyped
    study.act(
        "correct", date(2025, 9, 9), CONSERVATOR, code=code, reading="removal_force", value=f"{force} N",
        why="The decimal point slipped; the bench notebook has the gauge's value.",
    )  # fmt: skip
    decide(study, date(2025, 3, 24), "P01 P02 P03 P05", "Decision planned at 24 months.")
    decide(study, date(2026, 3, 23), "P01 P03 P05 P06 P07 P08 P10", "Decision planned at 36 months.")
    put_on_display(study)
    write_story(study)


if __name__ == "__main__":
    main()
