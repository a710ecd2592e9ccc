"""Names on tally sheets, read apart: what is the name, what is a remark beside it.

A name as written may carry the stage ("larva", "Ad."), a reserve ("cf.", "gr.", "indet."), an open end
("sp.", "spp.", "Gen. sp."), a subgenus, an author and a year. None of that is the name. Two things are kept
because they tell taxa apart: the code of an unnamed species ("Baetis sp. A") and the colour "blood-red". A
bracket is left out only while a name is looked up; in a name nobody knows it stays. Words that say that what
was found is no living animal of the stream (a terrestrial stray, an empty shell or case, a cast skin, eggs, a
fragment) give the reason why it is left out. The rules are common practice, no source.

Bias: a name with "cf." or "gr." counts as the taxon it is likened to, and a damaged animal as the taxon it
was named to. A snail sorted alive but entered as "shell" is lost.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

_OPEN_ENDS = """
    sp spp ssp subsp species gen genus gr grp group agg aggr complex cf cfr aff nr near
    indet undet undetermined indeterminate unid unidentified unidentifiable unknown
    damaged broken crushed mutilated specimen specimens s s.l s.lat s.str s.s sensu lato stricto
"""
_STAGES = """
    l lv larv larva larvae larval ad adult adults imago imagines pupa pupae pupal
    nymph nymphs juv juvenile juveniles imm immature immatures early late instar instars
"""
_REASONS = {
    "terrestrial": "terrestrial terr",
    "empty shell or cast skin": "shell shells valve valves exuvia exuviae exuvium skin skins",
    "empty case": "case cases",
    "eggs": "egg eggs cocoon cocoons statoblast statoblasts ephippium ephippia gemmule gemmules",
    "fragment": "fragment fragments headless",
}
_EMPTY = "empty"
_SHORT_STAGES = frozenset("alp")
_REMARKS = frozenset((_OPEN_ENDS + _STAGES).split())
_REASON_OF = {word: reason for reason, words in _REASONS.items() for word in words.split()}
_NO_ANIMALS = frozenset(_REASON_OF) | {_EMPTY, *" ".join(_REASONS).split()}
_OPEN_END = frozenset({"sp", "spp", "species"})
_EDGES = " \"'`*?.,;:!"
_AROUND = _EDGES + "()[]"
_BRACKETS = re.compile(r"\([^()]*\)|\[[^\[\]]*\]")
_BLOOD_RED = re.compile(r"\bblood[\s-]?red\b", re.IGNORECASE)
_CODE = re.compile(r"[a-z]|[a-z]{0,2}\d{1,3}[a-z]?", re.IGNORECASE)
_YEAR = re.compile(r"\D*\d{4}\D*")
_EPITHET = re.compile(r"[^\W\d_]+(?:[-/][^\W\d_]+)*")
_SEPARATORS = re.compile(r"[\s/()\[\]]+")
_SPACED_SLASH = re.compile(r"\s*/\s*")
_GLUED = re.compile(r"\b(spp?|ssp|gen|cf|gr|aff)\.(?=[^\W_])", re.IGNORECASE)
_MOST_PASSES = 8
_TWO_SPECIES = 3


@dataclass(frozen=True, slots=True)
class WrittenName:
    """A name as it stands on a tally sheet, read apart."""

    tidy: str
    """The whole text with spaces and widths of letters evened out."""
    words: tuple[str, ...]
    """Words of the name itself, the first capitalised, the rest small; empty when it names no animal."""
    whole: tuple[str, ...]
    """The same with the words for what is no animal: some common names hold one, as `snail-case maker`."""
    code: str
    """Code of an unnamed species, such as `A` or `1`; empty when there is none."""
    blood_red: bool
    """Whether the text says blood-red."""
    excluded: str
    """Why what was found is left out of every metric; empty for an animal."""

    @property
    def plain(self) -> str:
        """The whole text without remarks, first letter large, the rest small; empty only for a blank text."""
        return _write_plain(self.tidy)


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
    bare_text = _BRACKETS.sub(" ", uncoloured)
    tokens, code = _split_code((tidy if bare_text == tidy else _tidy(bare_text)).split())
    bare = (word.strip(_AROUND) for word in _cut_author(_drop_remarks(tokens)))
    whole = _join_species([word for word in bare if word])
    excluded = _find_reason(tidy)
    words = [kept for word in whole if (kept := _drop_no_animals(word))] if excluded else whole
    return WrittenName(
        tidy=tidy,
        words=tuple(_sentence(" ".join(words)).split()),
        whole=tuple(_sentence(" ".join(whole)).split()),
        code=code,
        blood_red=uncoloured != tidy,
        excluded=excluded,
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
    folded = _even_widths(text).casefold()
    return " ".join("".join(sign if sign.isalnum() or sign == "/" else " " for sign in folded).split())


def clean_name(text: str) -> str:
    """Take remarks, brackets and authors off a name, for the name of a row in a table.

    Parameters
    ----------
    text
        A name as it stands in a user's table.

    Returns
    -------
    str
        The bare name; the text as it is where what stands beside the name tells taxa apart (the code of an
        unnamed species, the colour, a reason for leaving it out), or where nothing would be left.
    """
    read = read_name(text)
    bare = " ".join(read.words)
    kept = read.code or read.blood_red or read.excluded or not bare or make_key(bare) == make_key(text)
    return text if kept else bare


def _even_widths(text: str) -> str:
    return text if text.isascii() else unicodedata.normalize("NFKC", text)


def _find_reason(tidy: str) -> str:
    """Find the reason, if any, for leaving out what the text stands for; brackets are read too."""
    found = {_bare(word) for word in _SEPARATORS.split(tidy)} & (_REASON_OF.keys() | {_EMPTY})
    reasons = {_REASON_OF.get(word, "") for word in found} - {""}
    if not reasons:
        return "empty shell or cast skin" if found else ""
    return next(reason for reason in _REASONS if reason in reasons)


def _drop_no_animals(word: str) -> str:
    return "/".join(part for part in word.split("/") if part.casefold() not in _NO_ANIMALS)


def _tidy(text: str) -> str:
    """Even out spaces and widths of letters, and take stray signs off the ends."""
    even = _even_widths(text).replace("_", " ")
    if not even.isprintable():
        even = "".join(sign if sign.isprintable() else " " for sign in even)
    spaced = _GLUED.sub(r"\1. ", _SPACED_SLASH.sub("/", even))
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
    return [token for token in tokens if not _is_remark(token)]


def _is_remark(token: str) -> bool:
    """Tell whether a token is a remark, several joined by slashes, or only a dash."""
    parts = [_bare(part) for part in token.split("/")]
    if not token.strip("-\u2013\u2014"):
        return token != ""
    return _REMARKS.issuperset(parts) or (len(parts) > 1 and _SHORT_STAGES.issuperset(parts))


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
