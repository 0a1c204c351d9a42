"""What compiled strokes are given and work in: named rows, whose types the compiler infers.

A row (N,) is a place in memory from which N numbers lie one after another. Stations are filled up
to a multiple of the lanes' width, P, with ones of no weight and no steel.
"""

# ruff: noqa: PYI024 - rows of arrays for the compiler, whose types it infers

from __future__ import annotations

from collections import namedtuple

WIDTH = 16  # stations computed at a time

# As in the modules that work with arrays; repeated, since the cache would not see them change.
BLUNTER = 1e-9
KEEN_MM = 1.0
MAX_STROKES = 400
MAX_STEPS = 200
PAST_REACH = 30.0
EXACT = 1e-10
ROUNDING = 2e-15
TINY = 1e-9
GRAZING = 1e-9
UM_PER_MM = 1000.0

GOING, MET, UNMET, NO_DEPTH = range(4)  # how a session stands; the last: a stroke found no depth
NO_USE, ROOT, POWER, LIMIT = range(4)  # laws of dulling; the second is the power of one half
PATCHES = 16  # of dulling along an edge


# What all runs share: how many ``stations``, ``places`` (P), ``depths`` (V), ``nodes`` (V * P) and
# ``terms`` of a stroke's error there are, and whether the stone lies ``flat``; the ``fraction``
# (V,) of the greatest depth at which nodes lie. Per station (P,): the ``curvature`` in plan,
# ``half`` of it kept above 0, its ``centre``, the ``weight`` of length, 1 for each but the last as
# ``pairs``, the angle ``aimed`` at and its ``cot``; ``modes`` (M * P); ``depth`` (V * P) and what
# each node stands for below a new face, ``node``. For a flat stone, ``seen`` (3 * 3 * P) has the
# products of inward direction, position and face with its normal at mid-edge, with what opens it by
# a tilt and with what turns it by a swing.
Edge = namedtuple(
    "Edge",
    "stations places depths nodes terms flat fraction curvature half centre weight pairs aimed cot "
    "modes depth node seen",
)

# Edges of R runs before their sessions, arrays (R, S) but the ``field`` (R, V, S): ``drop`` of the
# face, ``angle`` of the wedge, ``cot`` of the flank with the nominal face, ``lean``, ``radius``;
# ``lowered`` if any drop is above 0.
Before = namedtuple("Before", "field drop angle cot lean radius lowered")

# What an edge goes through before each session: the ``law`` by which strokes dull it, with its
# ``rate`` and ``exponent`` (of `LIMIT`: the limit and its strokes), ``attrition`` [mm], the factor
# of the ``void`` that a law speaks of; per station (P,): ``strokes``, ``share`` of all of them, and
# the ``patch`` it lies in.
Use = namedtuple("Use", "law rate exponent attrition void strokes share patch")

# What is measured after each session, if anything is: ``weights`` (9 * P) of means over the sides
# and their thirds, over all stations, the edge's thirds and its length; 1 (P,) for a station
# ``on_side``; the new blade's ``angle`` (P,).
Gauge = namedtuple("Gauge", "measured weights on_side angle")

# Of each session (N,), or of one: its ``tilt``, the scatter from stroke to stroke and within one,
# that of the swing of a flat stone, what a stroke takes, and the radius that grinding leaves.
Hand = namedtuple("Hand", "tilt tilt_sd within_sd swing_sd volume fresh")

# A stop rule: strokes between looks, how many are counted (0: none are), whether the edge must be
# clear, else the land [mm] that goes unnoticed; the share that may stay dull.
Rule = namedtuple("Rule", "every counted clear unnoticed dull")

# Where a session's random numbers begin: its ``key`` (N, 2) and first ``block`` (N,) of so many
# ``strokes``; how many times the usual strokes of a use fall on each patch before it, ``often``
# (N, 16).
Numbers = namedtuple("Numbers", "key block strokes often")

# Edges after the last session of each run: ``field`` (R, V, S); ``angle``, ``cot``, ``margin``,
# ``radius`` and ``land`` (R, S).
After = namedtuple("After", "field angle cot margin radius land")

# What sessions came to: ``seen`` (N, 3) the share still dull, the worst margin now and a look ago;
# ``volume`` (N, 3) removed, for dullness alone, and in all since the blade was new; ``strokes`` and
# ``end`` (N,); what was ``measured`` (N, 15), see `MEASURED`.
Done = namedtuple("Done", "seen volume strokes end measured")

# Means over the sides and their thirds of the inset; its largest there, that at mid-edge and at
# the toe, and the range of what the session took; mean and mean square of the error of the internal
# angle; means over the edge and its thirds of the radius as the session found it, and over the
# strokes of the use before it, as that began.
MEASURED = [
    "side",
    "heel_side",
    "middle_side",
    "toe_side",
    "deepest",
    "caliper",
    "end",
    "ridge",
    "angle_error",
    "angle_square",
    "radius",
    "heel_radius",
    "middle_radius",
    "toe_radius",
    "used_radius",
]
COUNT = len(MEASURED)
FOUND, USED = MEASURED.index("radius"), MEASURED.index("used_radius")

# Room for one session: ``words`` (4,) and ``normals`` of random numbers; rows (V * P) of the edge
# before it and now, of what each node stands for, of the flank's height over a stroke's lines, and
# of what each node still ``held``; the others (P,).
Work = namedtuple(
    "Work",
    "words normals begun field node height held inset first drop angle cot lean lean_cos lean_sin "
    "radius per_radius ratio tangent whole cos sin tilt slope area level reach steel margin "
    "land new_angle new_cot",
)
TALL, ROWS = 5, len(Work._fields) - 2  # of a height of V, and in all
