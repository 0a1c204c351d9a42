# %% [markdown]
"""
# What does one degree do?

*The Fernhollow College teaching clinic, its instruments and its people are invented.*

The lateral surface of FH-03-AS1 stands at an internal angle of 75° to the face, so the stone belongs at 105° to the face. Operator B holds
it at 107°, every time, and is proud of never changing. Operator F leans the other way and is done in no time. **What do two degrees, or one, do to
the blade?**

About 20 minutes. In JupyterLab press the double arrow at the top once, and *Restart* in the red box that asks.

## Predict

At 107° the stone meets the *back* of the blade first. Before it reaches the edge, it must take away a wedge of steel that is thickest at
the back.
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "setup"]
# Set-up: the blade as digitised, and what two degrees leave at its back (code hidden)
from IPython.display import display

import edgekit as ek
import lesson

blade = ek.read_blade("../data_demo/traces/FH-03-AS1.toml")
two = lesson.wrong_angle(blade, 2)
lesson.start()

# %% jupyter={"source_hidden": true} tags=["hide-input", "predict"]
# Question: the wedge at the back (code hidden)
small, same, large = "about 1 µm", "about 5 µm, as far as the dull edge must go back", "about 20 µm"
thick = two.numbers["at_back_um"]
lesson.ask("At two degrees too much, the wedge of steel to be removed is at the back as thick as …", {
    small: ("two degrees are next to nothing", "Over a lateral surface half a millimetre long they are not."),
    same: ("a session takes its dullness", "That is what the edge itself asks for. The wedge comes on top of it."),
    large: f"{thick:.0f} µm: three times as far as a dull edge must go back, all along the blade.",
}, right=lesson.nearest(thick, {1: small, 5: same, 20: large}), then=[two, lesson.wrong_angle(blade, -2)], gate=True)

# %% [markdown]
"""
## See

The lateral surface is long and the edge is small. Turn the stone by a little, and its far end moves by many times what a dull edge needs.
The pictures are drawn several times too high, so that you see the wedge; the numbers are true. They show the lateral surface only: from some 0.5 mm on the back is round.

### Too large an angle costs strokes once; too small a one is quick and blunt

Operator F, at 103°, touches the edge only: a few strokes, no wedge, and an edge 2° blunter. Both repeat their error
at every session. What does the angle do? Choose before you open. (107° grinds 73°, within the 70 to 80° that are published. It is an error all the same: the blade
was made to 75°, and each change of angle grinds a new bevel, from edge to back.)
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Question and table: the same error at each of five sessions (code hidden)
five = lesson.same_error(blade, [-4.0, -2.0, 0.0, 1.0, 2.0])
off = five.set_index("off_deg")
display(lesson.ask("Two degrees too much at each of five sessions: afterwards the internal angle is off by …", {
    "0°, it evens out": ("errors cancel", "Errors that go both ways do. This one never changes."), "2°": "The last stroke sets the angle. Errors of the same kind do not add up; the steel they cost does.",
    "10°": ("errors add up", "Each session grinds the same plane a little further in. It does not turn it again.")},
    right=lesson.nearest(abs(off.last_off_deg[2.0]), {0.1: "0°, it evens out", 2: "2°", 10: "10°"})))
shown = five.assign(held=105 + five["off_deg"])
words = {"held": "stone to face, °", "first_strokes": "strokes, first session", "last_strokes": "strokes, fifth", "first_off_deg": "internal angle off by, first, °", "last_off_deg": "fifth, °", "width_um": "width lost in all, µm"}
caption = f"Five sessions with the same error, by a hand that errs in nothing else. Off by {off.first_off_deg[-2.0]:.1f}° after the first session is off by {off.last_off_deg[-2.0]:.1f}° after the fifth"
lesson.fold("Open when you have chosen: five sessions at five angles", lesson.table(shown, words, digits=1, caption=caption))

# %% jupyter={"source_hidden": true} tags=["hide-input", "see"]
# Answer: what one and two degrees cost, from the table (code hidden)
first, begun = off.first_strokes, lesson.same_error(blade, [0.0, 1.0, 1.5, 2.0], sessions=1).set_index("off_deg").width_um
lesson.answer(f"Two degrees too much: {first[2.0]:.0f} strokes in the first session, not {first[0.0]:.0f}; one degree: {first[1.0]:.0f}.",
              f"Two too little: {first[-2.0]:.0f} strokes, and the edge is 2° blunter. A steady error costs labour and steel from the back, or a blunter edge.",
              f"Width lost in five sessions: {off.width_um[0.0]:.1f} µm at 105°, {off.width_um[1.0]:.1f} at 106°, {off.width_um[2.0]:.1f} at 107°. Do not count on that saving: a session ends with a pair of strokes, there and back, wherever that falls.",
              f"The first takes {begun[0.0]:.1f} µm at 105°, {begun[1.0]:.1f} at 106°, {begun[1.5]:.1f} at 106.5°, {begun[2.0]:.1f} at 107°.")

