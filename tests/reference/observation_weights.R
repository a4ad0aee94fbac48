# A proportion weighted by the inverse probability of observation, with the sandwich of the
# stacked estimating equations (Lunceford and Davidian 2004, Stat Med 23:2937), the derivatives
# taken by differences and not by formula. Open data: birthwt of R's MASS, outcome low birth
# weight made missing by a fixed rule; pairs of neighbouring rows stand for patients with two rows.
# Chance of observation: Firth's logistic regression of brglm2.
suppressMessages({library(MASS); library(brglm2); library(jsonlite)})
d <- birthwt
d$seen <- as.numeric((d$age * 3 + d$lwt + d$race) %% 7 > 1)
patient <- (seq_len(nrow(d)) + 1) %/% 2
x <- cbind(1, d$age - mean(d$age), d$smoke - mean(d$smoke))
fit <- glm(d$seen ~ x - 1, family = binomial, method = "brglmFit", type = "AS_mean",
           control = list(epsilon = 1e-12, maxit = 1000))
beta <- unname(coef(fit)); k <- length(beta)
equations <- function(theta) {
  p <- plogis(as.numeric(x %*% theta[1:k]))
  cbind(x * (d$seen - p), d$seen / p * (d$low - theta[k + 1]))
}
p <- plogis(as.numeric(x %*% beta))
mu <- sum(d$seen / p * d$low) / sum(d$seen / p)
theta <- c(beta, mu)
slopes <- sapply(seq_along(theta), function(j) {
  h <- 1e-5 * max(1, abs(theta[j])); up <- theta; down <- theta
  up[j] <- up[j] + h; down[j] <- down[j] - h
  (colSums(equations(up)) - colSums(equations(down))) / (2 * h)
})
meat <- rowsum(equations(theta), patient)
clusters <- length(unique(patient))
variance <- solve(slopes) %*% (t(meat) %*% meat) %*% t(solve(slopes)) * clusters / (clusters - 1)
cat(toJSON(list(
  data = list(low = d$low, seen = d$seen, age = d$age, smoke = d$smoke, patient = patient),
  value = mu, variance = variance[k + 1, k + 1]
), digits = 15, auto_unbox = TRUE))
