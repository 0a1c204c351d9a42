# %% [markdown]
"""
# Grind the face or the sides?

*The clinic and its instruments are invented.*

Operator B at Fernhollow hones the *face* of the universal curette FH-03-UC: one flat stroke instead of going round both sides. "It keeps the width," she says.
The head nurse wants to know whether it also keeps the blade strong. **Which of the two gives more sessions before the blade must go?**

About 25 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

FH-03-UC has two working edges. The sides are ground with a holder that rolls along the edge; the face by a hand that errs as hands do.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: two blades, both ways of grinding, a tenth gone by either (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

two, one = ek.patterns.universal_curette(name="FH-03-UC"), ek.patterns.area_specific_curette(name="FH-03-AS1")
best, face = ek.best_setting(two.edges["left"]), ek.methods.face_honing()
side, steps = ek.methods.held(best), ek.methods.held(best, placements=40)  # rolled along the edge, or turned in steps
worn = {name: ek.strength(ek.WornBlade.from_recession(two, s, face_um=f), load_n=5) for name, s, f in (("sides, 10 % of width", two.width_mm * 50, 0.0), ("face, 10 % of thickness", 0.0, two.thickness_mm * 100))}
section = lesson.shown(ek.figures.worn_section(worn))
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: face or sides with a hand that errs, sixty lives of each (code hidden)
lives = {"runs": 60, "seed": 3, "tilts_deg": (0.0,)}  # slants are tried once: they are the same however the sides are ground
ends = ek.face_or_sides(two, side=side, face=face, mixes=[(1, 0), (0, 1)], **lives | {"tilts_deg": (0.0, 1.0, 2.0, 4.0)})
ideal, real = ends.ideal["sessions"], ends.table["sessions_p50"]
lesson.ask("With a hand that errs, the universal curette gives more sessions if you grind …", {
    "the sides": f"By this model half of the lives reach {real.iloc[0]:.0f} sessions, on the face {real.iloc[-1]:.0f}. Without any error, and ground until clear, it would be the other way round: {ideal.iloc[0]:.0f} and {ideal.iloc[-1]:.0f}.",
    "the face": ("it keeps the width", "So it does, and a perfect hand would gain by it. But a slant of the stone takes steel over the whole width, every session."),
    "it makes no difference": ("equal strength means equal lives", "Murray 1984 found no difference in strength, in a sample of limited size. For how long blades last it does differ here.")},
    right=lesson.nearest(real.iloc[-1] / real.iloc[0], {0.8: "the sides", 1: "it makes no difference", 1.25: "the face"}), then=[section], gate=True)

# %% [markdown]
"""
## See

**What happened?** The picture takes a tenth of the width by the sides, or a tenth of the thickness from the face. Strength falls faster than either: its caption says how much is left.

Murray et al. 1984 (published) found **no significant loss** before 10 to 20 % was gone, and face equal to sides. This model says that strength
falls from the first micrometre. Both can be true: a test of a few blades cannot see a loss smaller than its own scatter.

<details><summary>The formula (for teachers)</summary>

Stress = moment over section modulus, from the exact polygon of the worn section; unsymmetric bending. "Strength left" is the load
that brings the most stressed section to the stress the new blade reached. Without errors of the hand the sides cost as much *width* as the face costs *thickness* (nearly), so
that the tie does not depend on how dull the blade gets.

</details>

### With a hand that errs, rolling the sides lasts longest

Dots are simulated lives with errors of the hand, bars their p10 to p90; lines are without errors, ground until clear: rolling stops at a fresh edge's land, so
its lives can lie above them. The *tie* in a caption is the thickness over width at which both would last equally long without errors, by the limits of width and thickness alone. A life ends at whichever
limit comes first: a fifth of the width (derived from Murray 1984, who set no limit) or of the thickness, length, or three tenths of the strength gone (**assumed**, nobody has set one). The sides are ground two ways, the ends of a
range: the holder rolled along the edge, or (folded, below) turned in forty steps. Weighed steel (0.0017 to 0.019 mg a stroke, Hessheimer 2017) and counted strokes
(7 to 10, Huang & Tseng 1991, Moses 2003) speak for rolling.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture and table: sessions by mixture, two working edges, the sides rolled (code hidden)
from dataclasses import replace

answer_two = ek.face_or_sides(two, side=side, face=face, **lives)
level = ek.face_or_sides(two, side=ek.methods.held(best, stop=ek.strokes.until_clear()), face=replace(face, hand=ek.Hand()), mixes=[(1, 0)], **lives)
words = {"method": "way", "sessions_p10": "sessions, 9 in 10 reach", "sessions_p50": "half reach", "sessions_p90": "1 in 10 reaches", "strength_left": "strength left at the end"}
display(lesson.shown(ek.figures.face_or_sides(answer_two)))
lesson.table(answer_two.table, words, digits=1, caption="Two working edges, FH-03-UC, sides rolled")

