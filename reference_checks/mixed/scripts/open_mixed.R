source("lmm_common.R"); OUT <- Sys.getenv("OUT", "../outputs")
ch <- function(d) { d <- as.data.frame(d); for (n in names(d)) if (is.factor(d[[n]])) d[[n]] <- as.character(d[[n]]); rownames(d) <- NULL; d }
save_csv <- function(d, n) write.csv(d, file.path(OUT, paste0(n, ".csv")), row.names = FALSE, quote = FALSE)
strip <- function(l) lapply(l, function(o) { attr(o, "fit") <- NULL; o })
doc <- function(n, source, note, fits, lrts = list(), extra = list())
  wr(c(list(data = paste0(n, ".csv"), source = source, note = note, versions = vers(), fits = strip(fits), likelihood_ratio_tests = lrts), extra), file.path(OUT, paste0(n, ".json")))
CODING <- "Categorical columns: treatment (dummy) coding, reference = alphabetically first level. "

## sleepstudy
d <- ch(lme4::sleepstudy); save_csv(d, "sleepstudy"); F <- Reaction ~ Days + (Days | Subject)
a <- one_fit("slope_reml", F, d, TRUE); b <- one_fit("slope_ml", F, d, FALSE, profile = TRUE)
i0 <- one_fit("intercept_reml", Reaction ~ Days + (1 | Subject), d, TRUE, re = FALSE)
i1 <- one_fit("intercept_ml", Reaction ~ Days + (1 | Subject), d, FALSE, re = FALSE)
u0 <- one_fit("uncorrelated_reml", Reaction ~ Days + (Days || Subject), d, TRUE, re = FALSE)
n1 <- one_fit("slope_ml_no_days", Reaction ~ 1 + (Days | Subject), d, FALSE, re = FALSE)
f <- attr(a, "fit"); X <- getME(f, "X"); vf <- var(as.numeric(X %*% fixef(f)))
Z <- cbind(1, d$Days); G <- as.matrix(VarCorr(f)$Subject); vr <- mean(rowSums((Z %*% G) * Z)); ve <- sigma(f)^2
kr <- pbkrtest::KRmodcomp(as(f, "lmerMod"), lme4::lmer(Reaction ~ 1 + (Days | Subject), d))
doc("sleepstudy", "lme4 package data 'sleepstudy' (Belenky et al. 2003, J Sleep Res 12:1-12, days 0-9 of the 3-hour group); the vignette fit of Bates et al. 2015, J Stat Softw 67(1).",
  paste0(CODING, "18 subjects, 180 rows."), list(a, b, i0, i1, u0, n1),
  list(lrt("slope and correlation (REML, same X)", i0, a), lrt("correlation (REML)", u0, a), lrt("slope (ML)", i1, b), lrt("Days (ML)", n1, b)),
  list(r2 = list(what = "Nakagawa-Schielzeth-Johnson R2 of slope_reml: variance of X beta with divisor n-1, mean of z'Gz over rows, residual variance",
                 marginal = vf / (vf + vr + ve), conditional = (vf + vr) / (vf + vr + ve)),
       icc = list(what = "intercept_reml: animal variance / (animal + residual)", value = i0$variance[[1]]$variance / (i0$variance[[1]]$variance + i0$variance[[2]]$variance)),
       kenward_roger_F_test_of_Days = list(F = kr$stats$Fstat, ndf = kr$stats$ndf, ddf = kr$stats$ddf, p = kr$stats$p.value)))

