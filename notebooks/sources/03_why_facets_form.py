# %% [markdown]
"""
# Why does a flat stone leave facets?

*Fernhollow College, its people and its instruments are invented.*

Student D at Fernhollow has sharpened FH-03-AS2, an area-specific curette, with four careful placements of the stone along its used
edge. Under the lamp the edge is bright in patches. She used a good stone and held the right angle
every time. She makes *local strokes*, as beginners do: at each placement the stone goes up and down in one plane. A stone
rolled along the edge leaves no facets. **What went wrong, and would eight placements be twice as good?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

The stone is flat, the edge is curved. Each placement makes one flat, and between two flats a ridge is left standing.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: a curved edge like the used side of a curette (code hidden)
from dataclasses import replace

import numpy as np
from IPython.display import display

import edgekit as ek
import lesson

blade = ek.patterns.area_specific_curette(bow_radius_mm=np.inf)
edge = blade.edges["used"].stretch(0, 5.5)  # the side without its toe: one circle of 6.7 mm
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: from four placements to eight (code hidden)
four, eight = lesson.flats(edge, 4), lesson.flats(edge, 8)
choices = {1.0: "just as high", 0.5: "half as high", 0.25: "a quarter as high"}
lesson.ask("With 8 placements instead of 4, the ridges between the flats are …", {
    "just as high": ("the stone makes the ridge",
     "It would, if the flats met at the same angle. With more of them they meet more bluntly."),
    "half as high": ("ridges shrink in step with the distance",
     "It seems fair, but a ridge grows with the square of the distance between placements."),
    "a quarter as high": "Half the distance between placements, a quarter of the ridge.",
}, right=lesson.nearest(eight.numbers["ridge_um"] / four.numbers["ridge_um"], choices), then=[four, eight], gate=True)

# %% [markdown]
"""
## See

**What happened?** Every flat touches the true edge at its middle and stands off at its ends, as a straight
board does on a barrel. Where two flats meet, the old edge is left standing.

A ridge keeps its old, dull edge. To reach it, every flat must go deeper: the edge is ground back by the
dullness *plus* the ridge. Below, both sessions go on until 98 % of the edge is sharp, held perfectly, from the
same 4 µm of dullness (a hair is some 70 µm thick).

<details><summary>The formula (for teachers)</summary>

On an edge of radius R with spacing s between placements the ridge is R (1/cos(s/2R) − 1), close to s²/8R. On a bowed face the curvature 1/R becomes the plan curvature plus the bow's times the cotangent of the
internal angle.

</details>
"""


# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures: what twelve and forty placements cost, held perfectly (code hidden)
def perfect(placements):
    stroke = ek.strokes.local(placements=placements, spacing=ek.Spacing.EVEN, phase=ek.strokes.PlacementPhase.SAME, strokes_per_placement=1)
    return replace(ek.methods.freehand(stroke=stroke, hand=ek.Hand()), name=f"{placements} perfect placements")

def ground(placements):
    done = ek.sharpen(blade, perfect(placements), dull_radius_um=4.0, rng=1)
    return lesson.loss_along(done, f"{placements} perfect placements", top_um=50)

twelve, forty = ground(12), ground(40)
lesson.row(twelve, forty)

# %% [markdown]
"""
### The toe wants more placements than its share of the length

Round the toe the edge turns many times as tightly. Placements at equal distances miss it; placed closer where the edge turns,
the same number serves both.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures and answer: the toe, evenly spaced and by curvature (code hidden)
used = blade.edges["used"]
even = (np.arange(12) + 0.5) * used.length_mm / 12
close = ek.placed_by_curvature(used, 12)
touched = lesson.toe_flats(used, even, "equal distances")
display(lesson.row(touched, lesson.toe_flats(used, close, "closer at the toe")))
high = [drawn.numbers["ridge_um"] for drawn in (four, eight)]
wanted = [ek.placements_for(used, ridge_um=5), len(ek.spaced_placements(used, ridge_um=5))]
lesson.answer("Twice the placements, a quarter of the ridge.", f"On the side, 4 placements leave {high[0]:.0f} µm and 8 leave {high[1]:.0f}.",
              f"For ridges below 5 µm on the whole edge it takes {wanted[0]} placements at equal distances, or {wanted[1]} closer at the toe.",
              f"Twelve at equal distances leave {lesson.flats(edge, 12).numbers['ridge_um']:.1f} µm on the side and {touched.numbers['ridge_um']:.0f} at the end of the toe. The session above took {twelve.numbers['deepest_um']:.0f} µm at the deepest, no more: it stopped at {100 * twelve.numbers['sharp_share']:.0f} % sharp and left the toe's ridges dull.")

# %% [markdown]
"""
## Play

Turn the number of placements on the side. The axes stay, so that you see the flats grow shorter and the ridges sink.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: number of placements (code hidden)
lesson.flip("Placements along the side", lambda count: lesson.flats(edge, count), [2, 3, 4, 5, 6, 8, 10, 12, 16], first=2)

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: spacing, curvature, last week's marks (code hidden)
sixteen, tight = ek.facets(edge, 16).ridge_um, ek.facets(used.stretch(used.length_mm - 0.4, used.length_mm), 4).ridge_um
display(lesson.ask_number(f"8 placements leave {high[1]:.1f} µm. How high are the ridges with 16? To half a micrometre:", sixteen, within=0.5,
    unit="µm", why=f"{sixteen:.1f} µm: a quarter again.", small="Twice the placements do not do that much.", large="Half the height would be too cautious: the square counts."))
display(lesson.ask("Tighter curve, same spacing: the ridges are …", {"higher": "The ridge grows with the curvature.",
    "lower": ("a tight curve is short", "The length is the same; but the flats stand off sooner."),
    "as high": ("only the spacing counts", "It counts, and so does how fast the edge turns away.")}, right="higher" if tight > ek.facets(edge, round(edge.length_mm / 0.1)).ridge_um else "lower"))
lesson.ask("Next week student D lays eight placements half-way between her old marks. The old flats …", {
    "help: half the work is done": ("old flats count", "They do, on the same marks. Between them the new flats sit on the old ridges."),
    "are gone": ("a session starts afresh", "They are there still; the new flats must go below them."),
    "do not help": "Her new flats sit on the old ridges, and she pays for a new pattern every session. The same marks pay once."}, right="do not help")

# %% [markdown]
"""
## At the bench

Grind a disc of soap or soft wood on flat sandpaper with four placements, then with eight. Run a thumb along it.

**Take away.** Facets come from counting placements, not from a poor stone. Halve the spacing and the
ridge falls to a quarter; give the toe more than its share.

**What this does not tell you.** How steady your hand is, or how many placements you really make: a stone that rolls along makes none.
The radius of this edge and its dullness are **assumed**.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: ridges come from spacing, by its square. 20 minutes, no set-up; with a soap disc it makes an hour. You need: a disc of soap, sandpaper, the worksheet. Classes predict "half". Ask aloud: what does
the ridge cost in steel? Without a computer: the soap disc. Assumed: the edge radius (6.7 mm) and the dullness (4 µm). Nothing is published here: it is plane geometry.
"""
