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
api_columns <- function(frame, more) {
  data.frame(frame[more], stype = as.character(frame$stype), api00 = frame$api00,
             api.stu = frame$api.stu, enroll = frame$enroll)
}
schools <- "Schools of California, 2000: type E, H or M; performance; students tested; students enrolled."
write_data("apisrs", api_columns(apisrs, "fpc"), paste(schools, "fpc: schools in the state."))
write_data("apistrat", api_columns(apistrat, "fpc"), paste(schools, "fpc: schools of this type in the state."))
write_data("apiclus1", api_columns(apiclus1, c("dnum", "fpc")),
           paste(schools, "dnum: district; fpc: districts in the state."))
write_data("mu284", mu284[c("id1", "n1", "id2", "n2", "y1")],
           "Municipalities of Sweden: cluster, clusters, municipality, municipalities of the cluster, a count.")
