# Modified Poisson against R sandwich (vcovHC type HC0; vcovCL type HC0 without its cluster
# factor); proportional odds against MASS polr; CR2 with Bell-McCaffrey degrees of freedom worked
# out from whole matrices; Firth's Cox model maximised with base R's optim; Rubin's rules from
# mice pool.scalar. Data: birthwt and bacteria (MASS), housing (MASS), dietox (geepack),
# ovarian (survival).
suppressMessages({library(sandwich); library(MASS); library(geepack); library(survival)
                  library(mice); library(jsonlite)})
options(digits = 15)
frame <- function(d) as.list(d)

poisson_one <- function() {
  d <- birthwt[, c("low", "smoke", "ht", "age")]
  m <- glm(low ~ smoke + ht + age, poisson, d, control = list(epsilon = 1e-14))
  list(data = frame(d), estimate = unname(coef(m)),
       robust = unname(sqrt(diag(vcovHC(m, type = "HC0")))))
}
poisson_clustered <- function() {
  d <- data.frame(y = as.integer(bacteria$y == "y"), active = as.integer(bacteria$ap == "a"),
                  week = bacteria$week, id = as.character(bacteria$ID))
  m <- glm(y ~ active + week, poisson, d, control = list(epsilon = 1e-14))
  v <- vcovCL(m, cluster = d$id, type = "HC0", cadjust = FALSE)
  list(data = frame(d), estimate = unname(coef(m)), robust = unname(sqrt(diag(v))))
}
ordinal <- function() {
  d <- housing[rep(seq_len(nrow(housing)), housing$Freq), c("Sat", "Infl", "Cont")]
  d <- data.frame(sat = as.integer(d$Sat) - 1, influence = as.integer(d$Infl),
                  contact = as.integer(d$Cont) - 1)
  m <- polr(factor(sat) ~ influence + contact, d, Hess = TRUE, control = list(reltol = 1e-15, maxit = 500))
  list(data = frame(d), estimate = unname(coef(m)), se = unname(sqrt(diag(vcov(m)))[1:2]))
}
cr2 <- function() {
  d <- na.omit(dietox[, c("Weight", "Time", "Evit", "Pig")])
  d <- d[d$Pig %in% unique(d$Pig)[1:30], ]
  d <- data.frame(weight = d$Weight, time = d$Time, vitamin = as.integer(factor(d$Evit)) - 1, pig = as.integer(d$Pig))
  X <- model.matrix(~ time + vitamin, d); y <- log(d$weight); A <- solve(crossprod(X))
  b <- A %*% crossprod(X, y); r <- y - X %*% b; H <- X %*% A %*% t(X)
  parts <- split(seq_along(y), d$pig)
  root <- function(m) { e <- eigen(m, symmetric = TRUE); e$vectors %*% (t(e$vectors) / sqrt(e$values)) }
  adj <- lapply(parts, function(i) root(diag(length(i)) - H[i, i]))
  meat <- Reduce(`+`, Map(function(i, a) { s <- t(X[i, ]) %*% a %*% r[i]; s %*% t(s) }, parts, adj))
  V <- A %*% meat %*% A
  df <- sapply(1:3, function(k) {
    G <- sapply(seq_along(parts), function(j) { i <- parts[[j]]
      t((diag(length(y)) - H)[i, ]) %*% t(adj[[j]]) %*% X[i, ] %*% A[, k] })
    M <- crossprod(G); sum(diag(M))^2 / sum(M^2) })
  list(data = frame(d), estimate = as.numeric(b), se = sqrt(diag(V)) |> unname(), df = df)
}
firth_cox <- function() {
  d <- ovarian[, c("futime", "fustat", "age", "rx", "ecog.ps")]
  names(d) <- c("time", "event", "age", "rx", "ecog")
  X <- as.matrix(d[, c("age", "rx", "ecog")]); s <- apply(X, 2, sd); Z <- scale(X, TRUE, s)
  pen <- function(b) {
    eta <- drop(Z %*% b); ll <- 0; I <- matrix(0, 3, 3)
    for (i in which(d$event == 1)) {
      r <- d$time >= d$time[i]; w <- exp(eta[r]); m <- colSums(Z[r, , drop = FALSE] * w) / sum(w)
      ll <- ll + eta[i] - log(sum(w))
      I <- I + crossprod(Z[r, , drop = FALSE] * sqrt(w)) / sum(w) - tcrossprod(m)
    }
    ll + 0.5 * as.numeric(determinant(I)$modulus)
  }
  run <- function(fixed, value, start) {
    full <- function(f) { b <- start; if (length(fixed)) b[fixed] <- value
      b[setdiff(1:3, fixed)] <- f; b }
    o <- optim(start[setdiff(1:3, fixed)], function(f) -pen(full(f)), method = "BFGS",
               control = list(reltol = 1e-15, maxit = 1000))
    o <- optim(o$par, function(f) -pen(full(f)), method = "BFGS", control = list(reltol = 1e-15, maxit = 1000))
    list(b = full(o$par), v = -o$value)
  }
  best <- run(integer(0), 0, rep(0, 3))
  bound <- function(j, side) {
    f <- function(v) 2 * (best$v - run(j, v, best$b)$v) - qchisq(0.95, 1)
    uniroot(f, sort(c(best$b[j], best$b[j] + side * 8)), tol = 1e-9)$root / s[j] }
  list(data = frame(d), estimate = unname(best$b / s),
       low = unname(sapply(1:3, bound, -1)), high = unname(sapply(1:3, bound, 1)))
}
rubin <- function() {
  Q <- c(0.81, 0.67, 1.02, 0.74, 0.93); U <- c(0.16, 0.15, 0.18, 0.155, 0.17)
  p <- pool.scalar(Q, U, n = 120, k = 4)
  list(Q = Q, U = U, n = 120, k = 4, estimate = p$qbar, total = p$t, df = p$df, fmi = p$fmi, riv = p$r)
}
cat(toJSON(list(poisson = poisson_one(), poisson_clustered = poisson_clustered(),
                ordinal = ordinal(), cr2 = cr2(), firth_cox = firth_cox(), rubin = rubin()),
           digits = 15, auto_unbox = TRUE))
