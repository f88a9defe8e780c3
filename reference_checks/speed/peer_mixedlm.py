"""Usage: peer_mixedlm.py data.csv. Prints criterion, and CPU seconds from a data frame."""

import sys
import time

import mixedlm
import pandas as pd

d = pd.read_csv(sys.argv[1], dtype={"animal": str})
d["treated"] = d["treated"].astype(float)
d["visit"] = d["animal"] + ":" + d["session"].astype(str)
start = time.process_time()
fit = mixedlm.lmer("systolic ~ months * treated + method + (1|animal) + (1|visit)", d, REML=True)
seconds = time.process_time() - start
loglik = fit.logLik()
loglik = getattr(loglik, "value", loglik)
print(f"{-2 * float(loglik):.8f} {seconds:.4f} mixedlm {mixedlm.__version__}")
