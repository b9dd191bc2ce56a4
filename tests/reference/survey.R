# Writes survey.csv and the data files beside it: what R's package `survey` makes
# of its own data sets. Run by hand, from any folder:
#
#     Rscript tests/reference/survey.R
#
# Needs R and the package `survey` (Debian: r-base-core, r-cran-survey).
# The data sets `api` and `mu284` come with the package (GPL-2 or GPL-3); only the columns
# that the tests read are written out. See README.md.

suppressPackageStartupMessages(library(survey))

here <- dirname(sub("^--file=", "", grep("^--file=", commandArgs(), value = TRUE)[1]))
versions <- sprintf("%s; survey %s", R.version.string, packageVersion("survey"))

found <- list()
keep <- function(design, quantity, value) {
  found[[length(found) + 1]] <<- sprintf("%s,%s,%.17g", design, quantity, value)
}
keep_estimate <- function(design, name, estimate, effect = FALSE) {
  keep(design, name, coef(estimate)[[1]])
  keep(design, paste0(name, ".se"), SE(estimate)[[1]])
  if (effect) keep(design, paste0(name, ".deff"), deff(estimate)[[1]])
}
# `against`: TRUE compares with a simple random sample drawn without replacement,
# "replace" with one from a population without end.
keep_design <- function(name, design, against) {
  keep_estimate(name, "mean_api00", svymean(~api00, design, deff = against), TRUE)
  keep(name, "covariance_api00_enroll", vcov(svymean(~api00 + enroll, design))[1, 2])
  keep_estimate(name, "mean_enroll", svymean(~enroll, design))
  keep_estimate(name, "total_enroll", svytotal(~enroll, design))
  ratio <- svyratio(~api.stu, ~enroll, design, deff = against)
  keep_estimate(name, "ratio_tested_enrolled", ratio)
  keep(name, "ratio_tested_enrolled.deff", deff(ratio)[[1]])
  good <- svymean(~I(as.numeric(api00 >= 700)), design, deff = against)
  keep_estimate(name, "share_good", good, TRUE)
  exact <- confint(svyciprop(~I(api00 >= 700), design, method = "beta", level = 0.90))
  keep(name, "share_good.beta90.lower", exact[1])
  keep(name, "share_good.beta90.upper", exact[2])
  keep(name, "df", degf(design))
}

data(api)
# The weights that the data sets bring are stored to seven digits; these are the same, exact.
apisrs$pw <- apisrs$fpc / nrow(apisrs)
apistrat$pw <- apistrat$fpc / as.numeric(table(apistrat$stype)[apistrat$stype])
apiclus1$pw <- 6194 / nrow(apiclus1)
keep_design("apisrs", svydesign(id = ~1, fpc = ~fpc, data = apisrs), TRUE)
keep_design("apisrs_no_fpc", svydesign(id = ~1, weights = ~pw, data = apisrs), "replace")
keep_design("apistrat", svydesign(id = ~1, strata = ~stype, weights = ~pw, fpc = ~fpc, data = apistrat), TRUE)
keep_design("apistrat_no_fpc", svydesign(id = ~1, strata = ~stype, weights = ~pw, data = apistrat), "replace")
# All schools over those drawn, as the data set weighs them, is known to be wrong for drawn
# districts (see its manual page): both ways.
keep_design("apiclus1", svydesign(id = ~dnum, fpc = ~fpc, data = apiclus1), TRUE)
keep_design("apiclus1_supplied", svydesign(id = ~dnum, weights = ~pw, fpc = ~fpc, data = apiclus1), TRUE)
keep_design("apiclus1_no_fpc", svydesign(id = ~dnum, weights = ~pw, data = apiclus1), "replace")
high <- subset(svydesign(id = ~dnum, weights = ~pw, fpc = ~fpc, data = apiclus1), stype == "H")
keep_estimate("apiclus1_supplied", "ratio_tested_enrolled_high", svyratio(~api.stu, ~enroll, high))


