# %% [markdown]
"""
# Your own clinic

Three files in: the tray, the log, the prices. Three papers out: what to replace, the plan of an hour at the bench, and
the setting sheet to work from. *It stands here with the messy log of an invented clinic.*

Empty files to fill in are in `data_demo/templates`, each with its rules and an example at its top. Nothing leaves this
computer.

In JupyterLab press the double arrow at the top once you have named your own files in the next cell.
"""

# %%
# Your files, and what they cannot say
import edgekit as ek

tray = "../data_demo/tray_FH-03.csv"
log = "../data_demo/log_messy.csv"
prices = "../data_demo/prices.csv"
day_first = True  # is every date of the log day first, such as 31/12/2025?
tolerance_deg = 4  # how far the angle of an edge may be off
minutes = 60  # at the bench
title = "Tray FH-03 (invented)"
retire = ek.MaxWidthLoss(fraction=0.2)  # the share of the width that may go; 0.1 to 0.2 is published
handle_diameter_mm = 8  # across your handles, for the dial of the sheet
holder = ek.Holder(pivot_height_mm=60, reach_mm=80, stone_height_mm=12)  # measure yours, or None

# %% [markdown]
"""
## What must be changed in the files

Refused lines are left out of every number below, so the list is worth the time. A line that contradicts another is used as
it is: look at it.
"""

# %%
clinic = ek.clinic.read_clinic(tray=tray, log=log, prices=prices, day_first=day_first)
clinic

# %% [markdown]
"""
## What to replace

A thin, cracked or bent tip goes whatever the list says.
"""

# %%
clinic.replacement_list(retire=retire)

# %% [markdown]
"""
## The hour at the bench
"""

# %%
hour = clinic.hour(minutes_available=minutes, tolerance_deg=tolerance_deg, holder=holder, retire=retire)
hour

# %% [markdown]
"""
## The setting sheet

The pages are written beside this notebook as `setting_sheet.html`: print them at 100 %, on one side each, since one is cut up.
"""

# %%
hour.sheet("setting_sheet.html", title=title, handle_diameter_mm=handle_diameter_mm)

# %%
ek.cautions()
