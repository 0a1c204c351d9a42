# %% [markdown]
"""
# How sure is a number that was simulated?

*For scientists; the other lessons do without it. The Fernhollow College teaching clinic and its instruments are invented.*

Lesson 05 says what a session of local strokes takes from FH-03-AS1. A reviewer writes: "You simulated forty instruments. Had you simulated four hundred, would I
trust the number ten times as much?" **What would make it truer: more lives, or better inputs?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

Two things make the number uncertain. Instruments and hands differ from life to life, so that a mean over few lives is a guess. And most inputs, such as how fast an edge dulls, nobody has
measured.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: a pilot of sixty lives, and each input moved across its spread (code hidden)
from IPython.display import display
from scipy import stats

import edgekit as ek
import lesson

task = ek.LifeCase(blade=ek.read_blade("../data_demo/traces/FH-03-AS1.toml"), method=ek.methods.freehand(stroke=ek.strokes.local()), use=ek.Use(sharp_radius_gsd=1.0), max_sessions=8)
pilot = ek.sweep(task, ek.list_grid([{"method.stroke.placements": 12}]), runs=60, seed=1, progress=False)["loss_um_per_session"]
inputs = {"method.stroke.placements": stats.randint(6, 25), "use.strokes": (15.0, 90.0), "use.law.rate": stats.lognorm(s=0.7, scale=0.43),
          "method.hand.tilt_deg.sd": (1.0, 5.0), "method.hand.swing_deg.sd": (2.0, 7.0)}
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: more lives or better inputs (code hidden)
runs, moved = ek.runs_needed(pilot, error=1.0), ek.tornado(task, inputs, runs=40, seed=2026, progress=False)
half = 1.645 * pilot.sem()
bars = moved.table.query("output == 'loss_um_per_session'").set_index("input")["swing"].abs()
unmeasured = float((bars[["use.law.rate", "method.hand.tilt_deg.sd", "method.hand.swing_deg.sd"]] ** 2).sum() ** 0.5)
lives, inputs_first, neither = "more lives", "better inputs", "neither: both matter alike"
lesson.ask(f"A pilot of sixty lives with 12 places gives {pilot.mean():.1f} ± {half:.1f} µm (90 % interval of the mean). What would make the number truer first?", {
    lives: ("more data is more truth", f"{runs} lives bring the mean within one micrometre, and the interval to nothing in the end. The inputs stay as wrong as they were."),
    inputs_first: f"The hand's tilt alone moves the mean by {bars['method.hand.tilt_deg.sd']:.0f} µm between its 10 % and 90 % points; with its swing and how fast edges dull {unmeasured:.0f}.",
    neither: ("uncertainties are all alike", "One of them can be made as small as you like by waiting; the other cannot."),
}, right=lesson.nearest(unmeasured / (2 * half), {0.4: lives, 1: neither, 2.5: inputs_first}), then=[lesson.shown(ek.figures.tornado(moved))], gate=True)

# %% [markdown]
"""
## See

Each bar moves one input from the 10 % to the 90 % point of its spread; the rest stay at their medians. The numbers at its ends are the input's: degrees for tilt and swing, counts for places and strokes. The longest bar belongs to something that you choose. The next two, the hand's tilt and the rate of dulling,
nobody has measured.

### The interval of a mean speaks of the number of lives alone

A mean over n lives has a standard error that falls with the root of n: four times the lives, half the interval. Comparing two methods is cheaper than knowing one: where
both meet the *same* instruments and hands, run by run, what they share falls out of the difference.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Answer: a difference on the same forty instruments, and on others; four hundred are kept for Play (code hidden)
big = ek.sweep(task, ek.list_grid([{"method.stroke.placements": 12}, {"method.stroke.placements": 16}]), runs=400, seed=3, progress=False)
every = big.pivot(index="run", columns="method.stroke.placements", values="loss_um_per_session")
wide = every.head(40)
paired = 1.645 * (wide[12] - wide[16]).sem()
apart = 1.645 * (wide[12].sem() ** 2 + wide[16].sem() ** 2) ** 0.5
lesson.answer(f"12 places take {(wide[12] - wide[16]).mean():.1f} µm more than 16: ± {paired:.1f} on the same forty instruments, ± {apart:.1f} had they been others.",
              f"The two means alone, {wide[12].mean():.1f} ± {1.645 * wide[12].sem():.1f} and {wide[16].mean():.1f} ± {1.645 * wide[16].sem():.1f}, say far less. They are of forty new lives, with 12 and with 16 places; the pilot's sixty, with 12, gave {pilot.mean():.1f}.")

