# %% [markdown]
"""
# Is a steadier hand always better?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

Student D at Fernhollow sharpens FH-03-AS1 with *local strokes*: at each of four places along the edge she makes fifteen strokes, up and down. Her hand
swings by some 6° from stroke to stroke. Her teacher's does not swing at all. **Whose session takes less width?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

To *swing* is to turn the stone along the edge, now towards the toe and now towards the heel. Both go round all places, again and again, until nearly all of the edge is clear. Both
hold the angle to the face alike.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: two hundred sessions of hands that swing by so much (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

swing, places, each = "method.hand.swing_deg.sd", "method.stroke.placements", "method.stroke.strokes_per_placement"
alike = ek.Use(sharp_radius_gsd=1.0, severity_gsd=1.0)  # every edge equally dull, so that only the hands differ
task = ek.LifeCase(blade=ek.read_blade("../data_demo/traces/FH-03-AS1.toml"), method=ek.methods.freehand(stroke=ek.strokes.local()), use=alike, max_sessions=1)
def swung(count, *strokes, swings=(0.0, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 10.0, 12.0)):
    return ek.sweep(task, ek.full_grid({places: [count], each: [*strokes], swing: swings}), runs=200, seed=2026, progress=False)
lesson.start()


# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: a hand that swings, with few places (code hidden)
mean = (loss := (few := swung(4, 1, 15)).set_index([places, each, swing])["loss_um_per_session"].sort_index()).groupby(level=[0, 1, 2]).mean()
def cloud(count, strokes, end=340):
    groups = {f"swing {degrees:g}°": loss[count, strokes, degrees].to_numpy() for degrees in (0.0, 3.0, 6.0)}
    return lesson.lives(groups, f"{count} places, {strokes} stroke{'s' * (strokes > 1)} at each", quantity="µm of width lost", end=end)

teacher, student, same = "the steady teacher's", "the swinging student's", "neither: the dullness is the same"
lesson.ask("With four places and fifteen strokes at each, the session that takes less width is …", {
    teacher: ("steady is better", "A steady hand repeats one plane fifteen times, and the ridges between four planes must be ground away."),
    student: f"{mean[4, 15, 6.0]:.0f} µm against {mean[4, 15, 0.0]:.0f}: her fifteen strokes are fifteen different planes, and they smear the ridges.",
    same: ("a session takes its dullness", "The dullness is the same, but the ridges on top of it are not."),
}, right=lesson.nearest(mean[4, 15, 0.0] / mean[4, 15, 6.0], {0.5: teacher, 1: same, 2: student}), then=[cloud(4, 15)], gate=True)

# %% [markdown]
"""
## See

Each dot is one session: another hand, or the same on another day. A row of dots is a *cloud*. It is wide at swing 0 too, for tilt, place and pressure still vary. A hand that swings lays each stroke a little differently. Where
many strokes share a place, that rounds the ridges off. A steady hand leaves the same flat fifteen times.

### The gain is lost where nothing is left to smear

One stroke at each of four places cannot smear anything: there the swing only makes the stone touch in the wrong spot. It takes round after round until all is clear, and so a hundred micrometres and more. With sixty places there are no
ridges worth the name.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures: one stroke at each of four places; sixty places (code hidden)
loss = lesson.stacked(few, swung(12, 1), swung(60, 1)).set_index([places, each, swing])["loss_um_per_session"].sort_index()
mean = loss.groupby(level=[0, 1, 2]).mean()
lesson.row(cloud(4, 1), cloud(60, 1))

# %% [markdown]
"""
### A rolling stone does not suffer from swing, but from tilt

To *roll* is to go along the whole edge in each stroke, turning with it (lesson 05). In this model such a stone follows the edge however it swings. What it cannot mend is *tilt*: the angle to the face, which
lesson 04 is about. A tilt that changes from stroke to stroke makes the edge blunter than either hand means to. Within a stroke it wanders too, by ± 1° here: hence the first row is not 0.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Table and answer: a hand that rolls, by how much its tilt varies (code hidden)
rolled = ek.LifeCase(blade=task.blade, method=ek.methods.freehand(), use=alike, max_sessions=1)
tilt = ek.sweep(rolled, ek.full_grid({"method.hand.tilt_deg.sd": [0.0, 1.0, 2.5, 5.0]}), runs=200, seed=2026, progress=False)
by_tilt = tilt.groupby("method.hand.tilt_deg.sd")[["loss_um_per_session", "stone_strokes", "angle_error_deg"]].mean().reset_index()
words = {"method.hand.tilt_deg.sd": "tilt varies by, ° (standard deviation)", "loss_um_per_session": "width lost, µm", "stone_strokes": "strokes", "angle_error_deg": "edge blunter by, °"}
display(lesson.table(by_tilt, words, digits=1, caption="A stone that rolls along the edge: 200 sessions each"))
worst = by_tilt.iloc[-1]
lesson.answer(f"Not always: with four places a swing of 6° takes {mean[4, 15, 6.0]:.0f} µm of width and a steady hand {mean[4, 15, 0.0]:.0f}.",
              f"Four single strokes turn it round: {mean[4, 1, 6.0]:.0f} against {mean[4, 1, 0.0]:.0f}. With sixty it is {mean[60, 1, 6.0]:.1f} against {mean[60, 1, 0.0]:.1f}. And a tilt that varies is paid for in the angle: {worst.angle_error_deg:.1f}° blunter where it varies by {worst.iloc[0]:g}°. "
              "Do not learn to swing: set the stone down at more places, or roll it.")

# %% [markdown]
"""
## Play

