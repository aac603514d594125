# Reference numbers for censored, ordinal and count fits. Run: Rscript make.R (writes *.csv here).
suppressMessages({library(MASS); library(survival); library(ordinal); library(lme4)})
options(digits = 15)
out <- data.frame(case = character(), what = character(), value = numeric())
put <- function(case, what, value) out <<- rbind(out, data.frame(case = case, what = what, value = value))
all_of <- function(case, est, se, ll) {
  for (i in seq_along(est)) { put(case, paste0("estimate ", names(est)[i]), est[[i]])
    put(case, paste0("std_error ", names(est)[i]), se[[i]]) }
  put(case, "log_likelihood", ll) }

# Tobin (1958), data of package survival: durable goods, left-censored at zero.
data(tobin, package = "survival"); write.csv(tobin, "tobin.csv", row.names = FALSE)
f <- survreg(Surv(durable, durable > 0, type = "left") ~ age + quant, tobin, dist = "gaussian",
  control = survreg.control(rel.tolerance = 1e-14, maxiter = 100))
est <- c(coef(f), "ln sd" = log(f$scale)); se <- sqrt(diag(vcov(f))); all_of("tobin", est, se, f$loglik[2])

# The same table with ends of every kind: below 3 is "below", 3 to 9 in steps, above 12 is "above".
d <- tobin; d$low <- d$high <- d$durable + d$quant / 20
d$read <- d$durable + d$quant / 20
low <- ifelse(d$read < 13, NA, d$read); high <- d$read
between <- d$read >= 13 & d$read < 16; low[between] <- floor(d$read[between]); high[between] <- floor(d$read[between]) + 1
high[d$read < 13] <- 13; above <- d$read > 20; low[above] <- 20; high[above] <- NA
e <- data.frame(age = d$age, low = low, high = high); write.csv(e, "tobin-intervals.csv", row.names = FALSE, na = "")
f <- survreg(Surv(low, high, type = "interval2") ~ age, e, dist = "gaussian",
  control = survreg.control(rel.tolerance = 1e-14, maxiter = 100))
est <- c(coef(f), "ln sd" = log(f$scale)); all_of("tobin-intervals", est, sqrt(diag(vcov(f))), f$loglik[2])

# Interval-censored times to breast cosmesis deterioration are not in these packages; the capacitor
# table of Zelen (1959) is: right-censored, log times.
cap <- survival::capacitor
write.csv(cap, "capacitor.csv", row.names = FALSE)
f <- survreg(Surv(log(time), status) ~ I(temperature == "180") + voltage, cap, dist = "gaussian",
  control = survreg.control(rel.tolerance = 1e-14, maxiter = 100))
est <- c(coef(f), "ln sd" = log(f$scale)); names(est)[2] <- "hot"
all_of("capacitor", est, sqrt(diag(vcov(f))), f$loglik[2])

# Randall (1989), data of package ordinal: bitterness of wine, nine judges.
data(wine, package = "ordinal"); write.csv(wine, "wine.csv", row.names = FALSE)
ctl <- clm.control(gradTol = 1e-10, maxIter = 200)
f <- clm(rating ~ temp + contact, data = wine, control = ctl)
all_of("wine", coef(f), sqrt(diag(vcov(f))), as.numeric(logLik(f)))
p <- polr(rating ~ temp + contact, wine, Hess = TRUE, control = list(reltol = 1e-14))
put("wine", "log_likelihood by polr", as.numeric(logLik(p)))
f <- clmm(rating ~ temp + contact + (1 | judge), data = wine, nAGQ = 31,
  control = clmm.control(gradTol = 1e-9, maxIter = 500))
est <- c(coef(f), "batch sd" = as.numeric(sqrt(VarCorr(f)$judge)))
all_of("wine-judges", est[1:6], sqrt(diag(vcov(f)))[1:6], as.numeric(logLik(f)))
put("wine-judges", "batch sd", est[[7]])

# housing of package MASS (Madsen 1976): polr, frequencies written out as rows.
data(housing, package = "MASS"); write.csv(housing, "housing.csv", row.names = FALSE)
f <- clm(Sat ~ Infl + Type + Cont, weights = Freq, data = housing, control = ctl)
all_of("housing", coef(f), sqrt(diag(vcov(f))), as.numeric(logLik(f)))

g <- clm(Sat ~ 1, nominal = ~ Infl + Type + Cont, weights = Freq, data = housing, control = ctl)
put("housing", "log_likelihood with slopes by threshold", as.numeric(logLik(g)))

# Binary with a random intercept: cbpp of lme4 (Lesnoff et al. 2004), animals one by one.
data(cbpp, package = "lme4"); write.csv(cbpp, "cbpp.csv", row.names = FALSE)
one <- cbpp[rep(seq_len(nrow(cbpp)), cbpp$size), ]
one$y <- unlist(mapply(function(i, n) c(rep(1, i), rep(0, n - i)), cbpp$incidence, cbpp$size))
tight <- glmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-11, maxfun = 1e6), tolPwrss = 1e-13)
f <- glmer(y ~ period + (1 | herd), one, family = binomial, nAGQ = 25, control = tight)
all_of("cbpp", fixef(f), sqrt(diag(as.matrix(vcov(f, use.hessian = TRUE)))), as.numeric(logLik(f)))
put("cbpp", "batch sd", as.numeric(attr(VarCorr(f)$herd, "stddev")))

# Counts: seizures of package MASS (Thall and Vail 1990), Poisson, negative binomial, by subject.
data(epil, package = "MASS"); write.csv(epil, "epil.csv", row.names = FALSE)
f <- glm(y ~ lbase + lage + V4 + (trt == "progabide"), poisson, epil, epsilon = 1e-14)
est <- coef(f); names(est)[5] <- "treated"
all_of("epil-poisson", est, sqrt(diag(vcov(f))), as.numeric(logLik(f)))
f <- glm.nb(y ~ lbase + lage + V4 + (trt == "progabide"), epil, control = glm.control(epsilon = 1e-14, maxit = 200))
est <- coef(f); names(est)[5] <- "treated"
for (i in seq_along(est)) put("epil-nb", paste0("estimate ", names(est)[i]), est[[i]])
put("epil-nb", "alpha", 1 / f$theta); put("epil-nb", "log_likelihood", as.numeric(logLik(f)))
f <- glmer(y ~ lbase + lage + V4 + I(trt == "progabide") + (1 | subject), epil, family = poisson, nAGQ = 25, control = tight)
est <- fixef(f); names(est)[5] <- "treated"
all_of("epil-subjects", est, sqrt(diag(as.matrix(vcov(f, use.hessian = TRUE)))), as.numeric(logLik(f)))
put("epil-subjects", "batch sd", as.numeric(attr(VarCorr(f)$subject, "stddev")))
put("epil-subjects", "deviance", as.numeric(deviance(f)))
out$value <- formatC(out$value, digits = 12, format = "g"); write.csv(out, "numbers.csv", row.names = FALSE)
for (p in c("MASS", "survival", "ordinal", "lme4")) cat(p, as.character(packageVersion(p)), "\n"); cat(R.version.string, "\n")
