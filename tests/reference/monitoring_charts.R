# Limits and run lengths written out in base R, independent of the project's code.
# Funnel: Spiegelhalter 2005, Stat Med 24:1185, appendix A.1. Geometric limits: qgeom.
# Laney 2002, Quality Engineering 14:531. Run length: Brook and Evans 1972, dense matrix, for a
# risk at which the two scores of a CUSUM (Steiner 2000, odds ratio 2) stand 10 to 1.
suppressMessages(library(jsonlite))
exact <- function(n, theta, p) {
  r <- 0; while (pbinom(r, n, theta) <= p) r <- r + 1
  a <- (pbinom(r, n, theta) - p) / (pbinom(r, n, theta) - pbinom(r - 1, n, theta))
  max(0, r - a) / n
}
sizes <- c(5, 10, 24, 60, 133, 400)
tails <- c(0.001, 0.025, 0.975, 0.999)
funnel <- lapply(c(0.03, 0.12, 0.4), function(theta)
  list(theta = theta, limits = lapply(sizes, function(n) sapply(tails, function(p) exact(n, theta, p)))))
means <- c(8, 13.25, 40, 250, 2000)
geometric <- lapply(means, function(m) {
  p <- 1 / (m + 1); tail <- 0.00135
  upper <- qgeom(1 - tail, p)                       # smallest x with P(X > x) <= tail
  lower <- 0; while (pgeom(lower, p) <= tail) lower <- lower + 1   # largest x with P(X < x) <= tail
  list(mean = m, upper = upper, lower = lower)
})
d <- c(7, 4, 1, 3, 6, 8, 10, 5, 2, 7, 6, 15, 0, 9, 5, 1, 4, 5, 7, 12); n <- rep(100, 20)
p <- sum(d) / sum(n); z <- (d / n - p) / sqrt(p * (1 - p) / n)
laney <- list(sigma_z = mean(abs(diff(z))) / (2 / sqrt(pi)),
              statistic = sum(z^2), p = pchisq(sum(z^2), length(d) - 1, lower.tail = FALSE))
ratio <- function(p) log(2 / (1 + p)) / log(1 + p)
risk <- uniroot(function(p) ratio(p) - 10, c(0.01, 0.2), tol = 1e-15)$root
step <- log(1 + risk)
chain <- function(limit, p) {
  m <- ceiling(limit / step - 1e-9)
  Q <- matrix(0, m, m)
  for (i in 0:(m - 1)) {
    if (i + 10 < m) Q[i + 1, i + 11] <- p
    k <- max(0, i - 1); Q[i + 1, k + 1] <- Q[i + 1, k + 1] + 1 - p
  }
  solve(diag(m) - Q, rep(1, m))[1]
}
doubled <- 2 * risk
cat(toJSON(list(
  sizes = sizes, tails = tails, funnel = funnel, geometric = geometric, laney = laney,
  chain = list(risk = risk, limits = c(1.5, 3, 4.5),
               in_control = sapply(c(1.5, 3, 4.5), chain, p = risk),
               doubled = sapply(c(1.5, 3, 4.5), chain, p = doubled)),
  crossings = sapply(c(10, 13, 24, 50), function(k) qbinom(0.05, k - 1, 0.5)),
  garwood = as.numeric(poisson.test(15, 15)$conf.int)
), auto_unbox = TRUE, digits = 14))
