"""Headings as laboratories write them: which of our columns one names, and the unit that stands in it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import lru_cache

from study.errors import DwellbookError
from study.intake.sheet_tongues import DOUBTFUL_IN_OTHER_TONGUES, IN_OTHER_TONGUES
from study.model.layout import READING_COLUMNS, STUDY_COLUMNS
from study.model.units import plain, unit_name

SYNONYMS: dict[str, str] = {
    "coupon": "coupon code|coupon id|coupon no|coupon number|coupon nr|code|specimen|specimen id|specimen no|sample|"
    "sample id|sample no|sample name|sample code|test piece|piece|piece no|piece number|tile no|tile number|"
    "tile id|panel no|plate no|id|coupon mark|mark|label|no|nr|number",
    "read_on": "date|test date|date tested|date of test|tested on|tested|date read|read|reading date|measured on|"
    "date measured|measurement date|date of reading|day|date time|datetime|timestamp|read date",
    "removal_force": "force|removal force|peel force|peel|pull force|pull off force|max force|maximum force|peak force|"
    "peak|f max|fmax|max load|peak load|load|force max|force peak|peel strength|adhesion|f|force at removal",
    "force_unit": "unit|units|force units|unit of force",
    "failure_pattern": "failure|failure mode|mode of failure|failure type|failure code|pattern|fracture|fracture type|"
    "failure mode iso 10365|type of failure|failure class|locus of failure|where did it fail|failed at",
    "side": "failure side|side of failure|face|where",
    "residue_grade": "residue|residue rating|residue score|grade|residue class|residue as released|residue level|"
    "residue 1|grade 1|first grade|first rating|residue first rater|residue rater 1|first residue grade",
    "residue_area_percent": "residue area|residue area percent|residue percent|area residue|residue cover|area|"
    "residue coverage|percent residue",
    "halo_percent": "halo|halo area",
    "residue_flags": "flags|residue flag|stain ghost loss|marks left",
    "residue_aids": "aids|aid|inspected with|inspection|looked with|viewing aid|inspection aids",
    "residue_second": "second grade|residue 2|grade 2|second rating|residue second rater|residue rater 2|"
    "second residue grade",
    "second_rater": "rater 2|second rater name|second operator",
    "residue_cleaned": "residue after cleaning|cleaned residue|grade after cleaning|residue cleaned|after cleaning",
    "cleaning_step": "cleaning|cleaning method|cleaned with",
    "illuminant": "light source|illuminant observer|illum|illuminant obs",
    "observer_deg": "observer|standard observer|obs|observer angle",
    "specular": "specular component|sci sce|sci|gloss component",
    "geometry": "measuring geometry|geometry d 8 or 45 0|optical geometry",
    "aperture_mm": "aperture|measuring aperture|aperture size",
    "backing": "backing colour|backing tile|background",
    "hold_angle_deg": "hold angle|tilt|tilt angle|release angle|angle|angle of release|hold|tilt to fall|fall angle",
    "temperature_c": "temperature|temp|room temperature|t room|air temperature|t",
    "humidity_percent": "humidity|rh|relative humidity|room rh|r h",
    "instrument": "gauge|device|apparatus|machine|force gauge|meter|instrument id",
    "read_by": "operator|by|reader|initials|tested by|measured by|rater|who|observer name|technician|tester",
    "note": "notes|comment|comments|remark|remarks|observation|observations",
    "adhesive": "adhesive name|glue|product|adhesive code",
    "formulation_version": "formulation|version|recipe version",
    "composition_class": "composition|class|adhesive class|adhesive type|type of adhesive",
    "lot": "batch|lot no|lot number|batch no|batch number|adhesive lot",
    "substrate": "surface|material|substrate material|support material|tile|panel|plate|support",
    "finish": "surface finish|coating",
    "preparation": "surface preparation|prep|pretreatment|surface prep",
    "stands_for": "represents|stands in for",
    "environment": "storage|climate|condition|conditions|ageing|aging|exposure|ageing environment|stored in|kept in",
    "placed_on": "placed|placement|date placed|placement date|date of placement|stuck on|start|start date|bonded on|"
    "date bonded|applied on|date applied|stuck down|stuck|bonded|applied|mounted on",
    "pulled_on": "pulled|pull date|date pulled|removed on|date removed|removal date|date of removal|taken off|off|"
    "removed|taken off on",
    "pull_kind": "kind of pull|how removed|event|status|fate|outcome|how it came off|came off|came off as",
    "last_seen_on": "last seen|last seen holding|last ok|last inspected",
    "test": "method|test method|test type|type of test",
    "pull": "interval|time point|timepoint|planned pull|dwell|months|age|duration|planned time|period|"
    "planned|planned months|due",
    "dot_diameter_mm": "dot diameter|diameter|dot size|dia|dot dia",
    "dots": "number of dots|dot count|no of dots|n dots",
    "dwell_load_n": "dwell load|load during dwell|hanging load|load on dots",
    "role": "purpose|coupon role|use",
    "read_at": "read at|time of reading",
}
"""Column -> headings that name it without doubt once brackets, units and punctuation are off."""

DOUBTFUL = DOUBTFUL_IN_OTHER_TONGUES | frozenset(
    (
        "id", "no", "nr", "number", "label", "mark", "f", "load", "adhesion", "area", "face", "where", "use", "by",
        "who", "day", "start", "read", "code", "class", "version", "event", "status", "age", "months", "dwell",
        "interval", "surface", "material", "condition", "conditions", "storage", "product", "period", "pulled",
        "placed", "observer", "inspection", "marks", "sci", "t", "tile", "panel", "plate", "support", "taken off",
        "off", "removed", "stuck down", "stuck", "stored in", "kept in", "planned", "planned months", "due",
        "how it came off", "came off", "came off as", "where did it fail", "fell at", "tilt to fall", "fall angle",
        "bonded", "applied", "mounted on",
    )
)  # fmt: skip
"""Synonyms that may mean something else in another laboratory: offered, not taken."""
_PLAIN_WHEN_WIDE = frozenset(
    (
        "surface", "interval", "pulled", "placed", "taken off", "stuck down", "stored in", "kept in", "came off",
        "how it came off", "planned", "planned months", "removed", "bonded", "applied", "where did it fail",
        "tilt to fall", "fall angle", "tile", "panel", "plate", "version",
    )
)  # fmt: skip
"""Of these, what beside a whole study's other columns can mean one thing only."""

