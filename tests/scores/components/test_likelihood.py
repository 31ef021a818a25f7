"""Restricted maximum likelihood: the full likelihood, other programs, and mean squares agree."""

import shutil
import subprocess
import warnings

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from layouts import cells_of, drawn, fixed_rounds
from scipy.optimize import minimize

from anthroqa.scores.components.likelihood import reml
from anthroqa.scores.components.mean_squares import moments, squares
from anthroqa.scores.layout.cells import gather


def fitted(x, person, subject, turn):
    cells = gather(x, person, subject, *fixed_rounds(turn))
    by = moments(squares(cells))
    return reml(cells, by), by


def of_codes(code):
    return (code[:, None] == np.unique(code)).astype(float)


def twice_minus_log(variance, x, person, subject, turn):
    """The restricted likelihood with one big matrix, from its definition."""
    z = [of_codes(subject), of_codes(person), of_codes(person * 1000 + subject), np.eye(len(x))]
    v = sum(s * block @ block.T for s, block in zip(variance, z, strict=True))
    fixed, y = of_codes(turn), x - x.mean()
    inverse = np.linalg.inv(v)
    cross = fixed.T @ inverse @ fixed
    beta = np.linalg.solve(cross, fixed.T @ inverse @ y)
    return (
        np.linalg.slogdet(v)[1] + np.linalg.slogdet(cross)[1]
        + (y - fixed @ beta) @ inverse @ (y - fixed @ beta)
    )  # fmt: skip


@settings(max_examples=12)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 0.2]), st.sampled_from([0.0, 2.0]))
def test_no_variances_are_more_likely(seed, missing, apart):
    x = drawn(np.random.default_rng(seed), staff=4, subjects=5, missing=missing,
              sd=(20, 2, apart, 3))  # fmt: skip
    of = squares(gather(*x[:3], *fixed_rounds(x[3])))
    assume(of.df_residual and of.df_repeat > 0 and of.repeat > 0)
    fit, _ = fitted(*x)
    assert fit.settled
    ours = twice_minus_log(fit.variance, *x)
    best = min(
        minimize(
            lambda log: twice_minus_log(np.exp(log), *x), np.log(fit.variance + add),
            method="Nelder-Mead", options={"maxiter": 300},
        ).fun
        for add in (0.01, 3.0)
    )  # fmt: skip
    assert ours <= best + 1e-4


@settings(max_examples=60)
@given(st.integers(0, 10**6), st.integers(2, 6), st.integers(2, 8), st.integers(2, 3))
def test_in_a_complete_layout_it_is_the_analysis_of_variance(seed, staff, subjects, rounds):
    x = drawn(np.random.default_rng(seed), staff=staff, subjects=subjects, rounds=rounds)
    fit, by = fitted(*x)
    estimates = np.array([by.subject, by.measurer, by.interaction, by.repeat])
    assume((estimates > 0.01).all())
    assert fit.variance == pytest.approx(estimates, rel=1e-4)


def test_a_negative_variance_is_zero_and_the_rest_is_fitted_again():
    # Staff and subjects add up exactly, so measurer with subject is (0 - 2/3) / 2. Without it
    # the error is (0 + 2) / (1 + 3); measurers are (72 - 0.5) / 4, subjects (5000 - 0.5) / 4.
    cells = cells_of({"A": [[700, 701], [751, 750]], "B": [[706, 707], [757, 756]]}, rounds=True)
    fit = reml(cells, moments(squares(cells)))
    assert fit.settled
    assert fit.variance == pytest.approx([4999.5 / 4, 71.5 / 4, 0, 0.5], rel=1e-6)


def test_fixed_rounds_come_with_their_error():
    x = drawn(np.random.default_rng(3), staff=6, subjects=10, shift=30.0)
    fit, _ = fitted(*x)
    assert fit.fixed[1] - fit.fixed[0] == pytest.approx(30, abs=2)
    # a difference of rounds has the variance 2 s^2 / pairs
    across = np.array([-1.0, 1.0])
    assert across @ fit.covariance @ across == pytest.approx(2 * fit.variance[3] / 60, rel=1e-6)


UNBALANCED = drawn(np.random.default_rng(11), staff=6, subjects=9, rounds=3, missing=0.15)
BOUNDARY = drawn(np.random.default_rng(2), staff=5, subjects=8, missing=0.15, sd=(20, 0, 0, 3))


# the mean squares say that measurer with subject is below zero; the likelihood says it is not
RISEN = drawn(np.random.default_rng(97), staff=4, subjects=6, missing=0.3, sd=(20, 2, 2, 3))


def test_a_variance_that_starts_at_zero_may_leave_it():
    fit, by = fitted(*RISEN)
    assert by.interaction < 0
    assert fit.variance[2] > 0.5
    without = np.where([False, False, True, False], 0.0, fit.variance)
    assert twice_minus_log(fit.variance, *RISEN) < twice_minus_log(without, *RISEN) - 1e-3


def frame_of(x, person, subject, turn):
    return pd.DataFrame({
        "x": x, "person": person, "subject": subject, "both": person * 100 + subject,
        "turn": turn, "one": 1,
    })  # fmt: skip


def test_statsmodels_finds_the_same():
    fit, _ = fitted(*UNBALANCED)
    crossed = {name: f"0 + C({name})" for name in ("subject", "person", "both")}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        other = smf.mixedlm(
            "x ~ C(turn)", frame_of(*UNBALANCED), groups="one", vc_formula=crossed
        ).fit(reml=True)
    theirs = dict(zip(other.model.exog_vc.names, other.vcomp, strict=True))
    found = [theirs["subject"], theirs["person"], theirs["both"], other.scale]
    assert fit.variance == pytest.approx(found, rel=2e-3)  # its optimiser stops there


R_SCRIPT = """
suppressMessages(library(lme4))
for (d in split(d <- read.csv(file("stdin")), d$case)) {
    f <- suppressMessages(lmer(x ~ factor(turn) + (1|subject) + (1|person) + (1|both), d,
        control = lmerControl(optimizer = "bobyqa", optCtrl = list(rhoend = 1e-10))))
    v <- as.data.frame(VarCorr(f))
    row.names(v) <- v$grp
    cat(format(v[c("subject", "person", "both", "Residual"), "vcov"], digits = 12), "\\n")
}
"""


def test_lme4_finds_the_same():
    rscript = shutil.which("Rscript")
    has_lme4 = 'quit(status = !requireNamespace("lme4", quietly = TRUE))'
    if rscript is None or subprocess.run([rscript, "-e", has_lme4], check=False).returncode:
        pytest.skip("needs R with lme4, an outside program")
    cases = [UNBALANCED, BOUNDARY, RISEN]
    frame = pd.concat([frame_of(*x).assign(case=i) for i, x in enumerate(cases)])
    done = subprocess.run(
        [rscript, "-e", R_SCRIPT], input=frame.to_csv(index=False), capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    for x, line in zip(cases, done.stdout.splitlines(), strict=True):
        theirs = [float(v) for v in line.split()]
        assert fitted(*x)[0].variance == pytest.approx(theirs, rel=1e-4, abs=1e-4)
