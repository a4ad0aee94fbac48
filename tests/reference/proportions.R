# Binomial intervals over a grid of (events, n), edges included.
# Clopper-Pearson: stats::binom.test. Wilson: stats::prop.test without continuity correction.
# Jeffreys: qbeta with the ends of Brown, Cai and DasGupta 2001 (0 at no events, 1 at all).
# Agresti-Coull: the formula of Agresti and Coull 1998, cut to 0-1.
# Newcombe's hybrid score difference (method 10 of Newcombe 1998, Stat Med 17:873): from
# prop.test's intervals by his formula.
library(jsonlite)
wilson <- function(x, n, level)
  suppressWarnings(as.numeric(prop.test(x, n, correct = FALSE, conf.level = level)$conf.int))
rows <- list()
for (n in c(1, 2, 3, 5, 7, 10, 12, 20, 30, 50, 71, 100, 148, 200, 263, 377, 400, 1000)) {
  for (x in sort(unique(pmin(n, c(0, 1, 2, 3, round(n * c(0.05, 0.08, 0.1, 0.15, 0.25, 0.33, 0.5,
                                                          0.67, 0.75, 0.9, 0.95)), n - 1, n))))) {
    for (level in c(0.95, 0.90)) {
      a <- (1 - level) / 2; z <- qnorm(1 - a); m <- n + z^2; p <- (x + z^2 / 2) / m
      half <- z * sqrt(p * (1 - p) / m)
      rows[[length(rows) + 1]] <- list(
        events = x, n = n, level = level,
        `clopper-pearson` = as.numeric(binom.test(x, n, conf.level = level)$conf.int),
        wilson = wilson(x, n, level),
        jeffreys = c(if (x == 0) 0 else qbeta(a, x + 0.5, n - x + 0.5),
                     if (x == n) 1 else qbeta(1 - a, x + 0.5, n - x + 0.5)),
        `agresti-coull` = c(max(0, p - half), min(1, p + half)))
    }
  }
}
pairs <- list()
counts <- rbind(c(56, 70, 48, 80), c(9, 10, 3, 10), c(6, 7, 2, 7), c(5, 56, 0, 29), c(0, 10, 0, 20),
                c(0, 10, 0, 10), c(10, 10, 0, 20), c(10, 10, 0, 10), c(3, 71, 7, 52),
                c(9, 172, 12, 69), c(1, 40, 1, 300), c(40, 41, 39, 40))
for (i in seq_len(nrow(counts))) for (level in c(0.95, 0.90)) {
  k <- counts[i, ]; p <- k[c(1, 3)] / k[c(2, 4)]
  one <- wilson(k[1], k[2], level); two <- wilson(k[3], k[4], level)
  d <- p[1] - p[2]
  pairs[[length(pairs) + 1]] <- list(
    counts = k, level = level,
    limits = c(d - sqrt((p[1] - one[1])^2 + (two[2] - p[2])^2),
               d + sqrt((one[2] - p[1])^2 + (p[2] - two[1])^2)))
}
cat(toJSON(list(single = rows, difference = pairs), digits = 15, auto_unbox = TRUE))
