# %% [markdown]
# # Whom to see next?
#
# For the receptionist who rings owners in the morning, and the vet who says whom.
#
# A practice has more animals with high pressure than it can keep in mind. Which of them must be
# seen today, who is overdue, and who was never looked at in the eye? The records are invented.

# %%
from tempfile import TemporaryDirectory
from textwrap import fill

import bpvet
from bpvet.records.example import write_example

with TemporaryDirectory() as folder:
    write_example(folder)
    records = bpvet.read(folder, as_of="2026-11-01")
found = bpvet.due(records)
found

# %% [markdown]
# Every animal is on it once, but for those that left. What is urgent comes first, whatever a
# window says; an urgent animal is never counted as lost to follow-up.
#
# ## Why is an animal on it?

# %%
for row in found.rows[:4]:
    print(f"{row.name} ({row.animal}): {', '.join(row.what)}, by {row.latest}")
    print(fill(row.why, 88, initial_indent="  ", subsequent_indent="  ") + "\n")

# %% [markdown]
# The windows are those of `bpvet trend`; each says whose it is, and how well that is known. "J" is
# a judgement of this project, "M" a guideline's figure from memory that nobody has checked yet.

# %%
for row in found.listed[2:8]:
    print(f"{row.name}: {row.state}, {row.guideline_name}, grade {row.grade}")

# %% [markdown]
# ## Eyes, blood and urine
#
# They have dates of their own (our own rules): the eyes at the first 160 mmHg or more, on the day
# of 180 or more, at each visit while a sign is open, else each year; kidney values 7 to 14 days
# after a drug that acts on the renin–angiotensin system was started or changed, and by stage.
# What is not on record counts as not done.

# %%
for row in found.rows:
    for check in row.asked:
        words = f"{row.name}: {check.what} by {check.latest}; {check.why} ({check.grade})"
        print(fill(words, 88, subsequent_indent="  "))

# %% [markdown]
# ## After a morning on the telephone
#
# A table `contacts` in the folder of records holds who was reached. It moves a row down within its
# band and never takes it off; a booking that brought nobody counts for thirty days.

# %%
import pandas as pd

contacts = pd.DataFrame(
    {
        "animal": ["B04", "C22"],
        "date": ["2026-11-01", "2026-11-01"],
        "outcome": ["booked", "no answer"],
    }
)
with TemporaryDirectory() as folder:
    write_example(folder)
    contacts.to_csv(f"{folder}/contacts.csv", index=False)
    after = bpvet.due(bpvet.read(folder, as_of="2026-11-01"))
for row in after.rows[:2]:
    print(row.band, row.name, row.contact.text)

# %% [markdown]
# `bpvet due records -o morning` writes the same as a page, a table and a calendar;
# `bpvet report records --due -o morning` adds a report of each animal, to which the page leads.
#
# ## What this is not
#
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.

# %%
for caution in found.cautions[:4]:
    print(fill(f"- {caution}", 88, subsequent_indent="  "))
