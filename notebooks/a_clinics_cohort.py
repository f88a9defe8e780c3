# %% [markdown]
# # A clinic's cats over two years
#
# For the clinic's manager, and the researcher who will be asked what the records show.
#
# The clinic is invented, by the cell below, and so we know the truth: pressure rises by 0.6
# mmHg a month on average, the drug lowers it by 25, the oscillometric monitor reads 5 lower
# than Doppler, and its readings scatter more. Can the records give that back?

# %%
from textwrap import fill

import numpy as np
import pandas as pd

import bpvet
from bpvet.reports.framing import framed

chance = np.random.default_rng(7)
readings, treatments = [], []
for number in range(60):
    animal, treated = f"C{number:02d}", False
    usual, rise = chance.normal(150, 16), chance.normal(0.6, 0.5)
    start = np.datetime64("2024-01-08") + int(chance.integers(0, 200))
    for visit in range(8):
        day = start + 75 * visit + int(chance.integers(0, 15))
        doppler = chance.random() < 0.7
        visit_sd, reading_sd, shift = (9, 6, 0) if doppler else (11, 11, -5)
        months = (day - start).astype(int) / 30.4375
        today = usual + rise * months + shift - 25 * treated + chance.normal(0, visit_sd)
        for order, value in enumerate(today + chance.normal(0, reading_sd, 6), start=1):
            method = "doppler" if doppler else "oscillometric"
            readings.append((animal, str(day), method, order, round(value)))
        if today >= 170 and not treated:
            treated = True
            treatments.append((animal, "amlodipine", str(day)))

# %% [markdown]
# ## From rows to records
#
# The same checks as for a folder of files. Nothing is set aside here; in real records, look
# first.

# %%
records = bpvet.Records.from_frames(
    pd.DataFrame(readings, columns=["animal", "taken_at", "method", "reading", "systolic"]),
    treatments=pd.DataFrame(treatments, columns=["animal", "drug", "started_on"]),
    animals=pd.DataFrame({"animal": sorted({row[0] for row in readings}), "species": "cat"}),
    as_of="2026-11-01",
)
print(f"{len(records.readings)} readings, {len(records.findings)} findings")

# %% [markdown]
# ## Who is in it?
#
# One row per session; `months` counts from the animal's first, `treated` says whether it was on
# a pressure-acting drug.

# %%
sessions = bpvet.sessions(records)
counted = sessions.groupby(["method", "treated"]).agg(
    sessions=("systolic", "size"), animals=("animal", "nunique"), mean=("systolic", "mean")
)
framed(counted)

# %% [markdown]
# ## The plain comparison
#
# Treated sessions against the others, as a column of averages would have it.

# %%
plain = sessions.groupby("treated")["systolic"].mean()
print(f"treated minus untreated: {plain[True] - plain[False]:.1f} mmHg")

# %% [markdown]
# Next to nothing, although this clinic's drug lowers pressure by 25: the cats that were treated
# are those that were highest.
#
# ## The mixed model
#
# Each cat has its own level and its own slope; each method its own scatter between visits and
# between readings. Treated cats are compared mostly with themselves.

# %%
cohort = bpvet.fit_cohort(
    sessions,
    "systolic ~ months + treated + method",
    slope="months",
    visit_by="method",
    residual_by="method",
)
cohort

# %% [markdown]
# Beside the truth: a rise of 0.6 a month, a fall of 25, a monitor that reads 5 lower, visit SDs
# of 9 and 11, reading SDs of 6 and 11. Every interval holds its true value.

# %%
truth = {"months": 0.6, "treated": -25.0, "method[T.oscillometric]": -5.0}
for term, true in truth.items():
    row = cohort.fixed.loc[term]
    held = "holds" if row["lower"] <= true <= row["upper"] else "misses"
    print(f"{term}: {row['estimate']:.2f} ({row['lower']:.2f} to {row['upper']:.2f}) {held} {true}")

# %% [markdown]
# ## Every cat, and the clinic's lines
#
# A small panel each on shared axes, those that need a look first; in the first panel the clinic's
# lines, on treatment and off it, with their intervals.

# %%
from IPython.display import SVG

from bpvet.figures.clinic.cohort import draw
from bpvet.figures.save import figure_bytes
from bpvet.models.clinic.cohort import clinic_cohort
from bpvet.pictures.clinic_panels import panels

sheets = panels(clinic_cohort(records))
SVG(figure_bytes(draw(sheets[0]), "svg", sheets[0].title))

# %% [markdown]
# The first of three sheets. Its caption:

# %%
print(fill(sheets[0].caption, 88))

# %% [markdown]
# ## What "treated" does not mean
#
# It is a difference between times with and without a drug, in cats whose vets chose when to
# start. They started on a high day, so part of any fall would have come anyway. With real records
# nobody knows the truth, and this number is not the effect of the drug.
#
# ## Does the method matter at all?
#
# The same model without it, both by maximum likelihood, since REML fits with other columns
# cannot be compared.

# %%
choices = {"slope": "months", "visit_by": "method", "residual_by": "method", "reml": False}
larger = bpvet.fit_cohort(sessions, "systolic ~ months + treated + method", **choices)
smaller = bpvet.fit_cohort(sessions, "systolic ~ months + treated", **choices)
framed(larger.compare(smaller).T)

# %% [markdown]
# ## How alike are two sessions of one cat?
#
# The share of the scatter that cats differ by, for each method: low, and one visit says little.

# %%
framed(cohort.icc[["same_animal", "same_session"]])

# %% [markdown]
# ## The cats themselves
#
# Each cat's level and slope beside the clinic's, shrunken towards it, the more so the less is known
# of the cat. The five that rise fastest:

# %%
framed(cohort.animals.nlargest(5, "months")[["sessions", "months", "months_sd"]])

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
