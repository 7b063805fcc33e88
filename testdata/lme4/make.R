#!/usr/bin/Rscript
# Nested random-effects data with the REML estimates of lme4.
#
# Usage: make.R OUTPUT_FOLDER
#
# Writes data.csv (set, outer, inner, y), estimates.csv (set, quantity, value)
# and version.txt. Quantities: mean, mean_se, sd_outer, sd_inner (two factors),
# sd_residual, reml_criterion and, per component, the ends of its 95 % profile
# interval on the restricted likelihood. lme4's own confint() profiles the
# unrestricted likelihood, so the profile is taken here from the pieces of
# lme4's deviance function (Bates, Maechler, Bolker & Walker, J. Stat. Softw.
# 67(1), 2015, equations 41 and 42) and optimised by stats::optimize.
suppressMessages(library(lme4))
RNGkind("Mersenne-Twister", "Inversion", "Rejection")

out <- commandArgs(trailingOnly = TRUE)[1]
dir.create(out, showWarnings = FALSE, recursive = TRUE)

one <- function(sizes, between, within) {
  outer <- rep(seq_along(sizes), sizes)
  data.frame(outer = outer, inner = 0,
             y = round(rnorm(length(sizes), 0, between)[outer] + rnorm(sum(sizes), 0, within), 4))
}
two <- function(sizes, a, b, e) { # sizes: list of inner group sizes per outer group
  outer <- rep(seq_along(sizes), sapply(sizes, sum))
  inner <- unlist(lapply(sizes, function(s) rep(seq_along(s), s)))
  cell <- as.integer(factor(outer * 1000 + inner))
  data.frame(outer = outer, inner = inner,
             y = round(rnorm(length(sizes), 0, a)[outer] + rnorm(max(cell), 0, b)[cell] +
                       rnorm(length(cell), 0, e), 4))
}

set.seed(20240501)
sets <- list(
  balanced = one(rep(5, 8), 1.5, 1),
  unbalanced = one(c(5, 2, 7, 1, 3, 4, 1, 6, 2, 3), 2, 0.8),
  small_between = one(rep(4, 10), 0.3, 1),
  boundary = one(c(4, 5, 3, 4, 6), 0, 1),
  two_balanced = two(rep(list(rep(3, 4)), 6), 2, 1, 0.5),
  two_unbalanced = two(list(c(2, 3, 1), c(4, 2), c(1, 1, 2, 3), c(5, 1), c(2, 2, 2), c(3, 3), c(1, 4)), 1, 0.7, 0.6))

# A set whose between component is estimated as zero, whatever the seed gave.
while (!isSingular(lmer(y ~ 1 + (1 | outer), sets$boundary)))
  sets$boundary <- one(c(4, 5, 3, 4, 6), 0, 1)

# Published data that lme4 carries: yields of dyestuff batches, a second set
# whose between component is zero (Box & Tiao 1973), and pastes from casks of
# batches (all from Davies, Statistical Methods in Research and Production).
published <- function(outer, inner, y) data.frame(outer = as.integer(outer), inner = as.integer(inner), y = y)
sets$dyestuff <- published(Dyestuff$Batch, 0, Dyestuff$Yield)
sets$dyestuff2 <- published(Dyestuff2$Batch, 0, Dyestuff2$Yield)
sets$pastes <- published(Pastes$batch, Pastes$cask, Pastes$strength)

control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10),
                       check.conv.singular = "ignore")

profile_ends <- function(fm, which) {
  dd <- update(fm, devFunOnly = TRUE)
  env <- environment(dd)
  n <- nobs(fm)
  k <- length(getME(fm, "theta"))
  deviance_at <- function(v) { # v: variances in lme4's order of theta, residual last
    dd(sqrt(v[seq_len(k)] / v[k + 1]))
    wrss <- env$resp$wrss() + env$pp$sqrL(1)
    env$pp$ldL2() + env$pp$ldRX2() + (n - 1) * log(2 * pi * v[k + 1]) + wrss / v[k + 1]
  }
  est <- c((getME(fm, "theta") * sigma(fm))^2, sigma(fm)^2)
  scale <- sum(est)
  profiled <- function(x) {
    v <- est
    v[which] <- x
    free <- setdiff(seq_len(k + 1), which)
    best <- function(i) {
      if (i > length(free)) return(deviance_at(v))
      f <- function(u) { v[free[i]] <<- exp(u); best(i + 1) }
      lo <- if (free[i] == k + 1) log(scale) - 8 else log(scale) - 20
      m <- optimize(f, c(lo, log(scale) + 5), tol = 1e-9)
      if (free[i] != k + 1) { v[free[i]] <<- 0; return(min(m$objective, best(i + 1))) }
      m$objective
    }
    best(1)
  }
  limit <- REMLcrit(fm) + qchisq(0.95, 1)
  excess <- function(u) profiled(exp(u)) - limit
  e <- max(est[which], 1e-6 * scale)
  upper <- exp(uniroot(excess, c(log(e), log(scale) + 5), tol = 1e-9)$root / 2)
  lower <- 0
  if (excess(log(scale) - 25) > 0)
    lower <- exp(uniroot(excess, c(log(scale) - 25, log(e)), tol = 1e-9)$root / 2)
  c(lower, upper)
}

data <- NULL
estimates <- NULL
for (name in names(sets)) {
  d <- sets[[name]]
  nested <- any(d$inner != 0)
  fm <- if (nested) lmer(y ~ 1 + (1 | outer) + (1 | outer:inner), d, control = control)
        else lmer(y ~ 1 + (1 | outer), d, control = control)
  vc <- as.data.frame(VarCorr(fm))
  sd_of <- function(g) vc$sdcor[vc$grp == g]
  order <- names(getME(fm, "flist")) # lme4 puts the factor with more levels first
  q <- c(mean = unname(fixef(fm)), mean_se = sqrt(vcov(fm)[1, 1]), sd_outer = sd_of("outer"))
  if (nested) q <- c(q, sd_inner = sd_of("outer:inner"))
  q <- c(q, sd_residual = sigma(fm), reml_criterion = REMLcrit(fm))
  parts <- list(outer = match("outer", order), residual = length(order) + 1)
  if (nested) parts$inner <- match("outer:inner", order)
  for (p in names(parts)) {
    ends <- profile_ends(fm, parts[[p]])
    q[paste0("lower_", p)] <- ends[1]
    q[paste0("upper_", p)] <- ends[2]
  }
  data <- rbind(data, cbind(set = name, d))
  estimates <- rbind(estimates, data.frame(set = name, quantity = names(q), value = sprintf("%.10g", q)))
}
write.csv(data, file.path(out, "data.csv"), row.names = FALSE, quote = FALSE)
write.csv(estimates, file.path(out, "estimates.csv"), row.names = FALSE, quote = FALSE)
writeLines(paste0("lme4 ", packageVersion("lme4"), ", R ", getRversion()), file.path(out, "version.txt"))
