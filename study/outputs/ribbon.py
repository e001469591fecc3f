"""The dwell ribbon: one pairing's pulls, verdicts and supported duration on one line, drawn as SVG."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from html import escape

from study.model.estimate import Duration, PairingEstimate
from study.model.units import DAYS_PER_MONTH, duration_words
from study.outputs.palette import FONT, Palette, Scheme, palette_of

INSET = 0.025
"""Share of the width kept free on both sides, so that end-stops and the last stack are whole."""


@dataclass(frozen=True)
class Stack:
    """The coupons read at one pull."""

    label: str
    dwell_days: float
    read: int
    unacceptable: int


def stacks(estimate: PairingEstimate) -> list[Stack]:
    """One stack per pull, in order of dwell; a coupon is unacceptable if any criterion finds it so.

    A coupon that no reading decides is not drawn.
    """
    verdicts: dict[str, dict[str, bool]] = defaultdict(dict)
    dwell: dict[str, float] = {}
    for criterion in estimate.estimates:
        for seen in criterion.observations:
            if seen.unacceptable is None:
                continue
            group = verdicts[seen.pull_group]
            group[seen.code] = group.get(seen.code, False) or seen.unacceptable
            dwell[seen.pull_group] = min(dwell.get(seen.pull_group, math.inf), seen.dwell_days)
    return sorted(
        (Stack(label, dwell[label], len(group), sum(group.values())) for label, group in verdicts.items()),
        key=lambda stack: stack.dwell_days,
    )


def duration_line(duration: Duration) -> str:
    """The outcome in two or three words: "18 months", "14 months, provisional", "not shown", "stopped"."""
    if duration.days is None or duration.outcome in ("not shown", "stopped"):
        return duration.outcome
    words = duration_words(duration.days)
    return words if duration.outcome == "supported" else f"{words}, {duration.outcome}"


def limiting_line(duration: Duration) -> str:
    """What limits the duration, in words."""
    if not duration.limiting:
        return "nothing limits it yet" if duration.days is not None else ""
    lead = "limited by" if duration.days is not None else "because of"
    return f"{lead} {duration.limiting[0].lower()}{duration.limiting[1:]}"


def ribbon_sentence(estimate: PairingEstimate) -> str:
    """The ribbon in words, for who cannot see it."""
    duration = estimate.duration
    parts = [f"{duration_line(duration).capitalize()}", limiting_line(duration)]
    seen = [f"{s.unacceptable} of {s.read} unacceptable at {duration_words(s.dwell_days)}" for s in stacks(estimate)]
    head = "; ".join(part for part in parts if part)
    pulls = ", ".join(seen) if seen else "no coupon read yet"
    return f"{head}. Pulls: {pulls}."


def draw_ribbon(
    estimate: PairingEstimate,
    *,
    months: int,
    scheme: Scheme = "light",
    width_px: int = 480,
    height_px: int = 24,
    compact: bool = True,
    fluid: bool = False,
    palette: Palette | None = None,
) -> str:
    """The ribbon of one pairing as an SVG text.

    Parameters
    ----------
    estimate : PairingEstimate
        What is drawn; nothing is computed here.
    months : int
        End of the time axis.
    width_px, height_px : int
        Size; 24 px is the least height at which single coupons can be told.
    compact : bool
        Whether axis months and the words at the end are left out (the page or table says them in text).
    fluid : bool
        Whether the drawing stretches to the width it is given; ``width_px`` is then the least width it must read at.
    palette : Palette, optional
        Literal colours (paper); else those of ``scheme``.
    """
    colours = palette or palette_of(scheme)
    words_px = 0 if compact else 210
    head_px = 0 if compact else 18
    axis = _Axis(months=months, width_px=width_px - words_px, fluid=fluid and compact)
    body = [_months(axis, colours, height_px, head_px), *_marks(estimate, axis, colours, height_px - head_px, head_px)]
    if not compact:
        body.append(_words(estimate.duration, colours, width_px - words_px + 12, head_px, height_px))
    size = 'width="100%" height="100%"' if axis.fluid else f'width="{width_px}" height="{height_px}"'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" {size} role="img" aria-label="{escape(ribbon_sentence(estimate))}" '
        f'font-family="{FONT}" font-size="12">{_hatch(colours)}{"".join(body)}</svg>'
    )


def draw_axis(*, months: int, scheme: Scheme = "light", height_px: int = 18, palette: Palette | None = None) -> str:
    """The shared axis that heads a table of fluid ribbons."""
    colours = palette or palette_of(scheme)
    axis = _Axis(months=months, width_px=480, fluid=True)
    label = f"Months of dwell, 0 to {months}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="100%" height="100%" role="img" aria-label="{label}" '
        f'font-family="{FONT}" font-size="12">{_month_numbers(axis, colours, height_px - 5)}</svg>'
    )


def axis_months(estimates: list[PairingEstimate]) -> int:
    """A shared axis end for several pairings: the last pull of all, rounded up to half years."""
    last = max((e.duration.last_dwell_days for e in estimates), default=0.0)
    last = max([last, *(s.dwell_days for e in estimates for s in stacks(e))])
    return max(6, 6 * math.ceil((last / DAYS_PER_MONTH - 0.5) / 6))


@dataclass(frozen=True)
class _Axis:
    months: int
    width_px: int
    fluid: bool

    def share(self, days: float) -> float:
        return INSET + (1 - 2 * INSET) * min(max(days / DAYS_PER_MONTH / self.months, 0), 1)

    def px(self, days: float) -> float:
        return self.share(days) * self.width_px

    def place(self, days: float) -> str:
        return f"{self.share(days) * 100:.3f}%" if self.fluid else f"{self.px(days):.2f}"

    def span(self, from_days: float, to_days: float) -> str:
        share = self.share(to_days) - self.share(from_days)
        return f"{share * 100:.3f}%" if self.fluid else f"{share * self.width_px:.2f}"

    def at(self, days: float, drawing: str) -> str:
        """A drawing in pixels moved to a day; nested svg, because percent is no unit of a transform."""
        if self.fluid:
            return f'<svg x="{self.place(days)}" overflow="visible" style="overflow:visible">{drawing}</svg>'
        return f'<g transform="translate({self.px(days):.2f} 0)">{drawing}</g>'

    def marks(self) -> range:
        return range(0, self.months + 1, 6 if self.months <= 42 else 12)


def _hatch(colours: Palette) -> str:
    return (
        '<defs><pattern id="hatch" width="6" height="6" patternTransform="rotate(45)" patternUnits="userSpaceOnUse">'
        f'<path d="M0 0V6" stroke="{colours.accent}" stroke-width="2.4"/></pattern></defs>'
    )


def _month_numbers(axis: _Axis, colours: Palette, base_px: float) -> str:
    return "".join(
        f'<text x="{axis.place(month * DAYS_PER_MONTH)}" y="{base_px}" fill="{colours.quiet}" '
        f'text-anchor="middle">{month}</text>'
        for month in axis.marks()
    )


def _months(axis: _Axis, colours: Palette, height_px: int, head_px: int) -> str:
    lines = "".join(
        f'<line x1="{axis.place(month * DAYS_PER_MONTH)}" x2="{axis.place(month * DAYS_PER_MONTH)}" y1="{head_px}" '
        f'y2="{height_px}" stroke="{colours.rule}"/>'
        for month in axis.marks()
    )
    return lines + (_month_numbers(axis, colours, 12) if head_px else "")


def _marks(estimate: PairingEstimate, axis: _Axis, colours: Palette, height_px: int, top_px: int) -> list[str]:
    small = height_px < 36
    thick = 4.5 if small else 7.0
    line = top_px + height_px - (4.6 if small else 9.5)
    seen = stacks(estimate)
    reach = max([estimate.duration.last_dwell_days, *(stack.dwell_days for stack in seen)])
    drawn = [
        f'<line x1="{axis.place(0)}" x2="{axis.place(reach)}" y1="{line}" y2="{line}" stroke="{colours.quiet}"/>'
        if reach
        else ""
    ]
    room = line - thick / 2 - 1.5 - top_px
    edge = -math.inf
    for stack in seen:
        squares, half = _stack(stack, colours, room=room, base=line - thick / 2 - 1)
        # Early pulls stand close together: a stack steps aside by a few pixels rather than cover its neighbour.
        shift = max(0.0, edge + half + 2.5 - axis.px(stack.dwell_days))
        edge = axis.px(stack.dwell_days) + shift + half
        drawn.append(axis.at(stack.dwell_days, f'<g transform="translate({shift:.2f} 0)">{squares}</g>'))
    return [*drawn, _outcome(estimate.duration, axis, colours, line=line, thick=thick)]


def _stack(stack: Stack, colours: Palette, *, room: float, base: float) -> tuple[str, float]:
    pitch = 6.0 if room >= 5 * 6 else room / 5
    rows = max(1, int(room / pitch + 1e-6))
    columns = math.ceil(stack.read / rows)
    rows = math.ceil(stack.read / columns)
    side = pitch - 1
    weight = 0.8 if pitch > 4 else 0.6
    half = columns * pitch / 2
    squares = []
    for place in range(stack.read):
        column, row = divmod(place, rows)
        bad = place < stack.unacceptable
        squares.append(
            f'<rect x="{column * pitch - half + 0.5:.2f}" y="{base - (row + 1) * pitch + 0.5:.2f}" width="{side:.2f}" '
            f'height="{side:.2f}" fill="{colours.harm if bad else colours.card}" '
            f'stroke="{colours.harm if bad else colours.quiet}" stroke-width="{weight}"/>'
        )
    return "".join(squares), half


def _outcome(duration: Duration, axis: _Axis, colours: Palette, *, line: float, thick: float) -> str:
    if duration.outcome == "stopped":
        arm = 4 if thick < 6 else 5
        cross = f"M{-arm} {line - arm}L{arm} {line + arm}M{-arm} {line + arm}L{arm} {line - arm}"
        return axis.at(0, f'<path d="{cross}" stroke="{colours.harm}" stroke-width="2.4" fill="none"/>')
    if duration.outcome == "not shown" or duration.days is None:
        ring = f'<circle cx="0" cy="{line}" r="4" fill="{colours.card}" stroke="{colours.quiet}" stroke-width="1.6"/>'
        return axis.at(0, ring)
    hatched = duration.outcome == "provisional"
    ground = (
        f'<rect x="{axis.place(0)}" y="{line - thick / 2}" width="{axis.span(0, duration.days)}" height="{thick}" '
        f'fill="{colours.card if hatched else colours.accent}"/>'
    )
    if not hatched:
        return ground
    return ground + (
        f'<rect x="{axis.place(0)}" y="{line - thick / 2}" width="{axis.span(0, duration.days)}" height="{thick}" '
        f'fill="url(#hatch)" stroke="{colours.accent}"/>'
    )


def _words(duration: Duration, colours: Palette, left_px: float, head_px: int, height_px: int) -> str:
    tone = {"not shown": colours.ink, "stopped": colours.harm}.get(duration.outcome, colours.accent)
    middle = head_px + (height_px - head_px) / 2
    return (
        f'<text x="{left_px}" y="{middle - 3}" fill="{tone}" font-weight="600" font-size="13">'
        f"{escape(duration_line(duration))}</text>"
        f'<text x="{left_px}" y="{middle + 14}" fill="{colours.quiet}" font-size="13">'
        f"{escape(limiting_line(duration))}</text>"
    )
