"""A written name is read apart into the name and the remarks beside it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.taxa.names import is_epithet, make_key, read_name


@pytest.mark.parametrize(
    ("text", "words", "code"),
    [
        ("Baetis sp.", ("Baetis",), ""),
        ("Baetis sp. A", ("Baetis",), "A"),
        ("Baetis sp.2", ("Baetis",), "2"),
        ("Gammarus pulex L.", ("Gammarus", "pulex"), ""),
        ("Baetis Leach, 1815", ("Baetis",), ""),
        ("Halesus digitatus ssp.", ("Halesus", "digitatus"), ""),
        ("Gammarus s. l.", ("Gammarus",), ""),
        ("Unidentified Elmidae", ("Elmidae",), ""),
        ("Caenis horaria/Caenis rivulorum", ("Caenis", "horaria/rivulorum"), ""),
        ("Caenis [Caenis] horaria?", ("Caenis", "horaria"), ""),
        ("Elmidae eggs", ("Elmidae",), ""),
        ("eggs", (), ""),
        ("Elmidae - adults", ("Elmidae",), ""),
        ("damaged Perlidae specimen", ("Perlidae",), ""),
        ("sp.", (), ""),
    ],
)
def test_remarks_are_told_from_the_name(text: str, words: tuple[str, ...], code: str) -> None:
    read = read_name(text)
    assert (read.words, read.code) == (words, code)


@pytest.mark.parametrize(
    ("text", "plain"),
    [
        ("  some   beetle larva ", "Some beetle"),
        ("BROWN WORM (adult)", "Brown worm"),
        ("Thing (red)", "Thing (red)"),
        ("foo sp. a", "Foo sp. A"),
        ("larva", "Larva"),
        ("", ""),
    ],
)
def test_the_plain_name_keeps_all_but_remarks(text: str, plain: str) -> None:
    assert read_name(text).plain == plain


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("Formicidae (terrestrial)", "terrestrial"),
        ("terr. beetle", "terrestrial"),
        ("Snail shells", "empty shell or cast skin"),
        ("Physidae, empty", "empty shell or cast skin"),
        ("pupal exuviae", "empty shell or cast skin"),
        ("Trichoptera (empty cases)", "empty case"),
        ("egg/larva", "eggs"),
        ("worm fragments", "fragment"),
        ("Case-making caddisfly", ""),
        ("Soft-shell clam", ""),
        ("Elmidae (damaged)", ""),
        ("", ""),
    ],
)
def test_words_for_what_is_no_animal_of_the_stream_give_the_reason(text: str, reason: str) -> None:
    assert read_name(text).excluded == reason


@given(st.text(max_size=40))
def test_a_plain_name_read_again_stays_as_it_is_and_is_blank_only_for_a_blank_text(text: str) -> None:
    plain = read_name(text).plain
    assert read_name(plain).plain == plain
    if any(sign.isalnum() for sign in text):
        assert plain


def test_keys_ignore_case_brackets_and_hyphens() -> None:
    assert (
        make_key("Chironomidae (blood-red)")
        == make_key("CHIRONOMIDAE  blood red")
        == "chironomidae blood red"
    )


def test_an_epithet_is_made_of_letters() -> None:
    assert all(map(is_epithet, ["rhodani", "depressus/elegans", "c-nigrum", "méridien"]))
    assert not any(map(is_epithet, ["", "a1", "<b>", "-a", "a/", "a_b"]))
