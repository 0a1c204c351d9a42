# %% [markdown]
"""
# What did this session take?

*The clinic, its blade, its wear and every picture are invented and rendered. Real optics are less kind: expect three to
five times the uncertainty until your own repeat mounts say otherwise.*

Fernhollow has replaced FH-03-AS1, nearly used up in lessons 09 and 11. The new blade of that code was sharpened twice in March. Before, between and after it was photographed three times each, lit from
behind, mounted again for every picture. **How much steel did each session take, and how sure can the log be?**

About 25 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

A session takes some 10 µm. One pixel of these pictures is larger than that.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the scale from a board, the outlines of all pictures, and two sessions (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

P, days = ek.pictures, ["2026-03-02", "2026-03-09", "2026-03-16"]
scale = P.calibrate(P.read_picture("../data_demo/pictures/board.png", response=P.SRGB), P.Checkerboard(pitch_mm=0.5, squares=(14, 6)))
def line(name):
    return P.outline(P.read_picture(f"../data_demo/pictures/{name}.png", response=P.SRGB), scale, heel=P.EdgeLength(side=P.Side.LEFT, length_mm=6.26))
mounts = {day: [line(f"FH-03-AS1_{day}_{k}") for k in "abc"] for day in days}
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: what limits a loss read from pictures (code hidden)
import numpy as np
import pandas as pd

mount = P.Mount(distance_mm=120, sharpening_known_off=True)  # levelled to 1°, to 0.05 mm
given = {"datum": P.Datum.UNUSED_EDGE_AND_SHANK, "side": P.Side.LEFT, "mount": mount}
first, second = (P.width_loss(mounts[one], mounts[two], **given) for one, two in (days[:2], days[1:]))
lead, then, *_ = dict.fromkeys(row.source.split(",")[0] for row in first.budget.rows)
lesson.ask("What limits how well a loss of 10 µm is known from two pictures?", {
    "the pixels: one is larger": ("nothing is seen below a pixel", "A backlit edge is found to a few hundredths of a pixel."), "the blade: how it lies, how round its edge is": f"Once the light is right. The widest bars are {lead} of the edge, before and after; then comes {then}, then the ways in which the blade may lie.",
    "the light": ("bad light blurs the answer", "It would, but pictures with bad light are refused here; see Play."),
}, right="the blade: how it lies, how round its edge is" if lead.startswith(("roundness", "roll", "pitch")) else "the light", then=[lesson.shown(ek.figures.uncertainty(first))], gate=True)

# %% [markdown]
"""
## See

### What nobody ground holds the pictures together

Why a board and no ruler? It shows tilt and the lens's bending. What it cannot show is a wrong pitch, and a face that
does not lie in its plane. The edge's length gives the place of the heel: a silhouette has no mark there.

**What happened?** The pictures are laid over one another on the unused edge and the shank, which nobody ground. What is left is
what the stone took: a scallop for each of fourteen places. Round the toe these lie too far apart.

<details><summary>The formula (for teachers)</summary>

A silhouette shows the shadow of a width w that lies tilted by θ: w cos θ. It is short by w (1 − cos θ), close to w θ²/2. Loss is the difference of two pictures, so that what both have in common, such as the board's pitch, all but falls out.

</details>
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Pictures, table and answer: the outline, the loss, and two sessions beside the truth that was drawn (code hidden)
display(lesson.fold("The scale", scale), lesson.shown(ek.figures.outline(mounts[days[0]][0])), lesson.shown(ek.figures.width_loss(first)))
truth = pd.read_csv("../data_demo/pictures/truth.csv", comment="#")
state = [np.interp(first.arc_mm, truth["arc_mm"], truth[f"recession_um_{day}"]) for day in days]
rows = [(n, s.mean_um, *s.interval_um(), s.deepest_um, (after - before).mean()) for n, s, (before, after) in ((1, first, state[:2]), (2, second, state[1:]))]
both = pd.DataFrame(rows, columns=["session", "mean", "low", "high", "deepest", "true"])
words = {"session": "session", "mean": "mean loss, µm", "low": "from", "high": "to", "deepest": "deepest, µm", "true": "truth, mean, µm"}
display(lesson.table(both, words, digits=1, caption="The two sessions, with the truth that the pictures were drawn from"))
bare, half = first.arc_mm[first.recession_um < first.sd_um], first.interval_um()[1] - first.mean_um
lesson.answer(f"The first session took {first.mean_um:.1f} µm, within {first.interval_um()[0]:.1f} to {first.interval_um()[1]:.1f}.", f"The second took {second.mean_um:.1f}. No pixel sets the width of that interval: {lead} of the edge does, then {then}.",
              f"On a real bench expect three to five times that ± {half:.1f}: {3 * half:.1f} to {5 * half:.1f} µm, until your own repeat mounts say otherwise.",
              f"Between {bare[0]:.1f} and {bare[-1]:.1f} mm from the heel, {len(bare)} of {(first.arc_mm >= bare[0]).sum()} stations lost nothing: the stone did not reach them, and they are as dull as before.")

