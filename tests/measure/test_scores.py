"""Scores against scikit-learn where it has them, and by hand where it has not."""

import numpy as np
import pytest

from measure import scores

sklearn_metrics = pytest.importorskip("sklearn.metrics", reason="scikit-learn is a test extra")


@pytest.fixture
def case() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(0)
    return rng.dirichlet(np.ones(5) * 0.7, 300), rng.integers(0, 5, 300)


def test_accuracy_is_scikit_learns(case: tuple[np.ndarray, np.ndarray]) -> None:
    p, truth = case
    assert scores.accuracy(p, truth) == pytest.approx(
        sklearn_metrics.top_k_accuracy_score(truth, p, k=1)
    )


def test_brier_is_the_sum_of_scikit_learns_one_against_the_rest(
    case: tuple[np.ndarray, np.ndarray],
) -> None:
    p, truth = case
    parts = [sklearn_metrics.brier_score_loss(truth == k, p[:, k]) for k in range(5)]
    assert scores.brier(p, truth) == pytest.approx(sum(parts))


def test_brier_of_certainty_is_nothing_when_right_and_two_when_wrong() -> None:
    p = np.array([[1.0, 0.0], [1.0, 0.0]])
    assert scores.brier(p, np.array([0, 0])) == 0.0
    assert scores.brier(p, np.array([1, 1])) == 2.0


def test_mean_probability_on_truth_by_hand() -> None:
    p = np.array([[0.7, 0.2, 0.1], [0.3, 0.3, 0.4]])
    assert scores.mean_probability_on_truth(p, np.array([0, 1])) == pytest.approx(0.5)


def test_one_of_two_alike_named_for_the_other_counts_once_merged() -> None:
    p = np.array([[0.7, 0.2, 0.1], [0.1, 0.7, 0.2], [0.1, 0.2, 0.7]])
    truth = np.array([1, 1, 0])
    assert scores.accuracy(p, truth) == pytest.approx(1 / 3)
    assert scores.merged_accuracy(p, truth, [0, 1]) == pytest.approx(2 / 3)


def test_smallest_sets_by_hand() -> None:
    p = np.array([[0.6, 0.3, 0.1], [0.95, 0.03, 0.02], [0.5, 0.3, 0.2]])
    inside, size = scores.smallest_sets(p, np.array([1, 1, 2]))
    # 0.6 + 0.3 reaches 90 % exactly; 0.95 alone is past it; the last needs all three.
    assert size.tolist() == [2, 1, 3]
    assert inside.tolist() == [True, False, True]


def test_false_alarms_count_healthy_cars_with_a_fault_above_half() -> None:
    p = np.array([[0.4, 0.6, 0.0], [0.45, 0.5, 0.05], [0.9, 0.1, 0.0], [0.3, 0.0, 0.7]])
    truth = np.array([0, 0, 0, 0])
    # The second does not exceed a half; the last is `unexplained`, which is no fault.
    assert scores.false_alarms(p, truth, 0, [0, 2]) == pytest.approx(0.25)


def test_missed_counts_faults_that_are_called_healthy_above_half() -> None:
    p = np.array([[0.6, 0.4], [0.5, 0.5], [0.1, 0.9]])
    assert scores.missed(p, np.array([1, 1, 1]), 0, [1]) == pytest.approx(1 / 3)


def test_no_cases_give_no_figure() -> None:
    empty = np.zeros((0, 3)), np.zeros(0, dtype=np.intp)
    assert np.isnan(scores.accuracy(*empty))
    assert np.isnan(scores.brier(*empty))
