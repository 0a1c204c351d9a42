# %% [markdown]
"""
# How dull is dull?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

Student A at Fernhollow turns her curette FH-03-AS1 under the lamp and sees a bright line along the edge: it is dull. "I can
see it," she says, "so a lot must come off." She sets a coarse stone to it. **How far back must
the edge really go before it is sharp again?**

About 15 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks; from then
on only clicks are needed. The code is hidden, not absent: click a grey bar to read it.

## Predict

A sharp edge is the corner between the face and the lateral surface. Use rounds it off. Suppose the rounding has a radius of 4 µm. A hair
is some 70 µm thick.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the library, the blade as digitised, and an edge rounded by 4 µm (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

blade = ek.read_blade("../data_demo/traces/FH-03-AS1.toml")
angle = blade.internal_angle_deg
worn = ek.dull_edge(angle, 4.0)
back, line = float(worn.along_face_um), float(worn.edge_width_um)
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: how far back, along the face (code hidden)
little, some, much = "about half a micrometre", "about 5 µm", "about 50 µm"
lesson.ask("To be sharp again, the edge must go back along the face by …", {
    little: ("only the very tip is gone", "The rounding starts well behind the tip, and the new lateral surface must pass behind all of it."),
    some: f"{back:.1f} µm: a little more than the radius, and a fourteenth of a hair." if round(70 / back) == 14 else f"{back:.1f} µm.",
    much: ("I can see it, so it must be big", "You see light thrown back by a line far narrower than a hair. Seeing it says that it is there, not how wide it is."),
}, right=lesson.nearest(back, {0.5: little, 5: some, 50: much}), then=[lesson.tip(4.0, angle)], gate=True)

# %% [markdown]
"""
## See

**What happened?** Grinding the lateral surface moves the whole surface inward, parallel to itself. It is sharp again where the new
surface meets the face *behind* the rounding: the black line. What lies in front of it is steel that must go, and no stone can spare it.

### A rounder edge must go back further, a blunter wedge less far

The distance grows in step with the radius. In a wedge of a larger internal angle the same rounding reaches less far back.

<details><summary>The formula (for teachers)</summary>

Along the face r cot(β/2), for a circle of radius r that touches both sides of a wedge of angle β. The bright line is 2r cos(β/2)
wide, seen square to it.

</details>
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures: the same rounding in a slim and in a blunt wedge (code hidden)
slim, blunt = lesson.tip(4.0, 65.0), lesson.tip(4.0, 85.0)
lesson.row(slim, blunt)

# %% [markdown]
"""
### Two published findings on how fast an edge dulls do not agree

Nobody has measured the radius of an edge against strokes. Tal (1985, 1989; published) saw edges blunt after 15 to 45 working strokes; a study of
1989 (J Dent Hyg; published) found no significant change after 30 to 90. Both may be right: of other blades, loads and ways of looking. The picture draws a law for each. The
solid one is that of these lessons: equal wear for each stroke, at a rate that is **assumed**. Which one fits your clinic, and what would you do differently?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture and answer: two laws of dulling, side by side (code hidden)
use = ek.Use()
slow = ek.SaturatingDulling(limit_um=1.2 * use.sharp_radius_um, strokes=30)
display(lesson.dulling({"each stroke wears": use.law, "hardly any change": slow}, sharp_um=use.sharp_radius_um, strokes=90))
radius = ek.use(blade, ek.Use(strokes=45.0)).radius_um("used")
lesson.answer(f"A radius of 4 µm costs {back:.1f} µm of width on that side, and shows as a line {line:.1f} µm wide.",
              f"By the solid line's law 45 working strokes leave this edge with {radius.min():.1f} µm where few of them fall and {radius.max():.1f} near the toe, where most do. By the other it is hardly dull at all: look at the edge, not at the count.")

# %% [markdown]
"""
## Play

Turn the radius. The axes stay, and the red blood cell (7.5 µm across, from memory) stays beside it.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the radius of the rounding (code hidden)
lesson.flip("Radius of the edge, µm", lambda radius: lesson.tip(radius, angle), [1, 2, 3, 4, 5, 6, 7, 8, 10], first=3)

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: a blunter wedge, the bright line, twice the use (code hidden)
less, same, more = "less far", "as far", "further"
ratio = blunt.numbers["along_face_um"] / slim.numbers["along_face_um"]
display(lesson.ask("A blunter internal angle, the same rounding: the edge must go back …", {less: "The rounding touches the face nearer to the tip.", same: ("only the radius counts",
    "The angle decides how far behind the tip the rounding begins."), more: ("a blunt wedge holds more steel", "It does, further down; along the face the way is shorter.")}, right=lesson.nearest(ratio, {0.65: less, 1: same, 1.5: more})))
display(lesson.ask_number("The radius is 4 µm. How wide is the bright line under the lamp? To half a micrometre:", line, within=0.5, unit="µm", why=f"{line:.1f} µm; seen square to it.",
    small="It is wider than the radius: see the box above.", large="That is nearer to twice the radius; the line is seen at a slant."))
growth = float(use.law.after(use.sharp_radius_um, 90.0) / use.law.after(use.sharp_radius_um, 45.0))
lesson.ask("By the law in which each stroke wears equally, after 90 strokes at one place instead of 45 the radius is …", {"twice as large": ("wear adds up", "The worn steel doubles. But a rounder edge has more steel to wear for each micrometre."),
    "about 1.4 times as large": f"{growth:.2f} times: close to the root of two.", "unchanged": ("an edge dulls at first and then stays", "One published study says so, but this law does not.")}, right=lesson.nearest(growth, {2: "twice as large", 1.4: "about 1.4 times as large", 1: "unchanged"}))

# %% [markdown]
"""
## At the bench

Find the bright line on a practice blade under a strong lamp, turning it until the line lights up. Then draw the blade over a plastic test stick: a sharp
edge bites, a dull one slides. Grade five blades both ways and see whether lamp and stick agree.

**Take away.** Dull is small: some micrometres, a tenth of a hair. Look before you reach for a coarse stone.

**What this does not tell you.** Whether your edge is dull, or by how much: no one can read a radius off a bright line. A chip or a wire edge is not a rounding.
What a whole session takes, with a hand that is not steady, is lesson 05.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: dullness is far smaller than it looks, and grinding must pass behind it. 15 minutes. You need: a practice blade, a strong lamp, a test stick. Classes predict 50 µm. Ask aloud: if you cannot
see how wide the line is, what does the stick tell you that the lamp does not? Without a computer: draw a corner of 75° on squared paper, round it with a coin, and measure how far back the new side must go. Assumed: the radius of 4 µm and the rate of dulling. Published: the internal angle
and both findings on dulling.
"""
