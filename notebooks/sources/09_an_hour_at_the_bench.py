# %% [markdown]
"""
# What fits into an hour at the bench?

*The clinic, its instruments and every number in its log are invented.*

Operator C at Fernhollow has tray FH-03 on the bench: eight instruments, eleven edges, one holder, one hour before the
next class. Changing the holder's setting takes her longer than grinding an edge. **Which
settings does she need, in which order, and what can the holder not do at all?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

Each edge accepts a small range of angles between handle and stone. Eleven edges, an angle kept within 4° everywhere.
How many settings does the tray need?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the tray as it was traced, the log as it was kept, and a plan (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

tray = ek.read_tray("../data_demo/tray_FH-03.csv")
due = ek.forecast(log := ek.read_log("../data_demo/log_messy.csv", day_first=True), retire=ek.MaxWidthLoss(fraction=0.2)).table
old = due[due["instrument"].isin(tray) & (due["status"] == "in use")].sort_values("sessions_left")
urgent = list(old.loc[old["sessions_left_low"] < 1, "instrument"])
plan = ek.plan_bench(tray, tolerance_deg=4, urgent=urgent, holder=ek.Holder(pivot_height_mm=60, reach_mm=80, stone_height_mm=12))  # as the clinic measured it (invented)
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: how many settings for eleven edges (code hidden)
edges, settings = len(plan.requirements), len(plan.settings)
lesson.ask(f"{edges} edges within 4° need …", {
    "one setting": ("all edges are alike", "One serves every edge whose face is square to the handle. Tilted faces lie elsewhere."),
    f"{settings} settings": "Edges that accept a common angle share it; the curved ones each want their own.",
    f"{edges} settings": ("every edge wants its own", "It would be safe, but edges that accept a common angle can share it."),
}, right=f"{settings} settings", then=[lesson.tray_settings(plan, "Within 4°")], gate=True)

# %% [markdown]
"""
## See

Wherever bars overlap, one setting serves them all. Bars that do not overlap prove that
fewer settings cannot do. No holder stands exactly where its scale says: half a degree is taken off both ends of every bar. The table of settings gives the range before that.

<details><summary>The rule (for teachers)</summary>

Go through the bars by their right ends. Whenever a bar holds no setting yet, put one at its right end. The bars that
made you do so never overlap, so no plan has fewer settings than this one. An edge whose bar would be empty is cut into
stretches first.

</details>

### Sorted by setting, the tray asks for few changes

First the log, though: an edge that may have less than one session left is *urgent*. It comes before all others, whatever its setting, so that its width is read and a replacement ordered today; then the settings rise. Every date in the log is day first (lesson 11). Most of the tray was replaced within the year; these are the old ones.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Tables and answer: the old edges by the log, the settings in order, and where the time goes (code hidden)
words = {"instrument": "instrument", "edge": "edge", "sessions_left_low": "sessions left, at least", "sessions_left": "middle", "sessions_left_high": "at most"}
display(lesson.table(old, words, digits=1, caption=f"Sessions left (90 % interval). Urgent, as it may have less than one: {', '.join(urgent)}"))
order = {"run": "run", "elevation_deg": "setting, °", "low_deg": "holder may stand from", "high_deg": "to", "riser_mm": "plates under the stone, mm", "edges": "edges or parts"}
display(lesson.table(plan.settings, order, digits=1, caption="The settings in the order of work: the urgent one, then from the lowest up. An edge cut in two is named at two settings. Plates below 0: none, the pivot higher by that"))
parts = {"part": "part", "count": "how often", "seconds_each": "seconds each", "minutes": "minutes", "minutes_low": "at least", "minutes_high": "at most"}
display(lesson.table(plan.minutes, parts, digits=1, caption=f"Where the time goes (90 % interval; counts are exact, seconds assumed). {(plan.order.how != 'holder').sum()} mountings are in the hand. Middles do not add up: a long delay adds more than a short one saves"))
time, (mid, low, high) = plan.minutes.set_index("part"), lesson.practised(plan)
edge, need = tray["FH-03-AS1"].edges["used"], plan.edges.set_index("instrument").loc["FH-03-AS1"]
same, whole, share = ek.best_setting(edge.stretch(0, edge.length_mm - 0.7), tolerance_deg=4).window_deg, time.loc["all"], time.loc["grinding"].minutes / time.loc["all"].minutes
lesson.answer(f"{settings} settings for {edges} edges, {whole.minutes:.0f} minutes ({whole.minutes_low:.0f} to {whole.minutes_high:.0f}).",
              f"That leaves out turning, ink, card and plates changed on the way. With them somebody practised takes {mid:.0f} minutes ({low:.0f} to {high:.0f}, assumed): about one tray an hour; a reader who acted it out judged 95. Grinding is {100 * share:.0f} % of the plan.", f"Lesson 02 held the side of FH-03-AS1 within 2°. Within 4° that side accepts {same[0]:.1f}° to {same[1]:.1f}°; here the room is spent on going further round the toe, to {plan.unserved.set_index('instrument').from_mm['FH-03-AS1']:.1f} mm. That leaves {need.low_deg:.1f}° to {need.high_deg:.1f}°, and the edge that shares the setting a little less.")

