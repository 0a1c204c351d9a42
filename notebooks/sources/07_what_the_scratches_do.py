# %% [markdown]
"""
# What do the scratches do to the edge?

*The clinic and its instruments are invented.*

Operator C at Fernhollow sharpens the area-specific curette FH-03-AS1 with the stone moving *along* the edge. Her
colleague moves it *across*. Each says the other ruins the blade. Both use the same diamond-plated stone.
**Who is right, and for how many strokes in the mouth does it matter?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

A stone leaves scratches. Where they meet the face, the edge line becomes a row of small teeth. The pictures behind your answer show a fifth of a millimetre of it, the width of three hairs.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: one blade, one stone, strokes in three directions (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

hand = ek.methods.freehand()
edge = ek.patterns.area_specific_curette(name="FH-03-AS1").edges["used"]
def made(lay_deg, edge=edge):
    return ek.finish(edge, hand.using(ek.diamond_plated_stone(), ek.Oblique(angle_deg=lay_deg)), rng=5)
along, oblique, across = made(0), made(45), made(90)
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: teeth along and across (code hidden)
fewer, alike, more = "fewer teeth", "about as many teeth", "several times as many"
def seen(finish, name):
    return lesson.edge_line(finish, name, half_um=0.9)

lesson.ask("Scratches across the edge instead of along it leave …", {
    alike: ("the grain decides", "Stone and grain are the same. But a scratch is some twenty times longer than wide, and it matters which side meets the edge."),
    fewer: ("across is cleaner", "It is the other way round: each scratch that crosses the edge is a notch."),
    more: "Across, the edge meets every scratch at its narrow side."},
    right=lesson.nearest(across.teeth_per_mm / along.teeth_per_mm, {0.4: fewer, 1: alike, 5: more}),
    then=[seen(along, "Along"), seen(across, "Across")], gate=True)

# %% [markdown]
"""
## See

**What happened?** Along the edge the line follows the length of the scratches: long, lazy waves. Heights are drawn many times too large: the teeth are
a tenth of a micrometre high by their root mean square, a few tenths from valley to tip: less than a tenth of a red blood cell. In brackets stands an 80 % range: nobody has measured scratches of a hand-held stone on such a
blade, so width and length of a scratch are **assumed** with a wide spread.

<details><summary>The formula (for teachers)</summary>

Correlation length along the edge: 1/l² = sin²ψ/l⊥² + cos²ψ/l∥² at an angle ψ to the edge. Teeth per millimetre:
1/(√2 π l) (Rice 1945), less waves shorter than the edge's own radius. The height is that of the facet over the sine of the
internal angle, in every direction.

</details>

### A straight stroke does not stay along a curved edge

"Along" must turn with the edge. A stone drawn in one straight line does not.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture: scratch direction along the edge for four strokes (code hidden)
strokes = {
    "hand, follows the edge": ek.lay(edge, ek.along_edge()),
    "straight along the blade": ek.lay(edge, ek.StraightStroke(direction=[1, 0, 0])),
    "holder, in line with handle": ek.lay(edge, ek.HolderStroke(angle_deg=0)),
    "holder, across the handle": ek.lay(edge, ek.HolderStroke(angle_deg=90)),
}
lesson.shown(ek.figures.lay(strokes))

