"""Read climate: logger files looked at, kept with their days, superseded; and what each coupon set lived through."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from study.commands.climates import Bands, bands_of, clock_of, days_by_environment, days_with, doubts_of, stretch_of
from study.errors import NotPossible, Unknown
from study.intake.climate_band import parse_asked_bands
from study.model.climate import Measure
from study.model.climate_days import ClimateDays, FiledClimate, Stretch
from study.model.interruption import NO_STOPS
from study.model.pairing import Environment
from study.model.person import Signature
from study.model.protocol import Protocol
from study.model.pull import pull_group
from study.store.climate import fetch_climate, fetch_climates, save_climate, supersede_climate
from study.store.coupons import fetch_coupons
from study.store.instruments import calibration_mark
from study.store.interruptions import fetch_stops
from study.store.protocols import fetch_protocols
from study.store.pulls import fetch_pulls
from study.store.register import fetch_environments, fetch_pairings, fetch_sets
from study.store.study_file import StudyFile

if TYPE_CHECKING:
    from study.analysis.climate import ClimateSummary
    from study.model.climate import ClimateRecord

LARGEST_LOGGER_BYTES = 50 * 1024 * 1024
NO_BANDS: Mapping[str, str] = {}


@dataclass(frozen=True)
class LoggerFile:
    """A logger's file as it is given: its bytes, and what it cannot say itself."""

    name: str
    content: bytes
    zone: str = ""
    """Zone of written times without an offset, such as Europe/Vienna or +01:00."""
    day_first: bool | None = None
    decimal: str = ""
    instrument: str = ""
    """Key of the registered logger, if it is said."""

    @classmethod
    def of(
        cls, path: Path, *, zone: str = "", day_first: bool | None = None, decimal: str = "", instrument: str = ""
    ) -> LoggerFile:
        """A file on disk.

        Raises
        ------
        NotPossible
            If it cannot be read or is larger than 50 MB.
        """
        try:
            if path.stat().st_size > LARGEST_LOGGER_BYTES:
                raise NotPossible(f"{path.name} is larger than 50 MB.", "Export a shorter time, or longer intervals.")
            return cls(path.name, path.read_bytes(), zone, day_first, decimal, instrument)
        except OSError as fault:
            what = f"{path} cannot be read: {fault.strerror}."
            raise NotPossible(what, "Check the name and the folder.") from None


@dataclass(frozen=True)
class ClimatePreview:
    """What a logger's file says, before or after it is kept."""

    filed: FiledClimate
    record: ClimateRecord
    summary: ClimateSummary
    bands: Bands
    overlaps: tuple[str, ...]
    """Which records in force say something of the same hours, in sentences."""
    same: str
    """Who took these very bytes for this environment already; empty if nobody."""


@dataclass(frozen=True)
class PullClimate:
    """What the coupons of one pull of one set lived through."""

    set_key: str
    title: str
    environment: str
    pull: str
    """Label of the pull, or "so far" for what still stands."""
    stretch: Stretch
    bands: Bands
    records: int
    """How many records of its environment are in force."""


def preview_climate(
    study: StudyFile, file: LoggerFile, *, environment: str, bands: Mapping[str, str] = NO_BANDS
) -> ClimatePreview:
    """What a logger's file says of an environment; nothing is written.

    Parameters
    ----------
    environment : str
        Key of a registered environment.
    bands : mapping of str to str
        Bands asked for, by temperature, humidity and light, such as "18 to 22".

    Raises
    ------
    Unknown
        If there is no such environment or instrument.
    FileRefused
        With everything wrong in the file.
    """
    with study.snapshot():
        return _preview(study, file, environment, bands)


