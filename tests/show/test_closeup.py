"""One support close up: true to scale, and whole enough to build it from."""

import re
from dataclasses import replace
from fractions import Fraction
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.figure import Figure
from reading_back import named, outside, overlapping, polygons, smallest_letters, state, strokes, words

from trackkit.cribbing.stack import Placed
from trackkit.show.closeup import draw_stack, stack_lines
from trackkit.show.closeup_shapes import close_up, shows_taper
from trackkit.show.stack_words import short_parts, stack_parts

DRAWN = ["lawn", "over an edge", "forty ties in sixteenths", "short of pieces", "terrace edge", "market yard"]
SIZES = [(8.0, 4.6), (6.0, 4.0)]
PIECES = "box|lumber|lumber-end|ply|pad"


@pytest.fixture(params=DRAWN)
def drawn(case, request):
    return case(request.param)


def axes(size=SIZES[0]):
    return Figure(figsize=size, dpi=100).add_axes((0.01, 0.01, 0.98, 0.98))


def kinds_of(case):
    """Return one stack of each form: seat, closing piece, ties, what is missing."""
    found = {}
    for stack in case.stacks.stacks:
        first = stack.closing
        apart = any(piece.per_layer > 1 or piece.turned or piece.slid for piece in stack.pieces)
        found.setdefault((stack.seat[:4], first.kind, first.goes_in, len(stack.ties) * apart), stack)
        if stack.missing:
            found.setdefault("missing", stack)
    return list(found.values())


def picture(case, stack, *, size=SIZES[0], ax=None, **options):
    return draw_stack(
        stack, case.fills, ax=ax or axes(size), display=case.display, truck=case.stacks.truck, **options
    )


@pytest.fixture(scope="module")
def looked_at():
    """Return the picture of a stack in a view; for tests that only look at it, so that it is drawn once."""
    known = {}

    def get(case, stack, view=None):
        own = (id(case), stack.support, stack.side, view)
        if own not in known:
            known[own] = (
                case,
                picture(case, stack, view=view),
            )  # the case is kept, so that its id stays its own
        return known[own][1]

    return get