# Weighed afterwards: schools by type, and by their number and performance of the year before.
# The design of the saved output, with the weights supplied; the jackknife leaves out each
# district once, centred on the estimate of all, with the correction for the finite number.
clustered <- svydesign(id = ~dnum, weights = ~pw, fpc = ~fpc, data = apiclus1)
types <- data.frame(stype = c("E", "H", "M"), Freq = c(4421, 755, 1018))
keep_weighed <- function(name, design) {
  keep_estimate(name, "mean_api00", svymean(~api00, design))
  keep_estimate(name, "total_enroll", svytotal(~enroll, design))
  keep(name, "covariance_api00_enroll", vcov(svymean(~api00 + enroll, design))[1, 2])
}
by_type <- postStratify(clustered, ~stype, types)
keep_weighed("apiclus1_by_type", by_type)
keep("apiclus1_by_type", "df", degf(by_type))
keep_weighed("apiclus1_calibrated", calibrate(clustered, ~api99, c(`(Intercept)` = 6194, api99 = 3914069)))
jackknife <- as.svrepdesign(clustered, type = "JK1", mse = TRUE)
keep_estimate("apiclus1_jackknife", "mean_api00", svymean(~api00, jackknife))
by_type <- postStratify(jackknife, ~stype, types)
keep_estimate("apiclus1_by_type_jackknife", "mean_api00", svymean(~api00, by_type))
keep_estimate("apiclus1_by_type_jackknife", "total_enroll", svytotal(~enroll, by_type))
drawn_at_random <- svydesign(id = ~1, fpc = ~fpc, data = apisrs)
by_type <- postStratify(drawn_at_random, ~stype, types)
keep_weighed("apisrs_by_type", by_type)
keep("apisrs_by_type", "df", degf(by_type))
keep("population", "units", nrow(apipop))
keep("population", "mean_api00", mean(apipop$api00))
keep("population", "total_enroll", sum(apipop$enroll, na.rm = TRUE))

data(mu284)
two_stage <- svydesign(id = ~id1 + id2, fpc = ~n1 + n2, data = mu284)
keep_estimate("mu284", "total_y1", svytotal(~y1, two_stage))
keep_estimate("mu284", "mean_y1", svymean(~y1, two_stage, deff = TRUE), TRUE)
keep("mu284", "df", degf(two_stage))
# A second value on the same units, so that a covariance can be held against the package's.
mu284$square <- mu284$y1^2
two_stage <- svydesign(id = ~id1 + id2, fpc = ~n1 + n2, data = mu284)
both <- svymean(~y1 + square, two_stage)
keep("mu284", "covariance_y1_square", vcov(both)[1, 2])
keep_estimate("mu284", "ratio_square_y1", svyratio(~square, ~y1, two_stage))

# Base R: what the screens and the sample sizes stand on.
keep("apisrs", "enroll.median", median(apisrs$enroll))
keep("apisrs", "enroll.mad", mad(apisrs$enroll))
quartiles <- quantile(apisrs$enroll, c(0.25, 0.75), names = FALSE)
keep("apisrs", "enroll.lower_quartile", quartiles[1])
keep("apisrs", "enroll.upper_quartile", quartiles[2])
reach <- 1.5 * diff(quartiles)
keep("apisrs", "enroll.beyond_quartiles",
     sum(apisrs$enroll < quartiles[1] - reach | apisrs$enroll > quartiles[2] + reach))
keep("apisrs", "enroll.beyond_3.5_mad",
     sum(abs(apisrs$enroll - median(apisrs$enroll)) > 3.5 * mad(apisrs$enroll)))
digits <- table(factor(apisrs$enroll %% 10, levels = 0:9))
test <- chisq.test(digits)
keep("apisrs", "enroll.digit_chi_squared", test$statistic[[1]])
keep("apisrs", "enroll.digit_p", test$p.value)
for (cov in c(0.3, 0.4, 0.5, 0.6)) {
  keep("power_t_test", sprintf("cov_%.1f_change_0.3_95_80", cov),
       power.t.test(delta = 0.3, sd = cov, sig.level = 0.05, power = 0.8)$n)
}

header <- c(
  "# Written by survey.R; do not edit.",
  paste("#", versions),
  "design,quantity,value"
)
writeLines(c(header, unlist(found)), file.path(here, "survey.csv"))

write_data <- function(name, frame, note) {
  head <- c(
    paste("# Written by survey.R from the data set", name, "of R's package `survey`; do not edit."),
    paste("#", versions, "(GPL-2 or GPL-3)."),
    paste("#", note)
  )
  rows <- apply(frame, 1, function(row) paste(trimws(row), collapse = ","))
  writeLines(c(head, paste(names(frame), collapse = ","), rows),
             file.path(here, paste0(name, ".csv")))
}
api_columns <- function(frame, more, last = NULL) {
  data.frame(frame[more], stype = as.character(frame$stype), api00 = frame$api00,
             api.stu = frame$api.stu, enroll = frame$enroll, frame[last])
}
schools <- "Schools of California, 2000: type E, H or M; performance; students tested; students enrolled."
write_data("apisrs", api_columns(apisrs, "fpc"), paste(schools, "fpc: schools in the state."))
write_data("apistrat", api_columns(apistrat, "fpc"), paste(schools, "fpc: schools of this type in the state."))
write_data("apiclus1", api_columns(apiclus1, c("dnum", "fpc"), "api99"),
           paste(schools, "dnum: district; fpc: districts in the state; api99: performance in 1999."))
write_data("mu284", mu284[c("id1", "n1", "id2", "n2", "y1")],
           "Municipalities of Sweden: cluster, clusters, municipality, municipalities of the cluster, a count.")