def record_climate(
    study: StudyFile, file: LoggerFile, *, environment: str, signature: Signature, supersedes: int = 0,
    bands: Mapping[str, str] = NO_BANDS,
) -> ClimatePreview:  # fmt: skip
    """Keep a logger's file with its days and notes, by the hash of its bytes.

    Parameters
    ----------
    supersedes : int
        Number of a record that this one takes the place of, with the signature's reason.

    Raises
    ------
    NotPossible
        If the very bytes are in force for this environment, or a record is superseded without a reason.
    """
    first = preview_climate(study, file, environment=environment, bands=bands)  # the slow part, outside the lock
    with study.writing():
        old = _superseded(study, supersedes, first.filed.environment, signature) if supersedes else None
        same = _same_bytes(study, first.filed, leave_out=supersedes)
        if same:
            raise NotPossible(f"{file.name} {same}; nothing was written.", "A file with later readings is another one.")
        filed = first.filed
        after = {
            "environment": filed.environment, "sha256_begins": filed.sha256[:16], "zone": filed.zone,
            "from": filed.from_at, "to": filed.to_at, "doubts": list(filed.doubts),
        }  # fmt: skip
        before = {"record": old.number, "name": old.name, "sha256_begins": old.sha256[:16]} if old else None
        act = "replace climate record" if old else "enter climate record"
        with study.change(signature, act=act, subject=filed.name, before=before, after=after) as change:
            if old is not None:
                supersede_climate(study, old.number, change=change)
            number = save_climate(study, filed, file.content, change=change)
        overlaps = _overlaps(study, filed, leave_out=(number, supersedes))
    return replace(first, filed=replace(filed, number=number), overlaps=overlaps, same="")


def withdraw_climate(study: StudyFile, number: int, *, signature: Signature) -> FiledClimate:
    """Take a climate record back, with a reason; it and its bytes stay on file."""
    with study.writing():
        old = _superseded(study, number, "", signature)
        before = {"record": number, "name": old.name, "sha256_begins": old.sha256[:16], "environment": old.environment}
        with study.change(signature, act="take climate record back", subject=old.name, before=before) as change:
            supersede_climate(study, number, change=change)
    return old


def list_climates(study: StudyFile, *, superseded: bool = True) -> list[FiledClimate]:
    """Every climate record with its trail, by environment and time."""
    return fetch_climates(study, superseded=superseded)


@dataclass(frozen=True)
class LoggedPlace:
    """One environment, how many records in force it has, and its band."""

    environment: Environment
    records: int
    bands: Bands


def logged_places(study: StudyFile) -> list[LoggedPlace]:
    """Every environment with the count of its records in force and the band its days are counted against."""
    with study.snapshot():
        filed = days_by_environment(study)
        return [
            LoggedPlace(place, len(filed.get(key, [])), bands_of(place, _only_protocol(study, key), {}))
            for key, place in fetch_environments(study).items()
        ]


def climate_of_sets(
    study: StudyFile, *, today: date, set_key: str = "", bands: Mapping[str, str] = NO_BANDS
) -> list[PullClimate]:
    """What every coupon set, or one, lived through to each of its pulls, and so far where coupons still stand.

    Raises
    ------
    Unknown
        If there is no such set.
    """
    asked = parse_asked_bands(dict(bands))
    with study.snapshot():
        sets, protocols, pairings = fetch_sets(study), fetch_protocols(study), fetch_pairings(study)
        if set_key and set_key not in sets:
            raise Unknown(f"There is no set “{set_key}”.", f"Known: {', '.join(sets) or 'none yet'}.")
        environments, stops = fetch_environments(study), fetch_stops(study, protocols)
        filed = days_by_environment(study)
        pulls, coupons = fetch_pulls(study), fetch_coupons(study)
        found: list[PullClimate] = []
        worked: dict[tuple[str, tuple[tuple[Measure, tuple[float, float]], ...]], list[ClimateDays]] = {}
        for key, one in sets.items():
            if set_key and key != set_key:
                continue
            protocol = protocols[one.protocol_digest]
            wanted = bands_of(environments[one.environment], protocol, asked)
            against = (one.environment, tuple(sorted(wanted.bands.items())))
            if against not in worked:
                worked[against] = [days_with(study, record, wanted.bands) for record in filed.get(one.environment, [])]
            records = worked[against]
            ends: dict[str, date] = {}
            standing = False
            for code in (code for code, coupon in coupons.items() if coupon.set_key == key):
                event = pulls.get(code)
                if event is None or event.on > today:
                    standing = True
                    continue
                label = pull_group(protocol.schedule, one.placed_on, event.on, stops.get(key, NO_STOPS))
                ends[label] = min(event.on, ends.get(label, event.on))
            if standing and today > one.placed_on:
                ends["so far"] = today
            title = pairings[one.pairing].title if one.pairing else f"{one.role} on {one.substrate}"
            found += [
                PullClimate(
                    key, title, one.environment, label, stretch_of(records, from_on=one.placed_on, to_on=end), wanted,
                    len(records),
                )
                for label, end in sorted(ends.items(), key=lambda entry: (entry[1], entry[0] == "so far"))
                if end > one.placed_on
            ][None if records else -1 :]  # where nothing was ever logged, one line says so  # fmt: skip
    return found


