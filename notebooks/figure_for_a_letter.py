# %% [markdown]
# # The figure for a letter
#
# For the vet who refers an animal, and the hospital that reads the letter.
#
# Harriet is an invented cat on no drug whose pressure has been creeping up. A hospital wants to
# see how it was measured, what is known and how well, and what the kidneys did meanwhile: on
# one printed page, legible after a fax machine has had it.

# %%
import bpvet
from bpvet.records.example import write_example

write_example("example-records")
records = bpvet.read("example-records", as_of="2026-11-01")
trend = bpvet.fit_trend(records, "Harriet")

# %% [markdown]
# ## Before the figure: what the check has to say
#
# A letter should not carry a slip of the pen. One cell of her record was typed with a letter O;
# it was set aside, and is said.

# %%
for finding in records.findings:
    if finding.value == "16O":
        print(finding)

# %% [markdown]
# ## The sentences beside it
#
# Five sentences say it before the figure shows it.

# %%
answer = trend.answer()
for sentence in answer.sentences[:5]:
    print(f"{sentence}\n")

# %% [markdown]
# "Creeping up" is said of the animal as measured here. It says nothing of why.
#
# ## The figure at a letter's width
#
# 160 mm. Method is told by the shape of the mark and the kind of line, so that it survives in
# grey; bands have outlines; the guideline is named.

# %%
from IPython.display import SVG

from bpvet.figures.save import svg_bytes
from bpvet.models.picture import trend_picture

picture = trend_picture(trend)
SVG(svg_bytes(picture, 160))

# %% [markdown]
# ## With the kidney values below
#
# On the same dates, in the units of the laboratory. The shaded stages are those of the edition
# named in the key, for cats, in this very unit; one value does not make a stage.

# %%
below = trend_picture(trend, labs=True)
SVG(svg_bytes(below, 160))

# %% [markdown]
# ## The caption and the alternative text
#
# The caption travels with the figure, and names what a narrow drawing had to shorten. The
# alternative text is for readers who do not see it.

# %%
from bpvet.figures.trend import caption

print(caption(below, 160))

# %%
print(below.alt_text)

# %% [markdown]
# ## As files
#
# `save` writes an SVG, a PDF with its letters embedded, or a PNG, by the ending of the name.
# From the command line, `bpvet figure PATH --animal Harriet --labs -o harriet.pdf` does the
# same and writes the words into a text file beside it.

# %%
from pathlib import Path

from bpvet.figures.save import save

Path("out").mkdir(exist_ok=True)
for name, width in (("harriet.svg", 160), ("harriet.pdf", 160), ("harriet-column.png", 85)):
    print(save(below, Path("out") / name, width).as_posix())

# %% [markdown]
# A picture is numbers and words, frozen before anything is drawn: what stands in a letter can
# be checked without looking at ink.

# %%
shown = below.panels[0].sessions
for date, mean, count in zip(shown.date[-3:], shown.mean[-3:], shown.n[-3:], strict=True):
    print(f"{date}: mean {mean:.1f} mmHg of {count} readings")
