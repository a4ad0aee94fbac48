# Kaplan-Meier, reverse Kaplan-Meier, log-rank, restricted mean, medians, clustered variance and
# late entry by R survival (Therneau), on open data sets: lung, veteran, ovarian, pbc, diabetic
# (two eyes a patient), colon (two rows a patient), heart (late entry) from survival; gehan from
# MASS; "steps" is four made-up times whose curve stands level at one half.
suppressPackageStartupMessages({library(survival); library(MASS); library(jsonlite)})

curve <- function(fit) {
  list(time = fit$time, at_risk = fit$n.risk, events = fit$n.event, censored = fit$n.censor,
       estimate = fit$surv, se = if (isTRUE(fit$logse)) fit$std.err * fit$surv else fit$std.err,
       low = fit$lower, high = fit$upper)
}
middle <- function(fit, tau) {
  m <- summary(fit, rmean = tau)$table
  m <- if (is.matrix(m)) m else t(as.matrix(m))
  limits <- m[, grepl("LCL|UCL", colnames(m)), drop = FALSE]
  list(median = unname(m[, "median"]), low = unname(limits[, 1]), high = unname(limits[, 2]),
       rmean = unname(m[, "rmean"]), rmean_se = unname(m[, "se(rmean)"]))
}
one <- function(time, status, group, tau, level) {
  d <- data.frame(time = time, status = status, group = as.character(group))
  all <- survfit(Surv(time, status) ~ 1, d, conf.type = "log-log", conf.int = level)
  by <- survfit(Surv(time, status) ~ group, d, conf.type = "log-log", conf.int = level)
  back <- survfit(Surv(time, 1 - status) ~ 1, d, conf.type = "log-log", conf.int = level)
  test <- survdiff(Surv(time, status) ~ group, d)
  list(data = as.list(d), level = level, tau = tau, curve = curve(all),
       all = middle(all, tau), by_group = middle(by, tau),
       groups = sub("group=", "", names(by$strata)), follow_up = middle(back, tau),
       follow_up_curve = curve(back),
       log_rank = list(statistic = test$chisq, p = pchisq(test$chisq, length(test$n) - 1,
         lower.tail = FALSE), observed = test$obs, expected = test$exp))
}
p <- subset(pbc, !is.na(trt))
plain <- list(
  lung = one(lung$time, lung$status - 1, lung$sex, 500, 0.95),
  veteran = one(veteran$time, veteran$status, veteran$celltype, 200, 0.95),
  ovarian = one(ovarian$futime, ovarian$fustat, ovarian$rx, 600, 0.9),
  gehan = one(gehan$time, gehan$cens, gehan$treat, 20, 0.95),
  pbc = one(p$time, as.integer(p$status == 2), p$trt, 3000, 0.99),
  steps = one(c(1, 2, 3, 4, 4, 5), c(1, 1, 1, 1, 1, 1), c(1, 2, 1, 2, 1, 2), 3.5, 0.95)
)

clustered <- function(time, status, id, group, tau) {
  # residuals() looks its data up again by name, so the frame has to be a global one
  d <<- data.frame(time = time, status = status, id = id, group = as.character(group))
  fit <- survfit(Surv(time, status) ~ 1, d, cluster = id, robust = TRUE, conf.type = "log-log")
  plain <- survfit(Surv(time, status) ~ 1, d)
  each <- residuals(plain, times = tau, type = "rmst")
  by <- survfit(Surv(time, status) ~ group, d)
  parts <- residuals(by, times = tau, type = "rmst")
  sign <- ifelse(d$group == sort(unique(d$group))[2], 1, -1)
  cox <- coxph(Surv(time, status) ~ group + cluster(id), d, ties = "breslow")
  m <- middle(fit, tau)
  list(data = as.list(d), tau = tau, curve = curve(fit),
       median = list(m$median, m$low, m$high),
       rmean_se = sqrt(sum(rowsum(each, d$id)^2)),
       difference_se = sqrt(sum(rowsum(parts * sign, d$id)^2)),
       log_rank = as.numeric(cox$rscore))
}
two <- subset(colon, id <= 150 & rx != "Lev")
robust <- list(
  diabetic = clustered(diabetic$time, diabetic$status, diabetic$id, diabetic$trt, 60),
  colon = clustered(two$time, two$status, two$id, as.character(two$rx), 2000)
)

# Late entry. The log-rank test then is the score test of coxph with exact ties.
late <- with(heart, list(entry = start, time = stop, status = event, group = surgery))
fit <- survfit(Surv(start, stop, event) ~ 1, heart, conf.type = "log-log")
cox <- coxph(Surv(start, stop, event) ~ surgery, heart, ties = "exact")
entry <- list(data = late, curve = curve(fit), log_rank = cox$score)

# A censoring model: Cox with Breslow's ties for the censoring, and its use as weights.
w <- na.omit(transform(mgus2[1:260, ], time = ifelse(pstat == 0, futime, ptime),
  event = ifelse(pstat == 0, 2 * death, 1))[, c("time", "event", "age", "sex", "hgb")])
w$male <- as.integer(w$sex == "M"); w$sex <- NULL
times <- sort(unique(w$time))
w$place <- 2 * (match(w$time, times) - 1) + (w$event == 0)
loss <- coxph(Surv(place, event == 0) ~ age + male + hgb, w, ties = "breslow",
              control = coxph.control(eps = 1e-12, toler.chol = 1e-13, iter.max = 50))
base <- basehaz(loss, centered = FALSE)
before <- function(k) { h <- base$hazard[base$time < k]; if (length(h)) max(h) else 0 }
risk <- exp(as.matrix(w[, c("age", "male", "hgb")]) %*% coef(loss))[, 1]
free <- 1; total <- 0; out <- NULL
for (j in seq_along(times)) {
  inside <- w$time >= times[j]
  weight <- exp(before(2 * (j - 1)) * risk)
  here <- w$time == times[j]
  mine <- sum(weight[here & w$event == 1]) / sum(weight[inside])
  any <- sum(weight[here & w$event > 0]) / sum(weight[inside])
  total <- total + free * mine
  free <- free * (1 - any)
  out <- c(out, total)
}
weighted <- list(data = as.list(w[, c("time", "event", "age", "male", "hgb")]),
                 coefficients = unname(coef(loss)), time = times, estimate = out)

cat(toJSON(list(plain = plain, clustered = robust, entry = entry, weighted = weighted),
           digits = NA, na = "null", auto_unbox = TRUE))
