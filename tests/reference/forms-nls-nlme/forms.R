# Nonlinear models whose shape is one parameter, as independent numbers for forms of one factor.
# Data: datasets::Loblolly, datasets::Puromycin (R's own). Writes data-*.csv and expected.json.
library(nlme)
options(digits = 16)

# Errors of prediction by the delta method: gradient' vcov gradient, gradients worked by deriv().
predict_se <- function(f, names, estimate, V, new) {
  d <- deriv(f, names)
  at <- eval(d, c(as.list(estimate), as.list(new)))
  g <- attr(at, "gradient")
  list(value = as.numeric(at), se = sqrt(rowSums((g %*% V) * g)))
}
say <- function(id, value) sprintf('    {"id": "%s", "value": %.15g}', id, value)
out <- character(0)
put <- function(id, value) out <<- c(out, say(id, value))
# Exact gradients, so that the search gets to the last digits.
first <- deriv(~ a + b * exp(-k * age), c("a", "b", "k"), function(a, b, k, age) NULL)
covered <- deriv(~ a + c * t + (b + d * t) * K * conc / (1 + K * conc),
                 c("a", "c", "b", "d", "K"), function(a, c, b, d, K, t, conc) NULL)
turned <- deriv(~ a + q * (log(conc) - m)^2, c("a", "q", "m"), function(a, q, m, conc) NULL)
tight <- nls.control(tol = 1e-10, maxiter = 500, minFactor = 1e-12, scaleOffset = 0)

# 1. Loblolly, one rate: height = a + b exp(-k age), runs alone.
lob <- as.data.frame(Loblolly); lob$Seed <- as.character(lob$Seed)
fit <- nls(height ~ first(a, b, k, age), lob, start = list(a = 95, b = -100, k = 0.04),
           control = tight)
new <- list(age = c(4, 12, 24))
p <- predict_se(~ a + b * exp(-k * age), c("a", "b", "k"), coef(fit), vcov(fit), new)
put("loblolly nls k", coef(fit)[["k"]]); put("loblolly nls k se", sqrt(vcov(fit)["k", "k"]))
put("loblolly nls sigma", sigma(fit))
for (i in 1:3) { put(paste("loblolly nls value", new$age[i]), p$value[i])
                 put(paste("loblolly nls se", new$age[i]), p$se[i]) }
put("loblolly nls logLik", as.numeric(logLik(fit)))
# Interval of the rate by its profile: RSS(k) <= RSS (1 + F / df), all else by lm.
rss <- function(k) deviance(lm(height ~ exp(-k * age), lob))
k <- coef(fit)[["k"]]; df <- df.residual(fit)
floor_of <- deviance(fit) * (1 + qf(0.95, 1, df) / df)
put("loblolly nls k low", uniroot(function(x) rss(x) - floor_of, c(0.5 * k, k), tol = 1e-14)$root)
put("loblolly nls k high", uniroot(function(x) rss(x) - floor_of, c(k, 2 * k), tol = 1e-14)$root)

# 2. The same with trees of one seed source together: a shift u of each, by REML and by ML. Every
# seventh reading is left out, so that seeds are not balanced and the ratio matters to the rate.
lob2 <- lob[-seq(5, nrow(lob), by = 7), ]
ml <- nlme(height ~ first(a, b, k, age), lob2, fixed = a + b + k ~ 1, random = a ~ 1 | Seed,
           start = coef(fit), method = "ML",
           control = nlmeControl(tolerance = 1e-10, pnlsTol = 1e-7, maxIter = 500, msTol = 1e-12,
                                 msMaxIter = 500))
# nlme's own "REML" keeps the variance ratio of ML (the same to nine digits). The restricted
# likelihood of the model linearised at its rate is lme's: step to where the rate stands still.
k <- coef(fit)[["k"]]; b <- coef(fit)[["b"]]
for (i in 1:100) {
  lob2$fall <- exp(-k * lob2$age); lob2$slope <- -b * lob2$age * lob2$fall
  reml <- lme(height ~ fall + slope, lob2, random = ~ 1 | Seed, method = "REML",
              control = lmeControl(msTol = 1e-14, returnObject = TRUE))
  b <- fixef(reml)[["fall"]]; k <- k + fixef(reml)[["slope"]]
  if (abs(fixef(reml)[["slope"]]) < 1e-13) break
}
# Errors at these ratios are without what Kenward and Roger add.
p <- predict_se(~ a + b * exp(-k * age), c("a", "b", "k"),
                c(a = fixef(reml)[[1]], b = b, k = k), reml$varFix, new)
put("loblolly reml k", k); put("loblolly reml k se", sqrt(reml$varFix[3, 3]))
put("loblolly reml sigma", reml$sigma)
put("loblolly reml shift", as.numeric(VarCorr(reml)["(Intercept)", "StdDev"]))
for (i in 1:3) { put(paste("loblolly reml value", new$age[i]), p$value[i])
                 put(paste("loblolly reml se", new$age[i]), p$se[i]) }
