"""Linkage groups: their order along the chromosome, and lines that are none."""

from fractions import Fraction
from itertools import permutations

import pytest

from genetics.errors import SpeciesFaultError
from genetics.model.linkage import Linkage, linkage_groups
from genetics.model.locus import Allele, Locus, Mode, SexLinkage

HALF, TENTH, FIFTH = Fraction(1, 2), Fraction(1, 10), Fraction(1, 5)


def locus(key, sex_linkage=None):
    return Locus(key, (Allele(f"Gene {key}", Mode.RECESSIVE),), sex_linkage=sex_linkage)


def near(key, fraction):
    return locus(key, SexLinkage(Fraction(fraction)))


def strict(key):
    return locus(key, SexLinkage(Fraction(0), heterogametic_copy=False))


def test_linkage_groups__of_unlinked_loci_are_one_each():
    groups = linkage_groups([locus("a"), locus("b")], [])
    assert [group.loci for group in groups] == [("a",), ("b",)]
    assert [group.fractions for group in groups] == [(HALF,), (HALF,)]
    assert not any(group.is_sex_group or group.without_copy for group in groups)


@pytest.mark.parametrize("order", list(permutations("abcd")), ids="".join)
def test_linkage_groups__of_a_line_keep_its_order(order):
    gaps = {("c", "a"): TENTH, ("a", "d"): FIFTH}  # the line c - a - d, and b alone
    loci = [locus(key) for key in order]
    groups = linkage_groups(loci, [Linkage(pair, r) for pair, r in gaps.items()])
    assert len(groups) == 2
    [line] = [group for group in groups if len(group.loci) == 3]
    assert (line.loci, line.fractions) in {
        (("c", "a", "d"), (HALF, TENTH, FIFTH)),
        (("d", "a", "c"), (HALF, FIFTH, TENTH)),
    }
    firsts = [min(order.index(key) for key in group.loci) for group in groups]
    assert firsts == sorted(firsts)


def test_linkage_groups__of_the_sex_chromosomes_stand_by_distance():
    far, middle = Fraction(3, 10), Fraction(1, 10)
    groups = linkage_groups([near("f", far), locus("a"), strict("s"), near("m", middle)], [])
    assert [group.loci for group in groups] == [("s", "m", "f"), ("a",)]
    [sex_group, _other] = groups
    assert sex_group.is_sex_group
    assert sex_group.without_copy == {"s"}
    to_sex, gap, last = sex_group.fractions
    assert (to_sex, gap) == (0, middle)
    # Haldane 1919: r = r1 + r2 - 2 r1 r2 without interference.
    assert middle + last - 2 * middle * last == far


def test_linkage_groups__at_half_are_free_of_what_lies_before():
    [group] = linkage_groups([near("m", HALF), near("n", HALF)], [])
    assert group.fractions == (HALF, HALF)


@pytest.mark.parametrize(
    ("linkages", "text"),
    [
        ([("a", "a", TENTH)], "two different autosomal loci"),
        ([("a", "zz", TENTH)], "two different autosomal loci"),
        ([("a", "x", TENTH)], "two different autosomal loci"),
        ([("a", "b", Fraction(3, 5))], "must lie from 0 to 1/2"),
        ([("a", "b", Fraction(-1, 5))], "must lie from 0 to 1/2"),
        ([("a", "b", TENTH), ("b", "c", TENTH), ("c", "a", TENTH)], "must form one line"),
        ([("a", "b", TENTH), ("a", "c", TENTH), ("a", "d", TENTH)], "must form one line"),
    ],
)
def test_linkage_groups__refuses_what_is_no_line(linkages, text):
    loci = [*(locus(key) for key in "abcd"), near("x", 0)]
    with pytest.raises(SpeciesFaultError, match=text):
        linkage_groups(loci, [Linkage((one, other), r) for one, other, r in linkages])


def test_linkage_groups__refuses_two_loci_without_a_copy():
    with pytest.raises(SpeciesFaultError, match="only one such locus"):
        linkage_groups([strict("s"), strict("t")], [])
