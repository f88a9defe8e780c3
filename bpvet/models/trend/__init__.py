"""The trend of one animal: its usual pressure through time, and what is asked of it.

**The model.** Sessions of one animal by one method under one condition scatter about
``level + slope·(t − t0)/30 d + Σ effect·on(t) + w(t)``: `t0` is the latest session, `on` rises from
a course's start as ``1 − exp(−(t − start)/tau)`` and decays after its stop, `w` is a stationary
Ornstein–Uhlenbeck wander. A session's mean adds visit noise `sv`, reading noise ``sr/√k`` and
first-visit excitement ``a·exp(−j/1.5)``; the scatter within sessions informs `sr`. Priors stand in
`bpvet.facts.priors`, are judgements, and are printed in every report. Given the three noise SDs
everything is Gaussian: one scalar Kalman filter carries the means and all columns
(`bpvet.maths.gaussian`), or one eigendecomposition for each ratio ``sw/sv`` (one for all ratios
where sessions have equally many readings) does the same for all nodes at once
(`bpvet.maths.spectrum`). The SDs are integrated by a nested rule with the mode found
at each of 17 ratios (`bpvet.maths.quadrature`): a rule centred on the prior or on one joint mode is
out by up to 34 mmHg on odd records. No sampling: the same records give the same report, to the
digit.

**Treated animals** (a session with a course on) have a mixture prior: `bpvet.facts.priors.groups`
names the groups, `forms` makes each a normal prior of the natural coefficients as a linear map of
independent ones (`PriorForm`), `bpvet.maths.posterior` has a `Part` for each and a `Posterior` that
mixes them by evidence. Forms share the basis of their sessions and begin at each other's modes. A
`level` or `effect_sd` other than the default's switches the groups off. P(effect ≤ −10) is at most
0.874 before any reading on the drug.

**The chance that further visits settle it** stands beside every target, drug and slope that is not
settled (`settling`, `bpvet.maths.settling`). At 256 fixed points of today's posterior the report
after the visits is worked out exactly, its prior at the date of its own latest session and its
nodes weighed anew; the chance is the share of points that get a verdict.

**Bridged** series join methods or conditions through an offset with a prior of its own, on the
scale of the latest session; their noise SDs share one deviate. Laboratory values and weights run
through the same engine as logarithms.

**Bounds.** A reading "> 300" enters as lying beyond 300, systolic only (`bounded`): given the noise
SDs its session's visit pressure is one more column of the filter, what is known of it is found by
expectation propagation (`bpvet.maths.propagation`), and where two or more sessions hold no number
their common pressure is integrated outside. An untreated animal with one takes the groups' levels
as two normals. Where three in four readings lie beyond, one end of a usual pressure is told. Sums
of squares, SDs, medians, plain means and straight lines leave such sessions out (`Series.plain`).
Where every session of two or more readings holds equal ones, h²/12 is added.

**Recorded changes** of site, posture, instrument (within one method) and operator are columns of −1
where a session differs from the latest, with `Priors.change_sd` (`changes`). A session whose
readings hold two values has none recorded. The surprise allows for a value that earlier sessions do
not know.

**Beside an effect**: it can be known where a session shows the animal off the drug and one with
half of it or more (`effects`); told by the readings (`told`: the whole record's prior and t0 at the
sessions up to the start); plain means where they would change the verdict, and what the gap is put
down to (`plain_means`). `step` weighs a step that nobody recorded; it is a companion and changes no
answer.

Tolerances, against dense references: log-likelihood at fixed SDs 1e-8; ordinary records: mean
0.001 posterior SD, SD 0.1 %, probabilities 0.001, 95 % ends 0.02 mmHg or 0.002 SD; hard records:
0.005 SD, 0.5 %, 0.003, 0.5 mmHg. Batches equal one at a time to 1e-9.
"""