# %% [markdown]
"""
### Teeth are level within a few strokes on hard surfaces, and never matter on soft ones

Teeth matter while they carry the load. On something soft the whole edge sinks in, valleys too. On something hard the
teeth stand alone, and their tips are gone first. This is a **model**; hardness is published, the wear rate is assumed.
What the sources say, both ways:

| question | one answer | the other |
|---|---|---|
| Does use blunt an edge? | visible after 15 to 45 strokes (Tal 1985, 1989; published) | no significant change after 30 to 90 (J Dent Hyg 1989; published) |
| Which last stroke leaves a wire edge? | strokes away from the edge left none (Antonini 1977; published) | finish towards the edge (usual teaching; common practice) |
| Has steel a grain to follow? | yes, like wood (the trade; common practice) | no source shows it; lay alone already does what is seen |

If the first answer on blunting is right, the teeth are the least of it: the whole edge goes. If the second is right,
teeth this small were never felt. Neither makes the direction decisive.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture, table and answer: how long teeth stand proud (code hidden)
worn = ek.blunting(across)
words = {"counterface": "on", "hardness_hv": "hardness, HV", "bearing_when_fresh": "share that bears at first", "level_after_strokes": "level after, strokes",
         "level_low": "from", "level_high": "to"}
display(lesson.shown(ek.figures.teeth_and_strokes(worn)))
display(lesson.table(worn.table, words, digits=1, caption="How long the teeth of an edge ground across stand proud (80 % range)"))
hard = worn.table.iloc[-1]
display(lesson.fold("What is claimed of a grain in the steel, and what lay alone explains", ek.steel_grain_claim(along, across)), lesson.fold("What is claimed of the wire edge", ek.wire_edge(ek.StrokeSense.TOWARDS)))
lesson.answer(f"Who is right? By this model neither: the direction matters for {hard.level_after_strokes:.0f} stroke or so on the hardest surface (80 % range up to {hard.level_high:.0f}), and for none on soft ones.",
              f"Across leaves {across.teeth_per_mm / along.teeth_per_mm:.0f} times as many teeth. On soft surfaces the whole edge sinks in from the first stroke, so they never stand alone.")

# %% [markdown]
"""
## Play

Turn the stroke. Each frame draws one millimetre at mid-edge, so its line is a different random draw from the one above.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: angle between scratches and edge (code hidden)
middle = edge.stretch(2.5, 3.5)
turned = {angle: made(angle, middle) for angle in (0, 5, 10, 15, 20, 30, 45, 60, 90)}
lesson.flip("Scratches to the edge, °", lambda angle: seen(turned[angle], f"{angle}° to the edge"), list(turned))

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: nearly along, a fine stone, root dentine, a grain (code hidden)
ten = turned[10].teeth_per_mm / turned[0].teeth_per_mm
display(lesson.ask("Strokes at 10° to the edge, counted by their teeth, are …", {"nearly along": ("ten degrees are few", "By the angle. The teeth turn across much sooner."),
    "as good as across": ("any angle is across", "They are on the way: across has more still."),
    "no longer along": f"They already have {ten:.1f} times the teeth. Few hands hold 10° round a toe."}, right=lesson.nearest(ten, {1.1: "nearly along", 2.5: "no longer along", across.teeth_per_mm / along.teeth_per_mm: "as good as across"})))
display(lesson.ask_number("By the model, after how many strokes on enamel are the teeth level? To one stroke:", hard.level_after_strokes, within=1, unit="strokes",
    why=f"{hard.level_after_strokes:.1f}, from {hard.level_low:.1f} to {hard.level_high:.1f}.", small="A few strokes it takes.", large="See the line of enamel reach 1."))
lesson.ask("Edges sharpened along the blade last longer. Does that prove a grain in the steel?", {"yes": ("one thing changed", "Two did: the lay of the scratches turned as well."),
    "yes, if there are many blades": ("more blades, more proof", "More blades make the difference surer, not its cause."),
    "no": "The lay changed too. One must cut blanks along and across the bar and sharpen both at one lay."}, right="no")

# %% [markdown]
"""
## At the bench

One practice blade, both halves of the edge sharpened with the same stone: along, then across. A partner keeps the key; you
find out with the test stick which is which. Ten tries.

**Take away.** The direction of the stone changes how many teeth there are, several times over. By the model they are worn level within a
few strokes on hard surfaces and never matter on soft ones: the angle and a sharp apex matter more.

**What this does not tell you.** How a wire edge forms, how teeth break, or what a patient's calculus does. Scratch sizes and
wear rate are assumed.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: a claim is as good as the experiment that could refute it. 20 minutes; the blind test with the stick makes it an hour. You need: a practice blade, a stone, a test stick. Classes are sure that one direction is right, and about
half choose each. Ask aloud: what would change your mind? Without a computer: comb a strip of plasticine along and across its edge and look at it from above. Assumed: scratch width and length, wear coefficient, contact length.
Published: hardness, the blunting results and their contradiction.
"""
