"""Two sessions beside one another for one number: every shot with its whisker, each mean with its interval."""

from __future__ import annotations

from dataclasses import dataclass

from tracker.report.charts.data import Group, Span
from tracker.report.charts.frame import Panel, Scale, across, limits, mark, ticks
from tracker.report.charts.looks import LOOKS, SOFT, WIDTH, Look
from tracker.report.charts.shots import needed
from tracker.report.charts.svg import Element, add, clean, group, joined, picture, short, svg_text, words
from tracker.report.charts.tell import between, decimals_for, number, with_u
from tracker.results import Quantity

_CHART = "comparison chart"
_LEFT, _RIGHT = 16.0, 444.0
_ROW = 15.0
_HEAD = 44.0
_LEAST_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class _Side:
    """A group with its look and the shots that have the number."""

    group: Group
    look: Look
    told: tuple[tuple[str, Quantity], ...]
    mean: Span | None


def versus_chart(groups: tuple[Group, Group], key: str, label: str, unit: str) -> str:
    """Draw one number of two groups of shots.

    Parameters
    ----------
    groups : tuple of two Group
    key : str
        Begins every id of the picture.
    label, unit : str
        Name of the number in words and its unit.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If no shot of either group has the number, or ``key`` cannot begin an id.
    """
    sides = [_side(g, look) for g, look in zip(groups, (LOOKS[0], LOOKS[1]), strict=True)]
    if not any(s.told for s in sides):
        what = clean(label, 40)
        raise needed(_CHART, f"no shot of either group has {what}", "choose another number")
    blocks = [_HEAD + _ROW * len(s.told) + 34 for s in sides]
    bottom = 8.0 + sum(blocks) + 6
    height = bottom + 66
    what = clean(label, 40)
    title = f"{what[:1].upper()}{what[1:]}: {clean(groups[0].name)} and {clean(groups[1].name)}"
    root = picture((WIDTH, height), key, title=title, desc=_description(sides, clean(unit, 10)))
    panel = Panel(_values(sides), Scale(0.0, 1.0, bottom, 8.0))
    across(
        root,
        panel,
        ticks(panel.x.low, panel.x.high, 6),
        axis="value",
        label=f"{clean(label, 40)}, {clean(unit, 10)}".rstrip(", "),
    )
    top = 8.0
    for side, block in zip(sides, blocks, strict=True):
        _draw_side(root, panel, side, top=top, unit=clean(unit, 10))
        top += block
    words(root, "whiskers: two standard uncertainties; bar: mean with 95 %", 4, height - 12, fill=SOFT)
    return svg_text(root)


def _side(one: Group, look: Look) -> _Side:
    told = tuple((name, q) for name, q in one.shots if q.value is not None)
    return _Side(one, look, told, one.mean)


def _values(sides: list[_Side]) -> Scale:
    ends: list[float] = []
    for side in sides:
        for _, q in side.told:
            value, u = q.value or 0.0, 2 * (q.u or 0.0)
            ends += [value - u, value + u]
        ends += [side.mean.low, side.mean.high] if side.mean else []
    least = max(abs(v) for v in ends) * _LEAST_SHARE or 1.0
    low, high = limits(min(ends), max(ends), least=least)
    return Scale(low, high, _LEFT, _RIGHT)


def _draw_side(root: Element, panel: Panel, side: _Side, *, top: float, unit: str) -> None:
    colour = side.look.colour
    name = clean(side.group.name, 40)
    count = len(side.told)
    lone = f"{count or 'no'} shot{'' if count == 1 else 's'} {'has' if count < 2 else 'have'} it, mean not known"
    mean = lone if side.mean is None else f"mean {_in_words(side)} {unit}".rstrip()
    words(root, name, _LEFT, top + 10, font_weight="600", fill=colour, halo=True)
    words(root, mean, _LEFT, top + 29, halo=True)
    place = group(root, data_group=name)
    for k, (shot, q) in enumerate(side.told):
        y = top + _HEAD + _ROW * (k + 0.5)
        x = panel.x.at(q.value or 0.0)
        if q.u is not None:
            a, b = (panel.x.at((q.value or 0.0) + s * 2 * q.u) for s in (-1, 1))
            add(place, "path", d=f"M{short(a)} {short(y)}H{short(b)}", stroke=colour, stroke_width=1.2)
        spot = mark(place, side.look.shape, (x, y), size=4, colour=colour, filled=side.look.shape == "circle")
        add(spot, "title", f"{clean(shot, 40)}: {with_u(q.value or 0.0, q.u, unit)}")
    if side.mean is not None:
        _draw_mean(root, panel, side, y=top + _HEAD + _ROW * len(side.told) + 9)


def _draw_mean(root: Element, panel: Panel, side: _Side, *, y: float) -> None:
    mean = side.mean
    if mean is None:
        return
    a, value, b = (panel.x.at(v) for v in (mean.low, mean.value, mean.high))
    bar = f"M{short(a)} {short(y - 6)}v12m0-6H{short(b)}m0-6v12"
    add(root, "path", d=bar, stroke=side.look.colour, stroke_width=2.6, fill="none", data_marks="mean")
    mark(root, "diamond", (value, y), size=5.5, colour=side.look.colour)


def _in_words(side: _Side) -> str:
    mean = side.mean
    if mean is None:
        return "not known"
    decimals = decimals_for((mean.high - mean.low) / 4)
    return f"{number(mean.value, decimals)} ({between(mean.low, mean.high, decimals)})"


def _description(sides: list[_Side], unit: str) -> str:
    told = []
    for side in sides:
        without = len(side.group.shots) - len(side.told)
        left = f", {without} without it" if without else ""
        mean = f"mean {_in_words(side)} {unit}".rstrip() if side.mean else "no mean"
        told.append(f"{clean(side.group.name)}: {len(side.told)} shots{left}, {mean}.")
    return joined([*told, "Behind the mean stands where it lies with 95 %."])
