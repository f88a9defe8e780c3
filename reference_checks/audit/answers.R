# Animals measured by several people: lme4's crossed fit. R 4.2.2, lme4 1.1.31.
suppressMessages({library(lme4); library(jsonlite); library(numDeriv)})
set.seed(7)
n <- 160; a <- sample(1:30, n, TRUE); o <- sample(1:6, n, TRUE, prob = c(6, 5, 3, 2, 1, 1))
d <- data.frame(animal = sprintf("%02d", a), operator = LETTERS[o], home = rbinom(n, 1, .3))
d$y <- round(150 + rnorm(30, 0, 15)[a] + rnorm(6, 0, 6)[o] - 12 * d$home + rnorm(n, 0, 10), 1)
write.csv(d, "operators.csv", row.names = FALSE, quote = FALSE)
# lme4's criterion, its own optimum brought to where numDeriv's slopes of it are nothing.
settled <- function(formula) {
  parts <- lFormula(formula, d); dev <- do.call(mkLmerDevfun, parts); at <- optimizeLmer(dev)
  for (k in 1:4) at$par <- at$par - solve(hessian(dev, at$par), grad(dev, at$par))
  at$fval <- dev(at$par); mkMerMod(environment(dev), at, parts$reTrms, fr = parts$fr)
}
f <- settled(y ~ home + (1 | animal) + (1 | operator)); g <- settled(y ~ home + (1 | animal))
v <- as.data.frame(VarCorr(f)); r <- ranef(f)$operator
lr <- 2 * (as.numeric(logLik(f)) - as.numeric(logLik(g)))
writeLines(toJSON(list(versions = list(R = "4.2.2", lme4 = as.character(packageVersion("lme4"))), loglik_reml = as.numeric(logLik(f)), sd = setNames(as.list(v$sdcor), v$grp),
  operators = rownames(r), effects = r[, 1], p_operators = pchisq(lr, 1, lower.tail = FALSE) / 2), auto_unbox = TRUE, digits = I(12), pretty = TRUE), "operators.json")
