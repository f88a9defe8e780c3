"""The plain twin: one dense covariance over every reading, nothing clever."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bpvet.mixed.contributions import Variances
from bpvet.mixed.criterion import Criterion, in_order
from bpvet.mixed.moments import SessionArrays, moments


@dataclass(frozen=True, eq=False)
class Readings:
    """Readings of an invented cohort, row by row."""

    x: np.ndarray
    y: np.ndarray
    z: tuple[int, ...]
    animal: np.ndarray
    session: np.ndarray  # unique over animals
    visit: np.ndarray
    residual: np.ndarray
    group: np.ndarray  # by animal
    grouped: bool


def invented(
    seed: int,
    animals: int = 7,
    slopes: int = 1,
    groups: int = 0,
    classes: int = 1,
    within: bool = False,
) -> Readings:
    """Return an unbalanced cohort: 1 to 4 sessions an animal, 1 to 4 readings a session."""
    rng = np.random.default_rng(seed)
    animal, session, kind = [], [], []
    for i in range(animals):
        for _ in range(rng.integers(2, 6)):
            k = rng.integers(1, 5)
            number = session[-1] + 1 if session else 0
            animal += [i] * k
            session += [number] * k
            kind += [int(rng.integers(classes))] * k
    a, s, c = np.array(animal), np.array(session), np.array(kind)
    n = len(a)
    columns = [np.ones(n), rng.normal(size=s.max() + 1)[s], rng.normal(size=s.max() + 1)[s]]
    if within:
        columns[1] = columns[1] + rng.normal(size=n)
    x = np.stack([*columns, (c == 1).astype(float)], axis=1)[:, : 4 if classes > 1 else 3]
    group = np.arange(animals) % max(groups, 1)
    y = (
        x @ np.array([3.0, 1.0, -0.5, 2.0])[: x.shape[1]]
        + rng.normal(size=animals)[a] * 1.5
        + rng.normal(size=animals)[a] * x[:, 1] * 0.7
        + rng.normal(size=s.max() + 1)[s] * np.where(c == 1, 1.6, 0.8)
        + rng.normal(size=max(groups, 1))[group[a]]
        + rng.normal(size=n) * np.where(c == 1, 1.2, 0.6)
    )
    return Readings(x, y, tuple(range(slopes + 1)), a, s, c, c, group, groups > 0)


def criterion_of(r: Readings, reml: bool, visit: bool = True, parts: int = 1) -> Criterion:
    """Return the fast criterion of these readings, the animals dealt to some partitions."""
    u = np.column_stack([r.x, r.y])
    m = u.shape[1]
    animals, groups = r.animal.max() + 1, r.group.max() + 1
    pieces, total = [], 0
    for part in range(parts):
        mine = np.arange(animals) % parts == part
        rows = mine[r.animal]
        _, first, owner = np.unique(r.session[rows], return_index=True, return_inverse=True)
        k = np.bincount(owner)
        mean = np.stack([np.bincount(owner, u[rows][:, j]) / k for j in range(m)], axis=1)
        code = np.cumsum(mine) - 1
        arrays = SessionArrays(
            u=mean,
            count=k,
            animal=code[r.animal[rows][first]],
            visit=r.visit[rows][first] if visit else np.full(len(k), -1),
            residual=r.residual[rows][first],
            within_ss=np.zeros(len(k)),
            known=np.ones(len(k), bool),
            deviations=u[rows] - mean[owner],
            session_of_row=owner,
        )
        z = np.array(r.z)
        pieces.append(moments(arrays, z, int(mine.sum()), r.group[mine], int(groups)))
        total += pieces[-1].observations
    p = r.x.shape[1]
    return Criterion(
        parts=pieces,
        gather=in_order,
        intercept=0,
        random=len(r.z),
        visits=r.visit.max() + 1 if visit else 0,
        residuals=r.residual.max() + 1,
        grouped=r.grouped,
        observations=total,
        basis=np.eye(m)[:, :p],
        offset=np.eye(m)[:, p],
        reml=reml,
    )


def variances_of(phi: np.ndarray, c: Criterion) -> Variances:
    """Return variances from φ."""
    q = c.random
    g = np.zeros((q, q))
    rows, columns = np.tril_indices(q)
    g[rows, columns] = g[columns, rows] = phi[: len(rows)]
    rest = phi[len(rows) :]
    group = rest[0] if c.grouped else 0.0
    rest = rest[1:] if c.grouped else rest
    return Variances(np.linalg.cholesky(g), float(group), rest[: c.visits], rest[c.visits :])


def parts_of_v(r: Readings, c: Criterion) -> list[np.ndarray]:
    """Return the derivative of V in each of φ, (n, n) each; V is their weighted sum."""
    q = c.random
    z = r.x[:, list(r.z)]
    animal = r.animal[:, None] == r.animal
    parts = []
    for i in range(q):
        for j in range(i + 1):
            e = np.zeros((q, q))
            e[i, j] = e[j, i] = 1.0
            parts.append((z @ e @ z.T) * animal)
    if c.grouped:
        parts.append((r.group[r.animal][:, None] == r.group[r.animal]).astype(float))
    session = r.session[:, None] == r.session
    parts += [session * np.outer(r.visit == k, r.visit == k) for k in range(c.visits)]
    parts += [np.diag((r.residual == k).astype(float)) for k in range(c.residuals)]
    return parts


def dense_projection(
    r: Readings, c: Criterion, phi: np.ndarray
) -> tuple[float, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Return criterion, β, its covariance, V⁻¹ and P."""
    v = sum(f * part for f, part in zip(phi, parts_of_v(r, c), strict=True))
    inverse = np.linalg.inv(v)
    cov = np.linalg.inv(r.x.T @ inverse @ r.x)
    beta = cov @ r.x.T @ inverse @ r.y
    p = inverse - inverse @ r.x @ cov @ r.x.T @ inverse
    n = len(r.y)
    value = np.linalg.slogdet(v)[1] + r.y @ p @ r.y
    degrees = n
    if c.reml:
        degrees = n - r.x.shape[1]
        value -= np.linalg.slogdet(cov)[1]
    return value + degrees * np.log(2 * np.pi), beta, cov, inverse, p
