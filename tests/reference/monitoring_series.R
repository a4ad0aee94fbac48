# Segmented regression of an open series, with R's own generalised least squares and sandwich.
# Data: Seatbelts (R datasets; Harvey and Durbin 1986, J R Stat Soc A 149:187): drivers killed or
# seriously injured a month in Great Britain, 1969-1984; the law came in February 1983.
# gls: nlme, AR(1), REML. NeweyWest: sandwich, Bartlett, no prewhitening, n/(n - k).
suppressMessages({library(nlme); library(sandwich); library(jsonlite)})
y <- as.numeric(Seatbelts[, "DriversKilled"])
n <- length(y); first <- which(Seatbelts[, "law"] == 1)[1] - 1
d <- data.frame(y = y, time = 0:(n - 1))
d$after <- as.numeric(d$time >= first)
d$since <- d$after * (d$time - first)
g <- gls(y ~ time + after + since, data = d, correlation = corAR1(form = ~ time),
         control = glsControl(tolerance = 1e-10, msTol = 1e-14, msMaxIter = 500))
l <- lm(y ~ time + after + since, data = d)
lag <- floor(4 * (n / 100)^(2 / 9))
nw <- function(k) unname(sqrt(diag(NeweyWest(l, lag = k, prewhite = FALSE, adjust = TRUE))))
cat(toJSON(list(
  values = y, first_after = first,
  gls = list(coefficients = unname(coef(g)), se = unname(sqrt(diag(vcov(g)))),
             correlation = unname(coef(g$modelStruct$corStruct, unconstrained = FALSE))),
  newey_west = list(coefficients = unname(coef(l)), lag = lag, se = nw(lag), se_lag_12 = nw(12))
), auto_unbox = TRUE, digits = 12))
