# Ordinary GEE with independence from R geepack (estimates and Liang-Zeger robust errors); the
# Mancl-DeRouen variance worked out here from its definition, with whole (rows x rows) leverage
# matrices of each cluster (Mancl and DeRouen 2001, Biometrics 57:126), and likewise Kauermann
# and Carroll 2001. Data: ohio and respiratory (geepack), bacteria (MASS).
suppressMessages({library(geepack); library(MASS); library(jsonlite)})
options(digits = 15)
data(ohio); data(respiratory)
root_inverse <- function(m) { e <- eigen(m); Re(e$vectors %*% diag(1 / sqrt(as.complex(e$values))) %*% solve(e$vectors)) }
one <- function(formula, data, id, name) {
  data$id_ <- as.integer(factor(id, levels = unique(id)))
  fit <- geeglm(formula, id = id_, data = data, family = binomial, corstr = "independence",
                control = geese.control(epsilon = 1e-12, maxit = 200))
  X <- model.matrix(formula, data); y <- as.numeric(fit$y); p <- as.numeric(fitted(fit))
  w <- p * (1 - p); A <- solve(crossprod(X * sqrt(w)))
  meat <- function(correct) Reduce(`+`, lapply(split(seq_along(y), data$id_), function(i) {
    D <- X[i, , drop = FALSE] * w[i]; V <- diag(w[i], length(i))
    H <- D %*% A %*% t(D) %*% solve(V)
    s <- t(D) %*% solve(V) %*% correct(diag(length(i)) - H) %*% (y[i] - p[i])
    s %*% t(s) }))
  md <- A %*% meat(solve) %*% A; kc <- A %*% meat(root_inverse) %*% A
  list(name = name, columns = as.list(as.data.frame(X)), y = y, cluster = data$id_,
       terms = names(coef(fit)), estimate = unname(coef(fit)),
       robust = unname(sqrt(diag(vcov(fit)))), mancl_derouen = unname(sqrt(diag(md))),
       kauermann_carroll = unname(sqrt(diag(kc))))
}
resp <- respiratory; resp$id2 <- paste(resp$center, resp$id)
resp <- resp[order(resp$id2), ]
out <- list(
  one(resp ~ age + smoke, ohio, ohio$id, "ohio"),
  one(outcome ~ treat + baseline + age, resp, resp$id2, "respiratory"),
  one(I(y == "y") ~ ap + hilo + week, bacteria, as.character(bacteria$ID), "bacteria"))
cat(toJSON(out, digits = 15, auto_unbox = TRUE))
