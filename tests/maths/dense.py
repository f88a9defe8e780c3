"""A plain dense twin of the one-animal model: no filter, no nested rule of ours.

Covariances of the session means are written out in full and solved; the noise SDs are
integrated with a far finer nested rule whose modes are found by a general minimiser.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import minimize
from scipy.special import logsumexp, ndtr, roots_hermite


@dataclass
class Case:
    """One animal: days, sessions' readings, design columns and priors, all plain arrays."""

    day: np.ndarray
    readings: list[np.ndarray]
    design: np.ndarray  # (n, p)
    prior_mean: np.ndarray
    prior_sd: np.ndarray
    sv: tuple[float, float]
    sr: tuple[float, float]
    sw: tuple[float, float]
    wander_days: float = 60.0
    y: np.ndarray = field(init=False)
    k: np.ndarray = field(init=False)
    ss: np.ndarray = field(init=False)

    def __post_init__(self) -> None:
        self.y = np.array([np.mean(one) for one in self.readings])
        self.k = np.array([float(len(one)) for one in self.readings])
        self.ss = np.array([np.sum((one - np.mean(one)) ** 2) for one in self.readings])


def on(start: float, tau: float, day: np.ndarray, stop: float | None = None) -> np.ndarray:
    """How far a course has risen, written as the definition reads."""
    out = np.zeros(len(day))
    for i, t in enumerate(day):
        if t <= start:
            continue
        if stop is None or t <= stop:
            out[i] = 1 - np.exp(-(t - start) / tau)
        else:
            out[i] = (1 - np.exp(-(stop - start) / tau)) * np.exp(-(t - stop) / tau)
    return out


def log_likelihood(case: Case, sv: float, sr: float, sw: float) -> float:
    """Log-likelihood of every single reading, its covariance written out reading by reading."""
    which = np.repeat(np.arange(len(case.y)), case.k.astype(int))
    values = np.concatenate(case.readings)
    rows, day = case.design[which], case.day[which]
    cov = (rows * case.prior_sd**2) @ rows.T
    cov += sw**2 * np.exp(-np.abs(day[:, None] - day) / case.wander_days)
    cov += sv**2 * (which[:, None] == which) + sr**2 * np.eye(len(values))
    left = values - rows @ case.prior_mean
    _, log_det = np.linalg.slogdet(cov)
    quadratic = left @ np.linalg.solve(cov, left)
    return float(-0.5 * (log_det + quadratic + len(values) * np.log(2 * np.pi)))


def _means_part(case: Case, sv, sr, sw, ask, rows):
    """Dense posterior at many nodes: log-likelihood, means and variances of the asked."""
    n = len(case.y)
    prior = case.prior_sd**2
    base = (case.design * prior) @ case.design.T
    ou = np.exp(-np.abs(case.day[:, None] - case.day) / case.wander_days)
    cov = base + sw[:, None, None] ** 2 * ou
    cov[:, np.arange(n), np.arange(n)] += sv[:, None] ** 2 + sr[:, None] ** 2 / case.k
    left = case.y - case.design @ case.prior_mean
    across = (rows * prior) @ case.design.T
    wander = np.exp(-np.abs(ask[:, None] - case.day) / case.wander_days)
    # A row without a day (NaN) is a coefficient: no wander in it.
    is_date = np.isfinite(ask)
    wander[~is_date] = 0.0
    cross = across + sw[:, None, None] ** 2 * wander
    right = np.concatenate(
        [np.broadcast_to(left[:, None], (len(sw), n, 1)), cross.transpose(0, 2, 1)], axis=2
    )
    solved = np.linalg.solve(cov, right)
    log_det = np.linalg.slogdet(cov)[1]
    terms = case.k - 1
    log_like = -0.5 * (n * np.log(2 * np.pi) + log_det + solved[:, :, 0] @ left)
    log_like += np.sum(
        -0.5 * terms * np.log(2 * np.pi * sr[:, None] ** 2)
        - 0.5 * np.log(case.k)
        - case.ss / (2 * sr[:, None] ** 2),
        axis=1,
    )
    mean = rows @ case.prior_mean + np.einsum("gan,gn->ga", cross, solved[:, :, 0])
    var = (rows**2) @ prior + sw[:, None] ** 2 * is_date
    var = var - np.einsum("gan,gna->ga", cross, solved[:, :, 1:])
    return log_like, mean, var


