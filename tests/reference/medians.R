# Medians: ranks l = qbinom(alpha/2, n, 1/2) and n + 1 - l; quantiles of type 7; t intervals of
# means, plain (t.test) and by patient (survey::svymean). The bootstrap of patients is checked
# against all 6^6 samples of six patients, listed.
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
six <- sleepstudy[sleepstudy$Subject %in% levels(sleepstudy$Subject)[1:6] & sleepstudy$Days < 3, ]
six$Subject <- factor(six$Subject); parts <- split(six$Reaction, six$Subject)
# Samples with the same patients have the same median: the 462 multisets with their weights.
weights <- as.matrix(expand.grid(rep(list(0:6), 6)))
weights <- weights[rowSums(weights) == 6, ]
medians <- apply(weights, 1, function(w)
  median(unlist(lapply(seq_along(parts), function(j) rep(parts[[j]], w[j])))))
chance <- apply(weights, 1, function(w) dmultinom(w, 6, rep(1 / 6, 6)))
by <- aggregate(chance, list(medians), sum)
cat(toJSON(list(
  ranks = ranks, data = lapply(names(sets), one),
  by_patient = list(id = as.integer(sleepstudy$Subject), values = sleepstudy$Reaction,
                    mean = unname(coef(m)), se = as.numeric(SE(m)),
                    limits = as.numeric(confint(m, df = degf(design)))),
  all_samples = list(id = as.integer(six$Subject), values = six$Reaction, median = by[[1]],
                     chance = by[[2]])), digits = 15, auto_unbox = TRUE))
