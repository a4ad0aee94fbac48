# GEE with an exchangeable working correlation.
# ordinary: R geepack (estimates, Liang-Zeger robust errors, alpha, scale). Its scale is the mean
# squared Pearson residual, its alpha the mean product of the residuals of two rows of a cluster
# over all pairs, divided by the scale; neither takes off the number of terms.
# penalised: worked out here from the estimating equations with whole matrices of each cluster:
# sum of D'V^-1 (y - mu) plus half the gradient, by central differences at fixed alpha and scale,
# of log det of sum of D'V^-1 D (Mondol and Rahman 2019, Stat Med 38:2544). Moments "pooled": as
# geepack; "by patient": mean over the clusters of two rows or more of the mean product of each,
# not divided by the scale, and mean over clusters of the mean square, as the authors' own code
# does. Robust and Mancl-DeRouen errors from their definitions with the same matrices.
# Data: ohio and respiratory (geepack), bacteria (MASS); "separated" is respiratory with a column
# that is 1 in six rows, all of them with a good outcome: without the penalty geepack's own
# estimate of it runs to infinity (4.5e15), so that it is not recorded.
suppressMessages({library(geepack); library(MASS); library(jsonlite)})
options(digits = 15)
data(ohio); data(respiratory)

moments <- function(e, rows, how) {
  square <- if (how == "pooled") mean(e^2) else mean(sapply(rows, function(i) mean(e[i]^2)))
  products <- lapply(rows, function(i) { p <- outer(e[i], e[i]); p[upper.tri(p)] })
  products <- products[lengths(products) > 0]
  alpha <- if (how == "pooled") mean(unlist(products)) / square else mean(sapply(products, mean))
  c(alpha = alpha, scale = square)
}
working <- function(w, n, m) {
  R <- matrix(m["alpha"], n, n); diag(R) <- 1
  m["scale"] * diag(sqrt(w), n) %*% R %*% diag(sqrt(w), n)
}
penalised <- function(X, y, cluster, how) {
  rows <- split(seq_along(y), cluster)
  piece <- function(b, m, i) {
    x <- X[i, , drop = FALSE]; mu <- plogis(drop(x %*% b)); w <- mu * (1 - mu)
    list(D = x * w, V = working(w, length(i), m), r = y[i] - mu)
  }
  information <- function(b, m) Reduce(`+`, lapply(rows, function(i) {
    a <- piece(b, m, i); t(a$D) %*% solve(a$V, a$D) }))
  score <- function(b, m) Reduce(`+`, lapply(rows, function(i) {
    a <- piece(b, m, i); drop(t(a$D) %*% solve(a$V, a$r)) }))
  logdet <- function(b, m) determinant(information(b, m))$modulus
  slope <- function(b, m) sapply(seq_along(b), function(j) {
    h <- replace(numeric(length(b)), j, 1e-5)
    (logdet(b + h, m) - logdet(b - h, m)) / 2e-5 })
  b <- numeric(ncol(X)); b[1] <- qlogis(mean(y))
  for (step in 1:200) {
    mu <- plogis(drop(X %*% b)); m <- moments((y - mu) / sqrt(mu * (1 - mu)), rows, how)
    move <- drop(solve(information(b, m), score(b, m) + 0.5 * slope(b, m)))
    b <- b + move
    if (max(abs(move)) < 1e-11) break
  }
  mu <- plogis(drop(X %*% b)); m <- moments((y - mu) / sqrt(mu * (1 - mu)), rows, how)
  A <- solve(information(b, m))
  meat <- function(correct) Reduce(`+`, lapply(rows, function(i) {
    a <- piece(b, m, i); H <- a$D %*% A %*% t(a$D) %*% solve(a$V)
    s <- t(a$D) %*% solve(a$V, if (correct) solve(diag(length(i)) - H, a$r) else a$r)
    s %*% t(s) }))
  error <- function(correct) unname(sqrt(diag(A %*% meat(correct) %*% A)))
  list(estimate = unname(b), alpha = m[["alpha"]], scale = m[["scale"]], robust = error(FALSE),
       mancl_derouen = error(TRUE), model = unname(sqrt(diag(A))))
}
one <- function(formula, data, id, name, ordinary = TRUE) {
  data$id_ <- as.integer(factor(id, levels = unique(id)))
  X <- model.matrix(formula, data); y <- as.numeric(model.response(model.frame(formula, data)))
  out <- list(name = name, columns = as.list(as.data.frame(X)), y = y, cluster = data$id_,
              pooled = penalised(X, y, data$id_, "pooled"),
              by_patient = penalised(X, y, data$id_, "by patient"))
  if (!ordinary) return(out)
  fit <- geeglm(formula, id = id_, data = data, family = binomial, corstr = "exchangeable",
                control = geese.control(epsilon = 1e-13, maxit = 500))
  out$ordinary <- list(estimate = unname(coef(fit)), robust = unname(sqrt(diag(vcov(fit)))),
                       alpha = unname(fit$geese$alpha), scale = unname(fit$geese$gamma))
  out
}
resp <- respiratory; resp$id2 <- paste(resp$center, resp$id)
resp <- resp[order(resp$id2), ]
resp$sure <- replace(numeric(nrow(resp)), which(resp$outcome == 1)[c(5, 31, 70, 111, 150, 201)], 1)
out <- list(
  one(resp ~ age + smoke, ohio, ohio$id, "ohio"),
  one(outcome ~ treat + baseline + age, resp, resp$id2, "respiratory"),
  one(I(y == "y") ~ ap + hilo + week, bacteria, as.character(bacteria$ID), "bacteria"),
  one(outcome ~ treat + sure, resp, resp$id2, "separated", ordinary = FALSE))
cat(toJSON(out, digits = 15, auto_unbox = TRUE))
