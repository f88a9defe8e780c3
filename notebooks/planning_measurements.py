# %% [markdown]
# # How often, and how many readings?
#
# For the head technician who plans visits, and for whoever plans a study.
#
# A visit costs an owner an afternoon and a cat its temper. What do more visits buy, what do
# more readings, and what can never be seen however often one measures? Nothing is measured
# here: the numbers follow from how much readings, visits and months scatter, which the priors
# state.

# %%
import bpvet

priors = bpvet.Priors.default("cat", "doppler", "systolic")
print(
    f"between visits {priors.sv[0]:g} mmHg, between readings {priors.sr[0]:g}, slow wander "
    f"{priors.sw[0]:g}\n(medians of what is believed before a cat is measured)"
)

# %% [markdown]
# These are judgements, not measurements of your clinic. `bpvet priors` learns your own from
# thirty animals or more.
#
# ## Four weekly visits of five readings

# %%
plan = bpvet.plan(priors, visits=4, readings=5, every_days=7)
plan

# %% [markdown]
# The usual pressure is then known to about ±16 mmHg, ±14 in an animal that scatters as most do.
#
# ## More visits, or more readings?
#
# Half-width of the 95 % interval of the usual pressure, in mmHg.

# %%
table = plan.table(visits=(1, 2, 4, 8), readings=(1, 3, 5, 10))
wide = table.pivot(index="visits", columns="readings", values="usual_half_width")
print(wide.round(1).to_string())

# %% [markdown]
# Read it along a row: beyond three to five readings there is next to nothing to gain, because
# what scatters is the visit, not the reading. Read it down a column: visits do help.
#
# ## How many visits for a given answer?

# %%
for within in (20, 15, 12, 10):
    visits = plan.fewest_visits(within)
    print(f"±{within} mmHg: {f'{visits} visits' if visits else 'not with any number of visits'}")

# %% [markdown]
# Pressure wanders over the months, so weekly visits long ago say little about today: below some
# width there is no number of visits.
#
# ## What could be seen of a drug's effect?
#
# Two visits before it, two after. The table asks how likely the verdict "has lowered" is, if
# the drug truly lowers the pressure by so much.

# %%
for fall in (10, 20, 30, 40, 50):
    print(f"a true fall of {fall} mmHg: seen with probability {100 * plan.chance_seen(fall):.0f} %")

# %% [markdown]
# Four visits see a fall of 50 mmHg, and miss one of 20 more often than not. "Cannot tell yet"
# is then the honest answer.

# %%
longer = bpvet.plan(priors, visits=12, readings=5, every_days=14)
for fall in (10, 20, 30, 40, 50):
    chance = 100 * longer.chance_seen(fall)
    print(f"twelve visits, a fall of {fall} mmHg: {chance:.0f} %")

# %% [markdown]
# ## A slope is slow
#
# One mmHg a month is twelve a year, and matters. Weekly visits for a month cannot see it; two
# years of visits only just come near.

# %%
for visits, every in ((4, 7), (6, 60), (12, 60)):
    held = bpvet.plan(priors, visits=visits, readings=5, every_days=every).slope
    days = (visits - 1) * every
    print(f"{visits} visits over {days} days: slope known to ±{held.half_width:.1f} mmHg a month")

# %% [markdown]
# ## A study
#
# Many animals answer what one cannot: how many per arm, to see a mean difference of 15 mmHg
# between two drugs?

# %%
plan.study(effect=15, power=0.9)

# %% [markdown]
# This supports the judgement of a licensed veterinarian and does not replace it; local codes and
# licensed practice come first. It recommends no drug and no dose.