@dataclass
class Answer:
    """Weighted nodes of the dense integral; `mean`, `var` are (nodes, asked)."""

    log_marginal: float
    weight: np.ndarray
    mean: np.ndarray
    var: np.ndarray
    sv: np.ndarray
    sr: np.ndarray

    def summary(self, j: int, extra: np.ndarray | float = 0.0) -> tuple[float, float]:
        centre = self.weight @ self.mean[:, j]
        spread = self.var[:, j] + extra + (self.mean[:, j] - centre) ** 2
        return float(centre), float(np.sqrt(self.weight @ spread))

    def below(self, j: int, value: float, extra: np.ndarray | float = 0.0) -> float:
        sd = np.sqrt(self.var[:, j] + extra)
        return float(self.weight @ ndtr((value - self.mean[:, j]) / sd))

    def quantile(self, j: int, p: float) -> float:
        centre, sd = self.summary(j)
        low, high = centre - 40 * sd, centre + 40 * sd
        for _ in range(90):
            middle = (low + high) / 2
            if self.below(j, middle) < p:
                low = middle
            else:
                high = middle
        return (low + high) / 2


def integrated(
    case: Case, ask: np.ndarray, rows: np.ndarray, rhos: int = 49, gauss: int = 15, wide: float = 8
) -> Answer:
    """Nested rule of `rhos` × `gauss`²: modes by a general minimiser, dense algebra at nodes."""
    (mv, dv), (mr, dr), (mw, dw) = case.sv, case.sr, case.sw
    mv, mr, mw = np.log(mv), np.log(mr), np.log(mw)

    nothing = np.zeros(0), np.zeros((0, len(case.prior_sd)))

    def log_density(lt, rho, lr, ask, rows):
        lv = lt - 0.5 * np.log1p(np.exp(2 * rho))
        lw = lv + rho
        like, mean, var = _means_part(case, np.exp(lv), np.exp(lr), np.exp(lw), ask, rows)
        prior = -0.5 * (((lv - mv) / dv) ** 2 + ((lr - mr) / dr) ** 2 + ((lw - mw) / dw) ** 2)
        prior -= np.log(dv * dr * dw) + 1.5 * np.log(2 * np.pi)
        return like + prior, mean, var, lv

    u, w = roots_hermite(gauss)
    ua, ub = (part.ravel() for part in np.meshgrid(u, u, indexing="ij"))
    log_w = (np.log(w)[:, None] + np.log(w)).ravel() + ua**2 + ub**2
    half = wide * np.hypot(dv, dw)
    grid = mw - mv + np.linspace(-half, half, rhos)
    start = np.array([0.5 * np.logaddexp(2 * mv, 2 * mw), mr])
    mass, means, variances, svs, srs = [], [], [], [], []
    for rho in grid:

        def value(at, rho=rho):
            one = np.array([at[0]]), np.array([rho]), np.array([at[1]])
            return -float(log_density(*one, *nothing)[0][0])

        found = minimize(value, start, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-9})
        h = 1e-3
        hess = np.empty((2, 2))
        e = np.eye(2) * h
        for i in range(2):
            for j in range(2):
                hess[i, j] = (
                    value(found.x + e[i] + e[j])
                    - value(found.x + e[i] - e[j])
                    - value(found.x - e[i] + e[j])
                    + value(found.x - e[i] - e[j])
                ) / (4 * h * h)
        root = np.linalg.cholesky(np.linalg.inv(hess))
        lt = found.x[0] + np.sqrt(2) * root[0, 0] * ua
        lr = found.x[1] + np.sqrt(2) * (root[1, 0] * ua + root[1, 1] * ub)
        log_f, mean, var, lv = log_density(lt, np.full(lt.size, rho), lr, ask, rows)
        mass.append(log_f + log_w + np.log(2 * root[0, 0] * root[1, 1]))
        means.append(mean)
        variances.append(var)
        svs.append(np.exp(lv))
        srs.append(np.exp(lr))
    log_mass = np.concatenate(mass) + np.log(grid[1] - grid[0])
    total = logsumexp(log_mass)
    return Answer(
        float(total),
        np.exp(log_mass - total),
        np.concatenate(means),
        np.concatenate(variances),
        np.concatenate(svs),
        np.concatenate(srs),
    )
