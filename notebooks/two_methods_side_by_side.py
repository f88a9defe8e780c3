# %% [markdown]
# # Two methods side by side
#
# For the clinic that owns a Doppler and an oscillometric monitor and wants to know whether the
# two can be read as one.
#
# Twenty-four invented cats were each measured at two visits by both. The truth is in the cell:
# the monitor reads 6 mmHg higher on average, by more in some cats and less in others.

# %%
from textwrap import fill

import numpy as np
import pandas as pd

import bpvet

chance = np.random.default_rng(11)
readings = []
for number in range(24):
    animal, usual, own = f"P{number:02d}", chance.normal(150, 20), chance.normal(0, 6)
    for visit in range(2):
        day = str(np.datetime64("2026-01-12") + 60 * visit + number)
        mood = chance.normal(0, 9)
        for method, shift, scatter in (("doppler", 0, 6), ("oscillometric", 6 + own, 10)):
            level = usual + mood + shift + chance.normal(0, 5)
            for order, value in enumerate(level + chance.normal(0, scatter, 5), start=1):
                readings.append((animal, day, method, order, round(value)))
records = bpvet.Records.from_frames(
    pd.DataFrame(readings, columns=["animal", "taken_at", "method", "reading", "systolic"]),
    animals=pd.DataFrame({"animal": sorted({row[0] for row in readings}), "species": "cat"}),
    as_of="2026-11-01",
)

# %% [markdown]
# ## On average, and in one cat
#
# The bias is the average difference; the limits of agreement say how far apart two single
# readings of one cat may be in 95 % of cases.

# %%
agree = bpvet.agreement(records, "systolic")
for name, held in (
    ("bias", agree.bias),
    ("lower limit", agree.lower),
    ("upper limit", agree.upper),
):
    print(f"{name}: {held.estimate:.1f} mmHg ({held.lower:.1f} to {held.upper:.1f})")

# %% [markdown]
# The bias is small and its interval holds the 6 that was put in. The limits are not small: one
# reading by the monitor may lie 20 below or 30 above one by Doppler. **Adding a constant
# makes nothing interchangeable.**
#
# ## The figure
#
# Differences against means, with the limits and their intervals; and one method against the
# other.

# %%
from IPython.display import SVG

from bpvet.figures.clinic.agreement import draw
from bpvet.figures.save import figure_bytes
from bpvet.pictures.agreement import agreement_picture

picture = agreement_picture(agree)
SVG(figure_bytes(draw(picture), "svg"))

# %% [markdown]
# In words:

# %%
print(fill(picture.alt_text, 88))

# %% [markdown]
# ## Each method against itself
#
# In 95 % of cases two readings of one visit by the same method differ by no more than this.

# %%
for method, held in agree.repeatability.items():
    print(f"{method}: {held.estimate:.1f} mmHg ({held.lower:.1f} to {held.upper:.1f})")

# %% [markdown]
# ## The whole table
#
# Every number says how its interval was made, and what is only approximate.

# %%
agree

# %% [markdown]
# ## Does the difference grow with pressure?

# %%
slope = agree.proportional.slope
print(f"{slope.estimate:.2f} mmHg a mmHg ({slope.lower:.2f} to {slope.upper:.2f})")

# %% [markdown]
# No sign of it here. Neither method is a reference: this says how they differ, not which is
# right.
#
# ## At home and in the clinic
#
# Another question of the same kind. In the example records two animals were measured in both
# places.

# %%
from bpvet.records.example import write_example

write_example("example-records")
example = bpvet.read("example-records", as_of="2026-11-01")
situation = bpvet.situation(example, "home")
situation

# %% [markdown]
# Two animals say next to nothing about animals at large, and the interval says so. Each animal's
# own difference is known better, because it was measured again and again.

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
