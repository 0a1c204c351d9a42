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
# that it stands for. Per block of sixteen stations three ``axes`` (P / 16 * 9), the first along the
# edge and the second down the flank, and the components of ``seen`` along these, ``boxed`` (9 * P); and the
# middle and half the size of what holds its ``outward`` directions (P / 16 * 6).
Edge = namedtuple(
    "Edge",
    "stations places depths nodes deepest weight volume gap half limit seen fraction share axes "
    "boxed outward",
)

# How a method lays planes: how many ``planes`` there are at how many ``placements``, ``each``,
# and their
# ``rows`` (N); the arc ``reached`` (M + 1,) by ``shares`` (M) of the edge, of which there are
# ``even`` to a placement; per station the ``aims`` (S * 6), the normal aimed at and the tangent;
# the ``spacing`` of these, the edge's ``length``, and which ``side`` it is; the ``least`` share of
# the advance.
Lay = namedtuple(
    "Lay", "planes placements each rows reached shares even aims spacing length side least"
)

# When it stops: whether all planes advance ``alike``, which length of edge may be ``spare``d
# and stay dull, the ``largest`` advance, and what ``rounding`` can do to heights.
Stop = namedtuple("Stop", "alike spare largest rounding")

# Of each run: errors that are ``common`` (R, 4) to the session and their ``scatter`` (R, 4), the
# ``phase`` (R,) of placements, unit ``normals``, of which a run's first is number ``first`` of so
# many ``apart``, and the radius ``fresh`` (R,) that grinding leaves [µm].
Hand = namedtuple("Hand", "common scatter phase normals first apart fresh")

# Edges before the session, (R, S) each but the ``field`` (R, V, S): ``drop`` and ``lean`` of the
# face, ``angle`` between nominal face and flank, ``radius``; ``lowered`` if any drop is above 0.
Before = namedtuple("Before", "field drop lean angle radius lowered")

# Edges after it: ``field`` (R, V, S); ``angle``, ``radius``, ``land``, ``sharp`` (0 or 1) and the
# ``active`` plane (R, S); ``seen`` (R, 6): the share that is sharp; the volume removed, that for the
# dullness alone, and all since the blade was new; the largest advance; 1 if the target was reached.
After = namedtuple("After", "field angle radius land sharp active seen")
SEEN = 6

# Room for one session: ``pairs`` (P / 16 * N) of a block and a plane, as whole numbers; rows (V * P) of the ``field`` before it and ``after``; (P / 16 * 6) middles
# and half sizes of the ``box`` round a block; (P / 16 * N) ``bound`` of how high planes find blocks,
# and of how they are ``faced``;
# (N,) of planes; (2 * P) of what the edge needs at its stations and, one place
# further on, between them; others (P,), with ``goal_x`` and so on the places
# that are to be reached.
Work = namedtuple(
    "Work",
    "pairs field after box bound faced best tilt swing x y z along_x along_y along_z weight support advance offset need length "
    "drop lowered lean angle cot radius inset goal goal_x goal_y goal_z dull ahead server reach plane fall land sharp "
    "room",
)
