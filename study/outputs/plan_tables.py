"""Plan tables: size, chances, comparisons and suggestions as rows of plain text, the same everywhere."""

from __future__ import annotations

from collections.abc import Iterable

from study.model.allocation import Allocated
from study.model.plan_size import PlanSize
from study.model.support import Chance, Option, Support, chance_words, share_words
from study.model.units import duration_words

ROLE_WORDS = {
    "test": "test coupons",
    "time-zero": "time-zero coupons",
    "control": "controls on inert glass",
    "blank": "blanks",
    "spare": "spares",
}
COUNT_HEADS = {"what": "what", "coupons": "coupons"}
PULL_HEADS = {"pull": "pull", "coupons": "coupons", "hours": "bench hours"}
ROOM_HEADS = {"environment": "environment", "coupons": "coupons", "shelves": "shelves", "metres": "metres of shelf"}
CHANCE_HEADS = {"pull": "duration", "shown": "chance to show it", "supported": "chance that it is supported"}
PART_HEADS = {"part": "criterion", "median": "median by it alone", "limiting": "allows the least in"}
OPTION_HEADS = {
    "per_pull": "coupons per pull", "pulls": "pulls", "coupons": "coupons a pairing", "median": "median duration",
    "chance": "chance",
}  # fmt: skip
PLACE_HEADS = {
    "code": "code", "role": "role", "adhesive": "adhesive", "substrate": "substrate", "environment": "environment",
    "test": "test", "pull": "pull", "shelf": "shelf", "place": "place",
}  # fmt: skip
SHOWN_CAUTION = (
    "What is shown and not supported is provisional: nothing unacceptable would have been seen yet, so it would rest "
    "on taking it that the risk does not fall with dwell."
)
HOURS_CAUTION = "Hours rest on minutes that are common practice; put your own into the plan under [bench]."


def tabulate_counts(size: PlanSize) -> list[dict[str, str]]:
    """Coupons by what they are for, with their sum."""
    rows = [{"what": ROLE_WORDS[role], "coupons": str(count)} for role, count in size.by_role.items()]
    return [*rows, {"what": "in all", "coupons": str(size.coupons)}]


def tabulate_plan_pulls(size: PlanSize) -> list[dict[str, str]]:
    """Coupons and bench hours of each pull."""
    return [
        {"pull": pull.label, "coupons": str(pull.coupons), "hours": f"{pull.hours:.1f}"} for pull in size.pulls
    ]  # fmt: skip


def tabulate_rooms(size: PlanSize) -> list[dict[str, str]]:
    """What each environment must hold."""
    return [
        {
            "environment": room.environment, "coupons": str(room.coupons), "shelves": str(room.shelves),
            "metres": f"{room.metres:.1f}",
        }
        for room in size.rooms
    ]  # fmt: skip


def tabulate_chances(chances: Iterable[Chance]) -> list[dict[str, str]]:
    """The chance of each duration."""
    return [
        {
            "pull": chance.label, "shown": chance_words(chance.shown, chance.shown_from, chance.shown_to),
            "supported": chance_words(chance.supported, chance.supported_from, chance.supported_to),
        }
        for chance in chances
    ]  # fmt: skip


def tabulate_parts(support: Support) -> list[dict[str, str]]:
    """What each criterion allows by itself, and how often it decides."""
    return [
        {
            "part": part.title, "median": duration_words(part.median_days) if part.median_days else "not shown",
            "limiting": f"{share_words(part.limiting)} of studies",
        }
        for part in support.parts
    ]  # fmt: skip


def tabulate_options(options: Iterable[Option], *, by_coupons: bool = False) -> list[dict[str, str]]:
    """Designs side by side; with ``by_coupons`` those that need the fewest first."""
    chosen = sorted(options, key=lambda option: option.coupons) if by_coupons else list(options)
    return [
        {
            "per_pull": str(option.per_pull), "pulls": option.pulls, "coupons": str(option.coupons),
            "median": median_words(option.median_days),
            "chance": ("at most " if option.median_days is None else "")
            + chance_words(option.chance.shown, option.chance.shown_from, option.chance.shown_to),
        }
        for option in chosen
    ]  # fmt: skip


def median_words(days: int | None) -> str:
    """A median duration; 0 means that half of the studies or more show nothing."""
    if days is None:
        return "not worked out"
    return f"{duration_words(days)} ({days} d)" if days else "not shown"


def nothing_words(support: Support) -> str:
    """In how many studies nothing was shown, as a sentence; empty where it never happened."""
    return f" Nothing is shown in {share_words(support.not_shown)} of studies." if support.not_shown else ""


def tabulate_places(rows: Iterable[Allocated]) -> list[dict[str, str]]:
    """Every coupon with what it is destined to and where it stands."""
    return [
        {
            "code": row.code, "role": row.role, "adhesive": row.adhesive, "substrate": row.substrate,
            "environment": row.environment, "test": row.test, "pull": row.pull, "shelf": row.shelf,
            "place": str(row.place) if row.place else "",
        }
        for row in rows
    ]  # fmt: skip
