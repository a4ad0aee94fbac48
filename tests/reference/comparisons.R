# Does a share differ between groups? Open data: respiratory of R's geepack (111 patients, four
# visits each; Koch and others 1990), outcome by centre and by a third grouping of age.
# Differences: survey's svyglm, linear, clustered on the patient. Heterogeneity: the generalised
# score test after its definition (Boos 1992, Am Stat 46:327) in base R, and for one row a
# patient base R's chisq.test without continuity correction.
suppressMessages({library(geepack); library(survey); library(jsonlite)})
data(respiratory)
d <- respiratory
d$patient <- paste(d$center, d$id, sep = "-")
d$group <- cut(d$age, c(0, 24, 35, 100), labels = c("young", "middle", "old"))

score_test <- function(y, g, id) {
  x <- model.matrix(~ g)[, -1, drop = FALSE]
  x <- sweep(x, 2, colMeans(x))
  u <- rowsum(x * (y - mean(y)), id)
  s <- colSums(u)
  c(statistic = as.numeric(t(s) %*% solve(t(u) %*% u) %*% s))
}
# A design of the two groups alone: subset() would go on counting the third group's patients.
pair <- svydesign(ids = ~patient, weights = ~1, data = d[d$group != "old", ])
fit <- svyglm(outcome ~ I(group == "middle"), design = pair)
one <- d[d$visit == 4, ]
cat(toJSON(list(
  data = list(patient = d$patient, outcome = d$outcome, group = as.character(d$group),
              visit = d$visit),
  clustered = list(statistic = unname(score_test(d$outcome, d$group, d$patient)), df = 2),
  alone = list(statistic = unname(chisq.test(table(one$group, one$outcome),
                                             correct = FALSE)$statistic), df = 2),
  difference = list(value = unname(coef(fit)[2]),
                    interval = unname(coef(fit)[2] + c(-1, 1) *
                      qt(.975, length(unique(pair$variables$patient)) - 2) * sqrt(vcov(fit)[2, 2])))
), digits = 15, auto_unbox = TRUE))
