# Segmented regression of the counts of an open series, with R's glm (quasi-binomial).
# Data: Seatbelts (R datasets; Harvey and Durbin 1986, J R Stat Soc A 149:187): car drivers killed
# (DriversKilled) among those killed or seriously injured (drivers) a month in Great Britain,
# 1969-1984; the law came in February 1983.
suppressMessages(library(jsonlite))
events <- as.numeric(Seatbelts[, "DriversKilled"]); trials <- as.numeric(Seatbelts[, "drivers"])
n <- length(events); first <- which(Seatbelts[, "law"] == 1)[1] - 1
d <- data.frame(time = 0:(n - 1))
d$after <- as.numeric(d$time >= first)
d$since <- d$after * (d$time - first)
m <- glm(cbind(events, trials - events) ~ time + after + since, data = d, family = quasibinomial,
         control = glm.control(epsilon = 1e-14))
cat(toJSON(list(
  events = events, trials = trials, first_after = first, coefficients = unname(coef(m)),
  se = unname(sqrt(diag(vcov(m)))), dispersion = summary(m)$dispersion
), auto_unbox = TRUE, digits = 12))
