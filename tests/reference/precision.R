# Planning: stats::power.prop.test (its default, without the far tail), the bound at no events from
# binom.test, the expected width of binom.test's interval by summing over the binomial.
library(jsonlite)
needed <- list(); power <- list()
for (k in list(c(0.05, 0.15), c(0.01, 0.10), c(0.50, 0.75), c(0.10, 0.05), c(0.03, 0.05)))
  for (b in c(0.8, 0.9)) needed[[length(needed) + 1]] <- list(
    p1 = k[1], p2 = k[2], power = b, n = power.prop.test(p1 = k[1], p2 = k[2], power = b)$n)
for (n in c(20, 60, 144)) for (k in list(c(0.05, 0.15), c(0.01, 0.10), c(0.5, 0.75)))
  power[[length(power) + 1]] <- list(
    n = n, p1 = k[1], p2 = k[2], power = power.prop.test(n = n, p1 = k[1], p2 = k[2])$power)
detectable <- lapply(c(0.01, 0.05, 0.10, 0.20), function(p) list(
  n = 112, p = p, higher = power.prop.test(n = 112, p1 = p, power = 0.8, tol = 1e-12)$p2))
zero <- lapply(c(1, 5, 20, 40, 120, 400), function(n) list(n = n, high = binom.test(0, n)$conf.int[2]))
width <- list()
for (n in c(1, 10, 40, 120, 225)) for (p in c(0.01, 0.1, 0.5)) {
  w <- sapply(0:n, function(x) diff(binom.test(x, n)$conf.int))
  width[[length(width) + 1]] <- list(n = n, p = p, width = sum(dbinom(0:n, n, p) * w))
}
cat(toJSON(list(needed = needed, power = power, detectable = detectable, zero = zero,
                width = width), digits = 15, auto_unbox = TRUE))