# %% [markdown]
"""
### The model's seconds stand beside those of common practice

Common practice says 45 s for a universal end and 30 s for an area-specific one.
That has no source; it is a check and no more. The model is slower: it counts mounting, looking and its share of setting.

### What the holder cannot do is left to the hand

At a curved toe the right angle changes faster than any one setting can follow. Those stretches are for the hand:
not with the handle at its angle, which would lie in the bench below 0°, but with the blade held still and the stone in the other hand.
Then only the angle between stone and face counts, and that is the same all round the edge.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Tables and files: seconds, what is left to the hand, and the setting sheet (code hidden)
check = {"instrument": "instrument", "kind": "kind", "seconds": "model, s", "practice_seconds": "common practice, s"}
display(lesson.table(plan.practice, check, digits=0, caption="Seconds for each working end"))
left = {"instrument": "instrument", "edge": "edge", "from_mm": "from, mm", "to_mm": "to, mm", "reason": "why", "advice": "how"}
display(lesson.table(plan.unserved, left, digits=2, caption="What is left to the hand, and how to hold it"))
words = {"title": "Tray FH-03 (invented)", "log": log}
ek.setting_sheet(plan, "tray_FH-03.html", replace=True, **words)
ek.figures.sheet(plan, **words)

# %% [markdown]
"""
## Play

Change how exact the angle must be: up to 8°, and down to half a degree, the holder's own error. Where does the plan break down?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the tolerance in degrees (code hidden)
plans = {tolerance: ek.plan_bench(tray, tolerance_deg=tolerance) for tolerance in (0.5, 0.6, 0.8, 1, 1.5, 2, 3, 4, 8)}
lesson.flip("Angle kept within, °", lambda tolerance: lesson.tray_settings(plans[tolerance], f"Within {tolerance}°"), list(plans), first=7)

# %% [markdown]
"""
**What happened?** A stricter angle leaves less room, but not always a shorter bar. Room is spent first on going further round the toe: the bar of AS3 is shorter at 8° than at 4°. From two degrees down there are more settings than edges: a curved edge
is cut into stretches, each with its own. At half a degree nearly the whole tray is left to the hand: the holder may be off by that
much itself.

<details><summary>The formula (for teachers)</summary>

For a flat face a bar is 2 (T − e) − D wide: tolerance T, error e of the holder's setting, drift D of the right setting. At T = e nothing is left.

</details>

## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: two curettes more, a promise, eight minutes left (code hidden)
more = tray | {f"{name}-2": tray["FH-03-UC"] for name in ("FH-04-UC", "FH-05-UC")}
extra = len(ek.plan_bench(more, tolerance_deg=4).settings) - settings
display(lesson.ask("Two universal curettes more, like the first: how many settings more?", {"two": ("every instrument wants its own", "They share the setting of the first."), "none": "They share the setting of the first.",
    "one": ("a second hand needs a second setting", "Not where their windows overlap: one setting serves all three.")},
    right="none" if extra == 0 else "two"))
display(lesson.ask(f"The minutes say {whole.minutes:.0f}, from {whole.minutes_low:.0f} to {whole.minutes_high:.0f}. May she promise the tray in {whole.minutes:.0f}?",
    {"yes": ("the middle is a promise", "Half of such sessions take longer."), "no": "Half of such sessions take longer.",
    "yes, if the seconds are right": ("only the seconds are unsure", "Even with the right mean a session varies: half take longer than the middle.")}, right="no"))
short = ek.plan_bench(tray, tolerance_deg=4, urgent=urgent, minutes_available=8)
gone = short.unserved[short.unserved["reason"].str.startswith("no time")]
lesson.fold("The phone rings, 8 minutes are left. What would you drop? Open when you have chosen", lesson.table(gone, {"instrument": "instrument", "edge": "edge", "reason": "why"}, caption=f"Left out. What is urgent stays (only {', '.join(urgent)}), then edges of one setting, shared ones first"))

# %% [markdown]
"""
## At the bench

The last cell of "See" wrote the pages to work from, to print on one side: tray_FH-03.html,
beside this notebook. They begin with what a practitioner decides and signs; the first times somebody who has done it stands by.

**Take away.** Sort the tray by setting, and the holder is set once for each setting, not once for each edge. The toes of curved blades stay
with the hand.

**What this does not tell you.** How long *you* take: the seconds are assumed, those of a first time on the sheet as well. Whether your blade is the traced one. The
plates are those of this clinic's holder, and the half degree that it may be off is assumed: measure yours.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: sort by setting, and say what is left to the hand. 20 minutes; with a tray and a holder it makes an hour. You need: a tray, a holder, a felt pen. Classes predict "one" (they know the universal)
or "eleven". Ask aloud: which bar would you widen first? Without a computer: let them cross the bars with a ruler and count.
Pivot 60 mm, reach 80 mm and stone 12 mm are invented. Assumed: the half degree and all seconds. Published: the strokes, from protocols.
"""