def tall(case, fill):
    """Return a joint of the lawn with its fill, and boxes, brought to so much [m]."""
    stack = next(one for one in case.stacks.stacks if len(one.ties) > 1)
    box = Placed("half", "box", 0.102, 0.0, 0.508, 0.305)
    count = int((fill - stack.closing.height - 0.02) // box.thickness)
    boxes = [replace(box, bottom=place * box.thickness) for place in range(count)]
    rest = fill - stack.closing.height - count * box.thickness
    pieces = (*boxes, Placed("ply", "ply", rest, count * box.thickness, 0.4, 0.3))
    rows = case.fills[(case.fills["side"] == stack.side) & case.fills["tie"].isin(stack.ties)]
    by = fill - float(rows["fill_m"].iloc[0])
    fills = case.fills.assign(**{name: case.fills[name] + by for name in ("fill_m", "line_m", "rail_top_m")})
    return replace(stack, pieces=pieces, fills=tuple(one + by for one in stack.fills)), fills


def the(case, support, side):
    return next(one for one in case.stacks.stacks if (one.support, one.side) == (support, side))


def rows_of(case, stack):
    rows = case.fills[(case.fills["side"] == stack.side) & case.fills["tie"].isin(stack.ties)]
    return rows.set_index("tie").loc[list(stack.ties)]


@pytest.mark.parametrize("view", ["along", "across"])
def test_lengths_and_heights_are_to_one_scale_which_is_written(drawn, looked_at, view):
    for stack in kinds_of(drawn):
        ax = looked_at(drawn, stack, view=view)
        origin, along, up = ax.transData.transform([(0, 0), (1, 0), (0, 1)])
        assert (along - origin)[0] == pytest.approx((up - origin)[1])
        written = float(re.search(r"1 : ([\d.]+)", words(ax, "scale")[0])[1])
        assert written == pytest.approx(39.37 / ((along - origin)[0] / 100), rel=0.06)


@pytest.mark.parametrize("view", ["along", "across"])
def test_layers_lie_on_each_other_from_the_seat_to_the_closing_piece(drawn, looked_at, view):
    for stack in kinds_of(drawn):
        if not stack.pieces:
            continue
        row = rows_of(drawn, stack).iloc[0]
        shapes = polygons(looked_at(drawn, stack, view=view), PIECES)
        edges = sorted({round(float(y), 7) for shape in shapes for y in shape[:, 1]})
        base = row["ground_m"] + stack.closing.seat_raise
        heights = [base, *(base + np.cumsum([piece.thickness for piece in stack.pieces]))]
        np.testing.assert_allclose(edges, heights, atol=2e-6)
        assert heights[-1] + stack.closing.height == pytest.approx(row["line_m"])


def test_pieces_show_their_length_from_the_side_and_their_width_along_the_run(case):
    drawn = case("boathouse lawn")
    stack = the(drawn, "T1", "left")
    for view, sizes in (
        ("along", [p.along for p in stack.pieces]),
        ("across", [p.across for p in stack.pieces]),
    ):
        shapes = polygons(picture(drawn, stack, view=view), PIECES)
        assert sorted(np.ptp(shape[:, 0]) for shape in shapes) == pytest.approx(sorted(sizes))


@pytest.mark.parametrize("name", ["lawn", "boathouse lawn", "terrace edge"])
def test_a_wedge_shows_its_true_taper_and_how_far_in_it_is(case, looked_at, name):
    drawn, seen = case(name), set()
    wedges = {piece.item: piece.wedge for piece in drawn.stacks.truck.pieces if piece.kind == "wedge"}
    for stack in kinds_of(drawn):
        closing = stack.closing
        if closing.kind != "single":
            continue
        (shape, *_) = polygons(looked_at(drawn, stack), "wedge")
        wedge, row = wedges[closing.takes[0][0]], rows_of(drawn, stack).iloc[0]
        tip, butt = shape[0], shape[1]
        assert abs(butt[0] - tip[0]) == pytest.approx(wedge.length)
        assert shape[2][1] - butt[1] == pytest.approx(wedge.thick)
        assert shape[3][1] - tip[1] == pytest.approx(wedge.thin)
        way = np.sign(butt[0] - tip[0])
        edge = tip[0] + way * closing.how_far_in
        assert abs(butt[0] - edge) == pytest.approx(closing.stick_out)
        under = tip[1] + wedge.thin + wedge.taper * closing.how_far_in
        assert under == pytest.approx(row["line_m"])
        if closing.goes_in == "from outside":
            assert edge == pytest.approx(-0.05 if stack.side == "left" else 0.05)
        else:
            sign = -1 if closing.from_side == "head" else 1
            assert edge == pytest.approx(row["station_m"] + sign * row["bearing_m"] / 2)
        seen.add(closing.goes_in)
    assert seen == {"from outside", "along the track"}


def test_a_pair_fills_its_gap_with_parallel_faces(case):
    drawn, checked = case("pairs of wedges"), 0
    for stack in kinds_of(drawn):
        if stack.closing.kind != "pair":
            continue
        lower, upper, *_ = polygons(picture(drawn, stack), "pair")
        row = rows_of(drawn, stack).iloc[0]
        assert lower[0][1] == lower[1][1] == pytest.approx(row["line_m"] - stack.closing.gap)
        assert upper[0][1] == upper[1][1] == pytest.approx(row["line_m"])
        # no butt hangs below what the pair lies on, and none stands up beside the tie
        assert upper[:, 1].min() >= row["line_m"] - stack.closing.gap - 1e-9
        assert lower[:, 1].max() <= row["line_m"] + 1e-9
        # where they overlap, the upper one's lower face is the lower one's upper face
        at = np.array([max(lower[:, 0].min(), upper[:, 0].min()), min(lower[:, 0].max(), upper[:, 0].max())])
        faces = [np.interp(at, *np.array(sorted(map(tuple, one[2:]))).T) for one in (lower, upper)]
        np.testing.assert_allclose(*faces, atol=1e-9)
        assert np.ptp(at) == pytest.approx(stack.closing.overlap)
        checked += 1
    assert checked


def test_the_view_is_the_one_in_which_the_wedge_shows_its_taper(case):
    drawn = case("lawn")
    assert shows_taper(the(drawn, "T1", "left")) == "across"
    assert shows_taper(the(drawn, "T1", "right")) == "along"
    assert named(picture(drawn, the(drawn, "T1", "left"), view="along"), "wedge-end")


def test_the_dimension_is_the_whole_fill_from_the_ground_to_the_tie(drawn, looked_at):
    for stack in kinds_of(drawn):
        ax, row = looked_at(drawn, stack), rows_of(drawn, stack).iloc[0]
        line = strokes(ax, "dimension")[0]
        assert line[:, 1] == pytest.approx([row["ground_m"], row["line_m"]])
        assert words(ax, "dimension-fill")[0].replace("−", "-") == drawn.display.small(stack.fills[0])
        assert line[0, 0] < min(shape[:, 0].min() for shape in polygons(ax, f"{PIECES}|tie|wedge|pair|shim"))


def test_the_ground_has_its_slope_in_both_views(case):
    drawn = case("lawn")
    stack = the(drawn, "T2", "left")
    row = rows_of(drawn, stack).iloc[0]
    for view, slope in (("along", row["along_slope"]), ("across", row["cross_slope"])):
        ax = picture(drawn, stack, view=view)
        (ground,) = named(ax, "ground")
        assert np.ptp(ground.get_ydata()) / np.ptp(ground.get_xdata()) == pytest.approx(
            abs(np.tan(slope)), rel=1e-3
        )
        middle = row["station_m"] if view == "along" else 0.0
        assert np.interp(middle, ground.get_xdata(), ground.get_ydata()) == pytest.approx(row["ground_m"])
        assert ("rises" in words(ax, "slope")[0]) == (abs(np.tan(slope)) > 0.0015)


def test_a_slope_that_is_not_known_is_said_so(case):
    drawn = case("lawn")
    stack = the(drawn, "T2", "left")
    fills = drawn.fills.assign(cross_slope=np.nan)
    ax = draw_stack(stack, fills, ax=axes(), view="across", truck=drawn.stacks.truck)
    assert words(ax, "slope") == ["how the ground slopes across is not known"]


def test_scraped_ground_is_shown_as_deep_as_it_is_scraped(case):
    drawn = case("boathouse lawn")
    stack = the(drawn, "T9", "left")
    assert stack.seat_raise < 0
    ax = picture(drawn, stack, view="along")
    (cut,) = polygons(ax, "scraped")
    row = rows_of(drawn, stack).iloc[0]
    assert cut[:, 1].min() == pytest.approx(row["ground_m"] + stack.seat_raise)
    assert not polygons(ax, "seat")


def test_a_seat_fills_what_is_between_the_ground_and_the_pile(case):
    drawn = case("market yard")
    stack = the(drawn, "T14", "right")
    assert stack.seat_raise > 0
    ax, row = picture(drawn, stack, view="across"), rows_of(drawn, stack).iloc[0]
    (seat,) = polygons(ax, "seat")
    assert seat[:, 1].max() == pytest.approx(row["ground_m"] + stack.seat_raise)
    assert np.interp(0.0, *np.array(sorted(map(tuple, seat[2:]))).T) == pytest.approx(row["ground_m"])


def test_what_the_truck_is_short_of_is_marked_and_said(case):
    drawn = case("short of pieces")
    stack = the(drawn, "J2", "right")
    ax = picture(drawn, stack)
    assert stack.missing and len(polygons(ax, "missing")) == sum(count for _, count in stack.missing)
    assert sum("NOT ON THE TRUCK" in text for text in words(ax)) == len(stack.missing)


def test_of_one_item_the_uppermost_pieces_are_the_missing_ones(case):
    drawn = case("lawn")
    stack = the(drawn, "T1", "left")
    piece = Placed("half", "box", 0.1, 0.0, 0.5, 0.3)
    pile = (piece, replace(piece, bottom=0.1), replace(piece, bottom=0.2))
    assert short_parts(replace(stack, pieces=pile, missing=(("half", 2),))) == {("piece", 1), ("piece", 2)}


def test_the_words_go_from_the_ground_up_and_name_every_layer_with_its_thickness(drawn):
    for stack in kinds_of(drawn):
        lines = stack_lines(stack, drawn.display)
        assert lines[-1].startswith("fill")
        start = 1 if stack.seat else 0
        assert not stack.seat or lines[0].startswith(stack.seat)
        for line, piece in zip(lines[start:], stack.pieces, strict=False):
            assert line.startswith(f"{piece.words()} · {drawn.display.small_unit(piece.thickness)}")
        for closing in stack.closings:
            if closing.kind in ("single", "pair"):
                own = [line for line in lines if f"gap {drawn.display.small_unit(closing.gap)}" in line]
                assert own and all(closing.goes_in != "from outside" or "outside" in line for line in own)


def test_words_of_a_wedge_say_how_far_in_and_where_it_sticks_out(case):
    drawn = case("boathouse lawn")
    lines = stack_lines(the(drawn, "T1", "left"), drawn.display, side_names={"left": "house side"})
    closing = the(drawn, "T1", "left").closing
    assert lines[-2] == (
        f"wedge, gap {closing.gap * 100:.1f} cm, pushed in {closing.how_far_in * 100:.1f} cm from outside "
        f"(house side), sticks out {closing.stick_out * 100:.1f} cm outside"
    )


def test_the_fill_is_written_with_twice_its_sd(case):
    drawn = case("boathouse lawn")
    stack = the(drawn, "T1", "left")
    sd = float(rows_of(drawn, stack)["fill_sd_m"].iloc[0])
    ax = picture(drawn, stack)
    show = drawn.display.small
    assert f"fill {show(stack.fill)} cm ±{show(2 * sd)}" in words(ax)


def test_shims_under_a_wedge_have_a_line_and_a_shape_of_their_own(case):
    drawn = case("boathouse lawn")
    stack = the(drawn, "T1", "left")
    closing = replace(
        stack.closing, packed=0.004, takes=(("wedge", 1), ("shim 2", 2)), height=stack.closing.height + 0.004
    )
    packed = replace(stack, closings=(closing,))
    lines = stack_lines(packed, drawn.display)
    assert "2 x shim 2 · 0.4 cm, flat under the wedge" in lines
    shapes = close_up(
        packed, drawn.fills, view="across", truck=drawn.stacks.truck, tie_overhang=0.05, tie=None
    ).shapes
    (shim,) = (shape for kind, _, shape in shapes if kind == "packed")
    heights = [height for _, height in shim.corners]
    assert max(heights) - min(heights) == pytest.approx(0.004)


def told(text, unit):
    """Return what a figure with its unit reads in a text: '1 1/4 in' is 1.25."""
    found = re.search(rf"([\d./]+(?: \d+/\d+)?) {unit}\b", text)
    return float(sum(Fraction(part) for part in found[1].split()))


@pytest.mark.parametrize("name", ["boathouse lawn", "market yard", "terrace edge"])
def test_what_is_told_of_a_tie_adds_up_to_its_fill(case, name):
    """Each figure is rounded by itself: by half a step at most."""
    drawn, seated_joints = case(name), 0
    unit, step = drawn.display.unit, told(drawn.display.small_unit(drawn.display.step), drawn.display.unit)
    for stack in drawn.stacks.stacks:
        parts = stack_parts(stack, drawn.display)
        for number, tie in enumerate(stack.ties):
            own = [part for part in parts[:-1] if part.place in (0, tie) or part.kind == "piece"]
            figures = []
            for part in own:
                text = part.text
                if part.kind == "seat":
                    _, _, text = text.partition(", the pile stands ")
                    text = text.split(" and ")[number] if " and " in text else text
                    figures.append(told(text, unit) * (-1 if "lower" in part.text else 1) if text else 0.0)
                    seated_joints += len(stack.ties) > 1
                elif "no wedge and no shim" not in text:
                    figures.append(told(text.partition("gap ")[2] or text.partition("· ")[2], unit))
            fill = told(parts[-1].text.split(",")[number if " at tie " in parts[-1].text else 0], unit)
            assert sum(figures) == pytest.approx(fill, abs=step / 2 * (len(figures) + 1) + 1e-9)
    assert seated_joints


def test_a_joint_on_scraped_ground_is_told_how_deep_it_lies_at_each_tie(case):
    drawn = case("boathouse lawn")
    for stack in (one for one in drawn.stacks.stacks if len(one.ties) > 1 and one.seat):
        first, second = stack.closings
        assert stack_parts(stack, drawn.display)[0].text.endswith(
            f", the pile stands lower by {-first.seat_raise * 100:.1f} cm at tie {first.tie} "
            f"and {-second.seat_raise * 100:.1f} cm at tie {second.tie}"
        )
    alike = replace(stack, closings=tuple(replace(end, seat_raise=0.0121) for end in stack.closings))
    assert stack_parts(alike, drawn.display)[0].text.endswith(", the pile stands higher by 1.2 cm")
    ways = (replace(first, seat_raise=0.004), second)
    assert "the pile stands higher by 0.4 cm at tie 15 and lower by " in (
        stack_parts(replace(stack, closings=ways), drawn.display)[0].text
    )
    level = replace(stack, closings=tuple(replace(end, seat_raise=0.0) for end in stack.closings))
    assert stack_parts(level, drawn.display)[0].text.endswith("off the head side")


@pytest.mark.parametrize("view", ["along", "across"])
def test_every_word_of_the_parts_is_in_the_picture(drawn, looked_at, view):
    for stack in kinds_of(drawn):
        sds = rows_of(drawn, stack)["fill_sd_m"].tolist()
        ax = looked_at(drawn, stack, view=view)
        for place, part in enumerate(stack_parts(stack, drawn.display, sds=sds)):
            assert " ".join(words(ax, rf"words-{place}-\d+")) == part.text


@pytest.mark.parametrize("view", ["along", "across"])
def test_leaders_cross_no_other(drawn, looked_at, view):
    for stack in kinds_of(drawn):
        lines = strokes(looked_at(drawn, stack, view=view), "leaders")
        pairs = combinations(enumerate(lines), 2)
        assert not any(crossing(one, two) for (a, one), (b, two) in pairs if a // 2 != b // 2)


def crossing(one, two):
    """Return whether two strokes cross within both."""
    (p, q), (r, s) = one, two

    def turn(a, b, c):
        return np.sign(round((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]), 12))

    return turn(p, q, r) * turn(p, q, s) < 0 and turn(r, s, p) * turn(r, s, q) < 0


@pytest.mark.parametrize("view", ["along", "across"])
def test_layers_and_words_come_in_the_same_order(drawn, looked_at, view):
    for stack in kinds_of(drawn):
        texts = named(looked_at(drawn, stack, view=view), r"words-\d+-0")
        heights = [text.xy[1] for text in sorted(texts, key=lambda one: int(one.get_gid().split("-")[1]))]
        assert all(low < high for low, high in pairwise(heights))


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("view", ["along", "across"])
def test_no_word_overlaps_another_or_leaves_the_page(drawn, view, size):
    for stack in kinds_of(drawn):
        ax = picture(drawn, stack, view=view, size=size, side_names={"left": "house side"})
        assert overlapping(ax) == []
        assert outside(ax) == []
        assert smallest_letters(ax) >= 8


@pytest.mark.parametrize("size", [*SIZES, (9.4, 3.94)], ids=str)
@pytest.mark.parametrize("fill", [0.2, 0.4, 0.5, 0.6])
def test_the_names_of_a_joint_s_ties_stand_clear_of_the_heading_over_a_tall_stack(case, fill, size):
    drawn = case("lawn")
    stack, fills = tall(drawn, fill)
    seat = "2 wedges: one under the middle of the tail edge, 18 mm thick there, one under the middle of the "
    for own in (stack, replace(stack, seat=f"{seat}left side edge, 12 mm thick there", seat_raise=0.012)):
        for view in ("along", "across"):
            ax = draw_stack(
                own, fills, ax=axes(size), display=drawn.display, view=view, truck=drawn.stacks.truck
            )
            assert overlapping(ax) == []
            assert outside(ax) == []
            assert not any("…" in text for text in words(ax))


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("view", ["along", "across"])
def test_no_word_of_a_joint_is_cut(drawn, view, size):
    names = {"left": "the old boathouse by the jetty", "right": "lake side"}
    for stack in (one for one in drawn.stacks.stacks if len(one.ties) > 1):
        ax = picture(drawn, stack, view=view, size=size, side_names=names)
        assert not any("…" in text for text in words(ax))
        assert overlapping(ax) == []
        assert outside(ax) == []


def test_a_joint_names_both_ties_and_either_can_be_looked_at_along_the_run(case):
    drawn = case("lawn")
    stack = the(drawn, "J1", "left")
    assert {"tie 5", "tie 6"} <= set(words(picture(drawn, stack, view="along")))
    for tie in stack.ties:
        ax = picture(drawn, stack, view="across", tie=tie)
        assert f"tie {tie} seen" in words(ax, "scale")[0]
        (board,) = polygons(ax, "tie")
        assert board[:, 1].min() == pytest.approx(rows_of(drawn, stack)["line_m"][tie])


def test_drawing_again_changes_what_is_there_and_adds_nothing(case):
    drawn, other = case("lawn"), case("terrace edge")
    first, second = the(drawn, "T1", "left"), the(other, "J1", "left")
    ax = picture(drawn, first)
    before = state(ax)
    picture(other, second, ax=ax)
    assert state(ax) == state(picture(other, second))
    count = len(ax.get_children())
    picture(drawn, first, ax=ax)
    assert state(ax) == before
    assert len(ax.get_children()) == count


def test_what_cannot_be_drawn_is_refused_by_name(case):
    drawn = case("lawn")
    stack = the(drawn, "T1", "left")
    with pytest.raises(ValueError, match="view must be 'along' or 'across', got 'top'"):
        picture(drawn, stack, view="top")
    with pytest.raises(ValueError, match=r"tie must be one of \[1\], got 7"):
        picture(drawn, stack, tie=7)
    with pytest.raises(ValueError, match="fills must have rows of tie"):
        draw_stack(stack, drawn.fills[drawn.fills["tie"] > 3], ax=axes())


def test_an_own_figure_is_made_only_when_no_axes_are_given(case):
    drawn, own = case("lawn"), axes()
    stack = the(drawn, "T1", "left")
    assert picture(drawn, stack, ax=own) is own and own.figure.axes == [own]
    assert draw_stack(stack, drawn.fills).figure is not own.figure


def test_no_two_kinds_of_pieces_of_a_stack_overlap(drawn, looked_at):
    for stack in kinds_of(drawn):
        shapes = polygons(looked_at(drawn, stack, view="along"), PIECES)
        for one, two in combinations(shapes, 2):
            across = min(one[:, 0].max(), two[:, 0].max()) - max(one[:, 0].min(), two[:, 0].min())
            up = min(one[:, 1].max(), two[:, 1].max()) - max(one[:, 1].min(), two[:, 1].min())
            assert across < 1e-9 or up < 1e-9
