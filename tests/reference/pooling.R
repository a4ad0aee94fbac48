# Pooled proportions by the binomial-normal model (random-intercept logistic regression).
# metafor::rma.glmm(measure = "PLO", method = "ML", nAGQ = 25) and lme4::glmer(nAGQ = 25), on open
# data sets of the metadat package, with the counts written out so that both sides see the same:
#   dat.debruin2009   adherence to antiretroviral treatment (de Bruin et al. 2009)
#   dat.pritz1997     hyperdynamic therapy of vasospasm (Zhou et al. 1999; a series of 10 of 10)
#   dat.nielweise2007 infections with catheters without and with coating: rare events, series of none
#   dat.dorn2007      response to placebo in irritable bowel syndrome (Dorn et al. 2007)
#   dat.hannum2020    loss of smell (Hannum et al. 2020)
# Method "FE" of rma.glmm is the common-effect model (plain logistic regression). Profile intervals
# of tau: lme4's profile() of theta. Prediction limits: mu -/+ t(k-2) sqrt(tau^2 + se^2), as
# predict(..., pi.type = "Riley") gives them (Higgins, Thompson and Spiegelhalter 2009).
suppressMessages({library(metafor); library(lme4); library(metadat); library(jsonlite)})
nodes <- 25
sets <- list(
  debruin2009 = with(dat.debruin2009, list(xi, ni)),
  pritz1997 = with(dat.pritz1997, list(xi, ni)),
  nielweise2007_plain = with(dat.nielweise2007, list(ci, n2i)),
  nielweise2007_coated = with(dat.nielweise2007, list(ai, n1i)),
  dorn2007_placebo = with(dat.dorn2007, list(x.p, n.p)),
  hannum2020 = with(dat.hannum2020, list(xi, ni)))
one <- function(set) {
  keep <- !is.na(set[[1]]) & !is.na(set[[2]])
  y <- set[[1]][keep]; n <- set[[2]][keep]; k <- length(y)
  ml <- rma.glmm(measure = "PLO", xi = y, ni = n, method = "ML", nAGQ = nodes)
  fe <- rma.glmm(measure = "PLO", xi = y, ni = n, method = "FE")
  mixed <- glmer(cbind(y, n - y) ~ 1 + (1 | id), family = binomial, nAGQ = nodes,
                 data = data.frame(y = y, n = n, id = factor(seq_len(k))),
                 control = glmerControl(optimizer = "bobyqa", tolPwrss = 1e-10,
                                        optCtrl = list(rhoend = 1e-10)))
  # Profiles by hand: the deviance with one parameter held, from lme4's own deviance function.
  dev <- update(mixed, devFunOnly = TRUE)
  least <- function(f, range) optimize(f, range, tol = 1e-10)$objective
  mu <- fixef(mixed)[[1]]; tau <- getME(mixed, "theta")[[1]]; best <- dev(c(tau, mu))
  at_tau <- function(t) least(function(m) dev(c(t, m)), mu + c(-3, 3)) - best
  at_mu <- function(m) least(function(t) dev(c(t, m)), c(0, tau + 5)) - best
  crossing <- function(f, range, limit)
    uniroot(function(v) f(v) - limit, range, tol = 1e-9)$root
  chi <- qchisq(0.95, 1); wide <- qt(0.975, k - 1)^2
  low <- if (at_tau(0) <= chi) 0 else crossing(at_tau, c(0, tau), chi)
  pi_t <- function(df) as.numeric(mu + c(-1, 1) * qt(0.975, df) *
                                    sqrt(tau^2 + vcov(mixed)[1, 1]))
  list(events = y, totals = n,
       metafor = list(mu = as.numeric(ml$beta), se = ml$se, tau = sqrt(ml$tau2)),
       lme4 = list(mu = mu, se = sqrt(vcov(mixed)[1, 1]), tau = tau),
       profile = list(tau = c(low, crossing(at_tau, c(tau, tau + 4), chi)),
                      mu_chi = c(crossing(at_mu, c(mu - 3, mu), chi),
                                 crossing(at_mu, c(mu, mu + 3), chi)),
                      mu_t = c(crossing(at_mu, c(mu - 3, mu), wide),
                               crossing(at_mu, c(mu, mu + 3), wide))),
       prediction = list(k_minus_1 = pi_t(k - 1), k_minus_2 = pi_t(k - 2)),
       common = list(mu = as.numeric(fe$beta), se = fe$se))
}
# The predictive distribution of a new series by plain sums over a fine grid of mu, tau and u:
# flat in mu, half-normal of scale 1 in tau; no quadrature rule, no mode.
predictive <- function(y, n, events, total) {
  u <- seq(-7, 7, by = 0.07); mu <- seq(-16, 8, by = 0.06); tau <- seq(0.02, 5, by = 0.04)
  weight <- sapply(tau, function(t) {
    total <- rep(0, length(mu))
    for (i in seq_along(y))
      total <- total + log(outer(mu, u, function(m, v)
        dbinom(y[i], n[i], plogis(m + t * v)) * dnorm(v)) %*% rep(0.07, length(u)))
    exp(total) * exp(-t^2 / 2)
  })
  weight <- weight / sum(weight)
  below <- function(x) sum(weight * pnorm(outer(x - mu, tau, "/")))
  quantile <- function(q) uniroot(function(x) below(x) - q, c(-30, 20), tol = 1e-9)$root
  grid <- seq(-20, 12, by = 0.02)
  mass <- diff(c(0, sapply(grid, below)))
  list(events = y, totals = n, limits = sapply(c(0.025, 0.5, 0.975), quantile),
       as_many = sum(mass * pbinom(events - 1, total, plogis(grid - 0.01), lower.tail = FALSE)),
       as_few = sum(mass * pbinom(events, total, plogis(grid - 0.01))), own = c(events, total))
}
first <- function(set, k) list(set[[1]][seq_len(k)], set[[2]][seq_len(k)])
small <- list(plain_4 = first(sets$nielweise2007_plain, 4), pritz_5 = first(sets$pritz1997, 5),
              coated_3 = first(sets$nielweise2007_coated, 3))
own <- list(plain_4 = c(9, 128), pritz_5 = c(20, 40), coated_3 = c(2, 60))
cat(toJSON(list(nodes = nodes, sets = lapply(sets, one), predictive = Map(
  function(set, o) predictive(set[[1]], set[[2]], o[1], o[2]), small, own)),
  digits = 15, auto_unbox = TRUE))
