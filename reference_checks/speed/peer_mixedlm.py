"""Usage: peer_mixedlm.py data.csv. Prints criterion, and CPU seconds from a data frame."""

import sys
import time

import mixedlm
import pandas as pd

d = pd.read_csv(sys.argv[1], dtype={"animal": str})
d["treated"] = d["treated"].astype(float)
d["visit"] = d["animal"] + ":" + d["session"].astype(str)
# Its fastest documented setting: no check of derivatives after the fit, no second start at an edge.
control = mixedlm.lmerControl(calc_derivs=False, restart_edge=False)
formula = "systolic ~ months * treated + method + (1|animal) + (1|visit)"
start = time.process_time()
fit = mixedlm.lmer(formula, d, REML=True, control=control)
seconds = time.process_time() - start
loglik = fit.logLik()
loglik = getattr(loglik, "value", loglik)
print(f"{-2 * float(loglik):.8f} {seconds:.4f} mixedlm {mixedlm.__version__}")
