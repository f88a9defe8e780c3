# Usage: Rscript peer_nlme.R data.csv. The whole model: visit and reading SDs by method.
suppressMessages(library(nlme))
d <- read.csv(commandArgs(TRUE)[1], stringsAsFactors = FALSE)
d$treated <- as.numeric(d$treated == "True")
t0 <- proc.time()
f <- lme(systolic ~ months * treated + method, data = d, method = "REML",
         random = list(animal = ~ 1, session = pdDiag(~ 0 + method)),
         weights = varIdent(form = ~ 1 | method),
         control = lmeControl(opt = "nlminb", maxIter = 200, msMaxIter = 500, returnObject = FALSE))
t <- proc.time() - t0
cat(sprintf("%.8f %.4f nlme %s\n", -2 * as.numeric(logLik(f)), t[["user.self"]] + t[["sys.self"]], packageVersion("nlme")))