# %% [markdown]
"""
### One working edge speaks for the sides, and so does a slanting stone

FH-03-AS1 has one edge, and its sides lose width on that edge alone; the holder is reset for its toe. And the stone must lie flat on the face: a slant is paid for over the whole width. The bars above have the slant that the library assumes; the last pictures try others. Even at 0° the face stays behind rolled sides: its stone still tips along the blade a little, and it is ground until clear, while rolling stops at a fresh edge's land.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures and answer: in steps; one working edge; sessions against the slant of the stone (code hidden)
in_steps = ek.face_or_sides(two, side=steps, face=face, **lives)
answer_one = ek.face_or_sides(one, side=ek.methods.held(ek.settings_needed(one.edges["used"])), face=face, **lives | {"runs": 30})
slanted = [lesson.slant(found, name, ends.by_tilt) for found, name in ((answer_two, "Rolled"), (in_steps, "In steps"))]
display(lesson.fold("FH-03-UC with the holder turned in forty steps", lesson.shown(ek.figures.face_or_sides(in_steps))), lesson.shown(ek.figures.face_or_sides(answer_one)), lesson.row(*slanted))
reach = [found.by_tilt["sessions_p50"] for found in (ends, level)]
def middle(found):
    return "sides {:.0f} sessions, face {:.0f}".format(*found.table["sessions_p50"].iloc[[0, -1]])
def longer(found):
    return lesson.nearest(found.table["sessions_p50"].iloc[-1] / found.table["sessions_p50"].iloc[0], {0.5: "the sides last longer", 1.0: "the two are nearly alike", 2.0: "the face lasts longer"})
lesson.answer(f"With errors of the hand and the sides rolled, {longer(answer_two)}; in steps, {longer(in_steps)}.", f"Half of the lives reach, rolled, FH-03-UC: {middle(answer_two)}.",
    f"In steps: {middle(in_steps)}. Rolled, FH-03-AS1, one edge: {middle(answer_one)}. A slant of 4° leaves the face {reach[0].iloc[-1]:.0f}. At 0° it has {reach[0].iloc[0]:.0f}: if the stone did not tip along the blade by {face.hand.swing_deg.sd:g}° from stroke to stroke either, it would have {reach[1].iloc[0]:.0f}; and sides ground until clear, as the face is, {level.table['sessions_p50'].iloc[0]:.0f}.")

# %% [markdown]
"""
## Play

Choose how many of every four sessions grind the face. One life each, drawn at random with the same hand; the lines end where the first limit
is passed. One life proves little: it may lie outside the bars above, which hold eight lives in ten.
"""


# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: sessions on the face; lives run past the usual limits (code hidden)
late = (ek.MaxWidthLoss(fraction=0.3), ek.MinStrength(fraction=0.4))
def simulated(faces):
    return ek.live(two, ek.mixture(side, face, sides=4 - faces, faces=faces), retire=late, rng=3)

lives_of = {faces: simulated(faces) for faces in range(5)}
lesson.flip("Of four sessions, on the face", lambda faces: lesson.left_by_session(lives_of[faces], f"{faces} of 4 on the face", sessions=20), list(lives_of))

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: one edge, a slant of four degrees, 85 % of the width (code hidden)
pays = [found.ideal["sessions"].iloc[-1] / found.ideal["sessions"].iloc[0] for found in (answer_one, answer_two)]
display(lesson.ask("FH-03-AS1 has one working edge. With a perfect hand, does grinding the face pay there more than on FH-03-UC?", {"more": ("one edge is half the work", "Its sides lose width on one edge only, half as fast; the face costs the same thickness."),
    "less": "Its sides lose width on one edge only, half as fast, while the face costs the same thickness.", "alike": ("the section is the same", "So it is. But two edges take width from both sides at once.")}, right=lesson.nearest(pays[0] / pays[1], {2: "more", 1: "alike", 0.5: "less"})))
behind = slanted[1].numbers.get("behind_from_deg", 90.0)
display(lesson.ask("Operator A lays the stone on the face with a slant that varies by 4°, and turns her holder in steps. What do you advise for FH-03-UC?", {"the face": ("less width lost", "A slant is paid for over the whole width, every session."),
    "the sides": "At 4° the face no longer pays.", "both in turn": ("a mixture is always safe", "Every second session would still pay for the slant.")}, right="the sides" if behind <= 4 else "the face"))
lesson.ask("A blade still has 85 % of its width. May it stay?", {"yes": ("width is the only limit", "By width. Strength may be gone first: see the solid lines."), "no": ("85 % is below every limit", "Published opinion runs from 10 to 20 % lost; strength and tip decide as well."),
    "look at strength and tip": "Strength may be gone before width is. A thin, cracked or bent tip goes regardless of the model."}, right="look at strength and tip")

# %% [markdown]
"""
## At the bench

Measure width and thickness of ten blades with a caliper and write down thickness over width. Mark those above and below the tie for their kind, in the captions.
Blue the face with a felt pen and take one stroke: is the ink gone evenly?

**Take away.** Face or sides is a question of thickness against width, of how many edges are ground and how, and of a flat hand. With
errors of the hand, rolling the sides gave most sessions here. Strength may run out before width does.

**What this does not tell you.** When a blade breaks: notches, twist, fatigue and sterilising are left out. The limit by strength
is assumed; the limit by width is derived from Murray's 10 to 20 %.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: "it depends" is an answer when it says on what. 25 minutes. You need: ten blades, a caliper, a felt pen. Classes predict the sides, because they were taught so. Ask aloud: what did Murray's study have the power to
see? Without a computer: plane a block of soap from the top and from the sides and bend both. Assumed: limit by strength, place of the load, steadiness of the hand. Published: new width and thickness. Derived: limit by width.
"""
