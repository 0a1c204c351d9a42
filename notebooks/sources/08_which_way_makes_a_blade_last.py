# %% [markdown]
"""
# Which way of sharpening makes a blade last?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

Operator C rolls the stone along FH-03-AS1 by hand. The clinic could buy a holder, reset for the toe (lesson 02). A colleague sets the stone down at a dozen places; another hones
the face. On Tuesday the head nurse must choose one way for all. **Which one makes the blade last?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

Each way is tried on the same twenty simulated instruments, from new until a fifth of the width or of the thickness is gone. Hand and holder both roll the stone until the land left is a fresh
edge's.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the blade as digitised, and six ways of sharpening it (code hidden)
from dataclasses import replace

import edgekit as ek
import lesson

blade = ek.read_blade("../data_demo/traces/FH-03-AS1.toml")
needed, m = ek.settings_needed(blade.edges["used"]), ek.methods
ways = {"by hand, rolled": m.freehand(), "by hand, 12 places": m.freehand(stroke=ek.strokes.local()), "holder, rolled": m.held(needed), "holder, 12 places": m.held(needed, placements=12), "powered": m.powered(), "face": m.face_honing()}
ways = [replace(way, name=name) for name, way in ways.items()]
half, alike, double = "about half the width", "about the same width", "about twice the width"
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: the holder or the hand, on twenty simulated instruments each (code hidden)
hand, local, holder, few, _, face = (study := ek.compare(blade, ways, runs=20, seed=2026, grid_runs=0)).table.itertuples()
names = {lives.method.name: lives for lives in study.lives}
def beside(name):
    groups = {"by hand": names["by hand, rolled"].sessions, "this way": names[name].sessions}
    return lesson.lives(groups, name, quantity="sessions until retired", end=100, interval=True, radius=2.6)

lesson.ask("With the holder instead of the hand, the stone rolled both times, a session takes …", {
    half: ("a better tool saves steel", f"It keeps the angle, {holder.angle_error_deg:.1f}° too blunt on average instead of {hand.angle_error_deg:.1f}°. Width is another matter."),
    alike: f"{holder.loss_um_per_session:.1f} µm and {hand.loss_um_per_session:.1f}. What the holder keeps is the angle.",
    double: ("practice beats tools", "The clouds overlap nearly all the way."),
}, right=lesson.nearest(holder.loss_um_per_session / hand.loss_um_per_session, {0.5: half, 1: alike, 2: double}), then=[beside("holder, rolled"), beside("by hand, 12 places")], gate=True)

# %% [markdown]
"""
## See

**What happened?** Each dot is one instrument; the number is their mean, which a few long lives pull above the middle one of the table. Its life depends on who sharpens it and how hard it is used, so lives differ far more than the two ways do. Run by run, though, both
ways met the same wear and the same hands: their difference is known better than either.

<details><summary>The formula (for teachers)</summary>

The interval of a difference is d ± 1.645 s/√n: mean d and standard deviation s of the n differences, instrument by instrument. Two means apart would have s₁² + s₂² in place of s².

</details>

### Rolling or setting down decides more than the tool does

Sharpening by hand is there twice, as the ends of a
range: nobody has filmed what a hand does. Weighed steel (0.0017 to 0.019 mg a stroke, Hessheimer 2017) and counted
strokes (7 to 10 an edge, Huang & Tseng 1991, Moses 2003) speak for the rolling one. ± is the 90 % interval of
a mean, from the number of lives alone. Minutes are strokes of the stone, mounting, setting and looking, all assumed. The holder's are long because
it is set again and again for the toe of this one blade; in lesson 09 a tray shares its settings and the toe is left to the hand.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Table and picture: six ways of sharpening this blade (code hidden)
from IPython.display import display

costs = study.table.assign(half=1.645 * study.table["loss_um_per_session_mc"])
words = {"method": "way", "loss_um_per_session": "width per session, µm", "half": "±", "sessions_p50": "sessions, half of the lives reach", "angle_error_deg": "edge blunter by, °",
         "minutes_per_session": "minutes", "steel_mg": "steel, mg"}
display(lesson.table(costs, words, digits=1, caption="Width, sessions, angle and time of each way"))
lesson.shown(ek.figures.differences(study))