## Orthodont, with residual variance by Sex
d <- ch(nlme::Orthodont); save_csv(d, "orthodont")
a <- one_fit("slope_reml", distance ~ age * Sex + (age | Subject), d, TRUE)
b <- one_fit("slope_ml", distance ~ age * Sex + (age | Subject), d, FALSE)
i0 <- one_fit("intercept_reml", distance ~ age * Sex + (1 | Subject), d, TRUE); i1 <- one_fit("intercept_ml", distance ~ age * Sex + (1 | Subject), d, FALSE, profile = TRUE, re = FALSE)
i2 <- one_fit("intercept_ml_no_interaction", distance ~ age + Sex + (1 | Subject), d, FALSE, re = FALSE)
vg <- function(name, rf, meth) {
  f <- lme(distance ~ age * Sex, random = rf, data = d, method = meth, weights = varIdent(form = ~ 1 | Sex), control = lmeControl(opt = "optim", maxIter = 500, msMaxIter = 5000, tolerance = 1e-12, reltol = 1e-14, msTol = 1e-12))
  w <- coef(f$modelStruct$varStruct, unconstrained = FALSE, allCoef = TRUE)
  t <- summary(f)$tTable
  list(name = name, call = sprintf("nlme::lme(distance ~ age * Sex, random = %s, weights = varIdent(form = ~ 1 | Sex), method = '%s')", deparse1(rf), meth), method = meth,
       loglik = as.numeric(logLik(f)), fixed = lapply(rownames(t), function(r) list(term = r, estimate = f$coefficients$fixed[[r]], se = sqrt(f$varFix[r, r]))),
       se_note = "sqrt(diag(fit$varFix)); nlme's summary table multiplies the ML ones by sqrt(n/(n-p))",
       residual_sd_by_group = as.list(f$sigma * w), variance = list(list(group = "Subject", term = "(Intercept)", sd = as.numeric(VarCorr(f)[1, 2]))))
}
h0 <- vg("nlme_intercept_residual_by_sex_reml", ~ 1 | Subject, "REML"); h1 <- vg("nlme_intercept_residual_by_sex_ml", ~ 1 | Subject, "ML")
X <- model.matrix(~ age * Sex, d); y <- d$distance; S <- outer(d$Subject, d$Subject, "=="); male <- d$Sex == "Male"
Vf <- function(p) exp(2 * p[1]) * S + diag(ifelse(male, exp(2 * p[2]), exp(2 * p[3])))
cp <- function(p) list(subject_intercept_sd = exp(p[1]), residual_sd = list(Male = exp(p[2]), Female = exp(p[3])))
dn <- lapply(c(TRUE, FALSE), function(R) dense_fit(paste0("dense_intercept_residual_by_sex_", if (R) "reml" else "ml"), Vf, log(c(1.8, 1.6, .8)), X, y, R, cp,
  "own dense Gaussian likelihood in R (optim Nelder-Mead and BFGS, then Newton with numDeriv); Satterthwaite df by numDeriv: 2 v^2 / g'Wg, W = 2*inverse Hessian of -2 log likelihood in the log-SDs"))
Vs <- function(p) { L <- matrix(c(exp(p[1]), p[3], 0, exp(p[2])), 2); Z <- cbind(1, d$age - 11); (Z %*% L %*% t(L) %*% t(Z)) * S + diag(ifelse(male, exp(2 * p[4]), exp(2 * p[5]))) }
dn[[3]] <- dense_fit("dense_slope_at_age11_residual_by_sex_reml", Vs, c(log(1.8), log(.15), 0, log(1.6), log(.7)), X, y, TRUE,
  function(p) { L <- matrix(c(exp(p[1]), p[3], 0, exp(p[2])), 2); G <- L %*% t(L); list(random_part = "intercept at age 11 and slope of age", sd_intercept_at_11 = sqrt(G[1, 1]), sd_slope = sqrt(G[2, 2]), correlation = G[1, 2] / sqrt(G[1, 1] * G[2, 2]), residual_sd = list(Male = exp(p[4]), Female = exp(p[5]))) },
  "as above; random = intercept and slope (free correlation)")
x <- 2 * (dn[[1]]$loglik - i0$loglik)
doc("orthodont", "nlme package data 'Orthodont' (Potthoff & Roy 1964, Biometrika 51:313-326; Pinheiro & Bates 2000).", paste0(CODING, "So Female is the reference. 27 children, 108 rows."),
  c(list(a, b, i0, i1, i2), list(h0, h1), dn), list(lrt("slope and correlation (REML)", i0, a), lrt("interaction (ML)", i2, i1),
    list(name = "residual variance by Sex (REML)", smaller = "intercept_reml", larger = "dense_intercept_residual_by_sex_reml", chisq = x, df = 1, p = pchisq(x, 1, lower.tail = FALSE))))

## Pixel: animal(intercept, slope) + side-in-animal + scatter
d <- ch(nlme::Pixel); save_csv(d, "pixel")
a <- one_fit("dog_slope_side_reml", pixel ~ day + I(day^2) + (day | Dog) + (1 | Dog:Side), d, TRUE)
b <- one_fit("dog_slope_side_ml", pixel ~ day + I(day^2) + (day | Dog) + (1 | Dog:Side), d, FALSE)
i0 <- one_fit("dog_side_reml", pixel ~ day + I(day^2) + (1 | Dog) + (1 | Dog:Side), d, TRUE, re = FALSE)
doc("pixel", "nlme package data 'Pixel': CT pixel intensity in lymph nodes of ten dogs (Pinheiro & Bates 2000, section 1.5).", "102 rows, 10 dogs, 20 sides. Session-in-animal shape: Dog(intercept, day) + Side within Dog + scatter.",
  list(a, b, i0), list(lrt("slope and correlation (REML)", i0, a)))

