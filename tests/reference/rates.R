# Rates and rate ratios. Exact: stats::poisson.test. Robust variance by patient: of a rate from
# survey::svyratio, of a log rate ratio from survey::svyglm (quasi-Poisson with log time offset);
# the widened intervals by their definition (qgamma and qbeta on counts divided by the widening).
# Data: survival::cgd (infections by patient and treatment), MASS::epil (seizures by patient),
# Kim 2014 (141 haemorrhages in 6,074 patient-years, Neurology, PMC4141996).
suppressPackageStartupMessages({
  library(jsonlite); library(survey); library(survival); library(MASS)
})
single <- list()
for (x in c(0, 1, 2, 3, 5, 11, 29, 141, 1000)) for (time in c(0.5, 60, 6074))
  for (level in c(0.95, 0.90)) single[[length(single) + 1]] <- list(
    events = x, time = time, level = level,
    limits = as.numeric(poisson.test(x, time, conf.level = level)$conf.int))
two <- list()
for (k in list(c(11, 800, 3, 900), c(1, 10, 0, 20), c(0, 10, 4, 20), c(141, 6074, 30, 800),
               c(5, 5, 5, 5), c(2, 17877, 20, 11500), c(3, 0.4, 1, 90)))
  for (level in c(0.95, 0.90)) two[[length(two) + 1]] <- list(
    counts = k, level = level,
    limits = as.numeric(poisson.test(k[c(1, 3)], k[c(2, 4)], conf.level = level)$conf.int))
sets <- list(
  "survival cgd" = data.frame(id = cgd$id, d = cgd$status, t = (cgd$tstop - cgd$tstart) / 365.25,
                              arm = as.character(cgd$treat)),
  "MASS epil" = data.frame(id = epil$subject, d = epil$y, t = 14 / 365.25,
                           arm = as.character(epil$trt)),
  # arms within patients: the first two against the last two periods
  "MASS epil, periods" = data.frame(id = epil$subject, d = epil$y, t = 14 / 365.25,
                                    arm = ifelse(epil$period <= 2, "early", "late")))
one <- function(name) {
  s <- sets[[name]]; design <- svydesign(ids = ~id, weights = ~1, data = s)
  D <- sum(s$d); T <- sum(s$t)
  V <- as.numeric(vcov(svyratio(~d, ~t, design))); phi <- max(1, V / (D / T^2))
  fit <- svyglm(d ~ arm, design, family = quasipoisson(), offset = log(t),
                control = glm.control(epsilon = 1e-14, maxit = 100))
  arms <- sort(unique(s$arm)); Dk <- tapply(s$d, s$arm, sum); Tk <- tapply(s$t, s$arm, sum)
  Vr <- as.numeric(vcov(fit)[2, 2]); wide <- max(1, Vr / sum(1 / Dk))
  x1 <- Dk[[2]] / wide; x2 <- Dk[[1]] / wide
  share <- c(qbeta(0.025, x1, x2 + 1), qbeta(0.975, x1 + 1, x2))
  list(name = name, id = as.integer(factor(s$id)), d = s$d, t = s$t, arm = s$arm,
       robust_over_poisson = V / (D / T^2),
       rate_limits = c(qgamma(0.025, D / phi), qgamma(0.975, D / phi + 1)) * phi / T,
       reference = arms[1], log_ratio_variance = Vr, widening = wide,
       ratio = (Dk[[2]] / Tk[[2]]) / (Dk[[1]] / Tk[[1]]),
       ratio_limits = share / (1 - share) * Tk[[1]] / Tk[[2]])
}
cat(toJSON(list(single = single, two = two, data = lapply(names(sets), one)), digits = 15,
           auto_unbox = TRUE))
