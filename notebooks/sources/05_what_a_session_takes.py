# %% [markdown]
"""
# How much steel does a session take?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

Operator C rolls the stone along the edge of FH-03-AS1, stroke after stroke. Once the edge is good she makes eight more, "to be sure". Student D sets
the stone down at a few places, *local strokes*, as beginners do. **Which strokes cost the blade its width?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

Width is what a blade has to spend: when a fifth is gone it is retired. The edge is rounded by 4 µm, as in lesson 01, and *good* once nothing is left of that on 98 % of it. Operator C holds the right angle on average, and errs a little at each stroke.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: a blade as digitised, and hands that are right on average (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

blade, usual = ek.read_blade("../data_demo/traces/FH-03-AS1.toml"), ek.methods.freehand()
hand = ek.methods.freehand(stop=ek.strokes.until_clear(), hand=ek.Hand(tilt_deg=ek.ErrorTerm(sd=usual.hand.tilt_deg.sd)))
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: eight strokes more than twenty hands needed, to be sure (code hidden)
twenty = lesson.extra_strokes(blade, hand, extra=8, dull_radius_um=4.0, hands=20)
ratio = twenty["more_um"].sum() / twenty["needed_um"].sum()
nothing, half, again = "next to nothing: it is sharp already", "about half as much again", "as much again, or more"
picture = lesson.strokes_share(blade, hand, twenty, extra=8, dull_radius_um=4.0)
lesson.ask(f"Hands like hers need {twenty['strokes'].min()} to {twenty['strokes'].max()} strokes, on average {twenty['strokes'].mean():.0f}, until the edge is good. The eight that she adds then take …", {
    nothing: ("sharp steel is not ground", "The stone does not know that the edge is sharp. Each stroke takes its steel."),
    half: f"Over twenty hands {twenty['more_um'].mean():.1f} µm on top of {twenty['needed_um'].mean():.1f}, for an edge that was good before.",
    again: ("eight strokes cost what eight strokes cost", "As much steel, yes. But late strokes cut a wide strip, and move the edge less than the first."),
}, right=lesson.nearest(ratio, {0.03: nothing, 0.5: half, 1.0: again}), then=[picture], gate=True)

# %% [markdown]
"""
## See

**What happened?** A stroke takes steel wherever the stone happens to lie: at the edge if it is held a little blunt, near the back if it is held a little slim. So the line
of one hand goes up in steps and may stand still. Their mean does not stop when the edge is good.

<details><summary>The formula (for teachers)</summary>

Every stroke takes the same section of steel, a. On a strip of width w it goes in by a/w, and moves the edge by a/(w sin β) along the face. A narrow strip at the edge moves it far, the whole lateral surface little, a strip at the back not at all.

</details>

### Strokes do not share the width evenly

The table stops sixty hands after so many strokes, done or not; these have a habit of leaning as well, so that some are still dull. Every stroke takes the same steel, by assumption; but the first ones cut a narrow strip and move the edge further than the
later ones, which cut a wide one. Hands differ: one that holds the stone a little blunt is done after two and wastes the rest; one that holds it slim is dull after thirty.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Table: width after so many strokes, sixty hands, all edges equally dull (code hidden)
case = ek.LifeCase(blade=blade, method=ek.methods.freehand(stop=ek.strokes.counted(strokes=10)), use=ek.Use(sharp_radius_gsd=1.0, severity_gsd=1.0), max_sessions=1)
many = ek.sweep(case, ek.full_grid({"method.stop.strokes": [4, 8, 12, 20, 30]}), runs=60, seed=1, progress=False)
after = many.groupby("method.stop.strokes")[["loss_um_per_session", "sharp_fraction", "steel_mg"]].mean().reset_index()
after["each"] = after["loss_um_per_session"].diff().fillna(after["loss_um_per_session"]) / after["method.stop.strokes"].diff().fillna(after["method.stop.strokes"])
words = {"method.stop.strokes": "strokes", "loss_um_per_session": "width lost, µm", "each": "for each stroke since the line above, µm", "sharp_fraction": "share of the edge that is sharp", "steel_mg": "steel, mg"}
lesson.table(after, words, digits=2, caption="What a session has taken after so many rolling strokes, done or not: mean of sixty hands")

