# Fits, curves and comparisons of lives by R's survival package.
#
#   Rscript life.R ROWS LIVES UNITS
#
# Three tables with a header, as comma-separated values. ROWS: set, lo, hi (empty: still whole), count. LIVES: set, group, entry, exit,
# event. UNITS: set, unit, start, stop, event, one line for each stretch between repairs. Standard output has one line for each number:
# what it is, the set, an age or nought, and numbers after that.

suppressPackageStartupMessages(library(survival))
options(digits = 17)
given <- commandArgs(trailingOnly = TRUE)
rows <- read.csv(given[1])
lives <- read.csv(given[2])
units <- read.csv(given[3])
say <- function(...) cat(paste(format(c(...), digits = 17, trim = TRUE, scientific = TRUE), collapse = " "), "\n")

for (set in unique(rows$set)) {
  its <- rows[rows$set == set, ]
  # An age of nought has no logarithm: what failed by an age from nought on is left-censored, which is written as no lower one.
  lower <- ifelse(its$lo > 0, its$lo, NA)
  fit <- survreg(Surv(lower, its$hi, type = "interval2") ~ 1, weights = its$count, dist = "weibull",
                 control = survreg.control(maxiter = 200, rel.tolerance = 1e-12))
  cat("fit ")
  say(set, 0, exp(fit$coefficients), 1 / fit$scale, fit$loglik[2])
}
for (set in unique(lives$set)) {
  its <- lives[lives$set == set, ]
  curve <- survfit(Surv(entry, exit, event) ~ 1, data = its, conf.type = "log-log", error = "greenwood")
  for (i in which(curve$n.event > 0)) {
    cat("curve ")
    say(set, curve$time[i], curve$n.risk[i], curve$n.event[i], curve$surv[i], curve$std.err[i], curve$lower[i], curve$upper[i],
        curve$cumhaz[i], curve$std.chaz[i])
  }
  later <- survfit(Surv(entry, exit, event) ~ 1, data = its, start.time = 20)
  cat("later ")
  say(set, 20, later$n, sum(later$n.event), later$surv[later$n.event > 0])
  if (all(its$entry == 0)) {
    test <- survdiff(Surv(exit, event) ~ group, data = its)
    cat("test ")
    say(set, 0, test$chisq, test$obs, test$exp)
  }
}
for (set in unique(units$set)) {
  its <- units[units$set == set, ]
  curve <- survfit(Surv(start, stop, event) ~ 1, data = its, id = unit, robust = TRUE)
  for (i in which(curve$n.event > 0)) {
    cat("repairs ")
    say(set, curve$time[i], curve$n.risk[i], curve$n.event[i], curve$cumhaz[i], curve$std.chaz[i])
  }
}