Turn the swing of the hand. Each row says how many places, and how many strokes at each; the dotted line is a fifth of the width, where a blade is retired. Which row goes wrong, and which one gains?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the swing of the hand, four ways of stroking (code hidden)
fifth = (200 * task.blade.width_mm, "a fifth of the width")
def swinging(degrees):
    rows = {f"{count} places × {strokes}": loss[count, strokes, degrees].to_numpy() for count, strokes in ((4, 1), (4, 15), (12, 1), (60, 1))}
    return lesson.lives(rows, f"Swing {degrees}°", quantity="µm of width lost", end=340, limit=fifth)

lesson.flip("Swing of the hand, °", swinging, [0, 1, 2, 3, 4, 6, 8, 10, 12], first=0)

# %% [markdown]
"""
**What happened?** A swing moves the spot where the stone touches. Of four planes, two may then lie close together and leave a wide gap beside them: all four must go deeper until the last of
that gap is clear. At the end of the control one session in five uses the blade up. Twelve single places fare alike, with less at stake: they lose more than twice what they did. The second row swings as much and gains by it: its fifteen strokes at a place are fifteen planes, and some of them
come to every spot.

<details><summary>The formula (for teachers)</summary>

On an edge of radius R a plane turned by θ touches R sin θ further along: for 6.7 mm and 6° that is 0.7 mm, nearly half of the way from one of four places to the next. The ridge between planes grows with the square of the
widest gap (lesson 03).

</details>

## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: two clouds, one session each, what to practise (code hidden)
import numpy as np

wins = 100 * float(np.less.outer(loss[4, 15, 3.0].to_numpy(), loss[4, 15, 0.0].to_numpy()).mean())
most = f"{wins:.0f} of 100: the clouds overlap at their ends only."
display(lesson.ask("Four places, fifteen strokes each. One session of a hand that swings by 3°, one of the steady hand: the swinging hand takes less width …", {"in half of such pairs": ("single sessions are chance", "Most of its dots lie left of most of the others."),
    "in most pairs": most, "in every pair": ("the better mean wins each time", "The clouds overlap: now and then the steady hand wins.")}, right=lesson.nearest(wins, {50: "in half of such pairs", 85: "in most pairs", 100: "in every pair"})))
ratio = mean[60, 1, 6.0] / mean[60, 1, 0.0]
display(lesson.ask("With sixty places and one stroke at each, a swing of 6° takes …", {"a little more": "There are no ridges to smear, so the swing only errs.", "far less": ("swinging smears", "It does, where there are ridges."),
    "twice as much": ("errors are expensive", "Sixty planes cover for one another.")}, right=lesson.nearest(ratio, {0.5: "far less", 1.15: "a little more", 2: "twice as much"})))
lesson.ask("What should student D practise?", {"more places, or rolling": "That takes the ridges away instead of smearing them.", "a bigger swing": ("what helps once helps always", "It helps only where the places are too few."),
    "an ever steadier hand at four places": ("steady is better", "At four places it makes the ridges worse.")}, right="more places, or rolling" if mean[60, 1, 0.0] < mean[4, 15, 6.0] else "a bigger swing")

# %% [markdown]
"""
## At the bench

Ten holds each on a protractor card: set the stone, look, write down how far it is turned along the edge and how far it is tilted. Which of the two varies more? Put your own
swing beside the clouds.

**Take away.** A steady hand takes less width, unless many strokes share few places. More places help every hand. Watch the tilt: nothing in the stroke mends it.

**What this does not tell you.** How much your hand swings: nobody has published it for this work, and the 3.5° of the other lessons is **assumed**. One cloud is not one person: a
hand has habits that do not average out.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: an error is good or bad for a reason; one session is not the mean. 20 minutes. You need: a protractor card, a stone. Classes are sure of the steady hand. Show one dot first, then the cloud. Ask aloud: what
would a machine do at four places? Without a computer: print the clouds, cover the means and let the class guess them. Assumed: swing, tilt, and that all edges are equally dull.
"""
