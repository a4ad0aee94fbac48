# The ten patients of tests/small_cohort.py over time, by R survival (survfit) and poisson.test.
#
# The dates below were copied by hand from the rows of that file, and what ended each stretch was
# read off them by eye, after the definitions of the analysis plan; nothing comes from the program.
# Invented patients; R survival 3.x, jsonlite.
suppressPackageStartupMessages({library(survival); library(jsonlite)})

years <- function(from, to) as.numeric(as.Date(to) - as.Date(from)) / 365.25

# Lesions, in the order of patient and lesion: first treatment, end, what ended it (1 a catheter
# angiogram showed closure, 2 death, 0 last contact).
lesions <- data.frame(
  patient = c(1, 2, 2, 3, 4, 5, 6, 7, 9, 10),
  from = c("2020-03-01", "2020-04-01", "2020-04-01", "2020-05-10", "2020-06-01", "2021-02-01",
           "2021-03-01", "2021-04-01", "2021-06-01", "2021-05-01"),
  to = c("2020-03-18", "2020-12-01", "2020-12-01", "2020-08-07", "2020-06-25", "2021-02-01",
         "2021-07-18", "2022-04-15", "2021-06-10", "2022-05-01"),
  event = c(1, 0, 0, 0, 2, 0, 0, 1, 1, 0))
lesions$years <- years(lesions$from, lesions$to)

# Patients: first treatment; first bleed, death or last contact.
patients <- data.frame(
  from = c("2020-03-01", "2020-04-01", "2020-05-10", "2020-06-01", "2021-02-01", "2021-03-01",
           "2021-04-01", "2021-06-01", "2021-05-01"),
  to = c("2020-09-20", "2020-12-01", "2020-05-20", "2020-06-20", "2021-02-01", "2021-07-18",
         "2023-04-15", "2022-01-10", "2022-05-01"),
  event = c(0, 0, 1, 1, 0, 0, 0, 2, 0),
  last = c("2020-09-20", "2020-12-01", "2020-08-07", "2020-06-25", "2021-02-01", "2021-07-18",
           "2023-04-15", "2022-01-10", "2022-05-01"),
  died = c(0, 0, 0, 1, 0, 0, 0, 1, 0))
patients$years <- years(patients$from, patients$to)

aalen <- survfit(Surv(years, factor(event, 0:2)) ~ 1, data = lesions)
bleeds <- survfit(Surv(years, factor(event, 0:2)) ~ 1, data = patients)
free <- survfit(Surv(years, event > 0) ~ 1, data = patients, conf.type = "log-log")
back <- survfit(Surv(years(from, last), died == 0) ~ 1, data = patients, conf.type = "log-log")
mean2 <- summary(free, rmean = 2)$table

# Patient-days of each stage, summed by hand over patients 1 to 10.
stages <- list(
  "before treatment" = c(60, 91, 130, 152, 397, 425, 456, 0, 517, 486),
  "under treatment" = c(17, 244, 89, 24, 0, 139, 379, 0, 9, 365),
  "under treatment, treatment day to day 30" = c(17, 60, 30, 24, 0, 49, 44, 0, 9, 30),
  "after obliteration" = c(186, 0, 0, 0, 0, 0, 365, 0, 214, 0),
  "after obliteration, treatment day to day 30" = c(27, 0, 0, 0, 0, 0, 0, 0, 30, 0))
events <- c(0, 2, 2, 0, 0)
rate <- function(x, days) {
  test <- poisson.test(x, sum(days) / 36525)
  list(events = x, days = sum(days), rate = unname(test$estimate), low = test$conf.int[1],
       high = test$conf.int[2])
}

s <- summary(free, times = c(1, 2))
cat(toJSON(list(
  lesion_years = lesions$years, lesion_event = lesions$event,
  patient_years = patients$years, patient_event = patients$event,
  obliteration = summary(aalen, times = c(1, 2), extend = TRUE)$pstate[, 2],
  death_first = summary(aalen, times = c(1, 2), extend = TRUE)$pstate[, 3],
  first_bleed = summary(bleeds, times = c(1, 2))$pstate[, 2],
  free = list(estimate = s$surv, low = s$lower, high = s$upper),
  restricted_mean = unname(mean2["rmean"]), restricted_se = unname(mean2["se(rmean)"]),
  follow_up = unname(quantile(back, 0.5)$quantile),
  rates = mapply(rate, events, stages, SIMPLIFY = FALSE, USE.NAMES = FALSE),
  stages = names(stages)), auto_unbox = TRUE, digits = 12, pretty = TRUE))