# %% [markdown]
"""
### Shares of the variance say which input to measure

The picture shares out the variance of the mean loss when the inputs vary at once (Sobol' indices). Dot: what would go if that input were known. Square: what would stay if all others
were. It lies right of its dot by what the inputs do together. That counts for each of them, so the squares add to more than 100 %. Lines: 90 % intervals, from the number of instruments alone.

<details><summary>The formula (for teachers)</summary>

First share: Var(E(Y | X)) / Var(Y). Total share: E(Var(Y | all others)) / Var(Y) (Homma & Saltelli 1996). From a full grid of three levels of each input, at the points of Gauss's rule (11, 50 and 89 % of its
probability): exact where curves of the second degree are. `ek.sensitivity` takes random points, for what does not. For ten times the lives, hand `ek.sweep` an executor and a folder.

</details>
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Picture and answer: shares of the variance; does the finding hold if the inputs are wrong? (code hidden)
called = {"method.stroke.placements": "places", "method.hand.tilt_deg.sd": "tilt", "use.law.rate": "dulling"}
levels = lesson.at_levels({name: inputs[name] for name in called})
grown = ek.sweep(task, ek.full_grid(levels), runs=20, seed=2026, progress=False)
display(lesson.shares(grown, called, "loss_um_per_session"))
level = grown.groupby(list(called)[::-1])["loss_um_per_session"].mean().unstack()
more = level.iloc[:, 0] - level.iloc[:, -1]
lesson.answer("Better inputs make the level truer; the finding holds already.", f"Wherever dulling and tilt stand on their levels, {level.columns[0]:.0f} places take {more.min():.0f} to {more.max():.0f} µm more per session than {level.columns[-1]:.0f}.")

# %% [markdown]
"""
## Play

Each dot is a small study that asks which loses less, 12 places or 16. Four hundred lives of each are shared out. Turn the number in a study, down to two and up to a hundred. The upper row tries the two on different instruments, the lower one
on the same.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the number of lives in a study (code hidden)
ways = every[12].to_numpy(), every[16].to_numpy()
lesson.flip("Lives of each", lambda count: lesson.ranked(*ways, count), [2, 4, 8, 16, 25, 50, 100], first=3)

# %% [markdown]
"""
**What happened?** With two lives of each there are two hundred studies, and more than one in four names the worse way. Instruments differ by more than the two ways do, so that a lucky pair decides. Another seed, another winner. The
lower row is as small and hardly ever wrong: whatever an instrument does to one way, it does to the other.

<details><summary>The formula (for teachers)</summary>

The chance of the wrong sign is Φ(−Δ √n / (σ √2)), for n lives of each with standard deviation σ and ways that differ by Δ. On the same instruments the standard
deviation of the difference takes the place of σ √2.

</details>

## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: overlapping means, four times the lives, what to measure (code hidden)
display(lesson.ask("Eight lives with 12 places lost 19 ± 3 µm, the same eight instruments with 16 places 17 ± 3. Is 16 better?", {"yes": ("the smaller mean wins", "Two micrometres are well within both intervals."),
    "no": ("overlap means equal", "Overlap leaves it open."), "these numbers cannot say": "Both met the same instruments: look at the differences, life by life."}, right="these numbers cannot say" if paired < apart else "yes"))
display(lesson.ask_number(f"The pilot's sixty lives gave ± {half:.1f} µm. What would two hundred and forty give? To a quarter of a micrometre:", half / 2, within=0.25, unit="µm", why=f"± {half / 2:.1f} µm: the root of four is two.",
    small="A quarter would need sixteen times the lives.", large="Four times the lives do better than that."))
lesson.ask("Which would you measure first, to trust the level more?", {"how much the hand tilts": "Its bar is the longest of those that are not yours to choose.",
    "how fast edges dull": ("what is least known moves most", "Its bar is long, but the tilt's is longer."), "the number of places": ("the longest bar first", "You choose it; it needs counting, not measuring."),
    "the share of width at retirement": ("the end of life decides", "It ends the life; it hardly moves what a session takes.")}, right={"method.hand.tilt_deg.sd": "how much the hand tilts", "use.law.rate": "how fast edges dull"}[bars.drop("method.stroke.placements").idxmax()])

# %% [markdown]
"""
## At the bench

Measure the same blade ten times, then ten blades once each. One spread is your error, the other the blades'. More readings make only the first one harmless.

**Take away.** Lives are cheap and inputs are dear. Say which of the two your ± is about; compare on the same instruments; and ask of every finding whether it holds at the ends of the inputs.

**What this does not tell you.** Whether the model itself is right: both kinds of ± live inside it.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: tell apart the error of a mean, the spread of lives, and ignorance of inputs. 20 minutes. You need: a caliper and ten blades, or a handful of dice. Classes of scientists predict "more lives". Ask aloud: which of the three would a referee's tenfold simulation shrink?
Without a computer: ten dice thrown once against one die thrown ten times, when nobody knows whether the die is fair. Assumed: every spread of an input; see `ek.evidence()`.
"""
