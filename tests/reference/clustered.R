# Clustered proportions, differences and slopes: R survey on open data sets, and the definition
# written out where survey and the definition part (cap at n, no events, all events).
# Data: survey::api (apiclus1, apiclus2: California schools by district), geepack ohio, respiratory;
# MASS bacteria; lme4 cbpp (expanded to animals) and VerbAgg; survival retinopathy, cgd.
suppressPackageStartupMessages({
  library(jsonlite); library(survey); library(geepack); library(MASS); library(lme4)
  library(survival)
})
data(api); data(ohio); data(respiratory)
cows <- do.call(rbind, lapply(seq_len(nrow(cbpp)), function(i) data.frame(
  herd = cbpp$herd[i], period = as.integer(cbpp$period[i]),
  y = rep(1:0, c(cbpp$incidence[i], cbpp$size[i] - cbpp$incidence[i])))))
sets <- list(
  "survey apiclus1, improvement by district" =
    data.frame(id = apiclus1$dnum, y = as.numeric(apiclus1$sch.wide == "Yes"),
               arm = as.character(apiclus1$stype == "E"), x = apiclus1$meals / 25),
  "survey apiclus2, improvement by district" =
    data.frame(id = apiclus2$dnum, y = as.numeric(apiclus2$sch.wide == "Yes"),
               arm = as.character(apiclus2$stype == "E"), x = apiclus2$meals / 25),
  "geepack ohio, wheeze by child" =
    data.frame(id = ohio$id, y = ohio$resp, arm = as.character(ohio$smoke), x = ohio$age),
  "geepack respiratory, outcome by patient" =
    data.frame(id = paste(respiratory$center, respiratory$id), y = respiratory$outcome,
               arm = as.character(respiratory$treat), x = respiratory$visit),
  "MASS bacteria, presence by child" =
    data.frame(id = as.character(bacteria$ID), y = as.numeric(bacteria$y == "y"),
               arm = as.character(bacteria$ap), x = bacteria$week),
  "lme4 cbpp, disease by herd" =
    data.frame(id = as.character(cows$herd), y = cows$y, arm = as.character(cows$period == 1),
               x = cows$period),
  "lme4 VerbAgg, item by person" =
    data.frame(id = as.character(VerbAgg$id), y = as.numeric(VerbAgg$r2 == "Y"),
               arm = as.character(VerbAgg$mode), x = VerbAgg$Anger),
  "survival retinopathy, vision loss by patient" =
    data.frame(id = retinopathy$id, y = retinopathy$status, arm = as.character(retinopathy$trt),
               x = retinopathy$risk),
  "survival cgd, infection by patient" =
    data.frame(id = cgd$id, y = cgd$status, arm = as.character(cgd$treat), x = cgd$enum))
# The definition, for the cases survey leaves out or treats otherwise.
defined <- function(events, rows, level) {
  n <- sum(rows); x <- sum(events); C <- length(rows); p <- x / n; a <- (1 - level) / 2
  beta_limits <- function(x, n) c(if (x == 0) 0 else qbeta(a, x, n - x + 1),
                                  if (x == n) 1 else qbeta(1 - a, x + 1, n - x))
  if (all(rows == 1)) return(beta_limits(x, n))
  if (x == 0 || x == n) return(beta_limits(p * C, C))
  V <- C / (C - 1) * sum(((events - p * rows) / n)^2)
  eff <- if (V == 0) n else min(n, p * (1 - p) / V * (qt(a, n - 1) / qt(a, C - 1))^2)
  beta_limits(p * eff, eff)
}
one <- function(name) {
  d <- sets[[name]]; d$id <- as.integer(factor(d$id)); d$arm <- as.integer(factor(d$arm)) - 1
  design <- svydesign(ids = ~id, weights = ~1, data = d)
  n <- nrow(d); clusters <- length(unique(d$id)); p <- mean(d$y)
  V <- as.numeric(vcov(svymean(~y, design)))
  eff <- function(level) p * (1 - p) / V *
    (qt((1 - level) / 2, n - 1) / qt((1 - level) / 2, clusters - 1))^2
  limits <- function(level)
    as.numeric(confint(svyciprop(~y, design, method = "beta", level = level)))
  fit <- svyglm(y ~ arm, design); line <- svyglm(y ~ x, design)
  by <- svyby(~y, ~arm, design, svymean, covmat = TRUE)
  contrast <- svycontrast(by, setNames(c(-1, 1), rownames(by)))
  u <- tapply((d$x - mean(d$x)) * (d$y - p), d$id, sum)
  list(name = name, id = d$id, y = d$y, arm = d$arm, x = d$x, n = n, clusters = clusters,
       variance = V, effective_n = eff(0.95), capped = eff(0.95) > n || eff(0.90) > n,
       low_high_95 = limits(0.95), low_high_90 = limits(0.90),
       defined_95 = defined(tapply(d$y, d$id, sum), tapply(d$y, d$id, length), 0.95),
       difference = unname(coef(fit)[2]), difference_se = unname(SE(fit)[2]),
       difference_by_se = as.numeric(SE(contrast)),
       difference_limits = unname(confint(fit)[2, ]),
       slope = unname(coef(line)[2]), slope_se = unname(SE(line)[2]),
       slope_limits = unname(confint(line)[2, ]), score = sum(u)^2 / sum(u^2))
}
cases <- list(
  "cap binds: one event in each of six patients" = list(rep(1, 6), c(2, 3, 2, 3, 2, 3)),
  "cap binds: nobody has two" = list(c(1, 1, 0, 1, 0, 1, 0, 0), c(5, 4, 1, 3, 1, 2, 2, 1)),
  "no variation at all" = list(rep(1, 10), rep(2, 10)),
  "no events" = list(rep(0, 38), rep(c(1, 2), 19)),
  "no events, 120 patients" = list(rep(0, 120), rep(c(1, 2, 5), 40)),
  "only events" = list(rep(c(2, 3), 10), rep(c(2, 3), 10)),
  "one row a patient" = list(rep(c(0, 1, 0), 13), rep(1, 39)),
  "two patients" = list(c(1, 3), c(4, 5)),
  "one patient has all the events" = list(c(4, rep(0, 39)), c(5, rep(2, 39))))
written <- lapply(names(cases), function(name) {
  k <- cases[[name]]
  list(name = name, events = k[[1]], rows = k[[2]], low_high_95 = defined(k[[1]], k[[2]], 0.95),
       low_high_90 = defined(k[[1]], k[[2]], 0.90))
})
cat(toJSON(list(data = lapply(names(sets), one), written = written), digits = 15,
           auto_unbox = TRUE))
