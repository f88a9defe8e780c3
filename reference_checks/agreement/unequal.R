# Unequal replicates and pairs whose true value changes: data drawn here, answers by plain sums
# and by nlme. Needs agree_common.R beside it. R 4.2.2, nlme 3.1.162.
source("agree_common.R")
set.seed(20)
one <- function(n, low, high, tau, sigma) {
  rows <- list()
  for (i in 1:n) {
    level <- rnorm(1, 150, 18)
    for (k in 1:2) {
      own <- rnorm(1, 0, tau[k]); m <- sample(low:high, 1)
      rows[[length(rows) + 1]] <- data.frame(subject = sprintf("%02d", i), method = c("D", "O")[k], replicate = 1:m, y = round(level + own + c(0, 5)[k] + rnorm(m, 0, sigma[k])))
    }
  }
  do.call(rbind, rows)
}
u <- one(30, 1, 6, c(7, 9), c(6, 11)); write.csv(u, "unequal.csv", row.names = FALSE, quote = FALSE)
p <- do.call(rbind, lapply(1:20, function(i) {
  m <- sample(2:6, 1); level <- rnorm(1, 150, 18); own <- rnorm(2, 0, c(7, 9)); true <- rnorm(m, 0, 8)
  rbind(data.frame(subject = sprintf("%02d", i), method = "D", replicate = 1:m, y = round(level + own[1] + true + rnorm(m, 0, 6))),
        data.frame(subject = sprintf("%02d", i), method = "O", replicate = 1:m, y = round(level + own[2] + 5 + true + rnorm(m, 0, 9))))
}))
write.csv(p, "pairs.csv", row.names = FALSE, quote = FALSE)
D <- u[u$method == "D", ]; O <- u[u$method == "O", ]
w <- reshape(p, idvar = c("subject", "replicate"), timevar = "method", direction = "wide")
ci <- function(x, n) { q <- qt(c(.025, .975), n - 1, 1.96 * sqrt(n)) / sqrt(n); c(mean(x) + q[1] * sd(x), mean(x) + q[2] * sd(x)) }
f <- u[u$replicate == 1, ]; d <- f$y[f$method == "O"] - f$y[f$method == "D"]
wr(list(versions = list(R = "4.2.2", nlme = as.character(packageVersion("nlme"))),
  unequal = list(data = "unequal.csv", sums_O_minus_D = ba_unequal(O$y, O$subject, D$y, D$subject), components_unlinked = vc_fit(u, "O", FALSE)),
  pairs = list(data = "pairs.csv", sums_O_minus_D = ba_pairs(w$y.O - w$y.D, w$subject), components_linked = vc_fit(p, "O", TRUE)),
  first_readings = list(data = "unequal.csv", n = length(d), exact_upper_limit_ci = ci(d, length(d)), correlation_ci = as.numeric(cor.test(f$y[f$method == "O"], f$y[f$method == "D"])$conf.int),
    share_within_10 = { k <- sum(abs(d) <= 10); b <- binom.test(k, length(d)); list(count = k, ci = as.numeric(b$conf.int)) })), "unequal.json")
