# Makes r-fixtures.json beside this file: values by R (Debian r-base-core 4.2.2), a second opinion on src/study.
# Run: Rscript tests/study/make-r-fixtures.R > tests/study/r-fixtures.json
options(digits = 17)
num <- function(x) paste(formatC(x, digits = 17, format = "g", width = 1), collapse = ", ")
row <- function(name, columns, values) {
  lines <- apply(values, 1, function(r) paste0("    [", num(r), "]"))
  paste0('  "', name, '": {\n   "columns": ["', paste(columns, collapse = '", "'), '"],\n   "rows": [\n',
    paste(lines, collapse = ",\n"), "\n   ]\n  }")
}
out <- c()
g <- expand.grid(x = c(1e-8, .001, .1, .37, .5, .9, .999, 1 - 1e-9), a = c(.3, .5, 1, 4.5, 60, 5000), b = c(.3, .5, 2, 17, 900))
out <- c(out, row("regularizedBeta", c("x", "a", "b", "lower", "logLower"),
  cbind(as.matrix(g), pbeta(g$x, g$a, g$b), pmax(-1e6, pbeta(g$x, g$a, g$b, log.p = TRUE)))))
g <- expand.grid(p = c(1e-10, .001, .025, .5, .8, .975, .99999), a = c(.5, 1, 4.5, 60, 5000), b = c(.5, 2, 17, 900))
out <- c(out, row("betaQuantile", c("p", "a", "b", "x"), cbind(as.matrix(g), qbeta(g$p, g$a, g$b))))
g <- expand.grid(x = c(1e-5, .1, 1, 3, 10, 50, 400), a = c(.1, .5, 1, 3.3, 20, 350))
out <- c(out, row("regularizedGamma", c("x", "a", "lower", "upper"),
  cbind(as.matrix(g), pgamma(g$x, g$a), pgamma(g$x, g$a, lower.tail = FALSE))))
z <- c(-37, -20, -8, -5, -1.96, -.3, 0, 1e-6, .7, 3, 6, 8)
out <- c(out, row("normalCdf", c("x", "lower", "upper"), cbind(z, pnorm(z), pnorm(z, lower.tail = FALSE))))
p <- c(1e-300, 1e-100, 1e-20, 1e-5, .001, .025, .3, .5, .8, .975, .9999999)
out <- c(out, row("normalQuantile", c("p", "x"), cbind(p, qnorm(p))))
g <- expand.grid(t = c(-30, -3, -.4, 0, 1, 2.5, 12), df = c(1, 2, 3.7, 10, 137, 1e5))
out <- c(out, row("studentCdf", c("t", "df", "lower", "twoSided"),
  cbind(as.matrix(g), pt(g$t, g$df), 2 * pt(-abs(g$t), g$df))))
g <- expand.grid(p = c(1e-6, .01, .3, .5, .9, .975, .9999), df = c(1, 2, 3.7, 10, 137, 1e5))
out <- c(out, row("studentQuantile", c("p", "df", "t"), cbind(as.matrix(g), qt(g$p, g$df))))
g <- expand.grid(t = c(-1, 0, 1.5, 2.1, 4), df = c(2, 5, 18, 250), ncp = c(0, .5, 2, 3.5))
out <- c(out, row("noncentralTUpper", c("t", "df", "noncentrality", "upper"),
  cbind(as.matrix(g), pt(g$t, g$df, g$ncp, lower.tail = FALSE))))
g <- expand.grid(f = c(.01, .5, 1, 3, 20), df1 = c(1, 3, 12.5, 200), df2 = c(1, 4, 30, 1000))
out <- c(out, row("fUpper", c("f", "df1", "df2", "upper"), cbind(as.matrix(g), pf(g$f, g$df1, g$df2, lower.tail = FALSE))))
g <- expand.grid(p = c(.01, .5, .95, .975), df1 = c(1, 3, 12.5, 200), df2 = c(1, 4, 30, 1000))
out <- c(out, row("fQuantile", c("p", "df1", "df2", "f"), cbind(as.matrix(g), qf(g$p, g$df1, g$df2))))
g <- expand.grid(p = c(.001, .05, .5, .95, .9999), df = c(1, 2, 7.5, 40, 900))
out <- c(out, row("chiSquaredQuantile", c("p", "df", "x"), cbind(as.matrix(g), qchisq(g$p, g$df))))
g <- rbind(c(0, 10, .3), c(3, 10, .3), c(10, 10, .3), c(450, 1000, .44), c(4500, 10000, .44), c(1, 3000, 1e-4))
out <- c(out, row("binomial", c("k", "n", "p", "chance", "atMost", "atLeast"),
  cbind(g, dbinom(g[, 1], g[, 2], g[, 3]), pbinom(g[, 1], g[, 2], g[, 3]),
    pbinom(g[, 1] - 1, g[, 2], g[, 3], lower.tail = FALSE))))
