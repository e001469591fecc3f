"""Plan files: TOML read into a Plan, with what a plan starts from filled in and each fault with its place."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from study.errors import FileRefused, Problem
from study.intake.cells import CellFault
from study.intake.protocol_file import PLAN_TEMPLATE_FILE, PLANNING_FILE, key_problem, known_protocols, parse_protocol
from study.intake.schedule_words import parse_decisions, parse_pulls
from study.model.plan import Bench, Picture, Plan, plan_name
from study.model.protocol import Protocol, Schedule
from study.resources import folder

OWN_KEYS = ("pulls", "decision_pulls", "schedule", "coupons", "picture", "change")
"""What a plan file says in its own words; the rest is named as in the Plan."""
TABLES = ("lots", "coupons", "controls", "bench", "shelf")


@dataclass(frozen=True)
class CommonSchedule:
    """A pull schedule to start from."""

    key: str
    title: str
    pulls: str
    decision_pulls: str
    sources: tuple[str, ...]


@lru_cache(maxsize=1)
def _planning() -> dict[str, Any]:
    return tomllib.loads((folder("protocols") / PLANNING_FILE).read_text("utf-8"))


def common_schedules() -> dict[str, CommonSchedule]:
    """Pull schedules that come with Dwellbook, by key."""
    found = [CommonSchedule(**(entry | {"sources": tuple(entry["sources"])})) for entry in _planning()["schedule"]]
    return {schedule.key: schedule for schedule in found}


def common_pictures() -> tuple[Picture, ...]:
    """Pictures of decline that come with Dwellbook."""
    return tuple(Picture.model_validate(entry) for entry in _planning()["picture"])


def common_bench() -> Bench:
    """Usual minutes."""
    return Bench.model_validate({k: v for k, v in _planning()["bench"].items() if k != "sources"})


def template_text() -> str:
    """The plan file to copy and edit."""
    return (folder("protocols") / PLAN_TEMPLATE_FILE).read_text("utf-8")


def parse_plan_file(path: Path) -> tuple[Plan, Protocol]:
    """The plan in a TOML file, and the protocol it names.

    Raises
    ------
    FileRefused
        With every fault: the key, what is wrong and what to do.
    """
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError):
        raise FileRefused(
            path.name, [Problem(0, "", path.name, "cannot be read.", "Begin one with: dwellbook plan template.")]
        ) from None
    return parse_plan(text, name=path.name, beside=path.parent)


def parse_plan(text: str, *, name: str = "plan", beside: Path = Path()) -> tuple[Plan, Protocol]:
    """A plan's TOML text, and the protocol it names: one that comes with Dwellbook, or a file in ``beside``."""
    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        what = f"is not readable as TOML: {fault}."
        raise FileRefused(name, [Problem(0, "", "", what, "Correct the line it names.")]) from None
    problems = [
        Problem(0, key, str(content[key]), "is not a table.", f"Write [{key}] on a line of its own.")
        for key in TABLES
        if key in content and not isinstance(content[key], dict)
    ]
    if problems:
        raise FileRefused(name, problems)
    protocol = _protocol(content.get("protocol", "display-dots"), name, beside)
    filled = {key: value for key, value in content.items() if key not in OWN_KEYS}
    if isinstance(content.get("name"), str):
        filled["name"] = plan_name(content["name"])
    filled["tests"], found = _tests(content.get("coupons", {}), protocol)
    problems += found
    filled["schedule"], found = _schedule(content, protocol)
    problems += found
    filled["changes"], found = _changes(content.get("change", []))
    problems += found
    filled["bench"] = _bench(content.get("bench", {}))
    filled["shelf"] = {k: v for k, v in _planning()["coupon"].items() if k != "sources"} | content.get("shelf", {})
    filled["pictures"] = _pictures(content.get("picture", []))
    filled["blank_reads"] = tuple(m.key for m in protocol.methods if "discoloration" in m.reads)
    try:
        if problems:
            # What else is wrong is told too, with a schedule that stands in for the one that could not be read.
            stand_in = filled["schedule"] or protocol.schedule
            Plan.model_validate(filled | {"schedule": stand_in, "changes": ()})
            raise FileRefused(name, problems)
        return Plan.model_validate(filled), protocol
    except ValidationError as fault:
        raise FileRefused(name, [*problems, *(key_problem(error) for error in fault.errors())]) from None