def _preview(study: StudyFile, file: LoggerFile, environment: str, typed: Mapping[str, str]) -> ClimatePreview:
    from study.analysis.climate import Band, climate_summary
    from study.analysis.climate_days import climate_days
    from study.intake.climate_file import parse_climate

    place = known_environment(study, environment)
    wanted = bands_of(place, _only_protocol(study, place.key), parse_asked_bands(dict(typed)))
    record = parse_climate(file.content, zone=file.zone, name=file.name, day_first=file.day_first, decimal=file.decimal)
    notes = list(record.notes)
    if file.instrument:
        mark = calibration_mark(study, file.instrument, record.moment(-1).date())
        notes += [mark] if mark else []
    bands = {measure: Band(*band) for measure, band in wanted.bands.items()}
    summary = climate_summary(record, bands=bands)
    filed = FiledClimate(
        number=0, environment=place.key, sha256=record.digest, name=file.name, zone=record.zone,
        from_at=f"{record.moment(0):%Y-%m-%dT%H:%M}", to_at=f"{record.moment(-1):%Y-%m-%dT%H:%M}",
        notes=(*notes, *summary.notes), doubts=doubts_of(record),
        asked={"zone": file.zone, "day_first": file.day_first, "decimal": file.decimal},
        days=climate_days(record, clock=clock_of(record.zone), bands=wanted.bands), instrument=file.instrument,
    )  # fmt: skip
    return ClimatePreview(
        filed, record, summary, wanted, _overlaps(study, filed, leave_out=()), _same_bytes(study, filed)
    )


def known_environment(study: StudyFile, typed: str) -> Environment:
    """The environment with this key.

    Raises
    ------
    Unknown
        With the keys there are.
    """
    environments = fetch_environments(study)
    if typed.strip() not in environments:
        known = ", ".join(environments) or "none yet: dwellbook register environments"
        raise Unknown(f"There is no environment “{typed}”.", f"Known: {known}.")
    return environments[typed.strip()]


def _only_protocol(study: StudyFile, environment: str) -> Protocol | None:
    """The protocol that all sets of an environment share; None where they differ or there is none."""
    digests = {one.protocol_digest for one in fetch_sets(study).values() if one.environment == environment}
    return fetch_protocols(study)[digests.pop()] if len(digests) == 1 else None


def _superseded(study: StudyFile, number: int, environment: str, signature: Signature) -> FiledClimate:
    old = fetch_climate(study, number)
    if old is None:
        raise Unknown(f"There is no climate record {number}.", "Look at the numbers with: dwellbook read climates")
    if old.superseded_by is not None:
        raise NotPossible(
            f"Climate record {number} was superseded by {old.superseded_by} on {(old.superseded_at or '')[:10]}.",
            "Nothing is left to do.",
        )
    if environment and old.environment != environment:
        raise NotPossible(
            f"Climate record {number} belongs to {old.environment}, not to {environment}.", "Check the number."
        )
    signature.need_reason("Superseding a climate record")
    return old


def _same_bytes(study: StudyFile, filed: FiledClimate, *, leave_out: int = 0) -> str:
    for other in fetch_climates(study, filed.environment):
        if other.sha256 == filed.sha256 and other.number != leave_out:
            return f"is record {other.number} of {other.environment} already, byte for byte, by {other.by}"
    return ""


def _overlaps(study: StudyFile, filed: FiledClimate, *, leave_out: tuple[int, ...]) -> tuple[str, ...]:
    from study.analysis.climate_days import shared_days

    others = {one.number: one for one in fetch_climates(study, filed.environment) if one.number not in leave_out}
    shared = shared_days({number: one.days for number, one in others.items()}, filed.days)
    return tuple(
        f"It says the same hours again as record {number} ({others[number].name}) on "
        f"{'1 day' if len(days) == 1 else f'{len(days)} days'}, {days[0]} to {days[-1]}: "
        "of each day the record with more hours counts."
        for number, days in shared.items()
    )
