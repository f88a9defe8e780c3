"""Treatments as what acts on pressure: spells, courses, doses, and the dated changes of them.

Only pressure-acting drugs are modelled (the drug list; a purpose can override). A name off the list
is drawn and asked about, is not modelled and makes no animal treated, unless its purpose names
blood pressure (time constant 5 days); others are drawn and named. Rows of one drug with gaps of at
most a day form a spell: one base coefficient from first start to last stop. A later row whose
stated dose (number and the same unit) or whose product differs adds an increment from its start to
the spell's stop. Over the days of a row of `missed` (both ends inclusive) `on` decays with the same
tau and then rises from where it was, exactly (`bpvet.models.trend.columns`); late doses change
nothing and are named. A blank stop is ongoing, or ends at the drug's next start. Drugs begun on one
day are one coefficient with the longer tau; when one of them stops, what goes on is a change on
top. A session on the start date comes before the first dose.
"""
