"""Render clips of an invented bowling practice with their truth; as a command, make the committed sample session.

For tests and benchmarks::

    from sample_media.render import render_clip
    from sample_media.spec import BallSpec, CameraSpec, ClipSpec, LaneSpec, ShotSpec

    clip = ClipSpec(name="small", camera=CameraSpec().resized(640, 360, fps=30), shot=ShotSpec(hand="left"))
    truth = render_clip(clip, tmp_path / "small.mp4", seed=1)

What can vary (all frozen dataclasses of :mod:`sample_media.spec` with defaults):

- ``CameraSpec``: place, angles, focal length, distortion, size, rate, shutter, noise, rate factor, ``sideways``
  (stored turned, with a rotation flag), ``drops`` (missing frames). ``resized`` keeps the view on a smaller frame.
- ``LaneSpec``: friction map, arrow and dot distances, brightness of lane and gutters, gloss, colour of the light.
- ``BallSpec``: size, gyration, weight, grip, colours, pattern (``plain``, ``pearl``, ``swirl``), shine.
- ``ShotSpec``: hand, laydown, launch, speed, revolutions, axis, pins that stand. A straight ball has
  ``rotation_deg=0``; a gutter ball a large ``launch_deg``.
- ``BowlerSpec``: ``present``, ``steps_aside``, ``x_offset_in`` (hide the path), clothes.
- ``NeighbourBall``: a ball on another lane. ``ClipSpec.start_s`` and ``tail_s``: start late, end early.

``sample_media.physics.simulate(shot, ball, lane)`` gives the dense path alone, ``sample_media.timeline.build_timeline``
path and pins, ``sample_media.truth.shot_numbers`` the numbers of a path. Several clips of one camera and lane share
``scene=sample_media.scene.build_scene(view_of(camera), lane)``, which is the slow part of a short clip.
"""

from __future__ import annotations

import json
from pathlib import Path

import click

from sample_media.encode import Sensor, write_clip
from sample_media.frames import linear_frames, stage
from sample_media.optics import view_of
from sample_media.scene import Scene, build_scene
from sample_media.session import SEED, ball_sheet, practice, session_sheet
from sample_media.spec import ClipSpec
from sample_media.truth import clicked_marks


def render_clip(clip: ClipSpec, path: Path, seed: int = 0, scene: Scene | None = None) -> dict[str, object]:
    """Render one clip to an MP4 file.

    Parameters
    ----------
    clip : ClipSpec
        What to render.
    path : Path
        File to write.
    seed : int
        Seed of noise and ball patterns; the same clip and seed give the same pictures.
    scene : Scene, optional
        Static layers of the same camera and lane, when several clips share them.

    Returns
    -------
    dict
        The truth, see :func:`sample_media.truth.clip_truth`.
    """
    ready = stage(clip, seed, scene)
    sensor = Sensor(clip.camera, seed)
    frames = ((t_s, sensor.expose(linear)) for t_s, linear in linear_frames(ready))
    write_clip(path, frames, clip.camera)
    return ready.truth()


def write_truth(path: Path, truth: dict[str, object]) -> None:
    """Write a truth as compact JSON, one frame or path row a line."""
    long = {k: truth[k] for k in ("frames", "path")}
    lines = [f"{json.dumps(k)}: {json.dumps(v)}" for k, v in truth.items() if k not in long]
    for key, rows in long.items():
        body = ",\n".join(json.dumps(row, separators=(",", ":")) for row in rows) if isinstance(rows, list) else ""
        lines.append(f"{json.dumps(key)}: [\n{body}\n]")
    path.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


@click.command()
@click.option("-o", "--out", type=click.Path(file_okay=False, path_type=Path), default=Path(__file__).parent)
@click.option("--only", multiple=True, help="Stem of a clip to render; all when not given.")
def main(out: Path, only: tuple[str, ...]) -> None:
    """Render the sample session: clips, truths, session sheet, ball sheet, marks."""
    out.mkdir(parents=True, exist_ok=True)
    clips = practice()
    scene = build_scene(view_of(clips[0].clip.camera), clips[0].clip.lane)
    for k, entry in enumerate(clips):
        if only and entry.clip.name not in only:
            continue
        target = out / f"{entry.clip.name}.mp4"
        truth = render_clip(entry.clip, target, SEED + k, scene)
        write_truth(out / f"{entry.clip.name}.truth.json", truth)
        click.echo(f"{target.name}: {target.stat().st_size / 1e6:.2f} MB", err=True)
    (out / "session.csv").write_text(session_sheet(clips), encoding="utf-8")
    (out / "balls.csv").write_text(ball_sheet(clips), encoding="utf-8")
    marks = clicked_marks(clips[0].clip, view_of(clips[0].clip.camera), SEED)
    (out / "marks.json").write_text(json.dumps(marks, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
