# %% [markdown]
"""
# Which instruments must be replaced?

*The clinic, its instruments and every number in its log are invented.*

The manager at Fernhollow wants next year's order by Friday. All she has is a spreadsheet that six people have kept for
fourteen months: widths with points and commas, dates in two styles, slips. **Which instruments will go, and how
sure can anyone be?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

One curette, FH-11-AS1, stands close to its limit. By all its readings, how many sessions are left?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the log as it is, read with every date day first, and a forecast (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

log = ek.read_log("../data_demo/log_messy.csv", day_first=True)
result = ek.forecast(log, retire=ek.MaxWidthLoss(fraction=0.2))
worn = result.table.set_index(["instrument", "edge"]).loc["FH-11-AS1", "used"]
limits = {percent: ek.forecast(log, retire=ek.MaxWidthLoss(fraction=percent / 100)) for percent in (10, 15)} | {20: result}
near, *gone = (lesson.readings(limits[p], "FH-11-AS1", "used", f"Limit {p} % of the width") for p in (20, 10, 15))
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: how sure is a forecast so near the limit (code hidden)
above = 1000 * (worn.width_mm - worn.limit_mm)
lesson.ask(f"FH-11-AS1 has been read {worn.readings} times and lost {worn.loss_um_per_session:.0f} µm a session. By all its readings it is {above:.0f} µm above its limit; one reading is good to about "
    f"{result.reading_sd_um:.0f} µm. It will last …", {
    "no session at all": ("the last reading decides", "It may. But the last reading alone can be wrong by several times the distance to the limit."),
    "none or one, nobody can say": f"The interval runs from {worn.sessions_left_low:.0f} to about {worn.sessions_left_high:.0f}.",
    "two or three": ("some life is always left", f"Each session takes {worn.loss_um_per_session:.0f} µm and {above:.0f} µm are left."),
}, right="none or one, nobody can say" if worn.sessions_left_low < 0.5 < worn.sessions_left_high < 1.5 else "two or three", then=[near], gate=True)

# %% [markdown]
"""
## See

The dots are readings, the line is the forecast, the black bar is where the two may meet. The manager may ask why this curette goes. These are the rows of the spreadsheet that say so, by line:
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Table: the edge's own rows behind its sessions left (code hidden)
rows = ek.source_rows(result, "FH-11-AS1", "used", "sessions_left")
own = rows[rows["part"].isin(["own reading", "refused"])]
lesson.table(own, {"part": "part", "line": "line of the log", "date": "date", "event": "event", "width_mm": "width, mm"}, digits=3, caption="Rows behind FH-11-AS1")

# %% [markdown]
"""
### Nothing is dropped in silence, and few readings borrow from many

A date such as 03/04/2025 has two meanings: the clinic says that every date is day first. Without
that word the reader refuses such rows, rather than guess.

A bar is long where an edge has few readings or little loss. Edges of one pattern and method
borrow strength from one another, so a blade with two readings is not judged by two readings alone.

<details><summary>How it is computed (for teachers)</summary>

Width falls along a line of sessions. Each edge has its own loss, drawn towards that of its pattern and method as far as its own readings
are few. Error of a reading, spread between edges and scatter of a session are estimated from the whole log. Where a straight line does not hold,
the table says so.

</details>
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Tables, picture and answer: refused lines by reason; the edges that reach their limit first (code hidden)
reasons = log.rejected.groupby("reason").agg(lines=("line", "count"), first=("line", "min"), example=("value", "first")).reset_index()
reasons["example"] = reasons["example"].str.slice(0, 40)
plain = ek.read_log("../data_demo/log_messy.csv")
display(lesson.table(reasons, {"reason": "reason", "lines": "lines", "first": "first in line", "example": "example"}, caption=f"{len(log.rejected_lines)} refused lines. With {len(log.rows)} rows read, {log.blank_lines} blank lines and the header that makes {len(log.rejected_lines) + len(log.rows) + log.blank_lines + 1} lines, the whole file. Its total counts once the {int((log.flags['reason'] == 'the same row twice').sum())} rows that stand twice"))
display(lesson.shown(ek.figures.due(result)))
live = result.table[result.table["status"] == "in use"].sort_values(["sessions_left", "sessions_left_high"])
order = live[live["sessions_left_low"] < 1]
display(lesson.table(order.head(12), {"instrument": "instrument", "edge": "edge", "sessions_left": "sessions left", "sessions_left_high": "at most", "retire_on_high": "the day of that"}, digits=2,
             caption=f"The replacement list, the first 12 of {len(order)} edges (90 % interval)"))
lesson.answer(f"{len(order)} edges may be at their limit at the next session.", f"By the middle estimate {near.numbers['edges_at_limit']} edges are at it now, those with 0.00 left. {len(log.rows)} rows are read; {len(log.rejected_lines)} lines are refused with every date day first, {len(plain.rejected_lines)} without that word.",
             f"How much may be lost is a choice: published opinion runs from 10 to 20 % of the width (Murray et al. 1984). At 10 % {gone[0].numbers['edges_at_limit']} edges would be at their limit today, at 15 % {gone[1].numbers['edges_at_limit']} edges.")

# %% [markdown]
"""
## Play