# %% [markdown]
"""
### The log takes it, and so does the model
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Tables: rows for the log; the worn blade, with the least and the most worn that the pictures allow (code hidden)
log = first.to_log_rows(instrument="FH-03-AS1", pattern="area-specific curette", edge="used", before=days[0], after=days[1])
display(lesson.table(log, {name: name.replace("_mm", ", mm") for name in ("instrument", "edge", "date", "event", "width_mm", "note")}, digits=4,
    caption=f"Rows as the log takes them. The widths are read at mid-edge: there the stone took {1000 * (first.width_before_mm - first.width_after_mm):.1f} µm; {first.mean_um:.1f} is the mean along the edge, its toe included. U {2 * first.width_u_um:.1f} µm is of one width, ± {half:.2f} of the loss: both pictures share the board's errors"))
blade = ek.read_blade("../data_demo/traces/FH-03-AS1.toml")
both = P.width_loss(mounts[days[0]], mounts[days[2]], **given)
worn = [ek.WornBlade.from_pictures(blade, {"used": both}, sds=k) for k in (-2, 0, 2)]
ranges = pd.DataFrame({"blade": ["least worn", "best estimate", "most worn"], "width": [w.width_mm for w in worn], "steel": [w.steel_lost_mg for w in worn]})
lesson.table(ranges, {"blade": "blade", "width": "width, mm", "steel": "steel lost, mg"}, digits=3, caption="After both sessions, for the models of wear and strength")

# %% [markdown]
"""
## Play

Tilt the blade and watch its width. Then fall into three traps of light on purpose: each would move the edge by as much as a session takes.
"""


# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: tilt; then three pictures with bad light, a tilt of 8°, and one mount alone (code hidden)
def tried(name):
    try:
        return repr(line(name))
    except ek.EdgekitError as error:
        return str(error)
full = P.width(mounts[days[0]][0], side=P.Side.LEFT, mount=mount).width_mm
display(lesson.flip("Tilt, °", lambda tilt: lesson.tilt_cost(full, tilt, first.mean_um), [0, 1, 2, 3, 4, 5, 6, 8, 10], first=1))
traps = pd.DataFrame({"trap": ["clipped", "glare", "front_light"]}).assign(says=lambda t: ("trap_" + t["trap"]).map(tried))
display(lesson.table(traps, {"trap": "picture", "says": "why it is refused"}, caption="Pictures with bad light"))
tilted, alone = P.width(line("trap_tilted"), side=P.Side.LEFT, mount=mount).width_mm, P.width_loss(mounts[days[0]][:1], mounts[days[1]][:1], **given)
lesson.answer(f"The picture taken at 8° reads {1000 * (full - tilted):.1f} µm less; the cosine says {1000 * full * (1 - np.cos(np.radians(8))):.1f}.", f"From one mount instead of three the first session is {alone.mean_um:.1f} µm, {alone.interval_um()[0]:.1f} to {alone.interval_um()[1]:.1f}, and levelling is taken on trust.")

# %% [markdown]
"""
## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: one degree, dull before and sharp after, what cancels (code hidden)
one = 1000 * full * (1 - np.cos(np.radians(1)))
display(lesson.ask_number("At a tilt of 1°, how many micrometres is the blade too narrow? To a tenth:", one, within=0.1, unit="µm", why=f"{one:.2f} µm: the cosine is flat at its top.",
    small="It is more than nothing, but hardly.", large="It grows with the square: an eighth of the tilt is a sixty-fourth of the error."))
display(lesson.ask("Dull before, sharp after: the picture shows …", {"too little loss": "A silhouette shows the outermost point of a rounded edge, which lies inside where the sharp one was.",
    "too much loss": ("dullness is wear", "The rounded edge already looks narrower before the session."),
    "the same loss": ("a picture shows what is there", "It shows the outermost point, and a rounded edge has it further in.")}, right="too little loss"))
lesson.ask("Both pictures are taken alike. Which cancels?", {"the camera's sharpening": "So do the response curve and the target's certificate: both pictures share them.",
    "how the blade lies": ("all errors repeat", "It is put in anew each time."), "dust on the edge": ("dust is everywhere", "It lies in one picture and not in the other.")}, right="the camera's sharpening")

# %% [markdown]
"""
## At the bench

The steps are on one sheet to print, *Pictures at the bench*, beside the worksheets. Try three of them today: light from behind only, in a dark room;
the face level to within 1° and in the plane of the board; and the blade taken out and put back three times, for the scatter of your own readings is your uncertainty. A pin of known width,
read like the blade, must come out within the budget.

**Take away.** Light first; then the edge freshly sharpened for both pictures, as its roundness is the largest doubt left; then level, and repeat the mount. The arithmetic is the least of it.

**What this does not tell you.** Dirt, a wire edge and coloured fringes are not drawn here; a wire edge reads as steel. A picture shows
width, not sharpness.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: a measurement is as good as its repeats. 25 minutes. You need: the protocol for pictures; for the bench, a camera and a target. Classes blame the pixels. Let the class guess the tilt that costs as much as a session before they see the cosine. Ask aloud: which error would a better camera mend? Without a computer: hold a card under a lamp, tilt it, and measure its shadow. Everything is rendered; the numbers
hold for these pictures alone. Assumed: levelling, height and the target's bounds. Published: the rules by which a budget is added up (JCGM 100).
"""
