"""Names on tally sheets, read apart: what is the name, what is a remark beside it.

A name as written may carry the stage ("larva", "Ad."), a reserve ("cf.", "gr.", "indet."), an open end
("sp.", "spp.", "Gen. sp."), a subgenus, an author and a year. None of that is the name. Two things are kept
because they tell taxa apart: the code of an unnamed species ("Baetis sp. A") and the colour "blood-red". A
bracket is left out only while a name is looked up; in a name nobody knows it stays. The rules are common
practice, no source.

Bias: a name with "cf." or "gr." counts as the taxon it is likened to.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

_OPEN_ENDS = """
    sp spp ssp subsp species gen genus gr grp group agg aggr complex cf cfr aff nr near
    indet undet undetermined unid unidentified s s.l s.lat s.str s.s sensu lato stricto
"""
_STAGES = """
    l lv larv larva larvae larval ad adult adults imago imagines pupa pupae pupal
    nymph nymphs juv juvenile juveniles imm immature immatures instar
"""
_TRACES = "egg eggs case cases shell shells empty cocoon cocoons exuvia exuviae exuvium skins"
_REMARKS = frozenset((_OPEN_ENDS + _STAGES).split())
_NO_ANIMALS = frozenset(_TRACES.split())
_OPEN_END = frozenset({"sp", "spp", "species"})
_EDGES = " \"'`*?.,;:!"
_AROUND = _EDGES + "()[]"
_BRACKETS = re.compile(r"\([^()]*\)|\[[^\[\]]*\]")
_BLOOD_RED = re.compile(r"\bblood[\s-]?red\b", re.IGNORECASE)
_CODE = re.compile(r"[a-z]|[a-z]{0,2}\d{1,3}[a-z]?", re.IGNORECASE)
_YEAR = re.compile(r"\D*\d{4}\D*")
_EPITHET = re.compile(r"[^\W\d_]+(?:[-/][^\W\d_]+)*")
_SPACED_SLASH = re.compile(r"\s*/\s*")
_GLUED = re.compile(r"\b(spp?|ssp|gen|cf|gr|aff)\.(?=[^\W_])", re.IGNORECASE)
_MOST_PASSES = 8
_TWO_SPECIES = 3


@dataclass(frozen=True, slots=True)
class WrittenName:
    """A name as it stands on a tally sheet, read apart."""

    plain: str
    """The whole text without remarks, first letter large, the rest small; empty only for a blank text."""
    words: tuple[str, ...]
    """Words of the name itself, the first capitalised, the rest small; empty when it names no animal."""
    code: str
    """Code of an unnamed species, such as `A` or `1`; empty when there is none."""
    blood_red: bool
    """Whether the text says blood-red."""


def read_name(text: str) -> WrittenName:
    """Read a name as written apart.

    Parameters
    ----------
    text
        One name as it stands on the sheet; any text will do.

    Returns
    -------
    WrittenName
        Its parts.
    """
    tidy = _tidy(text)
    uncoloured = _BLOOD_RED.sub(" ", tidy)
    tokens, code = _split_code(_tidy(_BRACKETS.sub(" ", uncoloured)).split())
    bare = (word.strip(_AROUND) for word in _cut_author(_drop_remarks(tokens)))
    words = _join_species([word for word in bare if word])
    named = bool(words) and not any(word.casefold() in _NO_ANIMALS for word in words)
    return WrittenName(
        plain=_write_plain(tidy),
        words=tuple(_sentence(" ".join(words)).split()) if named else (),
        code=code,
        blood_red=uncoloured != tidy,
    )


def is_epithet(word: str) -> bool:
    """Tell whether a word can be the second or third word of a name: letters, with single hyphens or slashes.

    Parameters
    ----------
    word
        One word.

    Returns
    -------
    bool
        True when it can.
    """
    return _EPITHET.fullmatch(word) is not None


def make_key(text: str) -> str:
    """Bring a name into the form in which names are compared: small letters and digits, single spaces.

    Parameters
    ----------
    text
        A name, from a sheet or from a table.

    Returns
    -------
    str
        The key; a slash stays, all other signs count as spaces.
    """
    folded = unicodedata.normalize("NFKC", text).casefold()
    return " ".join("".join(sign if sign.isalnum() or sign == "/" else " " for sign in folded).split())


def _tidy(text: str) -> str:
    """Even out spaces and widths of letters, and take stray signs off the ends."""
    even = unicodedata.normalize("NFKC", text).replace("_", " ")
    printable = "".join(sign if sign.isprintable() else " " for sign in even)
    spaced = _GLUED.sub(r"\1. ", _SPACED_SLASH.sub("/", printable))
    joined = " ".join(spaced.split())
    return joined.strip(_EDGES) or joined


def _write_plain(tidy: str) -> str:
    """Drop remarks until none is left, so that a plain name read again stays as it is."""
    plain = tidy
    for _ in range(_MOST_PASSES):
        tokens, code = _split_code(plain.split())
        kept = _sentence(_tidy(" ".join(_drop_remarks(tokens))))
        written = _tidy(f"{kept} sp. {code}" if code and kept else kept or _sentence(plain))
        if written == plain:
            break
        plain = written
    return plain


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].lower()


def _bare(token: str) -> str:
    return token.strip(_AROUND).casefold()


def _split_code(tokens: list[str]) -> tuple[list[str], str]:
    """Take the code of an unnamed species off: what follows an open end, as in `sp. A`."""
    for place in range(1, len(tokens) - 1):
        if _bare(tokens[place]) in _OPEN_END and _CODE.fullmatch(tokens[place + 1]):
            return tokens[:place] + tokens[place + 2 :], tokens[place + 1].upper()
    return tokens, ""


def _drop_remarks(tokens: list[str]) -> list[str]:
    return [token for token in tokens if not all(_bare(part) in _REMARKS for part in token.split("/"))]


def _cut_author(tokens: list[str]) -> list[str]:
    """Leave out author and year: large first letters after the name, unless all is written that way."""
    dated = any(_YEAR.fullmatch(token) for token in tokens[1:])
    start = 1 if dated else 2
    if " ".join(tokens).isupper() or (not dated and any(token[:1].isupper() for token in tokens[1:2])):
        return tokens
    for place in range(start, len(tokens)):
        if tokens[place][:1].isupper():
            return tokens[:place]
    return tokens


def _join_species(words: list[str]) -> list[str]:
    """Write two species of one genus, `Caenis horaria/Caenis rivulorum`, with the genus once."""
    if len(words) != _TWO_SPECIES or not words[1].casefold().endswith(f"/{words[0].casefold()}"):
        return words
    return [words[0], words[1][: -len(words[0])] + words[2]]
