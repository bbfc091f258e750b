"""Which photos are used, by the rule at the top of `seedlingcv.photo.grouping`."""

from dataclasses import replace
from datetime import date, datetime

from hypothesis import given
from hypothesis import strategies as st

from seedlingcv.photo.grouping import Candidate, FlatPhotos, group_photos

MARCH_1, MARCH_8 = datetime(2025, 3, 1, 9, 30), datetime(2025, 3, 8, 16, 0)


def over(index, *, taken=MARCH_1, tilt=5.0, flat=31, cards=4, at=(270.0, 140.0), **more):
    return Candidate(index, "overhead", flat, taken, tilt, 5.8, cards, 1.8, (*at, 520.0), **more)


def beside(index, *, taken=MARCH_1, flat=31, cards=2, px_per_mm=6.3, sharpness=1.8):
    return Candidate(index, "side", flat, taken, 8.0, px_per_mm, cards, sharpness)


def one(*candidates) -> FlatPhotos:
    (group,) = group_photos(candidates)
    return group


def test_a_flats_photos_of_one_day():
    assert one(beside(0), over(1)) == FlatPhotos(31, date(2025, 3, 1), overhead=1, side=0)


def test_flats_come_by_number():
    groups = group_photos([over(0, flat=58), over(1, flat=31), beside(2, flat=58)])
    assert [(g.flat, g.overhead, g.side) for g in groups] == [(31, 1, None), (58, 0, 2)]


def test_the_least_tilted_overhead_photo_is_used():
    group = one(over(0, tilt=14.0), over(1, tilt=3.0), over(2, tilt=9.0))
    assert (group.overhead, group.second, sorted(group.spare)) == (1, 2, [0])


def test_four_cards_go_before_less_tilt():
    assert one(over(0, tilt=2.0, cards=3), over(1, tilt=12.0)).overhead == 1


def test_a_second_photo_from_elsewhere_is_kept():
    group = one(over(0), over(1, tilt=15.0, at=(430.0, 140.0)), over(2, tilt=6.0, at=(285.0, 140.0)))
    assert (group.overhead, group.second, list(group.spare)) == (0, 1, [2])


def test_of_several_from_elsewhere_the_furthest_up_to_200_mm():
    far = [over(1, tilt=12.0, at=(370.0, 140.0)), over(2, tilt=30.0, at=(570.0, 140.0)),
           over(3, tilt=20.0, at=(480.0, 140.0))]
    assert one(over(0), *far).second == 3


def test_without_the_cameras_place_there_is_no_second():
    assert one(over(0), replace(over(1, tilt=15.0), eye_mm=None)).second is None


def test_the_side_photo_with_the_sharpest_plants_is_used():
    assert one(beside(0, sharpness=3.0), beside(1, sharpness=1.8), beside(2, sharpness=1.8, px_per_mm=3.1)).side == 1
    assert one(beside(0, cards=1), beside(1, sharpness=2.5)).side == 1
    assert one(beside(0, sharpness=float("nan")), beside(1, sharpness=2.5)).side == 1
    assert one(beside(0), beside(1)).side == 0


def test_the_newest_day_is_assessed():
    group = one(over(0), beside(1), over(2, taken=MARCH_8, tilt=18.0))
    assert (group.day, group.overhead, group.side) == (date(2025, 3, 8), 2, None)
    assert group.spare == dict.fromkeys((0, 1), "of 2025-03-01; the newest day, 2025-03-08, is assessed")


def test_a_photo_without_a_time_goes_with_the_only_day():
    group = one(over(0), beside(1, taken=None))
    assert (group.day, group.overhead, group.side) == (date(2025, 3, 1), 0, 1)


def test_a_photo_without_a_time_is_put_aside_if_there_are_several_days():
    group = one(over(0), over(1, taken=MARCH_8), beside(2, taken=None))
    assert (group.overhead, group.side) == (1, None)
    assert "any of 2 days" in group.spare[2]


def test_no_time_at_all():
    assert one(over(0, taken=None), beside(1, taken=None)) == FlatPhotos(31, None, overhead=0, side=1)


def test_a_flat_photographed_in_halves_is_used_whole_and_says_so():
    found = one(over(0, taken=MARCH_8), beside(1, taken=MARCH_1))
    assert (found.overhead, found.side, found.day, found.days_apart) == (0, 1, MARCH_8.date(), 7)


def test_a_history_is_not_mixed():
    """Overhead photos of two days and a side photo of the older one: the newest day stands alone."""
    found = one(over(0, taken=MARCH_1), beside(1, taken=MARCH_1), over(2, taken=MARCH_8))
    assert (found.overhead, found.side, found.days_apart) == (2, None, 0)
    assert set(found.spare) == {0, 1}


def test_nothing_in_nothing_out():
    assert group_photos([]) == []


times = st.sampled_from([None, MARCH_1, MARCH_8])
numbers = st.one_of(st.none(), st.floats(0.1, 50))
places = st.one_of(st.none(), st.tuples(st.floats(-500, 500), st.floats(-500, 500), st.floats(300, 900)))


@given(st.lists(st.builds(Candidate, index=st.just(0), view=st.sampled_from(["overhead", "side"]),
                          flat=st.sampled_from([31, 58]), taken=times, tilt_deg=numbers, px_per_mm=numbers,
                          n_cards=st.integers(0, 4), sharpness=numbers, eye_mm=places), max_size=9))
def test_every_photo_is_used_or_spare_and_never_both(candidates):
    candidates = [replace(c, index=i) for i, c in enumerate(candidates)]
    by_index = {c.index: c for c in candidates}
    told = []
    for group in group_photos(candidates):
        used = [i for i in (group.overhead, group.second, group.side) if i is not None]
        told += [*used, *group.spare]
        assert all(by_index[i].flat == group.flat for i in (*used, *group.spare))
        days = {i: by_index[i].taken.date() for i in used if by_index[i].taken}
        assert all(day == group.day or (i == group.side and group.days_apart > 0) for i, day in days.items())
        assert all(by_index[i].view == "overhead" for i in (group.overhead, group.second) if i is not None)
    assert sorted(told) == sorted(by_index)
