"""Reading what is on the truck, with every fault in its place."""

import math

import pytest
from crib_cases import INCH

from trackkit.cribbing import Piece, Truck, read_truck
from trackkit.problems import InputProblems

HEAD = "item,kind,thickness_in,length_in,width_in,mass_lb,count,thin_in\n"


def write(folder, text):
    (folder / "truck.csv").write_text(text, encoding="utf-8")
    return folder


def test_truck_is_read_in_metres_and_kilograms(tmp_path):
    found = read_truck(write(tmp_path, HEAD + "full,box,8,20,12,14,24,\nwedge,wedge,1 1/4,10,4,,100,1/16\n"))
    full, wedge = found.pieces
    assert (full.thickness, full.length, full.count) == pytest.approx((8 * INCH, 20 * INCH, 24))
    assert full.mass == pytest.approx(14 * 0.45359237)
    assert math.isnan(wedge.mass)
    assert wedge.wedge.taper == pytest.approx((1.25 - 1 / 16) / 10)


def test_file_itself_may_be_given(tmp_path):
    write(tmp_path, HEAD + "full,box,8,20,12,14,24,\n")
    assert read_truck(tmp_path / "truck.csv").pieces[0].item == "full"


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("full,box,8,20,12,14,,", "count"),
        ("full,crate,8,20,12,14,3,", "crate"),
        ("full,box,-8,20,12,14,3,", "thickness"),
        ("full,box,8,,12,14,3,", "a length and a width"),
        ("w,wedge,1,10,4,,3,", "height of its thin end"),
        ("w,wedge,1,10,4,,3,2", "thinner than the thick"),
        ("full,box,8,20,12,14,2.5,", "whole number"),
    ],
    ids=["no count", "kind", "negative", "footprint", "no thin end", "thin end too thick", "half a box"],
)
def test_fault_names_file_row_and_what_is_wrong(tmp_path, row, fault):
    with pytest.raises(InputProblems, match=fault) as caught:
        read_truck(write(tmp_path, HEAD + "half,box,4,20,12,9,24,\n" + row + "\n"))
    assert [(p.file, p.row) for p in caught.value.problems] == [("truck.csv", 3)]


def test_all_faults_are_collected(tmp_path):
    rows = "full,crate,8,20,12,14,3,\nw,wedge,1,10,4,,3,\nhalf,box,4,20,12,9,-1,\n"
    with pytest.raises(InputProblems) as caught:
        read_truck(write(tmp_path, HEAD + rows))
    assert sorted(problem.row for problem in caught.value.problems) == [2, 3, 4]


def test_an_item_given_twice_is_a_fault(tmp_path):
    with pytest.raises(InputProblems, match="again, after row 2"):
        read_truck(write(tmp_path, HEAD + "full,box,8,20,12,14,24,\nfull,box,8,20,12,14,2,\n"))


def test_a_folder_without_a_truck_says_so(tmp_path):
    with pytest.raises(InputProblems, match=r"truck.csv: found no such table"):
        read_truck(tmp_path)


@pytest.mark.parametrize(
    ("sold", "dressed"),
    [("2,4", "1 1/2 x 3 1/2"), ("2,6", "1 1/2 x 5 1/2"), ("2,8", "1 1/2 x 7 1/4"), ("2,10", "1 1/2 x 9 1/4"),
     ("2,12", "1 1/2 x 11 1/4"), ("4,4", "3 1/2 x 3 1/2"), ("1,4", "3/4 x 3 1/2")],
)  # fmt: skip
def test_nominal_lumber_is_remarked_with_its_dressed_size(tmp_path, sold, dressed):
    """Dressed sizes: PS 20, NDS Supplement Table 1A. Nominal sizes are the commonest height error."""
    thick, wide = sold.split(",")
    found = read_truck(write(tmp_path, HEAD + f"stick,lumber,{thick},48,{wide},,10,\n"))
    assert any(dressed in note for note in found.notes)


def test_dressed_lumber_draws_no_remark(tmp_path):
    assert not read_truck(write(tmp_path, HEAD + "2x4,lumber,1 1/2,12,3 1/2,,10,\n")).notes


def test_pieces_and_trucks_refuse_nonsense():
    with pytest.raises(ValueError, match="kind must be one of"):
        Piece("x", "brick", 0.1, 0.2, 0.1)
    twice = Piece("x", "shim", 0.002, count=1)
    with pytest.raises(ValueError, match="items must differ; x stands more than once"):
        Truck((twice, twice))
    with pytest.raises(ValueError, match="x is no wedge but shim"):
        _ = twice.wedge
    with pytest.raises(KeyError, match="no 'y' on the truck"):
        Truck((twice,)).piece("y")


def test_a_fault_is_told_in_the_unit_of_the_file(tmp_path):
    head = "item,kind,thickness_mm,length_mm,width_mm,mass_kg,count,thin_mm\n"
    with pytest.raises(
        InputProblems, match=r"the thin end \(35 mm\) must be thinner than the thick \(30 mm\)"
    ):
        read_truck(write(tmp_path, head + "w,wedge,30,200,90,,3,35\n"))


@pytest.mark.parametrize(("name", "slip"), [("thickness_in", "thickness"), ("count", "cuont")])
def test_a_slip_in_the_header_is_one_fault(tmp_path, name, slip):
    text = HEAD.replace(name, slip) + "full,box,8,20,12,14,24,\nhalf,box,4,20,12,14,24,\n"
    with pytest.raises(InputProblems) as caught:
        read_truck(write(tmp_path, text))
    assert [problem.row for problem in caught.value.problems] == [1]
