"""Make the digitised traces of the invented Fernhollow College teaching clinic.

Everything here is invented: the clinic, the instruments, their shapes and their wear. Run the
script from anywhere; it writes the same files every time, into `traces` beside itself or into the
folder named on the command line.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from edgekit.files import write_file
from edgekit.geometry import patterns
from edgekit.geometry.blade import Blade
from edgekit.geometry.edge import Edge
from edgekit.geometry.vectors import rotation

SEED = 20_260_301
FOLDER = Path(__file__).resolve().parent / "traces"
NOISE_MM = np.array([0.010, 0.010, 0.014])  # a picture gives depth less well than the two others
REMARK = "INVENTED demo data: Fernhollow College teaching clinic. No real instrument, no person."

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Job:
    """One blade as the invented clinic digitised it."""

    blade: Blade
    counts: Mapping[str, int]  # points of each edge
    note: str
    face_points: int = 0  # more points on the face, where it is bowed
    toe_first: bool = False
    worn_um: float = 0.0  # mean recession of the used edges since new
    lie_deg: tuple[float, float, float] = field(default=(0.0, 0.0, 0.0))  # turns about x, y, z

    @property
    def bowed(self) -> bool:
        """Whether the face is bowed along the blade."""
        assert self.blade.pattern is not None
        return math.isfinite(float(self.blade.pattern["bow_radius_mm"]))


def jobs() -> tuple[Job, ...]:
    """The six working ends of cassette 03, one of them long in use."""
    make = patterns
    bent = make.area_specific_curette(
        name="FH-03-AS2",
        plan_radius_mm=5.9,
        bow_radius_mm=14.0,
        face_tilt_deg=23.0,
        shank_bend_deg=12.0,
        internal_angle_deg=76.0,
        length_mm=5.4,
    )
    return (
        Job(
            blade=make.universal_curette(
                name="FH-03-UC",
                width_mm=0.92,
                length_mm=5.3,
                thickness_mm=0.74,
                plan_radius_mm=42.0,
                internal_angle_deg=74.0,
                shank_bend_deg=6.0,
            ),
            counts={"left": 72, "right": 66},
            note="universal curette, as new",
            lie_deg=(0.6, -0.4, 3.0),
        ),
        Job(
            blade=make.area_specific_curette(
                name="FH-03-AS1", plan_radius_mm=7.4, bow_radius_mm=math.inf, face_tilt_deg=20.0
            ),
            counts={"used": 78, "unused": 52},
            note="area-specific curette, planar face, as new",
            toe_first=True,
            lie_deg=(-0.8, 0.5, -4.0),
        ),
        Job(
            blade=bent,
            counts={"used": 84, "unused": 56},
            note="area-specific curette, bowed face and bent shank, as new",
            face_points=34,
            lie_deg=(0.3, 0.9, 2.0),
        ),
        Job(
            blade=make.half_length_curette(
                name="FH-03-AS3",
                plan_radius_mm=6.2,
                bow_radius_mm=18.0,
                face_tilt_deg=26.0,
                shank_bend_deg=-10.0,
                thickness_mm=0.68,
                width_mm=0.84,
            ),
            counts={"used": 58, "unused": 50},
            note="area-specific curette of half length, worn by many sharpenings",
            face_points=30,
            toe_first=True,
            worn_um=75.0,
            lie_deg=(-0.5, -0.6, 5.0),
        ),
        Job(
            blade=make.straight_sickle(name="FH-03-SS", width_mm=0.85, length_mm=6.4),
            counts={"left": 54, "right": 56},
            note="straight sickle, as new",
            lie_deg=(1.1, 0.2, -2.0),
        ),
        Job(
            blade=make.curved_sickle(
                name="FH-03-CS",
                width_mm=0.9,
                length_mm=6.1,
                plan_radius_mm=22.0,
                bow_radius_mm=13.0,
                internal_angle_deg=73.0,
                shank_bend_deg=5.0,
            ),
            counts={"left": 62, "right": 58},
            note="curved sickle, bowed face, as new",
            face_points=32,
            toe_first=True,
            lie_deg=(0.2, -1.0, 1.0),
        ),
    )


def clicks(length_mm: float, count: int, rng: np.random.Generator) -> FloatArray:
    """Arc lengths of a person's clicks: uneven, and closer together towards the toe."""
    gap = np.linspace(1.35, 0.65, count - 1) * rng.lognormal(0.0, 0.22, count - 1)
    return np.asarray(length_mm * np.concatenate([[0.0], np.cumsum(gap)]) / gap.sum())


