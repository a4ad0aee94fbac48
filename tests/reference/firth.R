# Firth logistic regression: estimates and standard errors from R brglm2; penalised profile
# intervals and likelihood-ratio tests from a profile written with base R's optim (brglm2 gives
# none). Data: endometrial (brglm2; Heinze and Schemper 2002, Stat Med 21:2409), birthwt and
# Pima.tr (MASS), infert and mtcars (base R datasets).
suppressMessages({library(brglm2); library(MASS); library(jsonlite)})
options(digits = 15)
data(endometrial)
penalised <- function(beta, X, y) {
  eta <- drop(X %*% beta); p <- plogis(eta)
  ll <- sum(y * plogis(eta, log.p = TRUE) + (1 - y) * plogis(-eta, log.p = TRUE))
  d <- determinant(crossprod(X * sqrt(p * (1 - p))))
  ll + 0.5 * as.numeric(d$modulus)
}
gradient <- function(beta, X, y) {
  p <- plogis(drop(X %*% beta)); w <- p * (1 - p)
  h <- w * rowSums((X %*% solve(crossprod(X * sqrt(w)))) * X)
  drop(crossprod(X, y - p + h * (0.5 - p)))
}
held <- function(j, value, start, X, y) {
  full <- function(free) { b <- start; b[j] <- value; b[-j] <- free; b }
  o <- optim(start[-j], function(f) -penalised(full(f), X, y),
             function(f) -gradient(full(f), X, y)[-j], method = "BFGS",
             control = list(reltol = 1e-15, maxit = 2000))
  list(value = -o$value, beta = full(o$par))
}
one <- function(formula, data, name) {
  X0 <- model.matrix(formula, data); s <- apply(X0, 2, function(c) sqrt(mean(c^2)))
  X <- sweep(X0, 2, s, "/"); y <- as.numeric(model.response(model.frame(formula, data)))
  fit <- suppressWarnings(glm(formula, binomial, data, method = "brglmFit", type = "AS_mean",
             control = list(epsilon = 1e-12, maxit = 2000)))
  best <- coef(fit) * s; se <- sqrt(diag(vcov(fit))) * s; top <- penalised(best, X, y)
  bound <- function(j, side) {
    f <- function(v) 2 * (top - held(j, v, best, X, y)$value) - qchisq(0.95, 1)
    far <- best[j] + side * 2 * se[j]
    while (f(far) < 0) far <- far + side * se[j]
    uniroot(f, sort(c(best[j], far)), tol = 1e-10)$root / s[j]
  }
  j <- seq_along(best)
  list(name = name, columns = as.list(as.data.frame(X0)), y = y, terms = names(coef(fit)),
       estimate = unname(coef(fit)), se = unname(sqrt(diag(vcov(fit)))),
       low = unname(sapply(j, bound, -1)), high = unname(sapply(j, bound, 1)),
       likelihood_ratio = unname(sapply(j, function(k) 2 * (top - held(k, 0, best, X, y)$value))))
}
cars <- transform(mtcars, am = am)
out <- list(
  one(HG ~ NV + PI + EH, endometrial, "endometrial"),
  one(low ~ age + lwt + smoke + ht + ui, birthwt, "birthwt"),
  one(I(type == "Yes") ~ npreg + glu + bmi + ped, Pima.tr, "Pima.tr"),
  one(case ~ spontaneous + induced + age, infert, "infert"),
  one(am ~ wt + hp, cars, "mtcars"))
cat(toJSON(out, digits = 15, auto_unbox = TRUE))
