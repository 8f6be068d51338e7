"""Which is the highest after readings: against normals by hand, Bayes' rule and plain loops."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trackkit.study.apart import Apart, chance_wrong, given, highest_chances
from trackkit.survey.quality.foreseen import Foreseen


def apart_of(above, before, after, *, share=1.0, seen=0.0):
    """Return heights with readings of each that leave the covariance ``after``; ``seen`` is expected."""
    before, after = np.atleast_2d(before), np.atleast_2d(after)
    size = len(before)
    # a reading of each height with noise N: after = (before^-1 + N^-1)^-1; none where nothing is gained
    gained = before - after
    if not gained.any():
        foreseen = Foreseen(before, np.zeros(0), np.zeros((0, 0)), np.zeros((size, 0)))
    else:  # any k readings with shared S^-1 shared' = gained
        values, vectors = np.linalg.eigh(gained)
        shared = vectors * np.sqrt(np.maximum(values, 0.0))
        foreseen = Foreseen(before, np.full(size, seen), np.eye(size), shared)
    return Apart(share, np.asarray(above, dtype=float), foreseen, np.zeros((size, size)))


def test_the_chance_to_be_wrong_is_that_of_two_normals():
    """Two ends, one d above the other with sd s: wrong with Phi(-d/s); after a perfect reading never."""
    s, d = 0.002, 0.001
    spread = np.array([[s**2]])
    found = chance_wrong([apart_of([-d], spread, spread)])
    assert found == pytest.approx(0.5 * math.erfc(d / s / math.sqrt(2)), abs=0.03)
    assert chance_wrong([apart_of([-d], spread, 0.0 * spread)]) < 1e-3
    half = chance_wrong([apart_of([-d], spread, spread / 4)])
    assert 0.0 < half < found


def test_the_chance_to_be_wrong_after_a_reading_is_the_mean_over_surveys_that_took_it():
    """Heights are drawn, read anew with noise, and the end that is then likeliest is taken."""
    rng = np.random.default_rng(3)
    mean, before = np.array([-0.001, -0.002]), np.array([[4e-6, 1e-6], [1e-6, 6e-6]])
    look, noise = np.array([1.0, 0.0]), 1e-6
    gain = before @ look / (look @ before @ look + noise)
    after = before - np.outer(gain, look @ before)
    truth = rng.multivariate_normal(mean, before, size=20000)
    read = truth @ look + rng.normal(0, math.sqrt(noise), len(truth))
    known = mean + gain * (read - mean @ look)[:, None]
    draws = rng.multivariate_normal([0.0, 0.0], after, size=400)
    wrong = []
    for place, true in zip(known[:2000], truth[:2000], strict=True):
        ends = np.column_stack([np.zeros(len(draws)), place + draws])
        taken = np.bincount(ends.argmax(axis=1), minlength=3).argmax()
        wrong.append(taken != np.argmax([0.0, *true]))
    assert chance_wrong([apart_of(mean, before, after)]) == pytest.approx(np.mean(wrong), abs=0.04)


def sure(above, seen, share, noise=1e-3):
    """Return a ground that is certain of its heights, with one reading that is expected to find that."""
    size = len(above)
    spread = 1e-12 * np.eye(size)
    foreseen = Foreseen(spread, np.array([seen]), np.array([[noise**2]]), np.zeros((size, 1)))
    return Apart(share, np.asarray(above, dtype=float), foreseen, np.zeros((size, size)))


def test_a_reading_that_tells_two_grounds_apart_settles_what_they_disagree_about():
    grounds = [sure([-0.01], 0.0, 0.6), sure([0.01], 1.0, 0.4)]
    np.testing.assert_allclose(highest_chances(grounds), [0.6, 0.4], atol=1e-6)
    assert chance_wrong(grounds) < 1e-3
    np.testing.assert_allclose(highest_chances(given(grounds, np.array([1.0]))), [0.0, 1.0], atol=1e-6)


def test_a_reading_that_is_the_same_on_both_grounds_settles_nothing():
    grounds = [sure([-0.01], 0.5, 0.6), sure([0.01], 0.5, 0.4)]
    assert chance_wrong(grounds) == pytest.approx(0.4, abs=1e-3)
    np.testing.assert_allclose(highest_chances(given(grounds, np.array([0.5]))), [0.6, 0.4], atol=1e-6)


def test_shares_after_a_reading_are_those_of_bayes_rule():
    """Found 0.2 with noise 0.5: the likelihoods are exp(-0.08) and exp(-1.28) of the same normal."""
    grounds = [sure([-0.01], 0.0, 0.3, noise=0.5), sure([0.01], 1.0, 0.7, noise=0.5)]
    after = given(grounds, np.array([0.2]))
    first, second = 0.3 * math.exp(-0.08), 0.7 * math.exp(-1.28)
    assert after[0].share == pytest.approx(first / (first + second))
    assert sum(one.share for one in after) == pytest.approx(1.0)


def test_over_two_grounds_the_chance_to_be_wrong_is_that_of_a_plain_loop():
    """A ground is drawn, a height on it, a reading of that; Bayes' rule by hand says which is likelier."""
    rng = np.random.default_rng(8)
    shares, means, sds, noise = (0.65, 0.35), (-0.002, 0.003), (0.002, 0.004), 0.002
    grounds = []
    for share, mean, sd in zip(shares, means, sds, strict=True):
        foreseen = Foreseen(
            np.array([[sd**2]]), np.array([mean]), np.array([[sd**2 + noise**2]]), np.array([[sd**2]])
        )
        grounds.append(Apart(share, np.array([mean]), foreseen, np.zeros((1, 1))))
    wrong = []
    for _ in range(20_000):
        own = int(rng.random() < shares[1])
        height = rng.normal(means[own], sds[own])
        found = height + rng.normal(0, noise)
        weights, higher = [], []
        for share, mean, sd in zip(shares, means, sds, strict=True):
            total = sd**2 + noise**2
            weights.append(share * math.exp(-0.5 * (found - mean) ** 2 / total) / math.sqrt(total))
            middle, left = mean + sd**2 / total * (found - mean), sd * noise / math.sqrt(total)
            higher.append(0.5 * math.erfc(-middle / left / math.sqrt(2)))
        chance = np.dot(weights, higher) / sum(weights)
        wrong.append((chance > 0.5) != (height > 0))
    assert chance_wrong(grounds) == pytest.approx(np.mean(wrong), abs=0.03)
