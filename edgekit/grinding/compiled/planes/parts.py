"""What compiled sessions of local strokes are given and work in: named rows (see `compiled.parts`).

Stations are filled up to a multiple of the lanes' width, P, with the last one again, of no length;
planes to a multiple of it, N.
"""

# ruff: noqa: PYI024 - rows of arrays for the compiler, whose types it infers

from __future__ import annotations

from collections import namedtuple

# What all runs share: how many ``stations``, ``places`` (P), ``depths`` (V), ``nodes`` (V * P)
# there are; per station (P,) the ``deepest`` node below the face, the ``weight`` of length, that of
# ``volume``, half the ``gap`` to the next, ``half`` the curvature in plan and the ``limit`` of
# insets; ``seen`` (9 * P) the components of position, face normal times the greatest depth, and
# outward direction; per depth (V,) its ``fraction`` of the greatest and the ``share`` of the depth
# that it stands for.
Edge = namedtuple(
    "Edge",
    "stations places depths nodes deepest weight volume gap half limit seen fraction share",
)

# How a method lays planes: how many ``planes`` there are, how many at ``each`` placement, and their
# ``rows`` (N); the arc ``reached`` (M + 1,) by ``shares`` (M) of the edge, of which there are
# ``even`` to a placement; per station the ``aims`` (S * 6), the normal aimed at and the tangent;
# the ``spacing`` of these, the edge's ``length``, and which ``side`` it is; the ``least`` share of
# the advance.
Lay = namedtuple("Lay", "planes each rows reached shares even aims spacing length side least")

# When it stops: whether all planes advance ``alike``, which ``spare`` part of the edge may stay
# dull, the ``largest`` advance, and what ``rounding`` can do to heights.
Stop = namedtuple("Stop", "alike spare largest rounding")

# Of each run: errors that are ``common`` (R, 4) to the session and their ``scatter`` (R, 4), the
# ``phase`` (R,) of placements, unit ``normals``, of which a run's first is number ``first`` of so
# many ``apart``, and the radius ``fresh`` (R,) that grinding leaves [µm].
Hand = namedtuple("Hand", "common scatter phase normals first apart fresh")

# Edges before the session, (R, S) each but the ``field`` (R, V, S): ``drop`` and ``lean`` of the
# face, ``angle`` between nominal face and flank, ``radius``; ``lowered`` if any drop is above 0.
Before = namedtuple("Before", "field drop lean angle radius lowered")

# Edges after it: ``field`` (R, V, S); ``angle``, ``radius``, ``land``, ``sharp`` (0 or 1) and the
# ``active`` plane (R, S); ``seen`` (R, 5): share that is sharp, what is cleared since the blade was
# new and what it would be for the dullness alone, largest advance, whether the target was reached.
After = namedtuple("After", "field angle radius land sharp active seen")
SEEN = 5

# Room for one session: rows (V * P) of the ``field`` before it and ``after``; (N * P / 16) of where
# planes ``touch`` sixteen stations; (N,) of planes; (2 * P) of what the edge needs; others (P,).
Work = namedtuple(
    "Work",
    "field after touch tilt swing x y z along_x along_y along_z weight support advance need length "
    "drop lowered lean angle cot radius inset goal dull lead ahead server reach plane fall land sharp "
    "room",
)
