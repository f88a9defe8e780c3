# %% [markdown]
# # One cat on treatment, visit by visit
#
# For the technician who measures, and the vet who decides.
#
# Pilchard is an invented cat with kidney disease. We go through his records as they grew, and
# ask at each step only what could be known then. All readings, doses and laboratory values are
# invented; nothing here recommends a drug or a dose.

# %%
from textwrap import fill

import bpvet
from bpvet.records.example import write_example

write_example("example-records")


def answer(as_of):
    """Return what the records said on a date."""
    records = bpvet.read("example-records", as_of=as_of)
    return bpvet.fit_trend(records, "Pilchard").answer()


def said(answer, *words):
    """Print the sentences that hold any of these words."""
    for sentence in answer.sentences:
        if any(word in sentence for word in words):
            print(fill(f"- {sentence}", 88, subsequent_indent="  ") + "\n")


# %% [markdown]
# ## December 2024: two visits, no drug yet
#
# Two visits, the second at 194. What comes first is what cannot wait; then the usual pressure,
# with a range that is honest about two visits.

# %%
december = answer("2024-12-31")
said(december, "Urgent", "usual systolic pressure as measured here")

# %% [markdown]
# A look at the eyes found no damage, and treatment was started in January.
#
# ## Ten days on the drug: did it work?
#
# The newest session reads 149. It is tempting to say yes. But he was treated after a high day,
# and cats get used to being measured: some of a fall comes without a drug.

# %%
january = answer("2025-02-01")
said(january, "Amlodipine")

# %% [markdown]
# The plain means fall by 35 mmHg. The trend puts the drug's own share at about 26, with a range
# from 54 down to none at all, and will not say "has lowered" yet.
#
# ## October 2025: is he still at his target?
#
# Control is a separate question: whatever the drug does, is the usual pressure where it should
# be?

# %%
october = answer("2025-10-08")
said(october, "at target", "Without the one session noted as tense")

# %% [markdown]
# Probably above, and one tense visit in July is part of it, though not all. The dose was
# changed on 21 October, after measuring.
#
# ## A year later
#
# Fourteen sessions, one table.

# %%
records = bpvet.read("example-records", as_of="2026-11-01")
trend = bpvet.fit_trend(records, "Pilchard")
trend

# %% [markdown]
# Every reading faint, every session's mean with its spread, the usual pressure with its bands,
# the treatment above; below, kidney values and weight on the same dates, as the laboratory gave
# them.

# %%
from IPython.display import SVG

from bpvet.figures.save import svg_bytes
from bpvet.pictures.answered import answered_picture

picture = answered_picture(trend, labs=True)
SVG(svg_bytes(picture))

# %% [markdown]
# The same in words, for whoever cannot see it.

# %%
print(fill(picture.alt_text, 88))

# %% [markdown]
# ## What changed our minds?
#
# The usual pressure on the day of the first October visit, as known then and as known now.
# Later visits also teach about earlier days.

# %%
now = trend.at("2025-10-07")
low, high = now.interval(0.95)
print(
    f"known then: {october.latest.estimate:.0f} mmHg "
    f"({october.latest.lower:.0f} to {october.latest.upper:.0f})"
)
print(f"known now:  {now.mean:.0f} mmHg ({low:.0f} to {high:.0f})")

# %% [markdown]
# ## The next visit
#
# A single session is noisy. Before anybody worries about the next number, this is where the
# mean of five readings may fall if nothing changes.

# %%
session = trend.next_session("2027-01-12", readings=5)
low, high = session.interval(0.95)
print(f"expected {session.mean:.0f} mmHg, 95 % of such sessions between {low:.0f} and {high:.0f}")

# %% [markdown]
# ## What all this depends on
#
# The report prints its assumptions; so do we. The level and the next session depend on them
# little, the drug's effect and the slope a good deal.

# %%
for line in trend.answer().assumptions:
    print(fill(f"- {line}", 88, subsequent_indent="  ") + "\n")

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