The same widths, had they been read with a coarser caliper. Turn its step. The title says how many edges the list then names that the good caliper does not. When would you no longer sign the order?
"""


# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the step of the caliper (code hidden)
def read_to(step):
    found = ek.forecast(lesson.coarser(log, step), retire=ek.MaxWidthLoss(fraction=0.2))
    return lesson.readings(found, "FH-11-AS1", "used", f"Read to {step} mm", beside=result)

lesson.flip("Step of the caliper, mm", read_to, [0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2])

# %% [markdown]
"""
**What happened?** A step of a tenth of a millimetre is what eight sessions take. The readings stand still and then jump, and the line through them is hardly known. So nearly every old edge
may be at its limit soon: the list grows long, and most of it is wrong. At two tenths the curette in the picture may be finished or last for fifty sessions. Its limit moves too: it is a fifth off the first width, and that is read as coarsely. A hundredth is as good as a thousandth, for
readings scatter by nearly that much anyway.

<details><summary>The formula (for teachers)</summary>

Rounding to a step h adds a standard uncertainty of h/√12 (JCGM 100, F.2.2.1; published). It matters once it nears the scatter of a reading, here 8 µm: from a step of some 0.03 mm on.

</details>

## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# The coming year, and questions: the first month, the refused lines, the order (code hidden)
year = ek.budget(result, prices=ek.read_prices("../data_demo/prices.csv"))
display(lesson.shown(ek.figures.replacements(year)))
display(lesson.ask("Why is the first month of the forecast so high?", {"edges at their limit fall due at once": "Nobody took them out when they reached it.", "the winter is busy": ("seasons", "The model knows no seasons."),
    "the forecast is cautious": ("a forecast errs high", "It errs either way; these are edges that stand at their limit today.")}, right="edges at their limit fall due at once" if near.numbers["edges_at_limit"] > 0 else "the winter is busy"))
display(lesson.ask(f"The log refused {len(log.rejected_lines)} lines. That makes the lives look …", {"no different": ("what is refused is gone", "A refused session still took its width, and the next reading shows it."), "a little shorter": "A session that is not counted makes each other one look costlier.", "a little longer":
    ("fewer rows, less wear", "The widths have fallen all the same, over fewer counted sessions.")}, right="a little shorter"))
low, middle, high = (year.total[f"replacements{end}"] for end in ("_low", "", "_high"))
lesson.ask(f"The picture expects {middle:.0f} instruments to go, {low:.0f} to {high:.0f}. May the manager order exactly {middle:.0f}?", {"yes": ("the middle is the plan", "It will be missed on either side; see the interval."), "order the high number": ("better too many", f"In a middling year {high - middle:.0f} of them would lie in a drawer."),
    "order less, keep money": f"She may order {low:.0f} at once and keep money for {high:.0f}."}, right="order less, keep money")

# %% [markdown]
"""
## At the bench

Measure five blades twice, on two days. The difference between the two readings is your own reading error: compare it with the one in the first question.

**Take away.** Order by the list, and keep money for the interval. A forecast without its interval is a guess.

**What this does not tell you.** Whether a tip is cracked or bent: that retires an instrument regardless of the list. Prices, wear and
breakages here are invented.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: a forecast is an interval with a list. 20 minutes. You need: five blades, a caliper. Classes trust the single number. Ask aloud: what would you do if it were wrong by two? Without a computer: draw five readings on squared paper and let the class lay a ruler through them. Published: the share of width that may be lost,
10 to 20 % (Murray et al. 1984). Assumed: how alike edges of one pattern are. Readings, losses and prices are invented. How the model compares with such a log is `ek.compare_with_model`.
"""
