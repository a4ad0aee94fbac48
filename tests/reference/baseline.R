# Baseline table of an open data set: birthwt of R's MASS (189 births, Baystate Medical Center
# 1986; Hosmer and Lemeshow 1989), by smoking. Means, standard deviations, quartiles (type 7),
# shares and standardised differences, in base R.
# Standardised differences after their definitions: Austin 2009, Stat Med 28:3083 (continuous);
# Yang and Dalton 2012, SAS Global Forum 335 (levels: Mahalanobis distance of the shares).
suppressMessages({library(MASS); library(jsonlite)})
d <- birthwt
smoke <- factor(d$smoke, levels = 0:1, labels = c("no", "yes"))
race <- factor(d$race, levels = 1:3, labels = c("white", "black", "other"))

continuous <- function(x) {
  one <- x[smoke == "no"]; two <- x[smoke == "yes"]
  list(mean = mean(x), sd = sd(x), quartiles = unname(quantile(x, c(.25, .5, .75))),
       means = c(mean(one), mean(two)),
       smd = abs(mean(one) - mean(two)) / sqrt((var(one) + var(two)) / 2))
}
of_levels <- function(x) {
  shares <- prop.table(table(smoke, x), 1)
  t1 <- shares[1, -1]; t2 <- shares[2, -1]
  cov_of <- function(p) { s <- -outer(p, p); diag(s) <- p * (1 - p); s }
  s <- (cov_of(t1) + cov_of(t2)) / 2
  away <- t1 - t2
  list(shares = unname(c(prop.table(table(x)))),
       smd = sqrt(as.numeric(t(away) %*% solve(s) %*% away)))
}
cat(toJSON(list(
  data = list(age = d$age, lwt = d$lwt, smoke = as.character(smoke), race = as.character(race)),
  age = continuous(d$age), lwt = continuous(d$lwt), race = of_levels(race)
), digits = 15, auto_unbox = TRUE))
