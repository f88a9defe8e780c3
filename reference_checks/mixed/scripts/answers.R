# Marginal means, contrasts, predictions and residuals of fits whose numbers stand in the other
# outputs. Usage: OUT=../outputs DATA=../data Rscript answers.R
suppressMessages({library(lme4); library(lmerTest); library(emmeans); library(jsonlite)})
out <- Sys.getenv("OUT", "../outputs"); folder <- Sys.getenv("DATA", "../data")
emm_options(lmer.df = "satterthwaite")
tight <- lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10, maxfun = 1e5))
read <- function(name) read.csv(file.path(folder, paste0(name, ".csv")), stringsAsFactors = FALSE)

means <- function(fit, specs, df = "satterthwaite", at = list()) {
  emm_options(lmer.df = df)
  m <- emmeans(fit, specs, at = at, weights = "equal")
  rows <- function(x) { s <- as.data.frame(summary(x, infer = c(TRUE, TRUE), adjust = "none")); names(s) <- sub("emmean", "estimate", names(s)); s }
  list(df = df, at = at, means = rows(m), pairs = rows(pairs(m, reverse = TRUE, adjust = "none")))
}

orthodont <- read("orthodont")
slope <- lmer(distance ~ age * Sex + (age | Subject), orthodont, control = tight)
chick <- read("chickweight"); chick$Diet <- factor(chick$Diet)
growth <- lmer(weight ~ Time * Diet + (Time | Chick), chick, control = tight)
oats <- read("oats")
plots <- lmer(yield ~ nitro + Variety + (1 | Block / Variety), oats, control = tight)
sleep <- read("sleepstudy")
days <- lmer(Reaction ~ Days + (Days | Subject), sleep, control = tight)

answers <- list(
  versions = list(R = R.version.string, lme4 = as.character(packageVersion("lme4")),
                  lmerTest = as.character(packageVersion("lmerTest")), emmeans = as.character(packageVersion("emmeans"))),
  orthodont_age_8 = means(slope, "Sex", at = list(age = 8)),
  orthodont_age_14_kr = means(slope, "Sex", df = "kenward-roger", at = list(age = 14)),
  chickweight_mean_time = means(growth, "Diet"),
  chickweight_time_21 = means(growth, "Diet", at = list(Time = 21)),
  oats = means(plots, "Variety"),
  oats_kr = means(plots, "Variety", df = "kenward-roger", at = list(nitro = 0.6)),
  sleepstudy = list(
    population = unname(predict(days, re.form = NA)), subject = unname(predict(days)),
    conditional_residual = unname(residuals(days)), sigma = sigma(days),
    new = list(Days = c(3.5, 12), Subject = c("308", "372"),
               population = unname(predict(days, data.frame(Days = c(3.5, 12), Subject = c("308", "372")), re.form = NA)),
               subject = unname(predict(days, data.frame(Days = c(3.5, 12), Subject = c("308", "372")))))))
write_json(answers, file.path(out, "answers.json"), digits = NA, auto_unbox = TRUE, pretty = TRUE)
