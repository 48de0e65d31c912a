# Peer of BenchmarkMixedTwoGroupings, BenchmarkBootstrap and
# BenchmarkPermutation (bench_test.go): the same sizes in R with lme4 and
# lmerTest. Run: Rscript stats/testdata/peer_lme4.R
suppressMessages(library(lmerTest))
set.seed(1)
secs <- function(expr, n = 3) median(replicate(n, system.time(eval(expr))[["elapsed"]]))
cooks <- expand.grid(i = 0:9, block = factor(1:1000))
cooks$treatment <- factor(cooks$i %% 5)
make <- function(days, nested) {
  cooks$day <- factor(sample(days, nrow(cooks), TRUE))
  e <- if (nested) rnorm(1000 * days)[as.integer(interaction(cooks$block, cooks$day))] else rnorm(days)[cooks$day]
  cooks$y <- 20 + 0.3 * as.integer(cooks$treatment) + 2 * rnorm(1000)[cooks$block] + e + rnorm(nrow(cooks))
  cooks
}
d <- make(4, TRUE)
cat(sprintf("two groupings, nested, fit and Satterthwaite summary: %.2f s\n", secs(quote(summary(lmer(y ~ treatment + (1 | block) + (1 | block:day), d))))))
d <- make(50, FALSE)
cat(sprintf("two groupings, crossed, fit and Satterthwaite summary: %.2f s\n", secs(quote(summary(lmer(y ~ treatment + (1 | block) + (1 | day), d))))))
x <- rnorm(20)
if (requireNamespace("boot", quietly = TRUE)) {
  b <- quote({ r <- boot::boot(x, function(v, i) mean(v[i]), 10000); boot::boot.ci(r, type = "bca") })
  cat(sprintf("10,000 BCa resamples of 20 pairs (boot): %.2f s\n", secs(b)))
}
y <- matrix(rnorm(60), 20)
cat(sprintf("100,000 permutations within 20 blocks of 3: %.2f s\n", secs(quote(for (k in 1:2000) { p <- t(apply(y, 1, sample)); sum(colSums(p)^2) }), 1) * 50))
