"""Words, probabilities and their quality beside published formulas and reference libraries."""

import numpy as np
import polars as pl
import pytest
from sklearn.calibration import CalibratedClassifierCV
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.frozen import FrozenEstimator
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import (
    brier_score_loss,
    confusion_matrix,
    precision_recall_fscore_support,
)
from statsmodels.stats.proportion import proportion_confint

from pipelines.assist.causes import quality
from pipelines.assist.causes.features import tf_idf
from pipelines.assist.causes.model import RIDGE, temperature, train
from pipelines.assist.causes.words import tokens_of, words_of

NOTES = [
    "white crust on the heater",
    "crust in the valve, white crust",
    "gasket torn",
    "torn gasket at the door, no crust",
    "the heater reads open",
    "white smear and torn gasket",
    "heater open again",
    "open the valve",
]
CLASSES = ["scale", "gasket", "gas", "wear"]


@pytest.fixture(scope="module")
def judged():
    """Probabilities of four classes for 500 calls, and what they were: drawn once, always alike."""
    draws = np.random.default_rng(20)
    odds = draws.normal(size=(500, 4)) * 1.5
    probability = np.exp(odds) / np.exp(odds).sum(axis=1, keepdims=True)
    label = (probability.cumsum(axis=1) < draws.random((500, 1))).sum(axis=1)
    return probability, label


def test_tf_idf_by_hand():
    """Three notes that share a word, worked by hand from idf = ln((1 + n) / (1 + df)) + 1.

    Source: Salton & Buckley 1988, "Term-weighting approaches in automatic text retrieval", with the
    smoothing in scikit-learn's user guide, "Tf-idf term weighting". "lime" is in all three notes,
    so its idf is ln(4/4) + 1 = 1; words of fewer than three notes are left out, so the first note,
    which holds it twice, has length 2 before scaling, and 1 after.
    """
    words = words_of(tokens_of(pl.Series(["lime, lime", "lime scale", "lime"])))
    assert tf_idf(words).sort("row").rows() == [
        (0, "lime", 1.0),
        (1, "lime", 1.0),
        (2, "lime", 1.0),
    ]
    more = words_of(
        tokens_of(pl.Series(["lime x1", "lime", "lime", "silt", "silt", "silt", "lime silt"]))
    )
    told = {name: value for row, name, value in tf_idf(more).rows() if row == 6}
    # n = 7, both words in 4 of them: equal weights, so each is 1 / sqrt(2).
    assert told == {"lime": pytest.approx(0.5**0.5), "silt": pytest.approx(0.5**0.5)}


def test_tf_idf_against_scikit_learn():
    """The same weights as TfidfVectorizer gives for words and pairs of three notes or more.

    Source: scikit-learn, sklearn.feature_extraction.text.TfidfVectorizer.
    """
    vectorizer = TfidfVectorizer(ngram_range=(1, 2), min_df=3, token_pattern=r"(?u)\b\w\w+\b")
    theirs = vectorizer.fit_transform(NOTES).toarray()
    names = list(vectorizer.get_feature_names_out())
    ours = np.zeros_like(theirs)
    for row, name, value in tf_idf(words_of(tokens_of(pl.Series(NOTES)))).rows():
        ours[row, names.index(name)] = value
    assert "torn gasket" not in names  # of two notes only
    np.testing.assert_allclose(ours, theirs, atol=1e-12)


def test_the_model_is_scikit_learns():
    """But for the temperature, the last judge gives LogisticRegression's probabilities.

    Source: scikit-learn, sklearn.linear_model.LogisticRegression, with C = 1 / ridge.
    """
    from scipy.sparse import csr_matrix

    draws = np.random.default_rng(3)
    matrix = csr_matrix(draws.random((300, 6)) * (draws.random((300, 6)) < 0.5))
    label = np.argmax(matrix.toarray()[:, :3] + 0.3 * draws.normal(size=(300, 3)), axis=1)
    fold = np.arange(300) % 5
    judges = train(matrix, label, fold, np.ones(300, dtype=bool), 3)
    theirs = LogisticRegression(C=1 / RIDGE, max_iter=300, tol=1e-4).fit(matrix, label)
    heat = judges.temperature
    np.testing.assert_allclose(judges.weights[-1] * heat, theirs.coef_, atol=1e-8)
    np.testing.assert_allclose(judges.start[-1] * heat, theirs.intercept_, atol=1e-8)
    held_out = judges.probabilities(matrix, fold)
    np.testing.assert_allclose(held_out.sum(axis=1), 1)
    one = LogisticRegression(C=1 / RIDGE, max_iter=300, tol=1e-4).fit(
        matrix[fold != 2], label[fold != 2]
    )
    same_order = (held_out.argmax(axis=1) == one.predict(matrix))[fold == 2]
    assert same_order.all()


