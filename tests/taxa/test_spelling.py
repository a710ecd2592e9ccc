"""The nearest spellings are found, in the same order every time."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from watershedmap.taxa.lookup import default_lookup
from watershedmap.taxa.spelling import index_spellings, suggest_spellings


def test_nearest_comes_first_and_no_more_than_asked() -> None:
    spellings = index_spellings(["Baetidae", "Baetiscidae", "Perlidae", "Perlodidae", "Baetidae"])
    assert spellings.names == ("Baetidae", "Baetiscidae", "Perlidae", "Perlodidae")
    assert suggest_spellings("baetidea", spellings)[0] == "Baetidae"
    assert suggest_spellings("Perldidae", spellings, most=1) in (("Perlidae",), ("Perlodidae",))
    assert suggest_spellings("", spellings) == ()
    assert suggest_spellings("Zzz", spellings) == ()


@given(st.data())
def test_a_family_with_one_letter_left_out_is_found_again(data: st.DataObject) -> None:
    spellings = default_lookup().spellings
    family = data.draw(
        st.sampled_from([name for name in spellings.names if name.endswith("idae") and len(name) > 9])
    )
    place = data.draw(st.integers(1, len(family) - 2))
    spoilt = family[:place] + family[place + 1 :]
    assert family in suggest_spellings(spoilt, spellings)