_BEFORE = {"before", "initial", "start", "0", "t0", "zero", "reference", "ref", "untreated", "placing", "prior", "pre"}
_AFTER = {"after", "final", "end", "removal", "removed", "1", "t1", "post", "sample", "aged"}
_LOOK = {"look", "place", "situ", "through", "glass"}
_FILLERS = {"cie", "lab", "cielab", "star", "in", "value", "mean", "avg", "average", "d65", "d50", "10", "2", "deg",
            "of", "c", "a65", "sci", "sce"}  # fmt: skip
_UNIT_SIGNS = {
    "%": "%", "percent": "%", "pct": "%", "°c": "°C", "c": "°C", "degc": "°C", "deg c": "°C", "°f": "°F", "degf": "°F",
    "mm": "mm", "cm": "cm", "in": "in", "°": "°", "deg": "°", "degrees": "°", "degree": "°", "% rh": "%", "%rh": "%",
    "months": "months", "weeks": "weeks", "days": "days", "years": "years", "monate": "months",
    "wochen": "weeks", "tage": "days", "jahre": "years", "mois": "months", "mesi": "months", "meses": "months",
    "m": "months", "0-5": "", "-": "", "–": "",
}  # fmt: skip
_BARE_OURS = {column.casefold().replace("_", " "): column for column in (*READING_COLUMNS, *STUDY_COLUMNS)}
_BY_WORDS = {
    words: column
    for tongue in (IN_OTHER_TONGUES, SYNONYMS)
    for column, text in tongue.items()
    for words in text.split("|")
} | _BARE_OURS
OURS = frozenset((*READING_COLUMNS, *STUDY_COLUMNS))


def columns_guess(headings: Iterable[str]) -> dict[str, str]:
    """Our column for each heading that names or resembles one; the surest keep it where two want the same.

    A guess is offered to a person, not taken: ``column_of`` says whether a heading leaves no doubt.
    """
    guesses: dict[str, str] = {}
    sure: dict[str, bool] = {}
    for heading in headings:
        column, certain = column_of(heading)
        holder = next((other for other, taken in guesses.items() if taken == column), None)
        if not column or (holder is not None and (sure[holder] or not certain)):
            continue
        if holder is not None:
            del guesses[holder]
        guesses[heading], sure[heading] = column, certain
    return guesses


def known_column(heading: str) -> str:
    """The column that a heading names without doubt, or nothing; quick, for finding the header's row."""
    column, certain = _named(heading)
    return column if certain else ""


@lru_cache(maxsize=4096)
def column_of(heading: str) -> tuple[str, bool]:
    """Our column for a heading, and whether it leaves no doubt; ("", False) where nothing resembles it.

    ``L``, ``a`` and ``b`` alone give ``L_look`` and so on with doubt: the sheet has to say what they are.
    """
    column, certain = _named(heading)
    if column or len(heading) > 60:
        return column, certain
    words = _bare(heading)
    # "residue 3" is not "residue 2": a number in a heading tells raters, spots and times apart.
    alike = [key for key in _BY_WORDS if _numbers(key) == _numbers(words)]
    near = get_close_matches(words, alike, n=1, cutoff=0.8) if len(words) > 3 else []
    if near:
        return _BY_WORDS[near[0]], False
    # A longer heading that holds a whole synonym of two words or one of ours.
    inside = [
        key for key in _BY_WORDS if len(key) > 4 and key not in DOUBTFUL and re.search(rf"\b{re.escape(key)}\b", words)
    ]
    if inside:
        return _BY_WORDS[max(inside, key=len)], False
    # A unit of force in the heading: Kraft (N), forza [gf].
    return ("removal_force", False) if force_unit(heading_unit(heading) or "?") else ("", False)


