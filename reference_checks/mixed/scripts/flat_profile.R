# The lower end of the profile of a slope's SD (ML), and the rise of the deviance near 0.
# rows.csv: animal, months, y, as tests/mixed/test_profile_likelihood.py makes them.
library(lme4)
rows <- read.csv(commandArgs(TRUE)[1])
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhobeg = .2, rhoend = 2e-10, maxfun = 1e5))
fit <- lmer(y ~ months + (months | animal), rows, REML = FALSE, control = tight)
deviance_at <- lme4:::devfun2(fit, useSc = TRUE, signames = FALSE)
best <- attr(deviance_at, "optimum")
rise <- function(sd) {  # the rest by Nelder and Mead, from correlations of both signs
  held <- function(p) deviance_at(c(exp(p[1]), sin(p[2]), sd, exp(p[3])))
  ends <- sapply(c(0.3, 1.3, -1.3), function(angle) {
    search <- list(reltol = 1e-15, maxit = 5000)
    once <- optim(c(log(best[[1]]), angle, log(best[[4]])), held, control = search)
    optim(once$par, held, control = search)$value
  })
  min(ends) - attr(deviance_at, "basedev")
}
root <- uniroot(function(sd) rise(sd) - qchisq(.95, 1), c(1e-6, best[[3]]), tol = 1e-9)$root
cat("lower end", format(root, digits = 8), "rise at 1e-7", format(rise(1e-7), digits = 8), "\n")
print(confint(fit, parm = "theta_", oldNames = FALSE, delta.cutoff = 1 / 16, devtol = 1e-6), digits = 8)
