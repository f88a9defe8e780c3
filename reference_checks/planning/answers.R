# Powers and sizes of the two-sample t test by base R; writes power.csv beside this file.
#   Rscript answers.R
cases <- expand.grid(delta = c(3, 10, 15, 40), sd = c(12, 20, 30), sig = c(0.01, 0.05),
                     power = c(0.8, 0.9, 0.975))
size <- function(row) {
  n <- power.t.test(delta = row[["delta"]], sd = row[["sd"]], sig.level = row[["sig"]],
                    power = row[["power"]], strict = TRUE, tol = 1e-12)$n
  n <- ceiling(n)
  c(n, power.t.test(n = n, delta = row[["delta"]], sd = row[["sd"]], sig.level = row[["sig"]],
                    strict = TRUE)$power)
}
# R has no answer for fewer than two animals an arm.
small <- function(row) tryCatch(size(row), error = function(e) c(NA, NA))
found <- t(apply(cases, 1, small))
out <- na.omit(data.frame(cases, n = found[, 1], reached = found[, 2]))
folder <- dirname(sub("--file=", "", grep("--file=", commandArgs(FALSE), value = TRUE)))
con <- file(file.path(folder, "power.csv"), "w")
cat("#", R.version.string, "power.t.test(strict = TRUE)\n", file = con)
options(digits = 15)
write.csv(format(out, digits = 15, trim = TRUE), con, row.names = FALSE, quote = FALSE)
close(con)