def wide_column(heading: str) -> str:
    """The column that a heading plainly is in a sheet of a whole study, though it may be another in one of readings."""
    words = _bare(heading)
    return _BY_WORDS[words] if words in _PLAIN_WHEN_WIDE else ""


@lru_cache(maxsize=4096)
def _named(heading: str) -> tuple[str, bool]:
    if heading in OURS:
        return heading, True
    if not heading or len(heading) > 60:
        return "", False
    colour = _colour(heading)
    if colour:
        return colour
    bare = (
        _bare(heading, keep_brackets=True),
        _bare(heading),
        _bare(_without_unit(heading)),
        _bare(_off_scale(heading)),
    )
    for words in bare:
        if words in _BY_WORDS:
            return _BY_WORDS[words], words not in DOUBTFUL
    return "", False


def _colour(heading: str) -> tuple[str, bool] | None:
    text = plain(heading).replace("*", "").replace("_", " ")
    tokens = [token for token in re.split(r"[^A-Za-z0-9]+", text) if token]
    tokens = [
        part
        for token in tokens
        for part in ([token[0], token[1:]] if re.fullmatch(r"[LlaAbB][01]", token) else [token])
    ]
    letters = [token for token in tokens if token in ("L", "l", "a", "b")]
    if len(letters) != 1:
        return None
    letter = letters[0].upper() if letters[0] in "Ll" else letters[0]
    rest = {token.casefold() for token in tokens} - {letters[0].casefold()}
    if "in" in rest and not rest & {"place", "situ"}:
        return None
    said = [name for name, words in (("before", _BEFORE), ("after", _AFTER), ("look", _LOOK)) if rest & words]
    if rest - _BEFORE - _AFTER - _LOOK - _FILLERS:
        return None
    if not said and not rest and "*" not in heading and plain(heading) not in ("L", "a", "b"):
        return None
    named = "before" if "before" in said else said[0] if len(said) == 1 else "after" if "after" in said else "look"
    return f"{letter}_{named}", bool(said)


def _bare(heading: str, *, keep_brackets: bool = False) -> str:
    text = plain(heading).casefold()
    text = re.sub(r"[()\[\]{}]", " ", text) if keep_brackets else re.sub(r"[(\[{][^)\]}]*[)\]}]?", " ", text)
    text = re.sub(r"[_./:;,*#'\"’-]+", " ", text).replace("%", " percent ")
    return " ".join(text.split())


def _off_scale(heading: str) -> str:
    """A heading without the ends of its scale: "Residue 0-5", "grade, 0 to 5"; the scale itself is asked for."""
    return re.sub(r"\b\d{1,2}\s*(?:-|–|to|\.\.)\s*\d{1,2}\b", " ", plain(heading))


def _numbers(words: str) -> list[str]:
    return re.findall(r"\d+", words)


@lru_cache(maxsize=4096)
def heading_unit(heading: str, words: tuple[tuple[str, str], ...] = ()) -> str:
    """The unit that stands in a heading, under our name: "Force (N)", "Peel / N/25mm", "temp_°C"; else empty."""
    return _unit_and_rest(heading, words)[0]


def _without_unit(heading: str) -> str:
    return _unit_and_rest(heading, ())[1]


def _unit_and_rest(heading: str, words: tuple[tuple[str, str], ...]) -> tuple[str, str]:
    text = plain(heading)
    if len(text) > 80:
        return "", text
    bracket = re.search(r"[(\[{]([^()\[\]{}]+)[)\]}]\s*$", text)
    if bracket:
        found = unit_of(bracket[1], dict(words))
        return found, text[: bracket.start()] if found else text
    for match in re.finditer(r"\s*[,/]\s*|[\s_]+in[\s_]+|[\s_]+", text):
        tail = text[match.end() :]
        found = (
            unit_of(tail, dict(words)) if match.start() and tail.casefold() not in ("in", "c", "m", "g", "p") else ""
        )
        if found:
            return found, text[: match.start()]
    return "", text


def unit_of(text: str, words: Mapping[str, str] | None = None) -> str:
    """Our name of a unit of force, length, angle, temperature or share; empty if it is none that is known."""
    text = plain(text).strip()
    if words and text in words:
        return words[text]
    if text.casefold() in _UNIT_SIGNS:
        return _UNIT_SIGNS[text.casefold()]
    return force_unit(text)


@lru_cache(maxsize=1024)
def force_unit(text: str) -> str:
    """Our name of a unit of force per dot or of peel force; empty if it is none."""
    for force_per in ("dot", "width"):
        try:
            return unit_name(text, force_per=force_per)
        except DwellbookError:
            continue
    return ""