g <- rbind(c(3, 1, 1, 3), c(4, 0, 0, 4), c(12, 5, 7, 9), c(1, 24, 8, 3), c(100, 120, 90, 130), c(0, 5, 3, 2), c(440, 560, 420, 580))
fish <- t(apply(g, 1, function(v) {
  m <- matrix(v, 2, byrow = TRUE)
  c(fisher.test(m)$p.value, fisher.test(m, alternative = "greater")$p.value, fisher.test(m, alternative = "less")$p.value)
}))
out <- c(out, row("fisher", c("a", "b", "c", "d", "twoSided", "greater", "less"), cbind(g, fish)))
g <- rbind(c(7, 50), c(0, 20), c(20, 20), c(81, 263), c(4400, 10000))
ci <- t(apply(g, 1, function(v) {
  e <- binom.test(v[1], v[2])$conf.int
  w <- suppressWarnings(prop.test(v[1], v[2], correct = FALSE))$conf.int
  c(e, w, if (v[1] == 0) 0 else qbeta(.025, v[1] + .5, v[2] - v[1] + .5), if (v[1] == v[2]) 1 else qbeta(.975, v[1] + .5, v[2] - v[1] + .5))
}))
out <- c(out, row("proportion", c("k", "n", "cpLow", "cpHigh", "wilsonLow", "wilsonHigh", "jeffreysLow", "jeffreysHigh"), cbind(g, ci)))
p <- c(.01, .04, .03, .005, .2, .04, .9)
out <- c(out, row("adjust", c("p", "holm", "bh"), cbind(p, p.adjust(p, "holm"), p.adjust(p, "BH"))))
g <- rbind(c(.2, .8, .05), c(.5, .8, .05), c(.8, .8, .05), c(1, .9, .05), c(.3, .95, .01))
ns <- apply(g, 1, function(v) power.t.test(delta = v[1], power = v[2], sig.level = v[3])$n)
out <- c(out, row("valuesForMeans", c("effect", "power", "alpha", "n"), cbind(g, ns)))
g <- rbind(c(.44, .42, .8, .05), c(.6, .7, .95, .01), c(.5, .75, .9, .05), c(.35, .4, .8, .05))
ns <- apply(g, 1, function(v) power.prop.test(p1 = v[1], p2 = v[2], power = v[3], sig.level = v[4], tol = 1e-12)$n)
out <- c(out, row("shotsForProportions", c("p1", "p2", "power", "alpha", "n"), cbind(g, ns)))
# Random effects by a direct search of the restricted likelihood: no package is needed for that.
effects <- c(1.2, -.4, .8, 2.1, .1, .9, -1.3)
errors <- c(.4, .5, .3, .9, .35, .6, .8)
restricted <- function(t2) {
  w <- 1 / (errors^2 + t2)
  mu <- sum(w * effects) / sum(w)
  -.5 * (sum(log(errors^2 + t2)) + log(sum(w)) + sum(w * (effects - mu)^2))
}
t2 <- optimize(restricted, c(0, 10), maximum = TRUE, tol = 1e-12)$maximum
w <- 1 / (errors^2 + t2)
mu <- sum(w * effects) / sum(w)
hk <- sqrt(max(1, sum(w * (effects - mu)^2) / 6) / sum(w))
w0 <- 1 / errors^2
q <- sum(w0 * (effects - sum(w0 * effects) / sum(w0))^2)
dl <- max(0, (q - 6) / (sum(w0) - sum(w0^2) / sum(w0)))
out <- c(out, row("acrossPlayers", c("effect", "standardError", "betweenSd", "q", "dlBetweenSd"), cbind(mu, hk, sqrt(t2), q, sqrt(dl))))
d <- as.data.frame(sleep)
x <- d$extra[d$group == 1]
y <- d$extra[d$group == 2]
s <- t.test(x, y)
s2 <- t.test(x, y, paired = TRUE)
s3 <- t.test(x, y, var.equal = TRUE)
out <- c(out, row("sleep", c("t", "df", "p", "low", "high"), rbind(
  c(s$statistic, s$parameter, s$p.value, s$conf.int), c(s2$statistic, s2$parameter, s2$p.value, s2$conf.int),
  c(s3$statistic, s3$parameter, s3$p.value, s3$conf.int))))
out <- c(out, row("morley", c("speedKmps"), cbind(299000 + morley$Speed)))
v <- c(3.1, 2.7, 9.9, 3.3, 2.2, 3.0, 4.1, -6, 3.6, 2.9)
out <- c(out, row("robust", c("median", "mad", "trimmed20", "q10"), cbind(median(v), mad(v), mean(v, trim = .2), quantile(v, .1))))
cat("{\n", paste(out, collapse = ",\n"), "\n}\n", sep = "")
