# Medians: ranks l = qbinom(alpha/2, n, 1/2) and n + 1 - l; quantiles of type 7; t intervals of
# means, plain (t.test) and by patient (survey::svymean).
# Data: survival::lung (weight loss, age), MASS::birthwt (weight), lme4::sleepstudy (reaction).
suppressPackageStartupMessages({
  library(jsonlite); library(survival); library(MASS); library(lme4); library(survey)
})
ranks <- list()
for (n in 1:120) for (level in c(0.95, 0.90)) ranks[[length(ranks) + 1]] <- list(
  n = n, level = level, rank = qbinom((1 - level) / 2, n, 0.5))
sets <- list("survival lung, weight loss" = lung$wt.loss[!is.na(lung$wt.loss)],
             "survival lung, age" = lung$age, "MASS birthwt, weight" = birthwt$bwt,
             "lme4 sleepstudy, reaction" = sleepstudy$Reaction)
one <- function(name) {
  v <- sets[[name]]; n <- length(v); l <- qbinom(0.025, n, 0.5); s <- sort(v)
  list(name = name, values = v, median = median(v), limits = c(s[l], s[n + 1 - l]),
       quartiles = unname(quantile(v, c(0.25, 0.75))), mean = mean(v), sd = sd(v),
       mean_limits = as.numeric(t.test(v)$conf.int))
}
design <- svydesign(ids = ~Subject, weights = ~1, data = sleepstudy)
m <- svymean(~Reaction, design)
cat(toJSON(list(
  ranks = ranks, data = lapply(names(sets), one),
  by_patient = list(id = as.integer(sleepstudy$Subject), values = sleepstudy$Reaction,
                    mean = unname(coef(m)), se = as.numeric(SE(m)),
                    limits = as.numeric(confint(m, df = degf(design))))), digits = 15, auto_unbox = TRUE))