# %% [markdown]
"""
### A difference can be certain and small

An interval without zero says that these lives tell two ways apart, not that the difference matters. Better inputs would matter more than more lives (lesson 13). Beside the answer stand numbers from outside the model. A blade also wears
in use, and that is not counted in these lives: the sessions are an upper bound, not a promise.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Answer and outside numbers, computed from the study (code hidden)
gap = study.differences().set_index("method").loc[holder.method]
known = "These lives cannot say whether the holder saves width" if gap.low < 0 < gap.high else f"The holder {'costs' if gap.low > 0 else 'saves'} {100 * abs(gap.difference) / hand.loss_um_per_session:.0f} % of the width"
ground, last = blade.section.internal_angle_deg + hand.angle_error_deg, names["face"]
published = f"by hand {ground:.0f}°, which is {'outside' if ground > 80 else 'within'} the published 70 to 80°"
def life(row):
    return f"{row.sessions_p50:.0f} sessions ({row.sessions_p10:.0f} to {row.sessions_p90:.0f})"
display(lesson.answer(f"Roll, and the blade lasts {life(hand)}; at twelve places, {life(local)}.", f"{known}: reset {len(needed)} times and rolled it differs from the rolling hand "
    f"by {gap.low:+.2f} to {gap.high:+.2f} µm. What it keeps is the angle: {holder.angle_error_deg:.1f}° too blunt, not {hand.angle_error_deg:.1f}° ({published}). (In brackets: eight lives in ten.)".replace("-", "−")))
display(lesson.answer(f"Face: {life(face)}.", f"It takes {face.loss_um_per_session:.1f} µm of width a session, but what ends most of its lives is {last.rules[int(sorted(last.ended_by)[len(last.ended_by) // 2])]}."))
lesson.answer("Against published numbers:", f"ten weighed strokes take 0.017 to 0.19 mg; a rolling session takes {hand.steel_mg:.2f} mg in {hand.stone_strokes:.0f} strokes, one at twelve places {local.steel_mg:.2f} mg in "
    f"{local.stone_strokes:.0f}. If a blade stood at Murray's 20 % (1984) after Liu's 14.3 cycles (2022), half of it by sharpening, that is {0.2 * blade.width_mm * 500 / 14.34:.0f} µm per session. Nothing was adjusted to agree.")

# %% [markdown]
"""
## Play

Turn the way. The upper row stays; each dot is an instrument, the thick bar the 90 % interval of the mean. Which ways can twenty lives tell from the rolling hand?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: six ways, each beside the rolling hand (code hidden)
lesson.flip("The way below", beside, list(names), first=2)

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: an interval with zero in it, few or many, what to measure (code hidden)
display(lesson.ask("One way loses 15 µm per session, another 16, and the interval of their difference contains zero. Which is better?", {
    "the first": ("the smaller number wins", "Another twenty lives might turn it round."),
    "they are equal": ("no difference shown is no difference", "The interval also holds differences worth having."), "these runs cannot say": "More runs might; better inputs would matter more."}, right="these runs cannot say"))
display(lesson.ask("With the holder, which costs more width: a dozen places or so many that the stone rolls?", {"a dozen places": "The ridges between them stay dull until the flats are taken deeper.",
    "neither of them": ("dullness is the price", "The ridges stand on top of it, and few places leave high ones."),
    "so many that it rolls": ("more strokes, more steel", "See lesson 05: the loss falls as places are added.")}, right="a dozen places" if few.loss_um_per_session > holder.loss_um_per_session else "so many that it rolls"))
lesson.ask_number("Rolled, how many micrometres does a session take on average? To one micrometre:", hand.loss_um_per_session, within=1, unit="µm",
    why=f"{hand.loss_um_per_session:.1f} µm, a tenth of a hair or less.", small="The dullness alone takes about that much.", large="That is nearer to local strokes.")

# %% [markdown]
"""
## At the bench

What this model most wants to know is how fast edges dull, and what a stroke takes: weigh a blade before and after ten strokes of the stone.

**Take away.** Ask for the difference and its interval, not for two means. What a session costs depends first on
whether the stone rolls or is set down at a few places, and only then on the tool; the tool keeps the angle.

**What this does not tell you.** How your own hand strokes, or whether the tip
will hold. Losses are means along the side; the deepest point loses more. The levels are estimates with unmeasured
inputs; trust differences further than levels.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: read a difference with its interval before a mean. 20 minutes. You need: a scale that reads tenths of a milligram, if there is one. Classes expect the tool to matter most. Ask aloud: what would you have to measure to trust the levels? Without a computer: toss two
coins twenty times each and argue which one is better. Assumed: the hand, the steel of a stroke, the dullness. Published: weighed steel, counted strokes, Murray, Liu.
"""
