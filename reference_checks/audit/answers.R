# Animals measured by several people: lme4's crossed fit. R 4.2.2, lme4 1.1.31.
suppressMessages({library(lme4); library(jsonlite)})
set.seed(7)
n <- 160; a <- sample(1:30, n, TRUE); o <- sample(1:6, n, TRUE, prob = c(6, 5, 3, 2, 1, 1))
d <- data.frame(animal = sprintf("%02d", a), operator = LETTERS[o], home = rbinom(n, 1, .3))
d$y <- round(150 + rnorm(30, 0, 15)[a] + rnorm(6, 0, 6)[o] - 12 * d$home + rnorm(n, 0, 10), 1)
write.csv(d, "operators.csv", row.names = FALSE, quote = FALSE)
f <- lmer(y ~ home + (1 | animal) + (1 | operator), d, control = lmerControl(optCtrl = list(ftol_abs = 1e-14, xtol_abs = 1e-12)))
g <- lmer(y ~ home + (1 | animal), d); v <- as.data.frame(VarCorr(f)); r <- ranef(f, condVar = TRUE)$operator
lr <- 2 * (as.numeric(logLik(f)) - as.numeric(logLik(g)))
writeLines(toJSON(list(versions = list(R = "4.2.2", lme4 = as.character(packageVersion("lme4"))), loglik_reml = as.numeric(logLik(f)), sd = setNames(as.list(v$sdcor), v$grp),
  operators = rownames(r), effects = r[, 1], p_operators = pchisq(lr, 1, lower.tail = FALSE) / 2), auto_unbox = TRUE, digits = I(12), pretty = TRUE), "operators.json")
