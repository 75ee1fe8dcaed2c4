# Run in this folder with R and its package metafor: writes the numbers that the test holds the analysis to.
# Viechtbauer, Journal of Statistical Software 36(3) (2010). escalc(measure = "ROM") is the log ratio of means of
# Hedges, Gurevitch and Curtis, Ecology 80 (1999), 1150-1156. The readings are made, not measured.
suppressMessages(library(metafor))
runs <- read.csv("ratios.csv")
arms <- do.call(rbind, lapply(split(runs, runs$tester), function(x) {
  a <- x$reading[x$pack == "K5"]; b <- x$reading[x$pack == "K8"]
  data.frame(m1 = mean(b), sd1 = sd(b), n1 = length(b), m2 = mean(a), sd2 = sd(a), n2 = length(a))
}))
ratios <- escalc(measure = "ROM", m1i = m1, sd1i = sd1, n1i = n1, m2i = m2, sd2i = sd2, n2i = n2, data = arms)
ratios$yi <- log(arms$m1 / arms$m2)
control <- list(threshold = 1e-14, tol = 1e-14, maxiter = 1000, tau2.max = 100)
for (tau2 in c("REML", "DL", "PM", "FE")) for (test in c("z", "knha")) {
  r <- rma(yi, vi, data = ratios, method = tau2, test = test, control = control)
  cat(sprintf("%s %s %.12g %.12g %.12g %.12g %.12g %.12g\n",
              tau2, test, r$beta, r$se, r$ci.lb, r$ci.ub, r$tau2, r$QE))
}
