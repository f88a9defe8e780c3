# Usage: Rscript peer_lme4.R data.csv. Prints: criterion, CPU seconds of the fit from a data frame.
suppressMessages(library(lme4))
d <- read.csv(commandArgs(TRUE)[1], stringsAsFactors = FALSE)
d$treated <- as.numeric(d$treated == "True")
t0 <- proc.time()
f <- lmer(systolic ~ months * treated + method + (1 | animal) + (1 | animal:session), d, REML = TRUE,
          control = lmerControl(calc.derivs = FALSE))
t <- proc.time() - t0
cat(sprintf("%.8f %.4f lme4 %s\n", -2 * as.numeric(logLik(f)), t[["user.self"]] + t[["sys.self"]], packageVersion("lme4")))