def _protocol(named: object, file: str, beside: Path) -> Protocol:
    known = known_protocols()
    if not isinstance(named, str):
        raise FileRefused(file, [Problem(0, "protocol", str(named), "is no name.", f"Known: {', '.join(known)}.")])
    return parse_protocol(known[named] if named in known else beside / named)


def _tests(coupons: dict[str, Any], protocol: Protocol) -> tuple[list[dict[str, Any]], list[Problem]]:
    after = {test.method: test.then_read for test in protocol.tests}
    problems = []
    tests = []
    if not coupons:
        what = "is missing: nothing says how many coupons each destructive test gets at each pull."
        problems.append(Problem(0, "coupons", "", what, f"Add [coupons] with {' = 5, '.join(after)} = 5."))
    for method, count in coupons.items():
        if method not in after:
            what = f"is not a destructive test of protocol {protocol.key}."
            problems.append(Problem(0, f"coupons.{method}", str(count), what, f"Use {' or '.join(after)}."))
        else:
            tests.append({"method": method, "per_pull": count, "then_read": after[method]})
    stand_in = [{"method": protocol.tests[0].method, "per_pull": 1}]
    return tests or stand_in, problems


def _schedule(content: dict[str, Any], protocol: Protocol) -> tuple[Schedule | None, list[Problem]]:
    named: Any = content.get("schedule")
    pulls: Any = content.get("pulls")
    if named is not None and pulls is not None:
        return None, [Problem(0, "schedule", str(named), "stands beside pulls.", "Keep one of the two.")]
    if named is None and pulls is None:
        return protocol.schedule, []
    sources: tuple[str, ...] = ("common-practice",)
    decisions: Any = content.get("decision_pulls", "")
    if named is not None:
        known = common_schedules()
        if named not in known:
            what = "is not a schedule that comes with Dwellbook."
            return None, [Problem(0, "schedule", str(named), what, f"Known: {', '.join(known)}; or write pulls.")]
        pulls, sources = known[named].pulls, known[named].sources
        decisions = decisions or known[named].decision_pulls
    for key, typed in (("pulls", pulls), ("decision_pulls", decisions)):
        if not isinstance(typed, str):
            return None, [Problem(0, key, str(typed), "is not text.", f'Write {key} = "1, 3, 6 months".')]
    place, typed = "pulls", pulls
    try:
        found = parse_pulls(pulls)
        place, typed = "decision_pulls", decisions
        decided = parse_decisions(decisions, found)
    except CellFault as fault:
        return None, [Problem(0, place, typed, fault.what, fault.do)]
    return Schedule(pulls=found, decision_pulls=decided, sources=sources), []


def _changes(entries: Any) -> tuple[list[Any], list[Problem]]:
    """Changes of single cells, a pull among them in the spelling of the schedule."""
    found, problems = [], []
    for place, entry in enumerate(entries if isinstance(entries, list) else [entries], start=1):
        if isinstance(entry, dict) and isinstance(entry.get("pull"), str) and entry["pull"]:
            try:
                (pull,) = parse_pulls(entry["pull"])
                entry = entry | {"pull": pull.label}
            except (CellFault, ValueError) as fault:
                what = fault.what if isinstance(fault, CellFault) else "is more than one pull."
                problems.append(Problem(0, f"change[{place}].pull", entry["pull"], what, "Name one pull."))
        found.append(entry)
    return found, problems


def _bench(given: dict[str, Any]) -> dict[str, Any]:
    usual = common_bench().model_dump()
    minutes = given.get("minutes", {})
    together = usual["minutes"] | minutes if isinstance(minutes, dict) else minutes
    return usual | given | {"minutes": together}


def _pictures(given: Any) -> list[Any]:
    """The plan's own pictures, and those that come with Dwellbook under other names."""
    own = given if isinstance(given, list) else [given]
    named = {entry.get("key") for entry in own if isinstance(entry, dict)}
    return [*own, *(picture for picture in common_pictures() if picture.key not in named)]
