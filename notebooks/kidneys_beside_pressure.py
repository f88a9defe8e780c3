# %% [markdown]
# # The kidneys beside the pressure
#
# For the vet who follows an animal with kidney disease, and the technician who draws its blood.
#
# Bramble is an invented cat with chronic kidney disease. A drug of the renin group was begun for
# her pressure, creatinine rose, the drug was stopped and another begun.

# %%
from textwrap import fill

import bpvet
from bpvet.records.example import write_example
from bpvet.reports.framing import framed

write_example("example-records")
records = bpvet.read("example-records", as_of="2026-11-01")
kidneys = bpvet.kidney(records, "Bramble")
kidneys

# %% [markdown]
# A stage is printed as one because kidney disease is among her observations. Of an animal without
# that, the same numbers read "if kidney disease is diagnosed"; "kidney stone" or "CKD?" leave the
# question open, and it is told so.
#
# Creatinine and SDMA point to different stages. The higher counts, and both are shown.

# %%
framed(kidneys.to_frame())

# %% [markdown]
# ## A rise is the event
#
# Creatinine about the start of a drug, beside what a guideline tolerates. Whether that is a
# reason to do anything is the vet's to say.

# %%
reaction = kidneys.to_dict()["reaction"][0]
for name in ("drug", "started_on", "marker", "before", "after", "unit", "days", "tolerance"):
    print(f"{name:>10}: {reaction[name]}")
print(f"      rose: {reaction['change']:.0f} {reaction['unit']}, {reaction['percent']:.0f} %")

# %% [markdown]
# ## The picture
#
# Creatinine alone, in the laboratory's own unit, each value on its own date, under the drugs as
# they were given. The dotted line is the bound between two stages.

# %%
from IPython.display import SVG

from bpvet.pictures.answered import answered_picture
from bpvet.figures.save import svg_bytes
from bpvet.figures.trend import caption

creatinine = bpvet.fit_trend(records, "Bramble", quantity="creatinine")
picture = answered_picture(creatinine)
SVG(svg_bytes(picture, 160))

# %%
print(fill(caption(picture, 160), 88))

# %% [markdown]
# The value of 31 March 2026 lies far from the others, and pulls the line: the model takes a drug's
# effect to be there as long as the drug is.
#
# ## Do they move together?
#
# Pressure and creatinine fitted together, apart from the drugs. Thirteen sessions and eleven values
# say little about that, and the interval of the correlation says so.

# %%
bpvet.fit_joint(records, "Bramble", "creatinine")

# %% [markdown]
# ## An old letter
#
# Letters of 2017 and before name stages and substages by other bounds. They can be read with the
# edition that they were written under; it is named in every answer. The bounds of a cat's
# creatinine hardly moved since; those of pressure did.

# %%
older = bpvet.kidney(records, "Bramble", edition="iris2017")
for one in (kidneys.pressure, older.pressure):
    likely = ", ".join(f"{name} {100 * p:.0f} %" for name, p in one.probability.items())
    print(fill(f"{one.printed_by}: {likely}", 88, subsequent_indent="  "))

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
