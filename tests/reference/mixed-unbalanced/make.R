# Reference numbers for unbalanced strata: lme4 (REML) and pbkrtest (Kenward-Roger).
# Rscript make.R > expected.json
suppressPackageStartupMessages({library(lme4); library(pbkrtest)})
options(digits = 17)
control <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-12, maxfun = 1e5),
                       check.conv.singular = "ignore")
num <- function(x) paste0("[", paste(formatC(x, digits = 17, format = "g"), collapse = ", "), "]")
fit <- function(name, formula, data, tests, last = FALSE) {
  m <- lmer(formula, data, REML = TRUE, control = control)
  v <- as.data.frame(VarCorr(m))
  vb <- vcovAdj(m)
  p <- length(fixef(m))
  df <- sapply(seq_len(p), function(j) { L <- rep(0, p); L[j] <- 1; Lb_ddf(L, vcov(m), vb) })
  out <- c(
    paste0('  "strata": [', paste0('"', v$grp, '"', collapse = ", "), ']'),
    paste0('  "variance": ', num(v$vcov)),
    paste0('  "coefficients": ', num(fixef(m))),
    paste0('  "std_error": ', num(sqrt(diag(as.matrix(vb))))),
    paste0('  "df": ', num(df)),
    paste0('  "criterion": ', formatC(REMLcrit(m), digits = 17, format = "g")))
  for (t in names(tests)) {
    L <- matrix(0, length(tests[[t]]), p)
    for (i in seq_along(tests[[t]])) L[i, tests[[t]][i]] <- 1
    k <- KRmodcomp(m, L)$test
    out <- c(out, paste0('  "', t, '": ', num(c(k["Ftest", "stat"], k["Ftest", "ndf"], k["Ftest", "ddf"]))))
  }
  cat(paste0('"', name, '": {\n', paste(out, collapse = ",\n"), '\n}', if (last) "\n" else ",\n"))
}
cat("{\n")
cat(sprintf('"versions": "%s, lme4 %s, pbkrtest %s",\n', R.version.string, packageVersion("lme4"), packageVersion("pbkrtest")))
d <- read.csv("split_plot.csv")
d$batch <- factor(d$batch); d$day <- factor(d$day)
fit("unbalanced batches", y ~ a + b + a:b + I(b^2) + (1 | batch), d, list("slopes" = 2:3, "all" = 2:5))
fit("missing runs", y ~ a + b + a:b + I(b^2) + (1 | batch), d[-c(2, 7, 8, 15, 21, 30), ], list("slopes" = 2:3, "all" = 2:5))
fit("days and batches", y ~ a + b + a:b + I(b^2) + (1 | day) + (1 | batch), d, list("slopes" = 2:3, "all" = 2:5))
fit("zero component", z ~ a + b + a:b + I(b^2) + (1 | batch), d, list("slopes" = 2:3, "all" = 2:5))
d$oven <- factor(d$oven)
fit("crossed loads", w ~ a + b + a:b + I(b^2) + (1 | batch) + (1 | oven), d, list("slopes" = 2:3, "all" = 2:5), last = TRUE)
cat("}\n")