put("loblolly ml logLik", as.numeric(logLik(ml)))

# 3. Puromycin: rate = a[state] + b[state] K conc / (1 + K conc), one K for both states.
pur <- as.data.frame(Puromycin)
pur$t <- as.numeric(pur$state == "treated")
fit <- nls(rate ~ covered(a, c, b, d, K, t, conc), pur,
           start = list(a = 5, c = 0, b = 160, d = 40, K = 15), control = tight)
new <- list(conc = c(0.05, 0.3, 0.9, 0.3), t = c(1, 1, 0, 0))
p <- predict_se(~ a + c * t + (b + d * t) * K * conc / (1 + K * conc),
                c("a", "c", "b", "d", "K"), coef(fit), vcov(fit), new)
put("puromycin K", coef(fit)[["K"]]); put("puromycin K se", sqrt(vcov(fit)["K", "K"]))
put("puromycin sigma", sigma(fit)); put("puromycin logLik", as.numeric(logLik(fit)))
for (i in 1:4) { put(paste("puromycin value", i), p$value[i]); put(paste("puromycin se", i), p$se[i]) }

# 4. Puromycin with the plateau in ln conc (treated cells only).
cells <- subset(pur, t == 1)
best <- NULL
for (start in c(0.15, 0.3, 0.5, 0.8)) {
  one <- try(nls(rate ~ a - b * pmax(d0 - log(conc), 0), cells,
                 start = list(a = 200, b = 40, d0 = log(start)),
                 control = nls.control(tol = 1e-7, maxiter = 500, minFactor = 1e-12)), silent = TRUE)
  if (!inherits(one, "try-error") && (is.null(best) || deviance(one) < deviance(best))) best <- one
}
put("plateau D0", exp(coef(best)[["d0"]])); put("plateau rss", deviance(best))
put("plateau ln D0 se", sqrt(vcov(best)["d0", "d0"]))

# 5. The parabola and the two lines in ln dose, on the worked ladder of the trade brief (invented,
# stated in tests/published/test_demand_ladder.py); y is ln viscosity.
ladder <- data.frame(dose = c(0.4, 0.7, 1.0, 1.3, 1.6, 2.0, 2.5, 3.2),
                     y = log(c(1533.4, 661.5, 429.4, 344.8, 314.4, 330.4, 400.9, 549.1)))
fit <- nls(y ~ turned(a, q, m, dose), ladder, start = list(a = 5.7, q = 1, m = 0.5), control = tight)
put("parabola Dm", exp(coef(fit)[["m"]])); put("parabola ln Dm se", sqrt(vcov(fit)["m", "m"]))
p <- predict_se(~ a + q * (log(dose) - m)^2, c("a", "q", "m"), coef(fit), vcov(fit),
                list(dose = c(0.6, 2.2)))
for (i in 1:2) { put(paste("parabola value", i), p$value[i]); put(paste("parabola se", i), p$se[i]) }
lines <- deriv(~ y0 + s1 * low * (d0 - x) + s2 * (1 - low) * (x - d0), c("y0", "s1", "s2", "d0"),
               function(y0, s1, s2, d0, x, low) NULL)
fit <- nls(y ~ lines(y0, s1, s2, d0, log(dose), log(dose) < d0), ladder,
           start = list(y0 = 5.7, s1 = 1.3, s2 = 1, d0 = 0.4), control = tight)
put("two lines D0", exp(coef(fit)[["d0"]])); put("two lines ln D0 se", sqrt(vcov(fit)["d0", "d0"]))
put("two lines rise over fall", coef(fit)[["s2"]] / coef(fit)[["s1"]])
g <- c(0, -coef(fit)[["s2"]] / coef(fit)[["s1"]]^2, 1 / coef(fit)[["s1"]], 0)
put("two lines rise over fall se", sqrt(drop(t(g) %*% vcov(fit) %*% g)))
x <- log(c(0.6, 2.2)); low <- as.numeric(x < coef(fit)[["d0"]])
g <- attr(do.call(lines, c(as.list(coef(fit)), list(x = x, low = low))), "gradient")
for (i in 1:2) { put(paste("two lines value", i), sum(g[i, 1:3] * coef(fit)[1:3]))
                 put(paste("two lines se", i), sqrt(drop(g[i, ] %*% vcov(fit) %*% g[i, ]))) }

lob$kept <- as.integer(seq_len(nrow(lob)) %in% match(rownames(lob2), rownames(lob)))
write.csv(lob, "data-loblolly.csv", row.names = FALSE)
write.csv(pur[, c("conc", "rate", "state")], "data-puromycin.csv", row.names = FALSE)
about <- sprintf('  "made with": "%s, nlme %s",', R.version.string, packageVersion("nlme"))
writeLines(c("{", about, '  "values": [', paste(out, collapse = ",\n"), "  ]", "}"),
           "expected.json")