## Oats (nested, balanced, intercept only)
d <- ch(nlme::Oats); save_csv(d, "oats")
a <- one_fit("nested_reml", yield ~ nitro + Variety + (1 | Block) + (1 | Block:Variety), d, TRUE)
b <- one_fit("nested_ml", yield ~ nitro + Variety + (1 | Block) + (1 | Block:Variety), d, FALSE, profile = TRUE, re = FALSE)
doc("oats", "nlme package data 'Oats' (Yates 1935; Pinheiro & Bates 2000).", paste0(CODING, "72 rows; plots (Variety) within Block."), list(a, b))

## Oxide: lot / wafer / three readings each, the pure session-in-animal layout
d <- ch(nlme::Oxide); save_csv(d, "oxide")
a <- one_fit("nested_reml", Thickness ~ 1 + (1 | Lot) + (1 | Lot:Wafer), d, TRUE); b <- one_fit("nested_ml", Thickness ~ 1 + (1 | Lot) + (1 | Lot:Wafer), d, FALSE, profile = TRUE, re = FALSE)
d2 <- d[-c(2, 5, 6, 20, 33, 34, 50, 71), ]; save_csv(d2, "oxide_unbalanced")
c2 <- one_fit("nested_unbalanced_reml", Thickness ~ Source + (1 | Lot) + (1 | Lot:Wafer), d2, TRUE)
c2$data <- "oxide_unbalanced.csv"
doc("oxide", "nlme package data 'Oxide' (Littell et al. 1996; Pinheiro & Bates 2000, section 4.3).", "72 rows: 8 lots, 3 wafers each, 3 sites each: animal / session / reading. oxide_unbalanced.csv drops rows 2,5,6,20,33,34,50,71 so that a session has 1 to 3 readings; Source is a number (1 or 2).", list(a, b, c2))

## Orange, ChickWeight, Dyestuff, Dyestuff2 (boundary)
d <- ch(datasets::Orange); save_csv(d, "orange")
doc("orange", "datasets package 'Orange' (Draper & Smith 1998; Pinheiro & Bates 2000).", "age in days, deliberately unscaled: a test of scaling.", list(one_fit("intercept_reml", circumference ~ age + (1 | Tree), d, TRUE), one_fit("slope_scaled_reml", circumference ~ I(age / 1000) + (I(age / 1000) | Tree), d, TRUE)))
d <- ch(datasets::ChickWeight); save_csv(d, "chickweight")
a <- one_fit("slope_reml", weight ~ Time * Diet + (Time | Chick), d, TRUE, re = FALSE); b <- one_fit("slope_ml", weight ~ Time * Diet + (Time | Chick), d, FALSE, re = FALSE)
doc("chickweight", "datasets package 'ChickWeight' (Crowder & Hand 1990).", "Unbalanced: 50 chicks, 578 rows. Diet is a category 1-4 (write it as text).", list(a, b))
d <- ch(lme4::Dyestuff); save_csv(d, "dyestuff"); a <- one_fit("reml", Yield ~ 1 + (1 | Batch), d, TRUE); b <- one_fit("ml", Yield ~ 1 + (1 | Batch), d, FALSE, profile = TRUE, re = FALSE)
doc("dyestuff", "lme4 package data 'Dyestuff' (Davies & Goldsmith 1972; Bates 2010).", "One-way layout, 6 batches of 5.", list(a, b))
d <- ch(lme4::Dyestuff2); save_csv(d, "dyestuff2"); a <- one_fit("reml", Yield ~ 1 + (1 | Batch), d, TRUE, kr = FALSE); b <- one_fit("ml", Yield ~ 1 + (1 | Batch), d, FALSE, re = FALSE)
doc("dyestuff2", "lme4 package data 'Dyestuff2' (Box & Tiao 1973, simulated).", "Boundary: the batch variance is estimated as zero; an answer, not a failure. Degrees of freedom at a boundary are a convention: lmerTest's value is given for what it is.", list(a, b))
