# Pools the inputs of a table with metafor and writes answers and times as a table.
#
# usage: Rscript reference.R INPUTS OUTPUT LARGEST_K
#
# INPUTS has the columns id, yi, vi; OUTPUT a line for each number: id, method, name, value.
# rma.uni forms k x k matrices, so that inputs above LARGEST_K are left out.

suppressPackageStartupMessages(library(metafor))
arguments <- commandArgs(trailingOnly = TRUE)
inputs <- read.csv(arguments[1], colClasses = c("character", "numeric", "numeric"))
largest <- as.numeric(arguments[3])
output <- file(arguments[2], "w")
tell <- function(id, method, name, value) {
  writeLines(sprintf("%s,%s,%s,%s", id, method, name,
                     if (is.character(value)) value else sprintf("%.17g", value)), output)
}
tell("all", "all", "version", as.character(packageVersion("metafor")))
tell("all", "all", "r", R.version.string)

seconds <- function(call) {
  times <- c()
  started <- proc.time()[["elapsed"]]
  repeat {
    begun <- Sys.time()
    call()
    times <- c(times, as.numeric(difftime(Sys.time(), begun, units = "secs")))
    if (length(times) >= 20 || proc.time()[["elapsed"]] - started > 1) break
  }
  min(times)
}

words <- function(error) gsub("[,\n]", ";", trimws(conditionMessage(attr(error, "condition"))))

for (id in unique(inputs$id)) {
  pair <- inputs[inputs$id == id, ]
  if (nrow(pair) > largest) next
  for (method in c("REML", "DL", "PM")) {
    # As it comes, for the time: the fit, and for REML the Q-profile limits.
    usual <- function() {
      fit <- suppressWarnings(rma.uni(pair$yi, pair$vi, method = method, test = "knha"))
      if (method == "REML") suppressWarnings(confint(fit))
    }
    timed <- try(seconds(usual), silent = TRUE)
    if (inherits(timed, "try-error")) tell(id, method, "usual_failed", words(timed))
    else tell(id, method, "seconds", timed)
    # With the tightest steps that it takes, for the digits.
    tight <- list(threshold = 1e-15, maxiter = 10000, tol = 1e-14)
    fit <- try(suppressWarnings(
      rma.uni(pair$yi, pair$vi, method = method, test = "knha", control = tight)), silent = TRUE)
    if (inherits(fit, "try-error")) {
      tell(id, method, "tight_failed", words(fit))
      fit <- try(suppressWarnings(rma.uni(pair$yi, pair$vi, method = method, test = "knha")), silent = TRUE)
    }
    if (inherits(fit, "try-error")) next
    tell(id, method, "estimate", as.numeric(fit$beta))
    tell(id, method, "se", 1 / sqrt(sum(1 / (pair$vi + fit$tau2))))
    tell(id, method, "tau2", fit$tau2)
    tell(id, method, "lower", fit$ci.lb)
    tell(id, method, "upper", fit$ci.ub)
    if (method != "REML") next
    limits <- try(suppressWarnings(
      confint(fit, control = list(tol = 1e-14, maxiter = 10000))$random["tau^2", ]), silent = TRUE)
    if (inherits(limits, "try-error")) next
    tell(id, method, "tau2_lower", limits[["ci.lb"]])
    tell(id, method, "tau2_upper", limits[["ci.ub"]])
  }
}
close(output)
