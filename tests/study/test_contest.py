"""Contests of heights: against order statistics, orthant formulas, plain loops, and the normal library."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from trackkit.study.contest import Contest, Likely, compare, draw
from trackkit.study.exact import exact_governs, exact_touch
from trackkit.study.high_point import expected_highest

DRAWS = 40_000


def contest_of(mean, covariance, *, ends=None, room=0.0, gap=0.0, starts=None):
    mean, covariance = np.asarray(mean, dtype=float), np.asarray(covariance, dtype=float)
    count = mean.size if ends is None else ends
    chosen = np.arange(mean.size) if starts is None else np.asarray(starts)
    return Contest(
        mean, covariance, count, count, np.broadcast_to(np.asarray(room, dtype=float), count), chosen,
        np.full(chosen.size, float(gap)),
    )  # fmt: skip


def random_contest(seed, n, *, spread=0.003, **kwargs):
    rng = np.random.default_rng(seed)
    root = rng.normal(0, spread, (n, n))
    return contest_of(rng.normal(0, 2 * spread, n), root @ root.T + 1e-8 * np.eye(n), **kwargs)


@pytest.mark.parametrize(
    ("n", "highest"), [(2, 0.56419), (3, 0.84628), (5, 1.16296), (10, 1.53875), (20, 1.86748), (100, 2.50759)]
)
def test_expected_highest_of_equal_ends_is_the_published_order_statistic(n, highest):
    """H. L. Harter, "Expected values of normal order statistics", Biometrika 48 (1961), from memory."""
    found, sd = expected_highest(np.zeros(n), np.eye(n), draws=DRAWS)
    assert found == pytest.approx(highest, abs=4 * sd)
    assert sd < 0.006


def test_expected_highest_of_two_is_clark_s_formula():
    """C. E. Clark, "The greatest of a finite set of random variables", Oper. Res. 9 (1961), from memory."""
    mean, covariance = np.array([0.010, 0.012]), np.array([[9e-6, 2e-6], [2e-6, 4e-6]])
    apart = math.sqrt(9e-6 + 4e-6 - 2 * 2e-6)
    alpha = (mean[0] - mean[1]) / apart
    density, below = (
        math.exp(-(alpha**2) / 2) / math.sqrt(2 * math.pi),
        (1 + math.erf(alpha / math.sqrt(2))) / 2,
    )
    expected = mean[0] * below + mean[1] * (1 - below) + apart * density
    found, sd = expected_highest(mean, covariance, draws=DRAWS)
    assert found == pytest.approx(expected, abs=4 * sd)


@pytest.mark.parametrize("n", [2, 3, 6])
def test_equal_ends_govern_equally_often(n):
    contest = contest_of(np.zeros(n), 1e-6 * np.eye(n))
    found = compare(contest, touch=0.003, draws=DRAWS)
    np.testing.assert_allclose(found.governs, 1 / n, atol=4 * math.sqrt(1 / n / DRAWS))
    np.testing.assert_allclose(exact_governs(contest).chances, 1 / n, atol=5e-5)


def test_chance_to_govern_of_three_is_the_orthant_formula():
    """P(both of two below 0) = 1/4 + asin(rho) / 2 pi (W. F. Sheppard, 1899, from memory)."""
    covariance = np.array([[4.0, 1.0, 0.5], [1.0, 2.0, 0.2], [0.5, 0.2, 3.0]]) * 1e-6
    exact = exact_governs(contest_of(np.zeros(3), covariance)).chances
    for own in range(3):
        a, b = (i for i in range(3) if i != own)
        c = covariance
        shared = c[own, own] - c[own, a] - c[own, b] + c[a, b]
        sds = [math.sqrt(c[own, own] + c[i, i] - 2 * c[own, i]) for i in (a, b)]
        formula = 0.25 + math.asin(shared / (sds[0] * sds[1])) / (2 * math.pi)
        assert exact[own] == pytest.approx(formula, abs=3e-5)


def test_chance_to_govern_of_four_is_the_orthant_formula():
    """P(three below 0) = 1/8 + (asin r12 + asin r13 + asin r23) / 4 pi (F. N. David, 1953, from memory)."""
    rng = np.random.default_rng(4)
    root = rng.normal(size=(4, 4))
    covariance = root @ root.T * 1e-6
    exact = exact_governs(contest_of(np.zeros(4), covariance)).chances
    for own in range(4):
        others = [i for i in range(4) if i != own]
        weights = np.zeros((3, 4))
        weights[np.arange(3), others] = 1.0
        weights[:, own] = -1.0
        apart = weights @ covariance @ weights.T
        r = apart / np.sqrt(np.outer(np.diag(apart), np.diag(apart)))
        formula = 1 / 8 + sum(math.asin(r[i, j]) for i, j in ((0, 1), (0, 2), (1, 2))) / (4 * math.pi)
        assert exact[own] == pytest.approx(formula, abs=5e-5)


@pytest.mark.parametrize("seed", range(3))
def test_draws_and_exact_chances_agree_within_four_standard_errors(seed):
    contest = random_contest(seed, 7, room=0.01, gap=0.01)
    drawn = compare(contest, touch=0.002, draws=DRAWS)
    exact = exact_governs(contest)
    error = np.sqrt(np.maximum(exact.chances * (1 - exact.chances), 1e-4) / DRAWS)
    assert (np.abs(drawn.governs - exact.chances) < 4 * error + exact.left_out).all()
    assert exact.chances.sum() == pytest.approx(1.0, abs=exact.left_out + 1e-4)
    for candidate in range(7):
        chance, more = exact_touch(contest, candidate, 0.002)
        error = math.sqrt(max(chance * (1 - chance), 1e-4) / DRAWS)
        assert abs(drawn.touches[candidate] - chance) < 4 * error + more


def test_what_is_left_out_bounds_what_exact_chances_are_wrong_by():
    contest = random_contest(11, 7)
    whole = exact_governs(contest, left_out=1e-9).chances
    for left_out in (0.3, 0.1, 0.01):
        short = exact_governs(contest, left_out=left_out)
        assert short.left_out <= left_out
        inside = list(short.contending)
        assert (short.chances[inside] >= whole[inside] - 5e-5).all()
        assert (short.chances[inside] <= whole[inside] + short.left_out + 5e-5).all()
        assert 1.0 - whole[inside].sum() <= short.left_out + 5e-5
    assert len(exact_governs(contest, left_out=0.3).contending) < len(
        exact_governs(contest, left_out=0.01).contending
    )


def test_exact_touch_is_that_of_the_normal_library():
    contest = random_contest(2, 4, gap=0.004)
    weights = np.array([[1.0, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 1]]) - np.array([0, 0, 1.0, 0])
    mean, covariance = weights @ contest.mean, weights @ contest.covariance @ weights.T
    clear = multivariate_normal(mean, covariance, abseps=1e-7, releps=1e-7, seed=3).cdf(np.full(3, 0.005))
    chance, more = exact_touch(contest, 2, 0.001, left_out=1e-9)
    assert chance == pytest.approx(1 - clear, abs=5e-5 + more)


def test_too_many_contenders_have_no_exact_chances():
    contest = contest_of(np.zeros(30), 1e-6 * np.eye(30))
    assert exact_governs(contest) is None
    assert exact_touch(contest, 0, 0.0) is None


def test_what_is_certain_is_told_as_certain():
    contest = contest_of([0.0, 0.02, 0.01], np.zeros((3, 3)), gap=0.005)
    found = compare(contest, touch=0.003, accepted=0.05, draws=10)
    assert found.governs.tolist() == [0.0, 1.0, 0.0]
    assert found.touches.tolist() == [1.0, 0.0, 1.0]
    np.testing.assert_allclose(found.margin, [0.012, 0.0, 0.002])
    np.testing.assert_allclose(found.largest, [0.005, 0.025, 0.015])
    assert exact_governs(contest).chances.tolist() == [0.0, 1.0, 0.0]
    assert exact_touch(contest, 2, 0.003)[0] == 1.0
    assert exact_touch(contest, 1, 0.003) == (0.0, 0.0)


def test_ends_that_move_together_are_told_apart_by_their_means_alone():
    covariance = np.full((3, 3), 4e-6)
    contest = contest_of([0.0, 0.001, 0.0005], covariance)
    assert compare(contest, touch=0.0, draws=500).governs.tolist() == [0.0, 1.0, 0.0]
    np.testing.assert_allclose(exact_governs(contest).chances, [0.0, 1.0, 0.0])
    assert (contest.fill_sds < 1e-9).all()


def test_figures_of_all_candidates_are_those_of_a_plain_loop():
    """Three tie ends, an obstacle with a room of its own, a peg: every draw looked at by itself."""
    rng = np.random.default_rng(8)
    root = rng.normal(0, 0.004, (5, 5))
    contest = Contest(
        np.array([0.0, 0.004, -0.003, 0.006, 0.0]), root @ root.T, 3, 4, np.array([0.01, 0.01, 0.01, 0.002]),
        np.array([0, 1, 2, 4]), np.array([0.01, 0.01, 0.01, 0.0]),
    )  # fmt: skip
    found = compare(contest, touch=0.003, accepted=0.1, draws=3000, seed=5)
    heights = draw(contest, 3000, 5).heights
    for k, (start, gap) in enumerate(zip(contest.starts, contest.offsets, strict=True)):
        touched, rests, largest, needed = [], [], [], []
        for one in heights.T:
            line = one[start] + gap
            touched.append(max(one[:4]) > line + 0.003)
            own = one[start] + (0.01 if start != 3 else 0.002)
            rests.append(own >= max(one[:4] + contest.room) - 1e-12)
            largest.append(line - min(one[:3]))
            needed.append(max(one[:4]) - line - 0.003)
        assert found.touches[k] == pytest.approx(np.mean(touched))
        assert found.governs[k] == pytest.approx(np.mean(rests))
        assert found.largest[k] == pytest.approx(np.mean(largest), abs=4 * 0.01 / math.sqrt(3000))
        assert np.mean(np.array(largest) <= found.largest_95[k] + 1e-12) >= 0.95
        assert np.mean(np.array(largest) < found.largest_95[k] - 1e-9) < 0.95
        with_it = np.mean(np.array(needed) > found.margin[k] + 1e-12)
        assert with_it <= 0.1
        assert found.margin[k] == 0.0 or with_it > 0.1 - 1 / 1000
        np.testing.assert_allclose(found.drawn.largest_fills(contest, k), largest)
    total = np.array([(heights[start] + gap) * 3 - heights[:3].sum(axis=0)
                      for start, gap in zip(contest.starts, contest.offsets, strict=True)])  # fmt: skip
    np.testing.assert_allclose(found.total, total.mean(axis=1), atol=4 * 0.05 / math.sqrt(3000))
    np.testing.assert_allclose(found.total_sd, total.std(axis=1), rtol=0.08)


def test_a_common_shift_of_all_heights_changes_nothing():
    contest = random_contest(3, 6, gap=0.01)
    shifted = Contest(
        contest.mean + 3.0, contest.covariance + 0.5, contest.ends, contest.rows, contest.room,
        contest.starts, contest.offsets,
    )  # fmt: skip
    np.testing.assert_allclose(contest.fills, shifted.fills, atol=1e-12)
    np.testing.assert_allclose(contest.fill_sds, shifted.fill_sds, atol=1e-7)
    np.testing.assert_allclose(exact_governs(contest).chances, exact_governs(shifted).chances, atol=5e-5)


def test_chances_of_single_touches_are_normal():
    contest = random_contest(6, 5, gap=0.004)
    heights = draw(contest, DRAWS, 2).heights
    each = contest.touch_each(0.002)
    for k in range(5):
        seen = (heights > heights[k] + 0.006).mean(axis=1)
        np.testing.assert_allclose(each[k], seen, atol=4 * 0.5 / math.sqrt(DRAWS))


def test_wishes_that_mean_nothing_are_refused():
    contest = random_contest(1, 3)
    with pytest.raises(ValueError, match="accepted must lie between 0 and 1, got 1"):
        compare(contest, touch=0.0, accepted=1.0)
    with pytest.raises(ValueError, match="draws must be 1 or more, got 0"):
        compare(contest, touch=0.0, draws=0)


# --- several grounds are likely -------------------------------------------------------------------


def mixed_contest(shares=(0.6, 0.3, 0.1), *, n=5, **kwargs):
    """Return a contest over several likely grounds, each with means and a covariance of its own."""
    each = [random_contest(seed, n, **kwargs) for seed in range(len(shares))]
    likely = [Likely(share, one.mean, one.covariance) for share, one in zip(shares, each, strict=True)]
    return replace(each[0], likely=tuple(likely)), each


def test_over_grounds_that_are_certain_chances_are_their_shares():
    """By counting: end 2 is the highest on the first ground, end 0 on the second, end 1 on the third."""
    heights = [[0.0, 0.01, 0.02], [0.03, 0.01, 0.02], [0.0, 0.04, 0.02]]
    none = np.zeros((3, 3))
    likely = [Likely(share, np.array(own), none) for share, own in zip((0.5, 0.3, 0.2), heights, strict=True)]
    contest = replace(contest_of(heights[0], none, gap=0.005), likely=tuple(likely))
    np.testing.assert_allclose(exact_governs(contest).chances, [0.3, 0.2, 0.5])
    found = compare(contest, touch=0.001, draws=1000)
    np.testing.assert_allclose(found.governs, [0.3, 0.2, 0.5], atol=0.003)
    assert exact_touch(contest, 2, 0.001)[0] == pytest.approx(0.5)  # on the other two something is higher
    np.testing.assert_allclose(contest.touch_each(0.001)[2], [0.3, 0.2, 0.0])
    np.testing.assert_allclose(contest.expected, [0.009, 0.016, 0.02])
    largest = 0.5 * 0.025 + 0.3 * 0.015 + 0.2 * 0.025  # from end 2: its height + gap less the lowest
    assert found.largest[2] == pytest.approx(largest, abs=1e-4)
    assert found.total[2] == pytest.approx(3 * 0.025 - 0.045)


def test_draws_over_likely_grounds_have_the_moments_of_their_mixture():
    contest, each = mixed_contest()
    heights = draw(contest, DRAWS, 3).heights
    shares = np.array([0.6, 0.3, 0.1])
    mean = shares @ [one.mean for one in each]
    second = sum(
        s * (one.covariance + np.outer(one.mean, one.mean)) for s, one in zip(shares, each, strict=True)
    )
    np.testing.assert_allclose(contest.expected, mean, atol=1e-15)
    np.testing.assert_allclose(contest.spread, second - np.outer(mean, mean), atol=1e-15)
    sd = np.sqrt(np.diag(contest.spread))
    np.testing.assert_allclose(heights.mean(axis=1), mean, atol=4 * sd.max() / math.sqrt(DRAWS))
    seen = np.cov(heights)
    np.testing.assert_allclose(seen, contest.spread, atol=0.03 * sd.max() ** 2)


def test_any_first_part_of_the_draws_is_a_fair_sample_of_the_likely_grounds():
    none = np.zeros((2, 2))
    likely = (Likely(0.7, np.array([0.0, 0.01]), none), Likely(0.3, np.array([0.02, 0.01]), none))
    contest = replace(contest_of([0.0, 0.01], none), likely=likely)
    heights = draw(contest, 5000, 1).heights
    for count in (50, 500, 2000, 5000):
        assert abs(np.mean(heights[0, :count] > 0.01) - 0.3) < 3 / count**0.5 / 5


@pytest.mark.parametrize("room", [0.0, 0.01])
def test_over_likely_grounds_draws_and_exact_chances_agree(room):
    contest, each = mixed_contest(room=room, gap=0.006)
    found = compare(contest, touch=0.002, draws=DRAWS)
    exact = exact_governs(contest)
    expected = sum(
        share * exact_governs(one).chances for share, one in zip((0.6, 0.3, 0.1), each, strict=True)
    )
    np.testing.assert_allclose(exact.chances, expected, atol=exact.left_out + 1e-3)
    error = np.sqrt(np.maximum(exact.chances * (1 - exact.chances), 1e-4) / DRAWS)
    assert (np.abs(found.governs - exact.chances) < 4 * error + exact.left_out + 1e-4).all()
    for candidate in range(5):
        chance, more = exact_touch(contest, candidate, 0.002)
        error = math.sqrt(max(chance * (1 - chance), 1e-4) / DRAWS)
        assert abs(found.touches[candidate] - chance) < 4 * error + more + 1e-4


def test_what_one_likely_ground_leaves_possible_is_not_taken_for_certain():
    """By far the likeliest ground is certain of end 0; on the other the two are alike."""
    alike = Likely(0.1, np.zeros(2), 1e-6 * np.eye(2))
    sure = Likely(0.9, np.array([1.0, 0.0]), 1e-12 * np.eye(2))
    contest = replace(contest_of(sure.mean, sure.covariance), likely=(sure, alike))
    found = compare(contest, touch=0.0, draws=DRAWS)
    np.testing.assert_allclose(found.governs, [0.95, 0.05], atol=4 * math.sqrt(0.05 * 0.95 / DRAWS))
    np.testing.assert_allclose(exact_governs(contest).chances, [0.95, 0.05], atol=1e-3)


def test_a_ground_that_is_certain_is_a_contest_without_others():
    plain = random_contest(5, 6, gap=0.004)
    alone = replace(plain, likely=(Likely(1.0, plain.mean, plain.covariance),))
    for name in ("governs", "touches", "largest", "largest_95", "total", "total_sd", "margin"):
        a, b = (getattr(compare(one, touch=0.001, accepted=0.1, draws=500), name) for one in (plain, alone))
        np.testing.assert_allclose(a, b, atol=1e-15)
    np.testing.assert_allclose(exact_governs(plain).chances, exact_governs(alone).chances, atol=1e-12)