def test_two_classes_are_the_logistic_curve():
    """With two classes the softmax of two log-odds is scikit-learn's probability."""
    from scipy.sparse import csr_matrix

    draws = np.random.default_rng(4)
    matrix = csr_matrix(draws.random((200, 3)))
    label = (matrix.toarray()[:, 0] + 0.2 * draws.normal(size=200) > 0.5).astype(int)
    judges = train(matrix, label, np.arange(200) % 5, np.ones(200, dtype=bool), 2)
    theirs = LogisticRegression(C=1 / RIDGE, max_iter=300, tol=1e-4).fit(matrix, label)
    gap = (judges.weights[-1, 1] - judges.weights[-1, 0]) * judges.temperature
    np.testing.assert_allclose(gap, theirs.coef_[0], atol=1e-8)


def test_temperature_against_scikit_learn():
    """The temperature of log-odds that are twice too large is about 2, and scikit-learn's.

    Source: Guo, Pleiss, Sun & Weinberger 2017, "On Calibration of Modern Neural Networks";
    scikit-learn, CalibratedClassifierCV(method="temperature").
    """
    draws = np.random.default_rng(5)
    x = draws.normal(size=(4_000, 4))
    model = LogisticRegression(C=1e6, max_iter=1_000).fit(x, np.arange(4_000) % 4)
    model.coef_, model.intercept_ = np.eye(4) * 2.0, np.zeros(4)  # what really holds is half of it
    odds = model.decision_function(x)
    true = np.exp(odds / 2) / np.exp(odds / 2).sum(axis=1, keepdims=True)
    label = (true.cumsum(axis=1) < draws.random((4_000, 1))).sum(axis=1)
    ours = temperature(odds, label)
    assert ours == pytest.approx(2, abs=0.15)
    theirs = CalibratedClassifierCV(FrozenEstimator(model), method="temperature").fit(x, label)
    calibrated = np.exp(odds / ours) / np.exp(odds / ours).sum(axis=1, keepdims=True)
    np.testing.assert_allclose(calibrated, theirs.predict_proba(x), atol=2e-3)


def test_brier_score_against_scikit_learn_and_by_hand(judged):
    """Of all classes together and of each alone.

    Source: Brier 1950, "Verification of forecasts expressed in terms of probability"; scikit-learn,
    brier_score_loss. By hand: 0.7, 0.2, 0.1 with the first right gives 0.09 + 0.04 + 0.01 = 0.14.
    """
    assert quality.brier_score(np.array([[0.7, 0.2, 0.1]]), np.array([0])) == pytest.approx(0.14)
    probability, label = judged
    theirs = brier_score_loss(label, probability, labels=range(4), scale_by_half=False)
    assert quality.brier_score(probability, label) == pytest.approx(theirs)
    table = quality.by_class(probability, label, CLASSES, 0.5)
    assert table["brier_score"][0] == pytest.approx(theirs)
    for place in range(4):
        alone = brier_score_loss(label == place, probability[:, place])
        assert table["brier_score"][place + 1] == pytest.approx(alone)


def test_expected_calibration_error_by_hand():
    """Four calls in two tenths, worked by hand.

    Source: Naeini, Cooper & Hauskrecht 2015, "Obtaining well calibrated probabilities using
    Bayesian binning": the gaps of the bins, weighted by their calls. At 0.75 and 0.80 one of two is
    right: |0.775 - 0.5| = 0.275; at 0.92 and 0.98 both are: |0.95 - 1| = 0.05. Mean: 0.1625.
    """
    first = np.array([0.75, 0.80, 0.92, 0.98])
    probability = np.column_stack([first, 1 - first])
    bins = quality.reliability(probability, np.array([0, 1, 0, 0]))
    full = bins.filter(pl.col("calls") > 0)
    assert full.select("probability_from", "calls", "right").rows() == [(0.7, 2, 1), (0.9, 2, 2)]
    assert quality.expected_calibration_error(bins) == pytest.approx(0.1625)
    assert bins.height == 10
    assert bins.filter(pl.col("calls") == 0)["share_right"].null_count() == 8


def test_confusion_precision_and_recall_against_scikit_learn(judged):
    """Counts and shares by class are scikit-learn's, and their limits statsmodels'.

    Source: scikit-learn, confusion_matrix and precision_recall_fscore_support; Clopper & Pearson
    1934, statsmodels, proportion_confint(method="beta").
    """
    probability, label = judged
    first = probability.argmax(axis=1)
    pairs = quality.confusion(label, first, CLASSES)
    theirs = confusion_matrix(label, first)
    assert pairs["calls"].to_numpy().reshape(4, 4).tolist() == theirs.tolist()
    table = quality.by_class(probability, label, CLASSES, 0.5)
    precision, recall, _, support = precision_recall_fscore_support(label, first)
    np.testing.assert_allclose(table["precision"][1:], precision)
    np.testing.assert_allclose(table["recall"][1:], recall)
    assert table["calls"][1:].to_list() == support.tolist()
    assert table["precision"][0] == pytest.approx((first == label).mean())
    low, high = proportion_confint(np.diag(theirs), support, method="beta")
    np.testing.assert_allclose(table["recall_low"][1:], low)
    np.testing.assert_allclose(table["recall_high"][1:], high)
    sure = probability.max(axis=1) >= 0.5
    assert table["offered"][0] == sure.sum()
    assert table["offered_right"][0] == (sure & (first == label)).sum()
