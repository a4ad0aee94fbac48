# Cumulative incidence with its variance and Gray's test by R cmprsk (Gray), and the variance by
# cluster by R survival, on open data sets: the help example of cmprsk's cuminc; mgus2, pbc and
# transplant from survival, mgus2 also with its times cut to years, so that nearly all are tied.
# The limits are F^exp(+-z se/(F ln F)) from cmprsk's estimate and variance.
suppressPackageStartupMessages({library(survival); library(cmprsk); library(jsonlite)})

limits <- function(f, v, level = 0.95) {
  z <- qnorm(1 - (1 - level) / 2)
  a <- ifelse(f > 0 & f < 1 & v > 0, z * sqrt(v) / (f * log(f)), NA)
  list(low = f^exp(-a), high = f^exp(a))
}
one <- function(time, event, group) {
  d <- data.frame(time = time, event = event, group = as.character(group))
  causes <- sort(unique(d$event[d$event > 0]))
  all <- cuminc(d$time, d$event)
  at <- sort(unique(d$time))
  found <- timepoints(all, at)
  by_cause <- lapply(seq_along(causes), function(k) {
    f <- unname(found$est[k, ]); v <- unname(found$var[k, ])
    c(list(cause = causes[k], estimate = f, variance = v), limits(f, v))
  })
  by <- cuminc(d$time, d$event, d$group)
  groups <- sort(unique(d$group))
  half <- unname(quantile(d$time, 0.5, type = 1))
  there <- timepoints(by, half)
  list(data = as.list(d), time = at, causes = by_cause, groups = groups, half = half,
       at_half = list(name = rownames(there$est), estimate = there$est[, 1],
                      variance = there$var[, 1]),
       gray = list(cause = causes, statistic = unname(by$Tests[, "stat"]),
                   p = unname(by$Tests[, "pv"]), df = unname(by$Tests[1, "df"])))
}
set.seed(2)
ss <- rexp(100)
gg <- factor(sample(1:3, 100, replace = TRUE), 1:3, c("a", "b", "c"))
cc <- sample(0:2, 100, replace = TRUE)
m <- with(mgus2, data.frame(time = ifelse(pstat == 0, futime, ptime),
  event = ifelse(pstat == 0, 2 * death, 1), sex = sex, age = age))
p <- subset(pbc, !is.na(trt))
p$event <- c(0, 2, 1)[p$status + 1]
tr <- subset(transplant, !is.na(age) & futime > 0)
tr$e <- c(0, 2, 1, 3)[match(tr$event, c("censored", "death", "ltx", "withdraw"))]
sets <- list(
  help_example = one(ss, cc, gg),
  mgus2 = one(m$time, m$event, m$sex),
  mgus2_years = one(floor(m$time / 12), m$event, cut(m$age, c(0, 60, 70, 80, 200),
                                                    labels = c("1", "2", "3", "4"))),
  pbc = one(p$time, p$event, p$trt),
  transplant = one(tr$futime, tr$e, tr$abo)
)

# Variance by cluster: R's own influence of each row, summed by cluster (survfit 3.5 leaves
# `cluster` aside where there are several states). Rows of the same age stand for one cluster:
# a check of the formula only.
by_cluster <- function(time, event, cluster, causes) {
  f <- survfit(Surv(time, factor(event, 0:max(causes))) ~ 1, id = seq_along(time),
               influence = TRUE)
  keep <- which(f$states != "(s0)")
  se <- sapply(keep, function(k) sqrt(colSums(rowsum(f$influence.pstate[, , k], cluster)^2)))
  list(data = list(time = time, event = event, cluster = cluster), time = f$time,
       estimate = unname(f$pstate[, keep, drop = FALSE]), se = unname(tail(se, length(f$time))))
}
clustered <- list(
  mgus2 = by_cluster(floor(m$time / 12)[1:400], m$event[1:400], m$age[1:400], 1:2),
  transplant = by_cluster(tr$futime[1:300], tr$e[1:300], tr$age[1:300], 1:3)
)
cat(toJSON(list(sets = sets, clustered = clustered), digits = NA, na = "null",
           auto_unbox = TRUE))