# %% [markdown]
"""
### Few places cost more than the dullness does

Student D's local strokes leave ridges (lesson 03), and these stay dull until every flat goes deeper. Forty instruments each; ± is the 90 % interval of a mean, from the number
of lives alone. Weighed steel (0.0017 to 0.019 mg a stroke, Hessheimer 2017) and counted strokes (7 to 10, Huang & Tseng 1991, Moses 2003) speak for a stone that rolls.

And how often? Sharpened sooner, there is less dullness to clear, but ridges and an unsteady hand are paid for at every session. That is no advice to
wait: a dull edge slips and needs force, and the model knows nothing of what that does to patient and hand.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Table and answer: places, and working strokes between two sessions (code hidden)
alike, count, use = ek.Use(sharp_radius_gsd=1.0), "method.stroke.placements", "use.strokes"
local, rolls = (ek.LifeCase(blade=blade, method=ek.methods.freehand(stroke=s), use=alike, max_sessions=12) for s in (ek.strokes.local(), ek.strokes.rolling()))
table = ek.sweep(local, ek.full_grid({count: [6, 8, 12, 16, 24], use: [15.0, 45.0, 90.0]}), runs=40, seed=2026, progress=False)
rolled = ek.sweep(rolls, ek.full_grid({use: [15.0, 45.0, 90.0]}), runs=40, seed=2026, progress=False).assign(**{count: "rolled"})
both = lesson.means(lesson.stacked(table, rolled), by=(count, use), column="loss_um_per_session")
display(lesson.table(both, {count: "places", 15.0: "after 15 working strokes", 45.0: "after 45", 90.0: "after 90"}, caption="Width that a session takes, µm"))
at, per = table.groupby([count, use])["loss_um_per_session"].mean(), rolled.groupby(use)["loss_um_per_session"].mean()
lesson.answer(f"Rolled, {per[45.0]:.1f} µm after 45 working strokes; at six places {at[6, 45]:.0f} µm, at 24 places {at[24, 45]:.0f} µm.",
              f"Sharpened every 15 strokes instead of 45, rolling costs {3 * per[15.0]:.0f} µm for the same 45 strokes of work, not {per[45.0]:.1f}. A hair is some 70 µm thick.")

# %% [markdown]
"""
## Play

Turn the number of places: each dot is an instrument, on axes that stay. Watch how the rows overlap: one instrument proves nothing.
"""


# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: places, the instruments of the table (code hidden)
def cloud(places):
    found = table[table[count] == places].groupby(use)["loss_um_per_session"]
    return lesson.lives({f"after {strokes:g}": values for strokes, values in found}, f"{places} places", quantity="µm a session", end=80)

lesson.flip("Places where the stone is set down", cloud, [6, 8, 12, 16, 24], first=2)

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: places, sooner, the last strokes (code hidden)
display(lesson.ask("With 6 places instead of 24, at the same dullness, a session takes …", {"less width": ("strokes are steel", "Ridges between few flats stay dull until all flats go deeper."),
    "about the same": ("a session costs its dullness", "The dullness is the same, yes. The ridges on top of it are not."), "about twice the width": "The ridges cost more than the dullness itself."},
    right=lesson.nearest(at[6, 45] / at[24, 45], {0.7: "less width", 1: "about the same", 2: "about twice the width"})))
display(lesson.ask("A third of the working strokes between sessions, with 24 places. A session takes …", {"a third of the width": ("a session costs only the dullness it clears", "Ridges and the hand are paid for every time."),
    "a little less width": "There is less dullness to clear, but the rest of the price stays.", "as much width": ("a session is a session", "Less dullness asks for less depth.")},
    right=lesson.nearest(at[24, 15] / at[24, 45], {1 / 3: "a third of the width", 0.8: "a little less width", 1.0: "as much width"})))
lesson.ask_number("Rolled, after 45 working strokes: how much width does a session take, by the table? To one micrometre:", per[45.0], within=1, unit="µm", why=f"{per[45.0]:.1f} µm: less than a tenth of a hair.",
    small="That is what little use asks for.", large="That is nearer to local strokes.")

# %% [markdown]
"""
## At the bench

Mark the flank of a practice blade with a felt pen. Make two strokes, look at edge and ink, make two more, and stop at the first look that finds the edge good. Count. Let a
colleague tally how often you set the stone down.

**Take away.** Every stroke takes steel, needed or not: look after every few, and stop. If you set the stone down at places, make them many; better, roll.

**What this does not tell you.** How long you may wait between sessions. The steel that a stroke takes, the dullness and the hand are **assumed**; trust differences further than
levels.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: strokes are the price, looking is the saving. 20 minutes. You need: a practice blade, a stone, a felt pen. Classes say "nothing: it is sharp already" and "fewer places, less steel". Ask aloud: how would you know that an edge is
good without grinding on? Without a computer: cut a wedge of soap with a card, stroke by stroke, and measure after every two. Assumed: the steel of a stroke, the dullness, the hand. Published: weighed steel and counted strokes.
"""
