# Fits one network with metafor's rma.mv, the covariance of every trial's contrasts in full.
#
# usage: Rscript network.R INPUT OUTPUT
#
# INPUT has the columns trial, treatment, yi, vi, a line an arm, treatments ascending within a trial; OUTPUT lines of a name
# and numbers: tau2, estimates and ses of the treatments against the first, seconds of the one call.

suppressPackageStartupMessages(library(metafor))
arguments <- commandArgs(trailingOnly = TRUE)
arms <- read.csv(arguments[1])
last <- max(arms$treatment)
yi <- c(); trial <- c(); rows <- list(); blocks <- list()
for (one in split(arms, arms$trial)) {
  base <- one[1, ]; others <- one[-1, ]
  yi <- c(yi, others$yi - base$yi)
  trial <- c(trial, others$trial)
  blocks <- c(blocks, list(diag(others$vi, nrow(others)) + base$vi))
  for (at in seq_len(nrow(others))) {
    row <- numeric(last)
    row[others$treatment[at]] <- 1
    if (base$treatment > 0) row[base$treatment] <- row[base$treatment] - 1
    rows <- c(rows, list(row))
  }
}
X <- do.call(rbind, rows)
V <- bldiag(blocks)
inner <- factor(ave(trial, trial, FUN = seq_along))
# The tightest steps with which the optimiser still reports that it is done; the time is of that call alone.
for (tolerance in c(1e-14, 1e-12, 1e-10)) {
  seconds <- system.time(
    fit <- try(rma.mv(yi, V, mods = X, intercept = FALSE, random = ~ inner | trial, struct = "CS", rho = 0.5,
                      method = "REML", control = list(rel.tol = tolerance)), silent = TRUE)
  )[["elapsed"]]
  if (!inherits(fit, "try-error")) break
}
number <- function(values) paste(sprintf("%.17g", values), collapse = ",")
writeLines(c(paste0("tau2,", number(fit$tau2)), paste0("estimates,", number(as.numeric(fit$beta))),
             paste0("ses,", number(fit$se)), paste0("seconds,", number(seconds))), arguments[2])
