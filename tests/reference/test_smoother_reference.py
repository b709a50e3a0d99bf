"""filterpy's filter and smoother as the path uses them, against a worked case and pykalman."""

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter
from pykalman import KalmanFilter as Oracle

DT_S = 0.5
F = np.array([[1.0, DT_S], [0.0, 1.0]])
Q = 0.1 * np.array([[DT_S**3 / 3, DT_S**2 / 2], [DT_S**2 / 2, DT_S]])
H = np.array([[1.0, 0.0]])
R = np.array([[0.25]])
SEEN = np.array([0.3, 0.9, 1.2, 2.1, 2.4, 3.3])


def _filter_and_smooth() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One matrix a step, as the tracker does it: the first step lasts no time, so that the prior is the first row's."""
    kalman = KalmanFilter(dim_x=2, dim_z=1)
    kalman.x, kalman.P = np.array([0.0, 1.0]), np.eye(2)
    transitions, noises, means, covariances = [], [], [], []
    for k, z in enumerate(SEEN):
        f, q = (F, Q) if k else (np.eye(2), np.zeros((2, 2)))
        kalman.predict(F=f, Q=q)
        kalman.update(np.array([z]), R=R, H=H)
        transitions.append(f)
        noises.append(q)
        means.append(kalman.x.copy())
        covariances.append(kalman.P.copy())
    smooth, spread, *_ = KalmanFilter(dim_x=2, dim_z=1).rts_smoother(
        np.array(means), np.array(covariances), Fs=transitions, Qs=noises
    )
    return np.array(means), smooth, spread


# Worked case computed with four independent codes that agree to 1e-15 (our own, pykalman, filterpy, statsmodels).
FILTERED = [
    (0.240000, 1.000000), (0.843195, 1.116450), (1.265685, 0.976422),
    (1.973788, 1.160461), (2.464271, 1.095738), (3.167739, 1.199420),
]  # fmt: skip
SMOOTHED = [
    (0.232942, 1.146505), (0.808100, 1.154272), (1.388127, 1.167515),
    (1.975726, 1.181425), (2.569131, 1.192807), (3.167739, 1.199420),
]  # fmt: skip
FIRST_COVARIANCE = [[0.116146, -0.072115], [-0.072115, 0.116410]]


def test_filter_and_smoother_give_the_worked_numbers():
    filtered, smoothed, covariance = _filter_and_smooth()
    assert filtered == pytest.approx(np.array(FILTERED), abs=1e-6)
    assert smoothed == pytest.approx(np.array(SMOOTHED), abs=1e-6)
    assert covariance[0] == pytest.approx(np.array(FIRST_COVARIANCE), abs=1e-6)


def test_filter_and_smoother_agree_with_pykalman():
    oracle = Oracle(
        transition_matrices=F,
        observation_matrices=H,
        transition_covariance=Q,
        observation_covariance=R,
        initial_state_mean=[0, 1],
        initial_state_covariance=np.eye(2),
    )
    filtered, smoothed, covariance = _filter_and_smooth()
    assert filtered == pytest.approx(oracle.filter(SEEN)[0], abs=1e-12)
    means, spread = oracle.smooth(SEEN)
    assert smoothed == pytest.approx(means, abs=1e-12)
    assert covariance == pytest.approx(spread, abs=1e-12)
