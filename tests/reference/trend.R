# Cochran-Armitage: stats::prop.trend.test. Mantel-Haenszel: (N - 1) r^2, r the correlation of score
# and outcome. Permutation: all tables with the same margins listed, two-sided by distance from the
# expectation. Slope: svyglm of R survey, each unit its own cluster.
# Data: Starke 2009 table 5 (counts rebuilt from rounded percentages, PMC2745321); smokers among
# lung cancer patients in four studies (Fleiss 1981, in the example of R's prop.trend.test); small
# tables of our own.
suppressPackageStartupMessages({ library(jsonlite); library(survey) })
tables <- list(
  starke = list(c(0, 3, 12, 10, 4), c(12, 52, 83, 47, 8), 0:4),
  fleiss = list(c(83, 90, 129, 70), c(86, 93, 136, 82), 1:4),
  fleiss_scores = list(c(83, 90, 129, 70), c(86, 93, 136, 82), c(0, 0, 0, 1)),
  small = list(c(0, 1, 3), c(6, 7, 5), 1:3),
  uneven_scores = list(c(1, 0, 2, 4), c(10, 8, 9, 7), c(1, 2, 4, 8)),
  falling = list(c(5, 3, 0), c(9, 12, 14), 1:3))
listed <- function(x, n, s) {
  E <- sum(x) * sum(n * s) / sum(n); far <- abs(sum(x * s) - E); p <- 0; all <- 0
  grid <- as.matrix(expand.grid(lapply(n[-length(n)], function(k) 0:min(k, sum(x)))))
  last <- sum(x) - rowSums(grid)
  keep <- last >= 0 & last <= n[length(n)]
  grid <- cbind(grid, last)[keep, , drop = FALSE]
  logw <- rowSums(sapply(seq_along(n), function(j) lchoose(n[j], grid[, j])))
  w <- exp(logw - lchoose(sum(n), sum(x)))
  sum(w[abs(grid %*% s - E) >= far - 1e-9])
}
one <- function(name) {
  k <- tables[[name]]; x <- k[[1]]; n <- k[[2]]; s <- k[[3]]
  t <- suppressWarnings(prop.trend.test(x, n, s))
  d <- data.frame(y = unlist(mapply(function(a, b) rep(1:0, c(a, b - a)), x, n)), s = rep(s, n))
  line <- svyglm(y ~ s, svydesign(ids = ~1, weights = ~1, data = d))
  list(name = name, events = x, trials = n, scores = s, chi2 = unname(t$statistic),
       p = t$p.value, mantel_haenszel = (sum(n) - 1) * cor(d$y, d$s)^2,
       permutation = if (prod(pmin(n, sum(x)) + 1) < 5e6) listed(x, n, s) else NULL,
       slope = unname(coef(line)[2]), slope_se = unname(SE(line)[2]),
       slope_limits = unname(confint(line)[2, ]))
}
cat(toJSON(lapply(names(tables), one), digits = 15, auto_unbox = TRUE, null = "null"))