def edge_points(edge: Edge, count: int, worn_um: float, rng: np.random.Generator) -> FloatArray:
    """Points of an edge, moved into the face by its wear: most near the toe, least at the heel."""
    arc = clicks(edge.length_mm, count, rng)
    frame = edge.frame(arc)
    share = np.sin(np.pi * np.clip(arc / edge.length_mm, 0, 1) ** 1.4 * 0.75) / 0.66
    return np.asarray(frame.position + worn_um / 1000 * share[:, None] * frame.inward.value)


def face_points(blade: Blade, count: int, rng: np.random.Generator) -> FloatArray:
    """Points scattered over a face that is rolled about y."""
    assert blade.pattern is not None
    radius = float(blade.pattern["bow_radius_mm"])
    first = next(iter(blade.edges.values()))
    far = blade.opposite(next(iter(blade.edges)))
    assert far is not None
    along = rng.uniform(0.05, 0.85, count)
    share = rng.uniform(0.2, 0.8, count)[:, None]
    ends = [edge.frame(along * edge.length_mm).position for edge in (first, far)]
    points = share * ends[0] + (1 - share) * ends[1]
    points[:, 2] = radius - np.sqrt(radius**2 - points[:, 0] ** 2)
    return points


def digitise(job: Job, rng: np.random.Generator) -> dict[str, FloatArray]:
    """The points as they were clicked, in the frame of the picture."""
    edges = dict(job.blade.edges)
    if job.blade.unused is not None:
        edges["unused"] = job.blade.unused
    found = {}
    for name, edge in edges.items():
        worn = 0.0 if name == "unused" else job.worn_um
        found[name] = edge_points(edge, job.counts[name], worn, rng)
    if job.face_points:
        found["face"] = face_points(job.blade, job.face_points, rng)
    turn, offset = lie(job), np.array([12.0, 8.0, 0.5])
    for name, points in found.items():
        seen = points @ turn.T + offset + rng.normal(size=points.shape) * NOISE_MM
        found[name] = seen[::-1] if job.toe_first and name != "face" else seen
    return found


def lie(job: Job) -> FloatArray:
    """How the blade lay under the lens: a small turn about each axis."""
    x, y, z = (
        rotation(axis, math.radians(turn))
        for axis, turn in zip(np.eye(3), job.lie_deg, strict=True)
    )
    return np.asarray(z @ y @ x)


def settings_text(job: Job) -> str:
    """The settings file."""
    blade = job.blade
    axis = lie(job) @ next(iter(blade.edges.values())).handle_axis
    lines = [
        f"# {REMARK}",
        'format = "edgekit blade 1"',
        f'name = "{blade.name}"',
        f'kind = "{blade.kind.value}"',
        'source = "trace"',
        f'points = "{blade.name}.csv"',
        f'order = "{"toe to heel" if job.toe_first else "heel to toe"}"',
        f'face = "{"bowed" if job.bowed else "planar"}"',
        "face_up = [0.0, 0.0, 1.0]",
        f"handle_axis = [{', '.join(f'{item + 0.0:.4f}' for item in axis)}]",
        f"internal_angle_deg = {blade.internal_angle_deg:.1f}",
        "internal_angle_sd_deg = 1.5",
        f"width_mm = {blade.section.width_mm:.2f}",
    ]
    if not blade.kind.value.endswith("sickle"):
        lines.append(f"thickness_mm = {blade.thickness_mm:.2f}")
    lines += ["noise_um = 10.0", f'note = "invented: {job.note}"']
    return "\n".join(lines) + "\n"


def table_text(points: Mapping[str, FloatArray]) -> str:
    """The table of points, to a tenth of a micrometre."""
    lines = [f"# {REMARK}", f"# Made by make_traces.py, seed {SEED}.", "curve,x_mm,y_mm,z_mm"]
    for name, rows in points.items():
        lines += [",".join([name, *(f"{item:.4f}" for item in row)]) for row in rows]
    return "\n".join(lines) + "\n"


def make(folder: Path) -> None:
    """Write every trace into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    seeds = np.random.SeedSequence(SEED).spawn(len(jobs()))
    for job, seed in zip(jobs(), seeds, strict=True):
        points = digitise(job, np.random.default_rng(seed))
        name = job.blade.name
        write_file(folder / f"{name}.csv", table_text(points), replace=True)
        write_file(folder / f"{name}.toml", settings_text(job), replace=True)


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)
