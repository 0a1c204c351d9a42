# %% [markdown]
"""
# Where must the stone point as it goes round?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

Operator C keeps the instruments of cassette 3. Her area-specific curette, FH-03-AS1, was digitised point by point
from calibrated pictures. She sharpens it by hand. The clinic could buy a holder
that keeps one fixed angle between handle and stone. **Would it follow this edge?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks; from then
on only clicks are needed. The code is hidden, not absent: click a grey bar to read it.

## Predict

The holder keeps its angle; the hand only rolls the instrument. Before you look: how much of this edge can **one** setting
sharpen within 2° of its true angle?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the library, the blade as digitised, and the best setting of its side (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

blade = ek.read_blade("../data_demo/traces/FH-03-AS1.toml")
edge = blade.edges["used"]
toe_mm = edge.length_mm - 0.7  # the rounded toe begins about here
side = ek.best_setting(edge.stretch(0, toe_mm))
held = lesson.angle_error(edge, round(side.elevation_deg, 1))
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: how much of the edge can one setting serve? (code hidden)
whole, most, none, share = "the whole edge", "the long side, but not the toe", "next to nothing", held.numbers["right_share"]
lesson.ask("On this area-specific curette, one fixed setting serves …", {
    whole: ("one angle fits every edge", "It does for a flat face square to the shank. Here the face is tilted and bowed."),
    most: "Along the side the right elevation drifts little; round the toe it falls away.",
    none: ("every point needs a setting of its own", "Neighbouring points need nearly the same."),
}, right=whole if share > 0.99 else most if share > 0.5 else none, then=[held], gate=True)

# %% [markdown]
"""
## See

### The pictures fix the direction to a few degrees, no better

The picture shows the face, the used edge from heel to toe, and the stone laid against it at a few points; the shank would go on
from the heel, up along the handle axis. The table says how far the
pictures fix the direction of the flank: along the side to about two degrees, most of
it from reading the internal angle; round the toe, where few points describe a tight curve, to
about twice that. (*sd*: standard deviation; two readings in three lie within one.)
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture and table: the blade and the stone, and what the pictures leave uncertain (code hidden)
display(lesson.shown(ek.figures.blade(blade)))
blade.trace

# %% [markdown]
"""
### Along the side the right direction drifts; round the toe it runs away

At each point of the edge there is one right direction for the stone. Seen from the handle it is an *elevation* (how
steeply the handle stands over the stone) and a *roll* (how far the handle is turned).

**What happened?** Along the side the elevation drifts slowly, so one setting serves it. Round the toe it falls faster than any one
setting can follow. To grind the toe as well, the holder must be set again and again; the table has the fewest settings that keep the whole edge within 2°.

<details><summary>The formula (for teachers)</summary>

The elevation is arcsin(n·a), for the outward normal n of the lateral surface and the handle's axis a; the roll is the azimuth of n about a. For a flat face square to the handle n·a is cos β everywhere: one
elevation, 90° − β.

</details>
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture, table and answer: elevation and roll; the fewest settings for the whole edge (code hidden)
display(lesson.shown(ek.figures.orientation(ek.orient(edge, normal_uncertainty_deg=blade.normal_uncertainty_deg("used")))))
needed = ek.settings_needed(edge)
words = {"elevation_deg": "setting, °", "stretches_mm": "serves, mm from the heel", "worst_error_deg": "worst error, °"}
display(lesson.table(ek.settings_table(needed), words, digits=1, caption="The fewest settings that keep the whole edge within 2°"))
low, high = side.window_deg
lesson.answer("One setting follows the side, not the toe.", f"Any from {low:.1f}° to {high:.1f}° keeps the first {toe_mm:.1f} mm within 2°, at best within "
              f"{side.worst_error_deg:.1f}°. The toe, the last {edge.length_mm - toe_mm:.1f} mm, takes {len(needed) - 1} settings more, or a steady hand.")

# %% [markdown]
"""
## Play

Turn the holder's setting one degree at a time. The thick part of the line is ground right; the axes stay, and what lies beyond them is
cut off.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the holder's setting (code hidden)
lesson.flip("Setting of the holder, °", lambda degrees: lesson.angle_error(edge, degrees), list(range(30, 39)), first=4)

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: the universal curette, the window, what is known (code hidden)
count = len(ek.settings_needed(ek.patterns.universal_curette().edges["left"]))
display(lesson.ask("A universal curette has a flat face square to the terminal shank. Within 2°, its whole edge, toe included, needs …",
    {"one setting": "The elevation is 90° less the internal angle at every point; only the roll changes.", "several, as here":
     ("toes are the trouble", "It is the tilt and the bow of this face that make the elevation drift."),
     "no setting will do": ("a holder cannot go round a toe", "It can, if the elevation there stays as it is: the roll does the rest.")}, right="one setting" if count == 1 else "several, as here"))
display(lesson.ask_number("How wide is the window in which the holder may stand for the side, in degrees? To a quarter of a degree:", high - low, within=0.25,
    unit="°", why=f"{low:.1f}° to {high:.1f}°: {high - low:.1f}° wide.", small="Read both ends of the window in the box above.", large="That is the tolerance, or more; part of it is used up by the drift along the side."))
lesson.ask("The holder stands within the window. Is the side then surely within 2° of its true angle?", {
    "no": "The digitised flank is itself known to about two degrees only; see the table under the blade.",
    "yes": ("the model knows the blade", "It knows it as well as the pictures did."),
    "yes, if the hand is steady": ("the hand is the only doubt", "A holder steadies the hand. It does not know the blade any better.")}, right="no")

# %% [markdown]
"""
## At the bench

Mark the lateral surface with a felt pen, make one pass, and see where the ink stays. Then hold a protractor card at 105° to
the face, ten times, and note how far you were off. The card's 105° stand between stone and face, the holder's 33° to 34° between stone and handle: two angles of one hold.

**Take away.** One setting follows the side of this blade but not its toe. The toe asks for many settings, or for the hand.

**What this does not tell you.** Whether this edge is sharp, or how steady your own hand is. What each way costs in width is lesson 08.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: the direction belongs to the blade, not to the hand. 20 minutes. You need: a practice blade, a stone, a felt pen, a protractor card. Classes usually
predict that a holder is right everywhere. Ask aloud: why does a flat face need only one setting? The toe begins at 0.7 mm from the
end: a choice, not a measurement. Without a computer: the felt pen below. Assumed: the radii of this pattern in plan and bow; the points of this blade are invented. Published: the internal angle (70 to 80°) and how far such a face is tilted.
"""
