# Seconds for one Firth fit with all profile intervals by refitting R brglm2, everything warm and
# in process: each bound is searched by refitting the model with the coefficient's part moved into
# the offset. Reads the data (y, then the columns) from the CSV file named on the command line.
suppressMessages({library(brglm2); library(jsonlite)})
d <- read.csv(commandArgs(trailingOnly = TRUE)[1])
y <- d$y; X <- as.matrix(d[, -1])
fit <- function(x, o) suppressWarnings(brglmFit(x, y, family = binomial(), offset = o,
  control = brglmControl(type = "AS_mean")))
penalised <- function(b) { eta <- drop(X %*% b); p <- plogis(eta)
  sum(y * plogis(eta, log.p = TRUE) + (1 - y) * plogis(-eta, log.p = TRUE)) +
    0.5 * as.numeric(determinant(crossprod(X * sqrt(p * (1 - p))))$modulus) }
profile <- function() {
  m <- fit(X, rep(0, length(y))); b <- m$coefficients
  se <- sqrt(diag(solve(crossprod(X * sqrt(m$fitted.values * (1 - m$fitted.values)))))); top <- penalised(b)
  for (j in seq_along(b)) for (side in c(-1, 1)) {
    gap <- function(v) { r <- fit(X[, -j, drop = FALSE], X[, j] * v)$coefficients
      full <- b; full[j] <- v; full[-j] <- r; 2 * (top - penalised(full)) - qchisq(0.95, 1) }
    uniroot(gap, sort(b[j] + side * se[j] * c(1, 3.5)), extendInt = "yes", tol = 1e-3 * se[j])
  }
}
profile()
times <- replicate(3, system.time(profile())[["elapsed"]])
cat(toJSON(list(seconds = min(times)), digits = 10, auto_unbox = TRUE))
