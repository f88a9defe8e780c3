# %% [markdown]
# # The figure for a letter
#
# For the vet who refers an animal, and the hospital that reads the letter.
#
# Harriet is an invented cat on no drug whose pressure has been creeping up. A hospital wants to
# see how it was measured, what is known and how well, and what the kidneys did meanwhile: on
# one printed page, legible after a fax machine has had it.

# %%
from textwrap import fill

import bpvet
from bpvet.records.example import write_example

write_example("example-records")
records = bpvet.read("example-records", as_of="2026-11-01")
trend = bpvet.fit_trend(records, "Harriet")

# %% [markdown]
# ## Before the figure: what the check has to say
#
# A letter should not carry a typing error. One cell of her record was typed with a letter O; it
# was set aside, and is reported.

# %%
for finding in records.findings:
    if finding.value == "16O":
        print(fill(str(finding), 88))

# %% [markdown]
# ## The sentences beside it
#
# Five sentences say it before the figure shows it.

# %%
answer = trend.answer()
for sentence in answer.sentences[:5]:
    print(fill(sentence, 88) + "\n")

# %% [markdown]
# "Creeping up" describes the animal as measured here. It says nothing about why.
#
# ## The figure at a letter's width
#
# 160 mm. Method is shown by the shape of the mark and the kind of line, so that it survives in
# grey; bands have outlines; the guideline is named.

# %%
from IPython.display import SVG

from bpvet.figures.save import svg_bytes
from bpvet.pictures.answered import answered_picture

picture = answered_picture(trend)
SVG(svg_bytes(picture, 160))

# %% [markdown]
# ## With the kidney values below
#
# On the same dates, in the units of the laboratory. The shaded stages are those of the edition
# named in the key, for cats, in this very unit; one value does not establish a stage.

# %%
below = answered_picture(trend, labs=True)
SVG(svg_bytes(below, 160))

# %% [markdown]
# ## The caption and the alternative text
#
# The caption goes with the figure, and names what a narrow drawing had to shorten. The
# alternative text is for readers who do not see it.

# %%
from bpvet.figures.trend import caption

print(fill(caption(below, 160), 88))

# %%
print(fill(below.alt_text, 88))

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
# A picture is numbers and words, frozen before anything is drawn: what is in a letter can
# be checked without looking at ink.

# %%
shown = below.panels[0].sessions
for date, mean, count in zip(shown.date[-3:], shown.mean[-3:], shown.n[-3:], strict=True):
    print(f"{date}: mean {mean:.1f} mmHg of {count} readings")

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
