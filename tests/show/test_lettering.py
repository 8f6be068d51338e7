"""Words fit, stand apart, and can be read: measured on the picture as it is drawn."""

import re
from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from show_cases import words_on
from sklearn.isotonic import IsotonicRegression

from trackkit.show.lettering import fitted, lay_figures, spread, text_width, wrapped
from trackkit.show.style import STYLE

CASES = [
    "lawn", "no truck", "in the ground", "over an edge", "forty ties in sixteenths", "short of pieces",
    "boathouse lawn", "terrace edge", "market yard",
]  # fmt: skip


def texts_of(figure):
    """Every text that shows: words, figures, labels of axes and their ticks."""
    found = [*words_on(figure)]
    for ax in figure.axes:
        found += [*ax.texts, ax.yaxis.label]
        found += [tick.label1 for tick in ax.yaxis.get_major_ticks()]
        if ax.xaxis.get_visible():
            found += [ax.xaxis.label, *(tick.label1 for tick in ax.xaxis.get_major_ticks())]
    return [text for text in found if text.get_text() and text.get_visible()]


def boxes_of(figure):
    return [(text.get_text(), text.get_window_extent()) for text in texts_of(figure)]


@pytest.fixture(params=CASES)
def name(request):
    return request.param


@pytest.fixture(params=[(11, 6), (11.7, 8.3)], ids=["laptop", "A4"])
def figure(sheet, name, request):
    return sheet(name, request.param)


def test_no_text_overlaps_another_or_leaves_the_page(figure):
    boxes = boxes_of(figure)
    assert len(boxes) > 40
    for word, box in boxes:
        assert figure.bbox.x0 <= box.x0 <= box.x1 <= figure.bbox.x1, word
        assert figure.bbox.y0 <= box.y0 <= box.y1 <= figure.bbox.y1, word
    clashes = [(a, b) for (a, one), (b, two) in combinations(boxes, 2) if one.overlaps(two)]
    assert not clashes


def test_figures_stand_so_far_apart_that_two_never_read_as_one(figure):
    """A whole number beside a fraction, "1" and "1 1/4", would read as another fill."""
    for ax in figure.axes:
        fills = [text for text in ax.texts if (text.get_gid() or "").endswith("-fill")]
        for one, two in combinations(fills, 2):
            a, b = one.get_window_extent(), two.get_window_extent()
            if one.get_rotation() == 0 and abs(a.y0 - b.y0) < 2:
                space = text_width("n n", STYLE["figure"], size=one.get_fontsize())
                space -= text_width("nn", STYLE["figure"], size=one.get_fontsize())
                assert max(a.x0, b.x0) - min(a.x1, b.x1) > 2 * space * figure.dpi, (one, two)


def test_no_word_over_the_rails_is_crossed_by_another_mark_s_line(figure):
    for ax in figure.axes:
        lines = [line for line in ax.lines if re.fullmatch(r"\w+-(joint|break|mark)-\d+", line.get_gid())]
        assert len(lines) > 1
        for text in (text for text in ax.texts if (text.get_gid() or "").endswith("-word")):
            box = text.get_window_extent()
            for line in lines:
                if f"{line.get_gid()}-word" != text.get_gid():
                    (x, top) = ax.transData.transform((line.get_xdata()[0], max(line.get_ydata())))
                    assert not (box.x0 < x < box.x1 and top > box.y0 + 1), (text.get_text(), line.get_gid())


def test_letters_are_large_enough_to_read(figure, case, name):
    """Guess: 9 points for the figures of the usual twenty ties, 6.5 for forty; 18 for answers."""
    fills = [
        t.get_fontsize() for ax in figure.axes for t in ax.texts if (t.get_gid() or "").endswith("-fill")
    ]
    assert min(fills) >= (9.0 if len(case(name).run.ties) <= 21 else 6.5)
    answers = [t for t in words_on(figure) if t.get_gid() == "answer-1"]
    assert answers[0].get_fontsize() >= 18


def test_heights_get_most_of_a_strip_s_room(sheet):
    """Stacks are to be seen: at least 0.6 in of a laptop's strip is left for them (guess)."""
    figure = sheet("lawn", (11, 6))
    for ax in figure.axes:
        (low, high) = next(x for x in ax.lines if x.get_gid().endswith("-scale-heights")).get_ydata()[:2]
        pixels = np.ptp(ax.transData.transform([(0, low), (0, high)])[:, 1])
        assert pixels / figure.dpi > 0.6


