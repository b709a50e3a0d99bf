"""How fast a ball rolls: speed against the distance."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.report.charts.data import ChartShot, Curve
from tracker.report.charts.frame import Panel, mark
from tracker.report.charts.looks import SOFT, WIDTH
from tracker.report.charts.overfeet import LEFT, RIGHT, What, axes, lines, note, panel_for
from tracker.report.charts.shots import Drawn, dressed, finite, needed, shot_list, tags_in_words, u_at, value_at
from tracker.report.charts.svg import Element, joined, picture, svg_text, words
from tracker.report.charts.tell import listed, quantity, with_u

_CHART = "speed chart"
SPEED = What("speed, mph", "mph", "speed", 3.0, air=0.16)
_TOP, _HIGH = 36.0, 190.0


def speed_chart(shots: Sequence[ChartShot], key: str) -> str:
    """Draw the speed along the lane with its band of two standard uncertainties.

    Parameters
    ----------
    shots : sequence of ChartShot
        One or several.
    key : str
        Begins every id of the picture.

    Returns
    -------
    str
        An SVG.

    Raises
    ------
    ValueError
        If no shot has a speed over feet, or ``key`` cannot begin an id.
    """
    drawn = dressed(shots)
    curves = [(d, c) for d in drawn if (c := finite(d.shot.speed_mph)) is not None]
    if not curves:
        raise needed(_CHART, "no shot has a speed over feet", "measure its clip again with --redo")
    shown = [d for d, _ in curves] if len(shots) > 1 else []
    bottom = _TOP + _HIGH
    height = bottom + 50 + 19 * len(shown) + 24
    title = f"Speed of {tags_in_words(drawn) if len(shots) == 1 else f'{len(shots)} shots'} along the lane"
    root = picture((WIDTH, height), key, title=title, desc=_description(drawn, curves))
    panel = panel_for([c for _, c in curves], SPEED, top=_TOP, bottom=bottom)
    axes(root, panel, SPEED)
    lines(root, panel, SPEED, curves=curves)
    if shown:
        shot_list(root, shown, bottom + 48)
    else:
        _ends(root, panel, curves[0])
    words(root, note(curves, "mph"), 4, height - 12, fill=SOFT)
    return svg_text(root)


def _ends(root: Element, panel: Panel, one: tuple[Drawn, Curve]) -> None:
    """Values at both ends of a single curve: above its beginning and below its end, where it leaves room."""
    drawn, curve = one
    for k, anchor in ((0, "start"), (-1, "end")):
        feet, value = float(curve.distance_ft[k]), float(curve.value[k])
        x, y = panel.x.at(feet), panel.y.at(value)
        mark(root, drawn.look.shape, (x, y), size=4, colour=drawn.look.colour)
        reach = abs(panel.y.at(value + 2 * (u_at(curve, feet) or 0.0)) - y) + 12
        told = with_u(value, u_at(curve, feet), "mph")
        side = anchor if x > (LEFT + RIGHT) / 2 else "start"
        words(root, told, x, y - reach if k == 0 else y + reach, anchor=side, halo=True, font_weight="600")


def _description(drawn: Sequence[Drawn], curves: Sequence[tuple[Drawn, Curve]]) -> str:
    told = [_one_described(d, c) for d, c in curves]
    without = [d.name for d in drawn if finite(d.shot.speed_mph) is None]
    missing = f"Without a speed over feet and not drawn: {listed(without)}." if without else ""
    return joined([*told, missing, "After plus-minus stands one standard uncertainty."])


def _one_described(drawn: Drawn, curve: Curve) -> str:
    ends = (float(curve.distance_ft[0]), float(curve.distance_ft[-1]))
    a, b = (with_u(value_at(curve, f), u_at(curve, f), "mph") for f in ends)
    release, pins = (quantity(drawn.shot.number(n), "mph") for n in ("speed_release_mph", "speed_pins_mph"))
    name = f"{drawn.tag} {drawn.name}".strip()
    return f"{name}: {a} at {ends[0]:.0f} ft, {b} at {ends[1]:.0f} ft; at release {release}, at the pins {pins}."