# %% [markdown]
"""
## Play

Both operators now make the same few strokes: as many as the right angle needs, from an edge rounded by 4 µm. Turn the angle. Where does the blade leave
the stone as dull as it came, and where does it pay too much?
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "play"]
# Flip book: the angle of the stone, after the strokes that the right angle needs (code hidden)
needed = int(ek.sharpen(blade, lesson.steady(0), dull_radius_um=4.0, rng=1).stone_strokes)
reached = {degrees: lesson.reached(blade, degrees, strokes=needed, dull_radius_um=4.0) for degrees in (-5, -3, -2, -1, 0, 1, 2, 3, 5)}
lesson.flip("Stone to face too large by, °", reached.get, list(reached), first=4)

# %% [markdown]
"""
**What happened?** From one degree too much on, every stroke goes into the back, and none of them touches the edge. It stays as dull as it was, after the same
work. On the other side the stone cuts a narrow strip at the edge and sinks in: at five degrees the edge moves in more than five times as far as at none. That leaves a blade
at the end of the published 70 to 80°.

<details><summary>The formula (for teachers)</summary>

At the back the wedge is as thick as L tan δ, for a lateral surface of length L and an error δ. Its section is L² tan δ / 2, and each stroke takes the same
area of it: the strokes before the edge is reached grow in step with the error. The back is round beyond L, so that it takes somewhat more. The angle ground is 180° less the angle between stone and face.

</details>

## Check yourself
"""

# %% jupyter={"source_hidden": true} tags=["hide-input", "check"]
# Questions: which error it was, one degree, a change of mind (code hidden)
display(lesson.ask("After many strokes the edge is still dull, and the felt pen is gone at the back only. The angle between stone and face is …", {
    "too large": "The back is being ground; the stone has not come to the edge yet.", "too small": ("dull means too flat", "Too small an angle takes the ink at the edge first."),
    "right, but more pressure is needed": ("press harder", "At the right angle the ink goes everywhere at once.")}, right="too large" if thick > 0 else "too small"))
one = lesson.wrong_angle(blade, 1).numbers["at_back_um"]
display(lesson.ask_number("One degree too much: how thick is the wedge at the back? To two micrometres:", one, within=2, unit="µm", why=f"{one:.1f} µm: half of that of two degrees.", small="It is half of what two degrees make.", large="That is nearer to two degrees."))
lesson.ask("Operator F, at 103° for a year, changes to the right 105°. Her next session is …", {"much longer": "Her edge stands 2° too blunt: the whole wedge is still there to be removed.",
    "as short as ever": ("the edge remembers nothing", "The surface behind her edge was never ground: it must all go first."), "shorter": ("right is always quicker", "In the long run. First the old surface must go.")},
    right="much longer" if first[2.0] > 1.5 * first[0.0] else "as short as ever")

# %% [markdown]
"""
## At the bench

Without an instrument: cut a card with an angle of 105° and put it aside. One pencil on the table is the face. Lay a second one to it as the stone, with your eyes shut. Look, hold the card to them, and write down how far you were off. Ten times each; let a partner measure
two of the holds too, for two people do not read the same.

**Take away.** The stone's angle is set by the last strokes. Too large: a wedge of steel and many strokes, once. Too small: quick, and
an edge too blunt by as much as the stone is off, at the fifth session as at the first.

**What this does not tell you.** How steady your own hand is, or at which angle a blade cuts best: 70 to 80° is published, not tested here. The hand in this lesson errs by
the same angle always; yours does not (lesson 06).
"""

# %% jupyter={"source_hidden": true} tags=["hide-input"]
# Cautions (code hidden)
ek.cautions()

# %% [markdown] tags=["teacher"]
"""
*For teachers.* Aim: an angle is a length at the back. 20 minutes. You need: a card cut to 105°, a stone, a blade. Classes say "two degrees are nothing", then "ten degrees after five sessions". Ask aloud: why does
operator F think that she is the better sharpener? Without a computer: tilt a ruler by two degrees on a table and measure its far end. Published: the internal angle (70 to 80°). Assumed:
the steel that a stroke takes, and so the number of strokes.
"""