def test_a_width_is_that_of_the_drawn_text():
    figure = Figure(dpi=100)
    text = figure.text(0.1, 0.5, "12 3/16", **STYLE["figure"])
    FigureCanvasAgg(figure).draw()
    drawn = text.get_window_extent().width / 100
    assert text_width("12 3/16", STYLE["figure"]) == pytest.approx(drawn, rel=0.06)
    assert text_width("12 3/16", STYLE["figure"]) >= drawn * 0.99


@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize("size", [8.0, 9.5, 13.0])
def test_a_line_is_as_wide_as_its_words_and_the_gaps_between_them(weight, size):
    font = get_font(findfont(FontProperties(weight=weight)))
    for line in (
        "wedge, gap 1 1/4 in, pushed in 4.3 cm",
        "T. A. V. y, AV ~ To ·  2 x ply 12 · −1.2 cm …",
        "",
    ):
        font.set_size(size, 72)
        font.set_text(line, 0.0)
        whole = font.get_width_height()[0] / 64 / 72 * 1.03
        assert text_width(line, {"weight": weight}, size=size) == pytest.approx(whole, abs=1e-12)


def test_labels_are_spread_with_the_least_squared_shift():
    """The same as scikit-learn's isotonic regression on positions less the widths before them."""
    rng = np.random.default_rng(7)
    for _ in range(20):
        n = int(rng.integers(1, 12))
        centres, widths = np.sort(rng.uniform(0, 5, n)), rng.uniform(0.1, 0.6, n)
        offset = np.concatenate([[0.0], np.cumsum((widths[1:] + widths[:-1]) / 2)])
        expected = IsotonicRegression().fit_transform(np.arange(n), centres - offset) + offset
        found = spread(centres, widths, low=-99.0, high=99.0)
        np.testing.assert_allclose(found, expected, atol=1e-12)
        assert (np.diff(found) >= (widths[1:] + widths[:-1]) / 2 - 1e-12).all()


def test_spread_labels_stay_between_the_ends():
    widths = np.array([0.5, 0.5, 0.5])
    found = spread(np.array([0.0, 0.1, 9.9]), widths, low=0.0, high=10.0)
    np.testing.assert_allclose(found, [0.25, 0.75, 9.75])


@pytest.mark.parametrize("ties", [4, 19, 36, 60, 150, 300])
def test_figures_never_overlap_however_many_there_are(ties):
    centres = np.linspace(0.3, 10.5, ties)
    numbers, figures = [str(n + 1) for n in range(ties)], ["12 15/16"] * ties
    laid = lay_figures(centres, numbers, figures, wide=10.7, room=0.8)
    wide = laid.size * 1.15 / 72 if laid.turned else text_width("12 15/16", STYLE["figure"], size=laid.size)
    for row in range(laid.rows):
        own = laid.at[np.array(laid.row) == row]
        assert (np.diff(own) >= wide - 1e-9).all()
    assert np.abs(laid.at - centres).max() < 0.23


def test_few_figures_are_written_large_and_upright():
    laid = lay_figures(np.array([1.0, 3.0]), ["1", "2"], ["19.4", "18.7"], wide=10.0, room=0.8)
    assert (laid.size, laid.turned, laid.rows) == (10.5, False, 1)
    np.testing.assert_allclose(laid.at, [1.0, 3.0])


def test_a_text_that_is_too_long_is_made_smaller_and_then_cut_with_an_ellipsis():
    look = STYLE["name"]
    whole, size = fitted("house side", 5.0, look, sizes=(12, 9))
    assert (whole, size) == ("house side", 12)
    cut, size = fitted("house " * 10_000, 2.0, look, sizes=(12, 9))
    assert cut.endswith("…") and size == 9
    assert text_width(cut, look, size=9) <= 2.0


def test_a_list_is_broken_after_its_commas_only():
    """A number must not be torn from what it counts: "2 2x4" at a line's end would read as 2."""
    lines = wrapped("short of 27 full, 7 half, 2 2x4", 1.8, STYLE["answer"], size=10, lines=3)
    assert len(lines) > 1
    assert all(line.endswith(",") for line in lines[:-1])
    assert " ".join(lines) == "short of 27 full, 7 half, 2 2x4"


def test_lines_broken_after_any_word_part_no_figure_from_what_it_counts():
    text = "fill 1 in at tie 9, 1 1/4 in at tie 10 over a shim 1/8 · 1/8 in"
    lines = wrapped(text, 1.5, STYLE["answer"], size=9, lines=20, anywhere=True)
    assert " ".join(lines) == text
    assert len(lines) >= 4
    assert not any(line[-1] in "0123456789·" for line in lines)
    assert not any(line[0] == "·" for line in lines)
