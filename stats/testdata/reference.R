# Values in the tests that are not in analysis_reference.csv, computed again by
#   cd stats/testdata && Rscript reference.R
# R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, survival 3.5-3, ordinal 2022.11-16.
suppressMessages({library(lme4); library(lmerTest); library(survival); library(ordinal)})
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e6), calc.derivs = FALSE)
show <- function(title, m) {
  cat("\n##", title, "\n")
  v <- as.data.frame(VarCorr(m))
  cat(sprintf("%s %.12g\n", v$grp, v$vcov), sep = "")
  print(coef(summary(m))[, 1:3], digits = 12)
  print(anova(m), digits = 10)
}
cake <- read.csv("data/cake.csv")
for (f in c("replicate", "recipe")) cake[[f]] <- factor(cake[[f]])
cake$tempf <- factor(cake$temp)
cake$ordered <- factor(cake$temp, ordered = TRUE)
lost <- cake[-c(3, 17, 18, 40, 77, 101, 140, 199, 233, 260), ]
oats <- read.csv("data/oats.csv", stringsAsFactors = TRUE)[-c(1, 13, 30, 44, 45), ]

# crossed_test.go
show("crossed groupings", lmer(angle ~ recipe + (1|replicate) + (1|tempf), lost, control = tight))
show("covariate", lmer(angle ~ recipe + temp + (1|replicate), lost, control = tight))
show("covariate by factor", lmer(angle ~ recipe*temp + (1|replicate) + (1|recipe:replicate), lost, control = tight))
show("one variance at zero", lmer(yield ~ nitro + variety + (1|block) + (1|variety:nitro), oats, control = tight))
show("ordered factor", lmer(angle ~ recipe + ordered + (1|replicate) + (1|recipe:replicate), cake, control = tight))
cat("\n## fixed blocks with a covariate\n")
print(coef(summary(lm(angle ~ replicate + temp + recipe, lost)))[c("temp", "recipeB", "recipeC"), ], digits = 12)

# blocks_test.go
cat("\n## non-additivity\n")
a <- subset(cake, recipe == "A")
fit <- fitted(lm(angle ~ replicate + tempf, a))
print(anova(lm(angle ~ replicate + tempf + I(fit^2), a))[3, ], digits = 12)
cat("\n## all 6^4 orders within four blocks\n")
y <- matrix(subset(read.csv("data/synth_singular.csv"), block <= 4)$y, nrow = 3)
orders <- rbind(c(1,2,3), c(1,3,2), c(2,1,3), c(2,3,1), c(3,1,2), c(3,2,1))
all <- expand.grid(rep(list(1:6), 4))
sums <- t(apply(all, 1, function(i) rowSums(sapply(1:4, function(b) y[orders[i[b], ], b]))))
obs <- rowSums(y)
cat(sum(rowSums(sums^2) >= sum(obs^2) - 1e-9),
    sum(abs(sums[, 2] - sums[, 1]) >= abs(obs[2] - obs[1]) - 1e-9),
    sum(abs(sums[, 3] - sums[, 1]) >= abs(obs[3] - obs[1]) - 1e-9), nrow(all), "\n")

# paired_test.go
cat("\n## signed rank\n")
w <- wilcox.test(c(1.1, 2.35, -0.4, 3.3, 0.72, 1.9, -1.25, 2.8, 0.15), conf.int = TRUE)
print(c(w$p.value, w$estimate, w$conf.int), digits = 12)

# responses_test.go
cat("\n## conditional logit\n")
print(coef(summary(clogit(done ~ treatment + strata(block), read.csv("data/synth_yesno.csv"), method = "exact"))), digits = 12)
print(coef(summary(clogit(done ~ treatment + strata(block), read.csv("data/synth_yesno_pieces.csv"), method = "exact"))), digits = 12)
cat("\n## McNemar\n"); print(binom.test(12, 14)$p.value, digits = 12)
cat("\n## score interval of a paired difference, by constrained likelihood\n")
score <- function(both, b, c, neither, D) {
  n <- both + b + c + neither
  logL <- function(q) {
    p <- q + D
    if (q < 0 || p < 0 || p + q > 1) return(-1e10)
    (if (b > 0) b*log(p) else 0) + (if (c > 0) c*log(q) else 0) + (both + neither)*log(1 - p - q)
  }
  q <- optimize(logL, c(max(0, -D), (1 - D)/2), maximum = TRUE, tol = 1e-14)$maximum
  (b - c - n*D)/sqrt(n*(2*q + D*(1 - D)))
}
ends <- function(both, b, c, neither, z) {
  d <- (b - c)/(both + b + c + neither)
  print(c(uniroot(function(D) score(both, b, c, neither, D) - z, c(-.999, d - 1e-9), tol = 1e-13)$root,
          uniroot(function(D) score(both, b, c, neither, D) + z, c(d + 1e-9, .999), tol = 1e-13)$root), digits = 10)
}
ends(36, 12, 2, 0, qnorm(.975)); ends(20, 7, 3, 10, qnorm(.975)); ends(5, 9, 4, 6, qnorm(.95))
print(score(20, 7, 3, 10, .3), digits = 12)
cat("\n## counts\n")
g <- glm(count ~ factor(block) + treatment, quasipoisson, read.csv("data/synth_counts.csv"), control = glm.control(epsilon = 1e-14))
print(coef(summary(g))[c("treatmentB", "treatmentC"), ], digits = 12); print(summary(g)$dispersion, digits = 12)
cat("\n## grades\n")
wine <- read.csv("data/wine.csv", stringsAsFactors = TRUE)
wine$rating <- factor(wine$rating, ordered = TRUE); wine$judge <- factor(wine$judge)
for (formula in list(rating ~ temp + (1|judge), rating ~ temp + contact + (1|judge))) {
  m <- suppressWarnings(clmm(formula, wine, nAGQ = 40, control = clmm.control(gradTol = 1e-10)))
  print(coef(summary(m)), digits = 12); print(c(VarCorr(m)$judge[1], logLik(m)), digits = 12)
}

# blocks_test.go, with mvtnorm 1.1-3
cat("\n## Dunnett, groups of 12 (control), 4, 6, 9\n")
n <- c(4, 6, 9); l <- sqrt(n/(12 + n)); R <- l %o% l; diag(R) <- 1
for (x in c(1.5, 2.2, 2.9))
  cat(x, sprintf("%.7f", 1 - mvtnorm::pmvt(-rep(x, 3), rep(x, 3), df = 27, corr = R, algorithm = mvtnorm::GenzBretz(maxpts = 5e6, abseps = 1e-7))[1]), "\n")

library(mvtnorm)
# boundaries of spending functions for three equal looks, two-sided 5 %
t <- (1:3)/3; R <- outer(1:3,1:3,function(i,j) sqrt(pmin(t[i],t[j])/pmax(t[i],t[j])))
obf <- function(a,t) 2-2*pnorm(qnorm(1-a/2)/sqrt(t)); poc <- function(a,t) a*log(1+(exp(1)-1)*t)
for (f in list(obf, poc)) {
  s <- f(0.05,t); z <- qnorm(1-s[1]/2)
  for (k in 2:3) z <- c(z, uniroot(function(x) { b <- c(z,x)
    1 - pmvnorm(-b,b,corr=R[1:k,1:k],algorithm=Miwa(steps=4096)) - s[k] }, c(1.5,4), tol=1e-10)$root)
  print(z, digits=10)
}
