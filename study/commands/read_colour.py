"""Read, colour: the difference of a spot beside what chance alone would show, and its grey-scale grade."""

from __future__ import annotations

from dataclasses import dataclass

from study.commands.bench import code_of
from study.model.colour import mixed
from study.model.reading import Reading
from study.store.bench import fetch_codes_of_sets
from study.store.coupons import fetch_coupon, fetch_histories
from study.store.protocols import fetch_protocols
from study.store.readings import fetch_all_in_force, fetch_in_force
from study.store.register import fetch_sets
from study.store.study_file import StudyFile


@dataclass(frozen=True)
class ColourWords:
    """A coupon's change of colour; numbers are None where they cannot be worked out."""

    difference: float | None
    """ΔE*00 of the spot, before placing to after removal."""
    net: float | None
    """ΔE*00 beyond the drift of the blanks, where the protocol judges it so and blanks were read."""
    net_judged: bool
    grey_grade: str
    """Grade on the grey scale, 5 (none) to 1."""
    repeat_sd: float | None
    """Standard deviation of one reading, per axis, from the spots of the set that were read several times."""
    degrees: int
    """Readings beyond the first, over those spots."""
    noise_upper95: float | None
    """ΔE*00 that one unchanged spot in twenty exceeds by chance."""
    conditions: str
    why_not: str
    """Why there is no difference, in words."""


def coupon_colour(study: StudyFile, typed_code: str) -> ColourWords | None:
    """A coupon's change of colour in words and numbers; None where no colour after removal is on file."""
    code = code_of(study, typed_code)
    with study.snapshot():
        in_force = fetch_in_force(study, code)
        after, before = in_force.get("colour_after"), in_force.get("colour_before")
        if after is None or after.lab is None:
            return None
        coupon = fetch_coupon(study, code)
        assert coupon is not None
        coupon_set = fetch_sets(study)[coupon.set_key]
        protocols = fetch_protocols(study)
        judged = any(one.net_of_blank for one in protocols[coupon_set.protocol_digest].criteria)
        drift = None
        if judged and coupon_set.pairing:
            groups = fetch_histories(study, protocols, pairing=coupon_set.pairing, codes=[code])
            drift = next((h.blank_drift for found in groups.values() for h in found if h.code == code), None)
        of_set = fetch_all_in_force(study, fetch_codes_of_sets(study, [coupon.set_key]), kinds=_COLOURS)
    sd, degrees = _scatter([reading for found in of_set.values() for reading in found.values()])
    conditions = after.details.words()
    if before is None or before.lab is None:
        return ColourWords(None, None, judged, "", sd, degrees, None, conditions, "no colour before placing is on file")
    apart = mixed(before.details, after.details)
    if apart:
        return ColourWords(None, None, judged, "", sd, degrees, None, conditions, " ".join(apart))
    return _worked_out(before, after, drift, judged, sd, degrees)


_COLOURS = ("colour_before", "colour_after")


def _worked_out(
    before: Reading, after: Reading, drift: tuple[float, float, float] | None, judged: bool, sd: float | None,
    degrees: int,
) -> ColourWords:  # fmt: skip
    import numpy as np

    from study.analysis.discoloration import colour_difference, net_of_blank, noise_floor_at
    from study.analysis.grey_scale import grey_scale_grade

    assert before.lab is not None
    assert after.lab is not None
    first, last = np.array(before.lab), np.array(after.lab)
    net = float(net_of_blank(before=first, after=last, drift=np.array(drift))) if judged and drift else None
    readings = max(1, min(len(before.details.spots), len(after.details.spots)))
    floor = noise_floor_at(before.lab, sd_per_axis=sd, readings=readings).upper95 if sd is not None else None
    return ColourWords(
        float(colour_difference(before=first, after=last)), net, judged,
        grey_scale_grade(before=before.lab, after=after.lab).grade, sd, degrees, floor, after.details.words(), "",
    )  # fmt: skip


def _scatter(readings: list[Reading]) -> tuple[float | None, int]:
    import numpy as np

    from study.analysis.discoloration import repeat_sd

    spots = [np.array(reading.details.spots) for reading in readings if len(reading.details.spots) > 1]
    if not spots:
        return None, 0
    found = repeat_sd(spots)
    return found.per_axis, found.degrees
