"""Protocol files: TOML read into a Protocol, each fault with its key and what to do."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from study.errors import FileRefused, Problem
from study.model.protocol import Protocol
from study.resources import folder

METHODS_FILE = "test_methods.toml"
SOURCES_FILE = "sources.toml"
PLANNING_FILE = "planning.toml"
PLAN_TEMPLATE_FILE = "plan_template.toml"

ADVICE = {
    "extra_forbidden": "Take it out or correct its spelling.",
    "missing": "Add it.",
    "literal_error": "Write one of the words offered.",
    "greater_than": "Correct the number.",
    "less_than": "Correct the number.",
}


def known_protocols() -> dict[str, Path]:
    """The protocol files that come with Dwellbook, by key."""
    return {
        path.stem: path
        for path in sorted(folder("protocols").glob("*.toml"))
        if path.name not in (METHODS_FILE, SOURCES_FILE, PLANNING_FILE, PLAN_TEMPLATE_FILE)
    }


def parse_protocol(path: Path, *, methods: Path | None = None, sources: Path | None = None) -> Protocol:
    """The protocol in a TOML file, with the test methods it names filled in.

    Parameters
    ----------
    path : Path
        The protocol file.
    methods, sources : Path, optional
        Files of test methods and sources; those beside the protocol if they are there, else Dwellbook's own.

    Raises
    ------
    FileRefused
        With every fault: the file, the key, what is wrong and what to do.
    """
    methods = methods or _beside_or_own(path, METHODS_FILE)
    sources = sources or _beside_or_own(path, SOURCES_FILE)
    return _protocol_of(_toml(path), path.name, methods, sources)


def parse_protocol_text(text: str, *, name: str) -> Protocol:
    """The protocol in TOML text, such as a page is given, with Dwellbook's own test methods and sources.

    Raises
    ------
    FileRefused
    """
    own = folder("protocols")
    return _protocol_of(_loaded(text, name), name, own / METHODS_FILE, own / SOURCES_FILE)


def _protocol_of(content: dict[str, Any], name: str, methods: Path, sources: Path) -> Protocol:
    described = {entry.get("key"): entry for entry in _toml(methods).get("test_method", [])}
    wanted: list[Any] = []
    tests = content.get("tests")
    for test in tests if isinstance(tests, list) else []:
        if isinstance(test, dict):
            after = test.get("then_read", [])
            wanted += [test.get("method"), *(after if isinstance(after, list) else [])]
    keys = dict.fromkeys(key for key in wanted if isinstance(key, str))
    content["methods"] = [described[key] for key in keys if key in described]
    try:
        protocol = Protocol.model_validate(content)
    except ValidationError as fault:
        raise FileRefused(name, [key_problem(error) for error in fault.errors()]) from None
    unsourced = sorted(_source_keys(protocol) - set(_toml(sources)))
    if unsourced:
        raise FileRefused(
            name,
            [
                Problem(0, "sources", key, "is not in the file of sources.", f"Describe it once in {sources.name}.")
                for key in unsourced
            ],
        )
    return protocol


def _beside_or_own(path: Path, name: str) -> Path:
    beside = path.with_name(name)
    return beside if beside.is_file() else folder("protocols") / name


def _toml(path: Path) -> dict[str, Any]:
    try:
        text = path.read_text("utf-8")
    except OSError:
        raise FileRefused(
            path.name,
            [Problem(0, "", path.name, "cannot be read.", f"Known protocols: {', '.join(known_protocols())}.")],
        ) from None
    except UnicodeDecodeError as fault:
        raise FileRefused(path.name, [_no_toml(fault)]) from None
    return _loaded(text, path.name)


def _loaded(text: str, name: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise FileRefused(name, [_no_toml(fault)]) from None


def _no_toml(fault: Exception) -> Problem:
    return Problem(0, "", "", f"is not readable as TOML: {fault}.", "Correct the line it names.")


def _source_keys(protocol: Protocol) -> set[str]:
    lists = [method.sources for method in protocol.methods] + [judged.sources for judged in protocol.criteria]
    lists += [protocol.schedule.sources, protocol.rule.sources, protocol.sources]
    return {key for sources in lists for key in sources}


def key_problem(error: Any) -> Problem:
    """One fault that pydantic found in a TOML file, with the key it stands at."""
    place = ""
    for step in error["loc"]:
        place += f"[{step + 1}]" if isinstance(step, int) else f".{step}" if place else str(step)
    value = "" if isinstance(error["input"], dict) else str(error["input"])
    if error["type"] == "string_pattern_mismatch":
        small = "A-Z" not in error["ctx"]["pattern"]
        do = (
            "Use small letters, digits, dots and dashes, such as gel-a."
            if small
            else "Use letters, digits, dots, dashes and underscores, no spaces."
        )
        return Problem(0, place, value, "is no name that can be kept.", do)
    what = error["msg"].removeprefix("Value error, ").rstrip(".")
    return Problem(0, place, value, f"{what}.", ADVICE.get(error["type"], "Correct it in the file."))
