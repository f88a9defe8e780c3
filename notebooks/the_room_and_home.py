# %% [markdown]
# # In the room, and at home
#
# For the technician who measures, and whoever talks with the owner.
#
# Pilchard is due. What goes into the room with him, what goes home with his owner, and what comes
# back? The records are invented.

# %%
from pathlib import Path
from tempfile import TemporaryDirectory
from textwrap import fill

import bpvet
from bpvet.records.example import write_example
from bpvet.reports.framing import framed

with TemporaryDirectory() as folder:
    write_example(folder)
    records = bpvet.read(folder, as_of="2026-11-01")
sheet = bpvet.sheet(records, "Pilchard")

# %% [markdown]
# ## How was he measured last time?
#
# The same method, cuff, limb and posture as last time: a change of any of them can look like a
# change of pressure. What nobody wrote down is said to be missing, and is a line to write on.

# %%
from bpvet.wording.en.sheet import last_head, protocol_lines, sheet_rows

print(last_head(sheet))
for row in sheet_rows(sheet):
    print(fill(f"  {row.what}: {row.last}", 88))

# %%
for place, line in enumerate(protocol_lines(sheet.species), start=1):
    print(fill(f"{place}. {line}", 88, subsequent_indent="   "))

# %% [markdown]
# ## What is kept back
#
# Whoever knows what to expect hears it. So no earlier number stands on the sheet, and numbers in
# notes are left out. With the readings down, this is what was expected:

# %%
trend = bpvet.fit_trend(records, "Pilchard")
coming = trend.next_session("2026-11-01", readings=5)
low, high = coming.interval(0.95)
print(f"a mean of five readings between {low:.0f} and {high:.0f} mmHg, 95 %")

# %% [markdown]
# `bpvet sheet records --animal Pilchard -o sheet.pdf` writes the sheet, one page on A4 or letter
# paper, with boxes for seven readings and ticks for doses, eyes and nerves.
#
# ## What the owner takes home
#
# Short sentences, no probabilities, room for the vet to write. Something urgent would stand first:
# "Please phone the practice today."

# %%
from bpvet.wording.en.owner import RED_FLAGS, owner_parts, phone_texts

owner = bpvet.owner(records, "Pilchard")
for text in phone_texts(owner):
    print(fill(text, 88))
for part in owner_parts(owner):
    print(fill(f"{part.head}: {' '.join(part.texts)}", 88))
print(fill(f"Phone now: {'; '.join(RED_FLAGS)}", 88))

# %% [markdown]
# ## The diary comes back
#
# `bpvet owner … --diary diary.csv` writes a diary to fill in. Filled in, it lies among the records
# as `readings-home.csv`. One tablet was missed, and once the owner wrote a dose.

# %%
diary = """animal,taken_at,setting,method,systolic_1,systolic_2,systolic_3,systolic_4,systolic_5,\
tablet,tablet_time,demeanour,note
A17,2026-10-20 07:30,home,oscillometric,149,146,147,145,146,given,before,calm,
A17,2026-10-24 07:40,home,oscillometric,158,155,153,156,154,missed,,calm,
A17,2026-10-28 07:30,home,oscillometric,147,148,144,146,145,half a tablet,before,calm,
A17,,home,,,,,,,,,,
"""
with TemporaryDirectory() as folder:
    write_example(folder)
    Path(folder, "readings-home.csv").write_text(diary)
    home = bpvet.read(folder, as_of="2026-11-01")
for finding in home.findings:
    if finding.file == "readings-home.csv":
        print(fill(str(finding), 88))

# %% [markdown]
# The missed tablet stands among the missed doses, and its session says so. The dose is kept,
# asked about, and changes nothing: what was given is for the vet to say. Home readings are a series
# of their own, never mixed with the clinic's unasked.

# %%
framed(home.missed[["animal", "from", "to", "what", "note"]])

# %%
sessions = bpvet.sessions(home)
at_home = sessions[sessions["condition"] == "home"]
framed(at_home[["date", "method", "systolic", "n_taken", "flags"]])

# %% [markdown]
# ## What this is not
#
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
